package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type takeOffCmd struct {
	output
	CentreLine q[length]    `name:"centre-line" placeholder:"40m" names:"centre line" help:"Length along the middle of the core."`
	Leg        []q[length]  `sep:"none" placeholder:"10m" help:"In its place, a leg measured on the outer face; once for each."`
	Outward    q[count]     `default:"0" names:"outward corners" help:"Corners at which the outer face turns round the core."`
	Inward     q[count]     `default:"0" names:"inward corners" help:"Corners at which it turns into the core."`
	Height     q[length]    `required:"" placeholder:"2.7m" names:"height of wall" help:"Height of the wall."`
	Core       q[thickness] `required:"" placeholder:"150mm" names:"core thickness" help:"Thickness of the core."`
	Opening    []opening    `sep:"none" placeholder:"0.9mx2.1m" help:"An opening, width x height; once for each."`
	Waste      q[percent]   `default:"7%" names:"waste" help:"5 % for a large placement, 10 % for a small one (common practice, no source)."`
	PumpLine   q[volume]    `name:"pump-line" default:"0m3" names:"pump line" help:"To fill the pump line, 0.2 to 0.5 m³ (common practice, no source)."`
	Truck      q[volume]    `default:"7.5m3" names:"truck" help:"What a truck carries."`
	Days       q[count]     `default:"1" names:"days" help:"Days on which the concrete is placed."`
	Slump      q[thickness] `placeholder:"125mm" names:"stated slump" help:"Stated slump: gives its tolerance."`
	SlumpRule  string       `name:"slump-rule" enum:"c94-nominal,c94-maximum,en-206" default:"c94-nominal" placeholder:"RULE" help:"c94-nominal, c94-maximum or en-206."`
	Edition    string       `enum:"si,us" default:"si" placeholder:"si|us" help:"Edition of the slump tolerances: us for a slump stated in inches."`
}

// Run implements the command.
func (c *takeOffCmd) Run(k *kong.Context, w io.Writer) error { return c.output.run(k, w, c.work) }

func (c *takeOffCmd) centreLine(a *answer, sys unit.System) (float64, error) {
	switch {
	case c.CentreLine.given() && len(c.Leg) > 0:
		return 0, &InputError{Flag: "leg", Value: c.Leg[0].text, Reason: "allowed: either --centre-line or --leg"}
	case c.CentreLine.given():
		return c.CentreLine.base, nil
	case len(c.Leg) == 0:
		return 0, wanted("centre-line", "40m, or --leg 10m --leg 8m")
	}
	var legs []float64
	for _, l := range c.Leg {
		legs = append(legs, l.base)
	}
	line, err := concrete.CentreLine(legs, c.Core.base, concrete.Corners{Outward: int(c.Outward.base), Inward: int(c.Inward.base)})
	if err != nil {
		return 0, &InputError{Flag: "leg", Value: c.Leg[0].text, Reason: err.Error(), cause: err}
	}
	a.work(fmt.Sprintf("centre line = legs - %s outward corners + %s inward, each one thickness: %s", c.Outward.text, c.Inward.text, inLength.format(line, sys)))
	return line, nil
}

func (c *takeOffCmd) work(sys unit.System) (*answer, error) {
	a := &answer{
		title: "Take-off of a wall", source: "geometry; waste and pump line: common practice, no source", status: computed,
		valid:   "square corners; waste to 30 %; trucks of 1 to 20 m³",
		caution: "The last truck is a balance to be called for: measure what is left to fill before ordering it.",
	}
	line, err := c.centreLine(a, sys)
	if err != nil {
		return nil, err
	}
	t := concrete.TakeOff{CentreLine: line, Height: c.Height.base, Core: c.Core.base, Waste: c.Waste.base, PumpLine: c.PumpLine.base, Truck: c.Truck.base}
	for _, o := range c.Opening {
		t.Openings = append(t.Openings, o.Opening)
	}
	quantity, err := t.Quantity()
	if err != nil {
		return nil, c.openingError(err)
	}
	a.add(value("net-volume", inVolume, quantity.Net), value("with-waste", inVolume, quantity.WithWaste), value("order", inVolume, quantity.Order),
		value("trucks", inCount, float64(quantity.Trucks)), value("last-truck", inVolume, quantity.LastTruck), value("face", inArea, quantity.Face).with("one side, openings out"))
	a.work(fmt.Sprintf("V = (L h - openings) t = (%s · %s - %s) · %s = %s", inLength.format(line, sys), inLength.format(c.Height.base, sys),
		inArea.format(line*c.Height.base-quantity.Face, sys), inThickness.format(c.Core.base, sys), inVolume.format(quantity.Net, sys)))
	a.work(fmt.Sprintf("with %s waste: %s; with the pump line: %s", c.Waste.text, inVolume.format(quantity.WithWaste, sys), inVolume.format(quantity.Order, sys)))
	a.work(fmt.Sprintf("in trucks of %s: %d", inVolume.format(c.Truck.base, sys), quantity.Trucks))
	if err := c.tests(a, quantity); err != nil {
		return nil, err
	}
	return a, c.slump(a, sys)
}

// openingError names the opening, whose flag is given more than once.
func (c *takeOffCmd) openingError(err error) error {
	for i, o := range c.Opening {
		if refused(err, fmt.Sprintf("opening %d width", i+1), fmt.Sprintf("opening %d height", i+1)) {
			return &InputError{Flag: "opening", Value: o.text, Reason: err.Error(), cause: err}
		}
	}
	if refused(err, "area of openings") {
		return &InputError{Flag: "opening", Value: c.Opening[0].text, Reason: err.Error(), cause: err}
	}
	return err
}

// tests is how many strength tests are due by each rule, and the limits on the
// age of a load.
func (c *takeOffCmd) tests(a *answer, quantity concrete.Quantity) error {
	a.table = [][]string{{"RULE", "LIMIT", "SOURCE"}}
	placed := concrete.Placed{Volume: quantity.Net, Face: quantity.Face, Days: int(c.Days.base)}
	for _, r := range []struct {
		name, source string
		rule         concrete.TestRule
	}{
		{"aci-318", "ACI 318-19 26.12.2.1: 150 yd³, 5000 ft², 1 a day (from memory)", concrete.TestsACI318},
		{"aci-318m", "the metric code: 110 m³, 460 m², 1 a day (from memory)", concrete.TestsACI318M},
		{"csa-a23.1", "CSA A23.1: 100 m³, 1 a day (from memory)", concrete.TestsCSA},
		{"en-206", "EN 206 Table 17, certified plant (from memory)", concrete.TestsEN206},
	} {
		due, err := concrete.TestsFor(r.rule, placed)
		if err != nil {
			return err
		}
		text := fmt.Sprintf("strength tests due: %d", due.Tests)
		if due.Waivable {
			text += ", may be waived"
		}
		a.add(value("tests-"+r.name, inCount, float64(due.Tests)).inTable())
		a.table = append(a.table, []string{r.name, text, r.source})
	}
	for _, l := range concrete.DischargeLimits() {
		a.table = append(a.table, []string{l.Rule, fmt.Sprintf("discharge within %s min of water meeting cement", number(l.Minutes)), l.Source + " (" + l.Status + ")"})
	}
	return nil
}

func (c *takeOffCmd) slump(a *answer, sys unit.System) error {
	if !c.Slump.given() {
		return nil
	}
	rule := map[string]concrete.SlumpRule{
		"c94-nominal": concrete.SlumpC94Nominal, "c94-maximum": concrete.SlumpC94Maximum, "en-206": concrete.SlumpEN206,
	}[c.SlumpRule]
	r, err := concrete.SlumpTolerance(rule, concrete.Constants(c.Edition), c.Slump.base)
	if err != nil {
		if refused(err, "stated slump") {
			return err
		}
		return &InputError{Flag: "slump-rule", Value: c.SlumpRule, Reason: err.Error(), cause: err}
	}
	a.add(value("slump-least", inThickness, r.Least), value("slump-most", inThickness, r.Most))
	a.status = fromMemory
	a.source += "; slump tolerance: " + map[string]string{
		"c94-nominal": "ASTM C94, nominal slump", "c94-maximum": "ASTM C94, maximum slump", "en-206": "EN 206, target slump",
	}[c.SlumpRule] + " (from memory)"
	a.note("A load must hold its slump for 30 min (ASTM C94, from memory).")
	return nil
}
