package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler"
	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type equivalentAgeCmd struct {
	plotted
	history
	ruleFlags
	AtRules string `name:"at-rules" enum:",all" default:"" placeholder:"all" help:"all: every published rule side by side."`
}

// Run implements the command.
func (c *equivalentAgeCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

func (c *equivalentAgeCmd) work(sys unit.System) (*answer, error) {
	s, err := c.read(0)
	if err != nil {
		return nil, err
	}
	a := &answer{
		title: "Equivalent age", status: fromMemory, valid: rangeFactor + "; EN 1992 states 0 to 80 °C for its own rule",
		caution: scheduler.Caution,
	}
	if c.AtRules == "all" {
		return a, c.all(a, s, sys)
	}
	m, err := c.maturity()
	if err != nil {
		return nil, err
	}
	return a, c.one(a, s, m, sys)
}

// one is the age by one rule.
func (c *equivalentAgeCmd) one(a *answer, s story, m concrete.Maturity, sys unit.System) error {
	bare, err := s.EquivalentAge(m)
	if err != nil {
		return err
	}
	counted, err := s.CountedAge(m)
	if err != nil {
		return err
	}
	a.title += " by " + m.Name()
	a.source = m.Rule.Source()
	a.add(
		value("equivalent-age", inDuration, bare.Total()).with("by the bare formula"),
		value("counted-age", inDuration, counted.Total()).with("nothing at or below 0 °C: what may open a window"),
		value("elapsed", inDuration, s.end()),
	)
	a.work("te = Σ f Δt, f = " + formula(m))
	a.work(s.told(sys))
	if err := stretches(a, s, bare, "h", 1); err != nil {
		return err
	}
	a.work(fmt.Sprintf("te = %s h", decimals(bare.Total(), 2)))
	a.note(noteAge)
	a.note(noteFrost)
	a.picture = &picture{
		title: "Equivalent age, " + m.Name(), x: "hours from the first reading", y: "equivalent hours",
		desc: fmt.Sprintf("It grows to %s h by the bare formula, %s h counted.", decimals(bare.Total(), 2), decimals(counted.Total(), 2)),
	}
	return c.draw(a.picture, s, curves{{"bare formula", bare}, {"nothing at or below 0 °C", counted}})
}

// curves are sums to be drawn.
type curves []struct {
	name string
	sum  *concrete.Curve
}

func (c *equivalentAgeCmd) draw(p *picture, s story, all curves) error {
	for _, one := range all {
		points, err := growth(s, one.sum, 1)
		if err != nil {
			return err
		}
		p.curves = append(p.curves, line{one.name, points})
	}
	return nil
}

// all is a table of every published rule with its usual constants.
func (c *equivalentAgeCmd) all(a *answer, s story, sys unit.System) error {
	a.title += " by every published rule"
	a.source = "each rule as named; constants from memory"
	a.table = [][]string{{"RULE", "BARE FORMULA", "COUNTED", "SOURCE"}}
	a.add(value("elapsed", inDuration, s.end()))
	var drawn curves
	for _, m := range concrete.PublishedMaturities() {
		bare, err := s.EquivalentAge(m)
		if err != nil {
			return err
		}
		counted, err := s.CountedAge(m)
		if err != nil {
			return err
		}
		drawn = append(drawn, curves{{ruleName(m), counted}}...)
		a.add(value(ruleName(m), inDuration, counted.Total()).inTable())
		a.table = append(a.table, []string{m.Name(), inDuration.format(bare.Total(), sys), inDuration.format(counted.Total(), sys), m.Rule.Source()})
		a.work(ruleName(m) + ": f = " + formula(m))
	}
	a.work(s.told(sys))
	a.note("Counted: nothing at or below 0 °C. That is what may open a window.")
	a.note(noteAge)
	a.picture = &picture{
		title: "Counted equivalent age by each rule", x: "hours from the first reading", y: "equivalent hours",
		desc: "One curve for each published rule, nothing counted at or below 0 °C.",
	}
	return c.draw(a.picture, s, drawn)
}

// ruleName tells the published rules apart in one word.
func ruleName(m concrete.Maturity) string {
	if m.Rule == concrete.RuleNurseSaul {
		return fmt.Sprintf("nurse-saul-%s", minus(m.DatumC))
	}
	return m.Rule.String()
}

// minus writes a number of a name without a dash, which parts words there.
func minus(v float64) string {
	if v < 0 {
		return "minus" + number(-v)
	}
	return number(v)
}
