package calc

import (
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
	"gonum.org/v1/plot/plotter"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type pressureCmd struct {
	plotted
	placingFlags
	Rule        string      `enum:"aci-347,ciria-108,din-18218-1980,din-18218-2010,full-head,all" default:"aci-347" placeholder:"RULE" help:"aci-347, ciria-108, din-18218-1980, din-18218-2010 (self-compacting), full-head or all."`
	Rate        q[rise]     `placeholder:"1.2m/h" names:"rate of rise" help:"Rate at which concrete rises in the form."`
	FormHeight  q[length]   `name:"form-height" placeholder:"3m" names:"height of the form" help:"CIRIA 108: height of the form; not given: that of the placement."`
	Set         q[duration] `placeholder:"5h" names:"setting time" help:"DIN 18218: from mixing to the end of setting; not given: full head."`
	Consistency string      `enum:"stiff,plastic,soft" default:"soft" placeholder:"CLASS" help:"DIN 18218:1980: stiff, plastic or soft."`
	At          q[length]   `placeholder:"1m" names:"depth" help:"Also: the pressure at this depth below the top."`
}

// Run implements the command.
func (c *pressureCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

// pressureRule is one of the rules as this command offers it.
type pressureRule struct {
	name, source, status, valid string
	compute                     func() (concrete.Pressure, error)
	formula                     func(unit.System) []string
}

func (c *pressureCmd) rules() []pressureRule {
	p := c.placing(c.Rate.base)
	return []pressureRule{
		{"aci-347", sourceACI, fromMemory, rangeACI,
			func() (concrete.Pressure, error) { return concrete.ACIWallPressure(c.constants(), p) }, c.aciLines},
		{"ciria-108", "CIRIA Report 108 (1985): K found on a mirror page, one worked sheet found (idoc.tips 279791453); constants from memory", fromMemory,
			"form to 50 m high; the report prints multiples of 5 kPa, to which this agrees within 5 kPa only",
			func() (concrete.Pressure, error) { return concrete.CIRIAPressure(p, c.formHeight()) }, c.ciriaLines},
		{"din-18218-1980", "DIN 18218:1980: limits, temperature factor and the stiff and plastic rows found (tables of 9/80, scribd 361298437); the soft row from memory", c.dinStatus(),
			"25 kN/m³, rate to 7 m/h, set within 5 h, internal vibration, 5 °C and above; otherwise full head", c.din1980, c.dinLines},
		{"din-18218-2010", "DIN 18218:2010, self-compacting concrete (found: ACI Concrete International, June 2010); the limit of 7 m/h from memory", fromMemory,
			"rate to 7 m/h, setting time known; no vibration, which raised test pressures by up to 70 %",
			c.din2010, c.sccLines},
		{"full-head", "p = w h (found: concreteconstruction.net, \"Form pressure\"); 25 % for pumping from the base: ACI 347 (from memory)", c.headStatus(),
			"any placement: the ceiling of every rule", func() (concrete.Pressure, error) { return concrete.FullHeadPressure(p) },
			func(unit.System) []string { return nil }},
	}
}

func (c *pressureCmd) formHeight() float64 { return c.FormHeight.or(c.Height.base) }

func (c *pressureCmd) dinStatus() string {
	if c.Consistency == "soft" {
		return fromMemory
	}
	return found
}

func (c *pressureCmd) headStatus() string {
	if c.FromBase {
		return fromMemory
	}
	return found
}

func (c *pressureCmd) din1980() (concrete.Pressure, error) {
	return concrete.DIN1980Pressure(concrete.DIN1980{
		Consistency: map[string]concrete.Consistency{"stiff": concrete.Stiff, "plastic": concrete.Plastic, "soft": concrete.Soft}[c.Consistency],
		Rate:        c.Rate.base, TempC: c.Temp.base, SetHours: c.Set.base, Height: c.Height.base,
	})
}

func (c *pressureCmd) din2010() (concrete.Pressure, error) {
	return concrete.DIN2010Pressure(concrete.SelfCompacting{
		UnitWeight: c.UnitWeight.base, Rate: c.Rate.base, SetHours: c.Set.base, Height: c.Height.base,
	})
}

func (c *pressureCmd) work(sys unit.System) (*answer, error) {
	if c.Rule != "full-head" && !c.Rate.given() {
		return nil, wanted("rate", "1.2m/h")
	}
	if c.Rule == "all" {
		return c.all(sys)
	}
	for _, r := range c.rules() {
		if r.name == c.Rule {
			return c.one(r, sys)
		}
	}
	return nil, fmt.Errorf("pressure rule %q: unknown", c.Rule)
}

func (c *pressureCmd) one(r pressureRule, sys unit.System) (*answer, error) {
	p, err := r.compute()
	if err != nil {
		return nil, err
	}
	a := &answer{
		title: "Lateral pressure of fresh concrete, " + spaced(r.name), source: r.source, status: r.status, valid: r.valid, caution: cautionForm,
	}
	a.add(value("pressure", inPressure, p.KPa), says("governs", string(p.Formula)),
		value("full-head", inPressure, p.HeadKPa).with("the ceiling"),
		value("hydrostatic-depth", inLength, p.Depth).with("below the top; constant from there down"))
	if p.Formula != concrete.FormulaFullHead && p.Formula != concrete.FormulaBasePumped || p.FormulaKPa != p.KPa {
		a.work("by the formula alone: " + inPressure.format(p.FormulaKPa, sys))
	}
	a.working = append(r.formula(sys), a.working...)
	a.work(fmt.Sprintf("full head w h = %s · %s = %s", inUnitWeight.format(p.Slope, sys), inLength.format(p.Height, sys), inPressure.format(p.HeadKPa, sys)))
	a.work(fmt.Sprintf("governs: %s, %s", p.Formula, inPressure.format(p.KPa, sys)))
	for _, n := range p.Notes {
		a.note(sentence(string(n)))
	}
	if c.At.given() {
		kPa, err := p.At(c.At.base)
		if err != nil {
			return nil, err
		}
		a.add(value("pressure-at-depth", inPressure, kPa).with(c.At.text))
	}
	a.picture = envelopes(sys, []named{{spaced(r.name), p}})
	return a, nil
}

// sentence begins a remark with a capital and ends it with a point.
func sentence(s string) string { return strings.ToUpper(s[:1]) + s[1:] + "." }

// all compares the rules.
func (c *pressureCmd) all(sys unit.System) (*answer, error) {
	a := &answer{
		title: "Lateral pressure of fresh concrete by each rule", source: "each rule as named in the table",
		status: fromMemory, valid: "each rule its own: ask for it by name", caution: cautionForm,
		table: [][]string{{"RULE", "PRESSURE", "GOVERNS", "REMARKS"}},
	}
	var drawn []named
	for _, r := range c.rules() {
		p, err := r.compute()
		if err != nil {
			return nil, err
		}
		var remarks []string
		for _, n := range p.Notes {
			remarks = append(remarks, string(n))
		}
		a.add(value(r.name, inPressure, p.KPa).inTable())
		a.table = append(a.table, []string{r.name, inPressure.format(p.KPa, sys), string(p.Formula), strings.Join(remarks, "; ")})
		for _, l := range r.formula(sys) {
			a.work(r.name + ": " + l)
		}
		drawn = append(drawn, named{spaced(r.name), p})
	}
	a.note("The rules are not alike in what they cover: DIN 18218:1980 is for 25 kN/m³, the 2010 formula for self-compacting concrete.")
	a.picture = envelopes(sys, drawn)
	return a, nil
}

func (c *pressureCmd) aciLines(unit.System) []string {
	p := c.placing(c.Rate.base)
	cw, err := concrete.ACIUnitWeightCoefficient(c.constants(), p.UnitWeight)
	if err != nil {
		return nil
	}
	cc, err := concrete.ACIChemistryCoefficient(p.Binder, p.Retarder)
	if err != nil {
		return nil
	}
	ed := c.edition()
	lines := []string{fmt.Sprintf("Cw = %s for %s; Cc = %s", number(cw), inUnitWeight.format(p.UnitWeight, ed), number(cc))}
	r, _ := inRise.in(p.Rate, ed)
	t, _ := inTemperature.in(p.TempC, ed)
	if ed == unit.US {
		return append(lines,
			"first: p = Cw Cc [150 + 9000 R/T] psf, R in ft/h, T in °F",
			fmt.Sprintf("       %s · %s [150 + 9000 · %s/%s]", number(cw), number(cc), number(r), number(t)),
			"second, for walls from 7 ft/h or over 14 ft high: p = Cw Cc [150 + 43,400/T + 2800 R/T] psf",
			fmt.Sprintf("       %s · %s [150 + 43,400/%s + 2800 · %s/%s]", number(cw), number(cc), number(t), number(r), number(t)),
			fmt.Sprintf("at least 600 Cw = %s psf", number(600*cw)))
	}
	return append(lines,
		"first: p = Cw Cc [7.2 + 785 R/(T + 17.8)] kPa, R in m/h, T in °C",
		fmt.Sprintf("       %s · %s [7.2 + 785 · %s/(%s + 17.8)]", number(cw), number(cc), number(r), number(t)),
		"second, for walls from 2.1 m/h or over 4.2 m high: p = Cw Cc [7.2 + 1156/(T + 17.8) + 244 R/(T + 17.8)] kPa",
		fmt.Sprintf("       %s · %s [7.2 + 1156/(%s + 17.8) + 244 · %s/(%s + 17.8)]", number(cw), number(cc), number(t), number(r), number(t)),
		fmt.Sprintf("at least 30 Cw = %s kPa", number(30*cw)))
}

func (c *pressureCmd) ciriaLines(unit.System) []string {
	p := c.placing(c.Rate.base)
	cc, err := concrete.ACIChemistryCoefficient(p.Binder, p.Retarder)
	if err != nil {
		return nil
	}
	c1, c2 := "1.0", map[float64]string{1.0: "0.30", 1.2: "0.45", 1.4: "0.60"}[cc]
	if p.Member == concrete.Column {
		c1 = "1.5"
	}
	k := 36 / (p.TempC + 16)
	return []string{
		fmt.Sprintf("K = [36/(T + 16)]² = [36/(%s + 16)]² = %s; C1 = %s, C2 = %s", number(p.TempC), decimals(k*k, 3), c1, c2),
		"p = D [C1 sqrt(R) + C2 K sqrt(H - C1 sqrt(R))] kPa, D in kN/m³, R in m/h, H in m",
		fmt.Sprintf("    %s [%s sqrt(%s) + %s · %s sqrt(%s - %s sqrt(%s))]", number(p.UnitWeight), c1, number(p.Rate), c2, decimals(k*k, 3),
			number(c.formHeight()), c1, number(p.Rate)),
	}
}

func (c *pressureCmd) dinLines(unit.System) []string {
	row := map[string][2]string{"stiff": {"5", "21"}, "plastic": {"10", "19"}, "soft": {"14", "18"}}[c.Consistency]
	return []string{fmt.Sprintf("p = (%s v + %s)(145 - 3T)/100 kPa = (%s · %s + %s)(145 - 3 · %s)/100", row[0], row[1], row[0],
		number(c.Rate.base), row[1], number(min(c.Temp.base, 25)))}
}

func (c *pressureCmd) sccLines(unit.System) []string {
	return []string{
		"σ = (1.0 m + 0.26 v tE) γ, at least 30 kPa, v in m/h, tE in h, γ in kN/m³",
		fmt.Sprintf("    (1.0 + 0.26 · %s · %s) %s", number(c.Rate.base), number(c.Set.base), number(c.UnitWeight.base)),
	}
}

type named struct {
	name string
	p    concrete.Pressure
}

// envelopes draws pressure diagrams as a wall stands: height upwards.
func envelopes(sys unit.System, all []named) *picture {
	pic := &picture{
		title: "Pressure on the form", x: symbolOf(inPressure, sys), y: "height above the foot, " + symbolOf(inLength, sys),
		desc: "From nothing at the top of the concrete to its greatest at the foot, for each rule.",
	}
	for _, n := range all {
		var points plotter.XYs
		for _, l := range n.p.Envelope() {
			x, _ := inPressure.in(l.KPa, sys)
			y, _ := inLength.in(l.AboveBase, sys)
			points = append(points, plotter.XY{X: x, Y: y})
		}
		pic.curves = append(pic.curves, line{n.name, points})
	}
	return pic
}
