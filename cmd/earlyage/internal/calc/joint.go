package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type jointCmd struct {
	plotted
	Rule    string         `enum:"jsce,jass-5" default:"jsce" placeholder:"jsce|jass-5" help:"Limit by air temperature. They differ at exactly 25 °C."`
	Air     q[temperature] `required:"" placeholder:"20C" names:"air temperature" help:"Hottest air since the layer was placed."`
	Temp    q[temperature] `required:"" placeholder:"22C" names:"concrete temperature" help:"Hottest concrete since then."`
	Age     q[duration]    `placeholder:"40min" names:"age of the load at placing" help:"From batching the oldest load to placing it; not given: taken as 90 min."`
	Site    q[duration]    `placeholder:"30min" names:"the site's joint minutes" help:"The site's own limit. It can only shorten."`
	SetAt   []setPoint     `name:"set-at" sep:"none" placeholder:"21C=6h" help:"A measured initial set of the mix; give it once for each temperature."`
	Elapsed q[duration]    `placeholder:"140min" help:"Time since the layer was placed: gives the margin."`
}

// Run implements the command.
func (c *jointCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

func (c *jointCmd) inputs() (concrete.JointInputs, error) {
	rule, err := concrete.ParseJointRule(c.Rule)
	return concrete.JointInputs{
		AirRule: rule, SiteMinutes: c.Site.base * 60, AirC: c.Air.base, ConcreteC: c.Temp.base,
		MixSet: setPoints(c.SetAt), AgeKnown: c.Age.given(), AgeMin: c.Age.base * 60,
	}, err
}

func (c *jointCmd) work(sys unit.System) (*answer, error) {
	in, err := c.inputs()
	if err != nil {
		return nil, err
	}
	limit, err := concrete.EffectiveJointLimit(in)
	if err != nil {
		return nil, err
	}
	placing, err := concrete.PlacingLimitMinutes(in.AirRule, in.AirC)
	if err != nil {
		return nil, err
	}
	a := &answer{
		title: "How long a layer may wait for the next", source: limit.Rule.Source(), status: jointStatus(limit.Rule, in),
		valid: "air -60 to 60 °C; concrete -50 to 80 °C; site limit 5 to 150 min", caution: cautionJoint,
	}
	a.add(value("limit", inMinutes, limit.Minutes).with("from placing"), says("governs", limit.Rule.String()),
		value("mixing-to-end-of-placing", inMinutes, placing).with("the same rule's other limit"))
	c.margin(a, limit)
	c.table(a, limit)
	c.show(a, in, limit, sys)
	if limit.OutsideTable {
		a.note("The temperature lies outside the approximate-setting table: an estimate.")
	}
	c.draw(a, in, sys)
	return a, nil
}

// jointStatus is how far the figure that governs was checked.
func jointStatus(r concrete.JointRule, in concrete.JointInputs) string {
	switch {
	case r == concrete.JointJSCE && in.AirC <= 25:
		return found
	case r == concrete.JointSetMix:
		return computed // from what was measured on the mix
	case r == concrete.JointSite:
		return practice
	default:
		return fromMemory
	}
}

func (c *jointCmd) margin(a *answer, limit concrete.JointLimit) {
	if !c.Elapsed.given() {
		return
	}
	left := limit.Minutes - c.Elapsed.base*60
	verdict := "open"
	if left < 0 {
		verdict = "breached"
	}
	a.add(value("margin", inMinutes, left), says("verdict", verdict))
}

// table shows what each source says.
func (c *jointCmd) table(a *answer, limit concrete.JointLimit) {
	minutes := func(v float64) string { return inMinutes.format(v, unit.SI) }
	a.table = [][]string{{"RULE", "LIMIT", "COUNTED FROM", "SOURCE"}}
	for _, r := range []concrete.JointRule{concrete.JointJSCE, concrete.JointJASS5} {
		if v, err := concrete.AirJointMinutes(r, c.Air.base); err == nil {
			a.table = append(a.table, []string{r.String(), minutes(v), "placing", r.Source()})
		}
	}
	set := concrete.JointSetTable
	if len(c.SetAt) > 0 {
		set = concrete.JointSetMix
	}
	a.table = append(a.table,
		[]string{set.String(), minutes(limit.SetLimit), "batching", set.Source()},
		[]string{"us-contract", minutes(concrete.ContractJointMinutes), "placing", "a US state file contract (found: Colorado DRMS 1218846 p. 47); for comparison"})
	if c.Site.given() {
		a.table = append(a.table, []string{concrete.JointSite.String(), c.Site.text, "placing", concrete.JointSite.Source()})
	}
}

func (c *jointCmd) show(a *answer, in concrete.JointInputs, limit concrete.JointLimit, sys unit.System) {
	age := in.AgeMin
	if !in.AgeKnown {
		age = concrete.UnknownAgeAtPlacingMin
		a.note("The age of the load at placing is not known: taken as 90 min, the longest that ASTM C94 allows (from memory).")
	}
	a.work(fmt.Sprintf("by air %s and site: %s min from placing", celsius(in.AirC, sys), decimals(limit.AirMinutes, 1)))
	a.work(fmt.Sprintf("initial set at %s, the hotter of air and concrete: %s min from batching", celsius(max(in.AirC, in.ConcreteC), sys),
		decimals(limit.SetMinutes, 1)))
	a.work(fmt.Sprintf("80 %% of it: %s min from batching, less %s min of age at placing: %s min from placing", decimals(limit.SetLimit, 1),
		decimals(age, 1), decimals(max(0, limit.SetLimit-age), 1)))
	a.work(fmt.Sprintf("the earlier governs: %s min, %s", decimals(limit.Minutes, 1), limit.Rule))
}

func (c *jointCmd) draw(a *answer, in concrete.JointInputs, sys unit.System) {
	points := sample(0, 40, func(t float64) (float64, error) {
		in.AirC, in.ConcreteC = t, t
		limit, err := concrete.EffectiveJointLimit(in)
		return limit.Minutes, err
	})
	a.picture = &picture{
		title: "How long a layer may wait", x: "air and concrete, " + symbolOf(inTemperature, sys), y: "minutes from placing",
		desc:   "The limit from placing, never longer when it is hotter.",
		curves: []line{{"limit, " + c.Rule, inUnits(points, sys)}},
		levels: []level{{"US contract, 30 min", concrete.ContractJointMinutes}},
	}
}
