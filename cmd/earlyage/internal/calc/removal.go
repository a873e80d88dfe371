package calc

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/alecthomas/kong"

	"earlyage/scheduler"
	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type removalCmd struct {
	plotted
	history
	Air         string         `placeholder:"FILE" help:"CSV of the air, for the rules that ask for it; not given: the history of the concrete is taken, which is warmer."`
	AirTemp     q[temperature] `name:"air-temp" placeholder:"5C" names:"air temperature|temperature" help:"In place of a file, a constant air temperature."`
	AtRules     string         `name:"at-rules" default:"all" placeholder:"all" help:"all, or one rule of the table by its name."`
	Row         string         `enum:"vertical,slab-soffit,beam-soffit,beam-props" default:"vertical" placeholder:"ROW" help:"BS 8110: vertical, slab-soffit, beam-soffit or beam-props."`
	CuringClass int            `name:"curing-class" default:"2" enum:"1,2,3,4" placeholder:"2" help:"EN 13670: curing class, 1 to 4."`
	Development q[ratio]       `default:"0.3" names:"strength development r" help:"EN 13670: strength development, fcm2/fcm28."`
	SetTime     q[duration]    `name:"set-time" default:"5h" names:"setting time" help:"EN 13670: setting time; beyond 5 h it is added."`
	Fck         q[strength]    `placeholder:"25MPa" names:"characteristic strength fck" help:"For the rules that ask for strength: EN 1992 class, characteristic strength."`
	Class       string         `enum:"R,N,S" default:"N" placeholder:"R|N|S" help:"Strength class of the cement."`
}

// Run implements the command.
func (c *removalCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

// longEnough is how long a constant temperature lasts where nothing says so: no
// rule takes longer in any temperature in which it counts at all.
const longEnough = 24 * 400

// said is what one rule says of a history.
type said struct {
	name, asks, source, status string
	at                         float64 // h from the first reading
	met                        bool
	word                       string // in place of a moment: the rule says nothing here
}

// removalCase is a question put to every rule.
type removalCase struct {
	cmd  *removalCmd
	wall story
	air  story
}

// removalRule asks one rule.
type removalRule struct {
	name string
	ask  func(removalCase) (said, error)
}

func removalRules() []removalRule {
	rules := []removalRule{{"floor", removalCase.floor}}
	for _, m := range concrete.PublishedMaturities() {
		rules = append(rules, removalRule{ruleName(m), func(r removalCase) (said, error) { return r.braces(m) }})
	}
	return append(rules,
		removalRule{"bs-8110", removalCase.bs8110},
		removalRule{"aci-347r", func(r removalCase) (said, error) { return r.aci(concrete.ACIWallHours) }},
		removalRule{"aci-347-long", func(r removalCase) (said, error) { return r.aci(concrete.ACIWallHoursLong) }},
		removalRule{"is-456", removalCase.is456},
		removalRule{"radford", removalCase.radford},
		removalRule{"army-ties", removalCase.ties},
		removalRule{"en-13670", removalCase.curing},
		removalRule{"strength-2mpa", func(r removalCase) (said, error) { return r.strength(concrete.VerticalDamageMPa, "mechanical damage") }},
		removalRule{"strength-5mpa", func(r removalCase) (said, error) { return r.strength(concrete.VerticalFrostMPa, "frost damage") }},
	)
}

// chosen are the rules that --at-rules means.
func (c *removalCmd) chosen() ([]removalRule, error) {
	all := removalRules()
	if c.AtRules == "all" {
		return all, nil
	}
	names := []string{"all"}
	for _, r := range all {
		if r.name == c.AtRules {
			return []removalRule{r}, nil
		}
		names = append(names, r.name)
	}
	return nil, &InputError{Flag: "at-rules", Value: c.AtRules, Reason: "allowed " + strings.Join(names, ", ")}
}

func (c *removalCmd) ask() (removalCase, error) {
	wall, err := c.read(longEnough)
	if err != nil {
		return removalCase{}, err
	}
	r := removalCase{cmd: c, wall: wall, air: wall}
	switch {
	case c.Air != "" && c.AirTemp.given():
		return r, &InputError{Flag: "air-temp", Value: c.AirTemp.text, Reason: "allowed: either --air or --air-temp"}
	case c.Air != "":
		r.air, err = readTemps("air", c.Air, c.TempsUnit)
	case c.AirTemp.given():
		r.air = story{Series: concrete.Series{{Hours: 0, TempC: c.AirTemp.base}, {Hours: wall.end(), TempC: c.AirTemp.base}}}
		err = r.air.Validate()
	}
	if err == nil && c.Air != "" && !r.air.start.Equal(wall.start) {
		err = &InputError{Flag: "air", Value: c.Air, Reason: "begins at another moment than the history of the concrete"}
	}
	return r, err
}

func (c *removalCmd) work(sys unit.System) (*answer, error) {
	rules, err := c.chosen()
	if err != nil {
		return nil, err
	}
	r, err := c.ask()
	if err != nil {
		return nil, err
	}
	a := &answer{
		title: "When forms and braces may come off, by each rule", source: "each rule as named in the table",
		status: fromMemory, valid: rangeFactor + "; each rule its own", caution: scheduler.Caution,
		table: [][]string{{"RULE", "ASKS FOR", "SAYS", "STATUS", "SOURCE"}},
	}
	a.work(r.wall.told(sys))
	var all []said
	for _, rule := range rules {
		s, err := rule.ask(r)
		if err != nil {
			return nil, err
		}
		s.name = rule.name
		all = append(all, s)
		a.table = append(a.table, []string{s.name, s.asks, s.says(r.wall), s.status, s.source})
		a.add(s.figure(r.wall).inTable())
	}
	if len(all) == 1 {
		a.figures[0].row = false
		a.source, a.status, a.table = all[0].source, all[0].status, nil
		a.work("asks for " + all[0].asks)
	} else {
		r.governing(a, all)
	}
	r.remarks(a)
	return a, c.draw(a, r, sys)
}

func (s said) says(wall story) string {
	switch {
	case s.word != "":
		return s.word
	case !s.met:
		return wall.never()
	default:
		return wall.moment(s.at)
	}
}

func (s said) figure(wall story) figure {
	if s.word != "" || !s.met {
		return says(s.name, s.says(wall))
	}
	return value(s.name, inDuration, s.at).with(wall.date(s.at))
}

// governing says between which moments the maturity rules lie, each held to 48 h
// gone by: the second of the rules asked is the first of them.
func (r removalCase) governing(a *answer, all []said) {
	least, most := math.Inf(1), 0.0
	for _, s := range all[1 : 1+len(concrete.PublishedMaturities())] {
		if !s.met {
			most = math.Inf(1)
			continue
		}
		least, most = min(least, s.at), max(most, s.at)
	}
	switch {
	case math.IsInf(least, 1):
		a.work("48 h of equivalent age at 20 °C, and 48 h gone by: no rule has them by the end of the history")
	case math.IsInf(most, 1):
		a.work(fmt.Sprintf("48 h of equivalent age at 20 °C, and 48 h gone by: first rule after %s h, not every rule by the end", decimals(least, 1)))
	default:
		a.work(fmt.Sprintf("48 h of equivalent age at 20 °C, and 48 h gone by: %s h by the first rule, %s h by the last", decimals(least, 1), decimals(most, 1)))
	}
}

func (r removalCase) remarks(a *answer) {
	a.note("Hours count from the first reading. The history must be of the coldest place that the form or the brace holds: the top of a wall follows the air.")
	if r.cmd.Air == "" && !r.cmd.AirTemp.given() {
		a.note("ACI 347R, IS 456 and Radford ask for the air. The history of the concrete was taken for it; concrete in its form is warmer, and then these say too soon. Give --air.")
	}
	a.note("No rule for the bracing of walls with a temperature table was found in any standard; 48 h at 20 °C is common practice, no source. The rules turn it into two-to-one different hours in the cold.")
	a.note(noteFrost + " OSHA 1926.703(e) has the employer determine the strength, and ACI 318 gives no hours (from memory).")
}
