package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"
	"gonum.org/v1/plot/plotter"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type setCmd struct {
	plotted
	ruleFlags
	Temp         q[temperature] `placeholder:"15C" names:"concrete temperature" help:"Temperature of the concrete while it sets."`
	Measured     q[duration]    `placeholder:"6h" names:"measured initial set" help:"Initial set of the mix, from batching, measured at --measured-at."`
	MeasuredAt   q[temperature] `name:"measured-at" placeholder:"21C" names:"temperature of the setting test" help:"Temperature at which it was measured."`
	SetAt        []setPoint     `name:"set-at" sep:"none" placeholder:"21C=6h" help:"A measured initial set of the mix; give it once for each temperature."`
	Penetrations string         `placeholder:"FILE" help:"ASTM C403 readings, a CSV of time and penetration resistance: minutes and MPa, unless cells or the head say otherwise."`
	binderFlags
}

// Run implements the command.
func (c *setCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

func (c *setCmd) work(sys unit.System) (*answer, error) {
	a := &answer{caution: cautionJoint, status: fromMemory}
	switch {
	case c.Penetrations != "":
		return a, c.fit(a, sys)
	case c.WCM.given():
		return a, c.hydration(a)
	case !c.Temp.given():
		return nil, wanted("temp", "15C, or --penetrations FILE, or --wcm 0.50")
	case c.Measured.given() && len(c.SetAt) > 0:
		return nil, &InputError{Flag: "measured", Value: c.Measured.text, Reason: "allowed: either --measured or --set-at"}
	case c.Measured.given():
		return a, c.scaled(a, sys)
	case len(c.SetAt) > 0:
		return a, c.mix(a, sys)
	}
	return a, c.table(a, sys)
}

const (
	sourceSetTable = "approximate setting time by temperature, as handbooks print it with their admixture tables (100 to 70 °F found: positivemindstuitionacademy.com; 60 to 30 °F from memory)"
	noteSetTable   = "The table is no Arrhenius curve of one activation energy: its hot end falls faster, and one Q from " +
		"21 °C would say a layer stays open by a fifth too long at 32 °C."
	noteFromBatching = "Time counts from batching, not from placing."
)

// table is initial set by the approximate-setting table.
func (c *setCmd) table(a *answer, sys unit.System) error {
	minutes, err := concrete.InitialSetMinutes(c.Temp.base)
	if err != nil {
		return err
	}
	a.title = "Initial set by the approximate-setting table"
	a.source = sourceSetTable
	a.valid = "30 to 100 °F (-1.1 to 37.8 °C); beyond, an estimate on the safe side for a joint"
	c.result(a, minutes)
	for _, e := range concrete.SettingTable() {
		a.work(fmt.Sprintf("%s: %s h (%s)", celsius((e.TempF-32)/1.8, sys), decimals(e.Minutes/60, 2), e.Status))
	}
	a.work(fmt.Sprintf("at %s, straight in the logarithm of time between neighbours: %s h", celsius(c.Temp.base, sys), decimals(minutes/60, 2)))
	c.outside(a)
	a.note(noteSetTable)
	return c.draw(a, sys, nil, concrete.InitialSetMinutes)
}

// result is what every way to initial set gives.
func (c *setCmd) result(a *answer, minutes float64) {
	a.add(value("initial-set", inDuration, minutes/60).with("from batching"),
		value("joint-limit", inDuration, concrete.JointSetShare*minutes/60).with("80 % of it: a layer counts as closed"))
}

func (c *setCmd) outside(a *answer) {
	if !concrete.SetTableCovers(c.Temp.base) {
		a.note("This temperature lies outside the table: an estimate.")
	}
	a.note(noteFromBatching)
}

// scaled is a measured set moved to another temperature.
func (c *setCmd) scaled(a *answer, sys unit.System) error {
	if !c.MeasuredAt.given() {
		return wanted("measured-at", "21C")
	}
	minutes, err := concrete.ScaleInitialSet(c.Measured.base*60, c.MeasuredAt.base, c.Temp.base)
	if err != nil {
		return err
	}
	m, err := c.maturity()
	if err != nil {
		return err
	}
	byRule, late, err := concrete.EquivalentSet(c.Measured.base*60, c.MeasuredAt.base, c.Temp.base, m)
	if err != nil {
		return err
	}
	from, err := concrete.InitialSetMinutes(c.MeasuredAt.base)
	if err != nil {
		return err
	}
	to, err := concrete.InitialSetMinutes(c.Temp.base)
	if err != nil {
		return err
	}
	a.title = "Initial set of a measured mix at another temperature"
	a.source = sourceSetTable + "; the ratio of its entries is applied to the measured set (computed)"
	a.valid = "measured set 20 min to 48 h at 0 to 38 °C; temperature -50 to 80 °C"
	c.result(a, minutes)
	a.add(value("by-equivalent-age", inDuration, byRule/60).with("for comparison: " + m.Name()))
	a.work(fmt.Sprintf("%s at %s; table: %s h there, %s h at %s", c.Measured.text, celsius(c.MeasuredAt.base, sys),
		decimals(from/60, 2), decimals(to/60, 2), celsius(c.Temp.base, sys)))
	a.work(fmt.Sprintf("%s h · %s/%s = %s h", decimals(c.Measured.base, 2), decimals(to/60, 2), decimals(from/60, 2), decimals(minutes/60, 2)))
	if late {
		a.note("Equivalent age gives a later set here than the table: unsafe for a joint.")
	}
	a.note(noteSetTable)
	c.outside(a)
	return c.drawScaled(a, sys)
}

func (c *setCmd) drawScaled(a *answer, sys unit.System) error {
	measured := concrete.SetPoint{TempC: c.MeasuredAt.base, Minutes: c.Measured.base * 60}
	return c.draw(a, sys, []concrete.SetPoint{measured}, func(t float64) (float64, error) {
		return concrete.ScaleInitialSet(measured.Minutes, measured.TempC, t)
	})
}

// mix is initial set by a mix's own points.
func (c *setCmd) mix(a *answer, sys unit.System) error {
	points := setPoints(c.SetAt)
	minutes, err := concrete.MixInitialSetMinutes(points, c.Temp.base)
	if err != nil {
		return &InputError{Flag: "set-at", Value: c.SetAt[0].text, Reason: err.Error(), cause: err}
	}
	a.title = "Initial set by the mix's own measurements"
	a.source = "the measurements given; straight in the logarithm of time between two, beyond them scaled by the " + sourceSetTable
	a.valid = "measured set 20 min to 48 h at 0 to 38 °C; temperature -50 to 80 °C"
	c.result(a, minutes)
	for _, p := range c.SetAt {
		a.work(fmt.Sprintf("measured: %s min at %s", number(p.Minutes), celsius(p.TempC, sys)))
	}
	if len(points) == 2 {
		e, err := concrete.ApparentEnergy(points[0], points[1])
		if err != nil {
			return err
		}
		a.add(value("apparent-activation-energy", inEnergy, e))
	}
	a.work(fmt.Sprintf("at %s: %s h", celsius(c.Temp.base, sys), decimals(minutes/60, 2)))
	a.note(noteFromBatching)
	return c.draw(a, sys, points, func(t float64) (float64, error) { return concrete.MixInitialSetMinutes(points, t) })
}

// hydration is set by degree of hydration.
func (c *setCmd) hydration(a *answer) error {
	b := c.binder()
	initial, final, err := concrete.HydrationSetHours(b)
	if err != nil {
		return err
	}
	h, err := b.Hydration()
	if err != nil {
		return err
	}
	a.title = "Setting by degree of hydration"
	a.source = "Schindler 2004: degree of hydration 0.15 w/cm at initial set, 0.26 w/cm at final set; hydration curve of Schindler and Folliard, ACI Materials Journal 102-M04, 2005 (from memory)"
	a.valid = rangeHydration
	a.add(value("initial-set", inDuration, initial).with("age at 21.1 °C"), value("final-set", inDuration, final).with("age at 21.1 °C"))
	a.work(fmt.Sprintf("αu = %s, β = %s, τ = %s h", decimals(h.Ultimate, 4), decimals(h.Slope, 4), decimals(h.Time, 3)))
	a.work(fmt.Sprintf("te = τ [ln(αu/α)]^(-1/β), α = 0.15 w/cm = %s: %s h", decimals(0.15*b.WaterBinder, 4), decimals(initial, 2)))
	a.work(fmt.Sprintf("α = 0.26 w/cm = %s: %s h", decimals(0.26*b.WaterBinder, 4), decimals(final, 2)))
	a.note("An estimate: it knows no admixture, and its hours are ages at 21.1 °C, no hours of the clock.")
	return nil
}

// fit is ASTM C403.
func (c *setCmd) fit(a *answer, sys unit.System) error {
	rows, _, err := pairs("penetrations", c.Penetrations, [2]measure{inMinutes, inStrength}, [2]string{"min", "MPa"})
	if err != nil {
		return err
	}
	var readings []concrete.Penetration
	for _, r := range rows {
		readings = append(readings, concrete.Penetration{Minutes: r[0], MPa: r[1]})
	}
	fit, err := concrete.FitSetting(readings)
	if err != nil {
		return &InputError{Flag: "penetrations", Value: c.Penetrations, Reason: err.Error(), cause: err}
	}
	a.title = "Setting times by penetration resistance"
	a.source = "ASTM C403/C403M: initial set 3.5 MPa (500 psi), final 27.6 MPa (4000 psi) (found: build-construct.com); 0.7 MPa (100 psi) as the end of revibration (from memory)"
	a.valid = "at least six readings, on both sides of each threshold"
	a.work(fmt.Sprintf("log10 PR = a + b log10 t, PR in psi, t in min: a = %s, b = %s, r² = %s over %d readings",
		decimals(fit.A, 3), decimals(fit.B, 3), decimals(fit.R2, 4), len(readings)))
	for _, at := range []struct {
		name string
		mpa  float64
	}{
		{"vibration-limit", concrete.VibrationLimitMPa}, {"initial-set", concrete.InitialSetMPa}, {"final-set", concrete.FinalSetMPa},
	} {
		if err := threshold(a, fit, readings, at.name, at.mpa, sys); err != nil {
			return err
		}
	}
	a.add(value("a", inRatio, fit.A), value("b", inRatio, fit.B), value("r2", inRatio, fit.R2))
	a.note("Straight lines between neighbouring readings, in place of the fit, move the answer by some minutes: shown as \"between readings\".")
	c.drawFit(a, fit, readings, sys)
	return nil
}

func threshold(a *answer, fit concrete.SettingFit, readings []concrete.Penetration, name string, mpa float64, sys unit.System) error {
	minutes, err := fit.Minutes(mpa)
	if err != nil {
		return err
	}
	remark := "extrapolated: no readings on both sides"
	if fit.Covers(mpa) {
		between, err := concrete.InterpolateSetting(readings, mpa)
		if err != nil {
			return err
		}
		remark = fmt.Sprintf("between readings: %s min", decimals(between, 1))
	}
	a.add(value(name, inMinutes, minutes).with(remark))
	a.work(fmt.Sprintf("%s, %s: t = 10^[(log10 PR - a)/b] = %s min", spaced(name), inStrength.format(mpa, sys), decimals(minutes, 1)))
	return nil
}

func (c *setCmd) drawFit(a *answer, fit concrete.SettingFit, readings []concrete.Penetration, sys unit.System) {
	size, symbol := inStrength.in(1, sys)
	first, last := readings[0].Minutes, readings[len(readings)-1].Minutes
	a.picture = &picture{
		title: "Penetration resistance", x: "minutes from water meeting cement", y: symbol, marksName: "reading",
		desc: fmt.Sprintf("%d readings and the line fitted to their logarithms.", len(readings)),
		curves: []line{{"fitted line", sample(first, last, func(t float64) (float64, error) {
			mpa, err := fit.MPa(t)
			return mpa * size, err
		})}},
		levels: []level{{"initial set", concrete.InitialSetMPa * size}, {"final set", concrete.FinalSetMPa * size}},
	}
	for _, r := range readings {
		a.picture.marks = append(a.picture.marks, plotter.XY{X: r.Minutes, Y: r.MPa * size})
	}
}

// draw is initial set against temperature.
func (c *setCmd) draw(a *answer, sys unit.System, points []concrete.SetPoint, minutes func(float64) (float64, error)) error {
	a.picture = &picture{
		title: "Initial set against temperature", x: symbolOf(inTemperature, sys), y: "hours from batching", marksName: "measured",
		desc: "Initial set falls as the concrete gets warmer.",
	}
	set := sample(-1, 38, func(t float64) (float64, error) { m, err := minutes(t); return m / 60, err })
	closed := sample(-1, 38, func(t float64) (float64, error) { m, err := minutes(t); return concrete.JointSetShare * m / 60, err })
	a.picture.curves = []line{{"initial set", inUnits(set, sys)}, {"80 %: layer closed", inUnits(closed, sys)}}
	for _, p := range points {
		a.picture.marks = append(a.picture.marks, plotter.XY{X: p.TempC, Y: p.Minutes / 60})
	}
	a.picture.marks = inUnits(a.picture.marks, sys)
	return nil
}

// inUnits turns the °C along an axis into a system's degrees.
func inUnits(points plotter.XYs, sys unit.System) plotter.XYs {
	for i := range points {
		points[i].X, _ = inTemperature.in(points[i].X, sys)
	}
	return points
}

func symbolOf(m measure, sys unit.System) string {
	_, symbol := m.in(0, sys)
	return symbol
}
