package calc

import (
	"fmt"

	"gonum.org/v1/plot/plotter"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// evaluate is a curve at an age, or at the end of a temperature history, and
// its inverse.
func (c *strengthCmd) evaluate(a *answer, curve concrete.StrengthCurve, sys unit.System) error {
	switch {
	case c.Age.given() && c.history.given():
		return &InputError{Flag: "age", Value: c.Age.text, Reason: "allowed: either an age or a temperature history"}
	case c.history.given():
		if err := c.alongHistory(a, curve, sys); err != nil {
			return err
		}
	case c.Age.given():
		if err := c.atAge(a, curve, c.Age.base/24, sys); err != nil {
			return err
		}
	case !c.Reach.given():
		return wanted("age", "48h, or a temperature history, or --reach 3.5MPa")
	}
	if c.Reach.given() {
		days, err := curve.AgeDays(c.Reach.base)
		if err != nil {
			return err
		}
		a.add(value("age-when-reached", inDays, days).with(c.Reach.text))
		a.work(fmt.Sprintf("inverse: %s at %s h of equivalent age", inStrength.format(c.Reach.base, sys), decimals(days*24, 2)))
	}
	c.drawCurve(a, curve, sys)
	return nil
}

func (c *strengthCmd) atAge(a *answer, curve concrete.StrengthCurve, days float64, sys unit.System) error {
	mpa, err := curve.MPa(days)
	if err != nil {
		return err
	}
	a.add(value("strength", inStrength, mpa), value("age", inDays, days).with("equivalent age"))
	a.work(fmt.Sprintf("t = %s d: %s", number(days), inStrength.format(mpa, sys)))
	if c.Curve == "en-1992" && c.Specimens == "" && !concrete.EN1992Covers(days) {
		a.note("EN 1992 gives no strength at this age: the formula is carried beyond 3 to 28 d. Test specimens.")
	}
	return nil
}

// alongHistory is the strength at the end of a temperature history, and when a
// strength is reached in it.
func (c *strengthCmd) alongHistory(a *answer, curve concrete.StrengthCurve, sys unit.System) error {
	s, err := c.read(0)
	if err != nil {
		return err
	}
	m, err := c.maturity()
	if err != nil {
		return err
	}
	age, err := s.CountedAge(m)
	if err != nil {
		return err
	}
	a.source += "; age: " + m.Rule.Source()
	a.work(s.told(sys))
	a.work(fmt.Sprintf("counted equivalent age by %s: %s h (nothing at or below 0 °C)", m.Name(), decimals(age.Total(), 2)))
	if err := c.atAge(a, curve, age.Total()/24, sys); err != nil {
		return c.blame(err)
	}
	a.note(noteFrost)
	if !c.Reach.given() {
		return nil
	}
	at, reached, err := concrete.WhenReached(curve, age, c.Reach.base)
	if err != nil {
		return err
	}
	a.add(reachedAt("reached", s, at, reached))
	return nil
}

// reachedAt is a moment of a history, or that it has not come.
func reachedAt(name string, s story, hours float64, reached bool) figure {
	if !reached {
		return says(name, s.never())
	}
	return value(name, inDuration, hours).with(s.date(hours))
}

func (c *strengthCmd) drawCurve(a *answer, curve concrete.StrengthCurve, sys unit.System) {
	size, symbol := inStrength.in(1, sys)
	last := max(7, 1.2*c.Age.base/24)
	points := sample(0.02, last, func(days float64) (float64, error) {
		mpa, err := curve.MPa(days)
		return mpa * size, err
	})
	a.picture = &picture{
		title: a.title, x: "equivalent age, days", y: symbol,
		desc:   fmt.Sprintf("Strength over the first %s days of equivalent age.", number(last)),
		curves: []line{{"strength", points}},
	}
	if c.Reach.given() {
		a.picture.levels = append(a.picture.levels, level{c.Reach.text, c.Reach.base * size})
	}
}

// plowman is the logarithmic curve, which counts °C·h in place of days.
func (c *strengthCmd) plowman(a *answer, sys unit.System) error {
	if !c.F28.given() {
		return wanted("f28", "40MPa")
	}
	p, err := concrete.NewPlowman(c.F28.base)
	if err != nil {
		return err
	}
	a.title = "Strength by Plowman's logarithmic curve"
	a.source = "Plowman 1956, via Neville (from memory); coefficient of variation of such predictions 12 % (found: Hudson and Steele, TRR 558)"
	a.valid = "1 to 20,000 °C·h above -11.7 °C, 28-day cube strength 5 to 69 MPa; not very early, where it gives nothing, and not beyond 28 d"
	a.work(fmt.Sprintf("S/S28 %% = A + B log10(M/1000), A = %s, B = %s for a 28-day strength of %s, M in °C·h above -11.7 °C",
		number(p.A), number(p.B), inStrength.format(c.F28.base, sys)))
	switch {
	case c.Maturity.given():
		err = c.plowmanAt(a, p, c.Maturity.base, sys)
	case c.history.given():
		err = c.plowmanAlong(a, p, sys)
	case !c.Reach.given():
		return wanted("maturity", "2000Ch, or a temperature history, or --reach 3.5MPa")
	}
	if err != nil || !c.Reach.given() {
		return err
	}
	m, err := p.MaturityCh(c.Reach.base)
	if err != nil {
		return err
	}
	a.add(value("maturity-when-reached", inDegreeHours, m).with(c.Reach.text))
	return nil
}

func (c *strengthCmd) plowmanAt(a *answer, p concrete.Plowman, maturityCh float64, sys unit.System) error {
	percent, err := p.Percent(maturityCh)
	if err != nil {
		return err
	}
	mpa, err := p.MPa(maturityCh)
	if err != nil {
		return err
	}
	a.add(value("strength", inStrength, mpa), value("of-28-day", inPercent, percent/100), value("maturity", inDegreeHours, maturityCh))
	a.work(fmt.Sprintf("M = %s: %s %%, %s", inDegreeHours.format(maturityCh, sys), decimals(percent, 1), inStrength.format(mpa, sys)))
	return nil
}

func (c *strengthCmd) plowmanAlong(a *answer, p concrete.Plowman, sys unit.System) error {
	s, err := c.read(0)
	if err != nil {
		return err
	}
	sum, err := s.TemperatureTime(concrete.PlowmanDatumC)
	if err != nil {
		return err
	}
	a.work(s.told(sys))
	if err := c.plowmanAt(a, p, sum.Total(), sys); err != nil {
		return c.blame(err)
	}
	if !c.Reach.given() {
		return nil
	}
	want, err := p.MaturityCh(c.Reach.base)
	if err != nil {
		return err
	}
	at, reached, err := sum.When(want)
	if err != nil {
		return err
	}
	a.add(reachedAt("reached", s, at, reached))
	return nil
}

// fit fits a curve to specimens and gives it with its prediction band.
func (c *strengthCmd) fit(a *answer, sys unit.System) error {
	rows, _, err := pairs("specimens", c.Specimens, [2]measure{inDays, inStrength}, [2]string{"d", "MPa"})
	if err != nil {
		return err
	}
	var data []concrete.Specimen
	for _, r := range rows {
		data = append(data, concrete.Specimen{AgeDays: r[0], MPa: r[1]})
	}
	fit, curve, err := c.fitted(a, data, sys)
	if err != nil {
		return &InputError{Flag: "specimens", Value: c.Specimens, Reason: err.Error(), cause: err}
	}
	a.status = computed
	a.valid = fmt.Sprintf("at least 4 specimens of at least 3 ages; the band holds from %s to %s d, the ages tested", number(fit.FirstDays), number(fit.LastDays))
	a.add(value("residual", inStrength, fit.ResidualMPa).with("standard deviation about the curve, n - 3 degrees of freedom"),
		value("specimens", inCount, float64(fit.Specimens)))
	a.work(fmt.Sprintf("least squares over %d specimens: standard deviation %s", fit.Specimens, inStrength.format(fit.ResidualMPa, sys)))
	if err := c.band(a, fit, sys); err != nil {
		return err
	}
	if c.history.given() {
		if err := c.alongHistory(a, curve, sys); err != nil {
			return err
		}
	}
	return c.drawFit(a, data, fit, sys)
}

func (c *strengthCmd) fitted(a *answer, data []concrete.Specimen, sys unit.System) (concrete.StrengthFit, concrete.StrengthCurve, error) {
	a.source = "least squares (gonum optimize, BFGS); prediction interval linearised at the fit, Student's t (computed)"
	switch c.Curve {
	case "exponential":
		curve, fit, err := concrete.FitExponential(data)
		a.title = "Exponential strength curve fitted to specimens"
		a.add(value("su", inStrength, curve.SuMPa), value("tau", inDays, curve.TauDays), value("a", inRatio, curve.Alpha))
		a.work(fmt.Sprintf("S = Su exp[-(tau/t)^a]: Su = %s, tau = %s d, a = %s", inStrength.format(curve.SuMPa, sys),
			number(curve.TauDays), number(curve.Alpha)))
		return fit, curve, err
	case "hyperbolic", "en-1992":
		curve, fit, err := concrete.FitHyperbolic(data)
		a.title = "Hyperbolic strength curve fitted to specimens"
		a.add(value("su", inStrength, curve.SuMPa), value("k", inPerDay, curve.KPerDay), value("t0", inDays, curve.T0Days))
		a.work(fmt.Sprintf("S = Su k(t - t0)/[1 + k(t - t0)]: Su = %s, k = %s/d, t0 = %s d", inStrength.format(curve.SuMPa, sys),
			number(curve.KPerDay), number(curve.T0Days)))
		return fit, curve, err
	}
	return concrete.StrengthFit{}, nil, fmt.Errorf("--curve %s is not fitted: allowed hyperbolic, exponential", c.Curve)
}

// band is the fitted curve at an age, and when the lower end of its band
// reaches a strength.
func (c *strengthCmd) band(a *answer, fit concrete.StrengthFit, sys unit.System) error {
	if c.Age.given() {
		low, mid, high, err := fit.Band(c.Age.base/24, c.Confidence.base)
		if err != nil {
			return err
		}
		a.add(value("strength", inStrength, mid), value("low", inStrength, low).with("lower end of the band, "+c.Confidence.text),
			value("high", inStrength, high))
		a.work(fmt.Sprintf("t = %s d: %s, one further specimen between %s and %s (%s)", number(c.Age.base/24),
			inStrength.format(mid, sys), inStrength.format(low, sys), inStrength.format(high, sys), c.Confidence.text))
	}
	if !c.Reach.given() {
		return nil
	}
	days, ok, err := fit.LowAgeDays(c.Reach.base, c.Confidence.base)
	switch {
	case err != nil:
		return err
	case !ok:
		a.add(says("age-when-surely-reached", "not within the ages tested"))
	default:
		a.add(value("age-when-surely-reached", inDays, days).with("from here on the lower end of the band stays above " + c.Reach.text))
	}
	return nil
}

func (c *strengthCmd) drawFit(a *answer, data []concrete.Specimen, fit concrete.StrengthFit, sys unit.System) error {
	size, symbol := inStrength.in(1, sys)
	ends := [3]plotter.XYs{}
	for i := range ends {
		ends[i] = sample(fit.FirstDays, fit.LastDays, func(days float64) (float64, error) {
			low, mid, high, err := fit.Band(days, c.Confidence.base)
			return [3]float64{mid, low, high}[i] * size, err
		})
	}
	p := &picture{
		title: a.title, x: "equivalent age, days", y: symbol, marksName: "specimen",
		desc: fmt.Sprintf("The fitted curve, its band of %s for one further specimen, and %d specimens.", c.Confidence.text, len(data)),
		curves: []line{
			{"fitted curve", ends[0]}, {"lower end, " + c.Confidence.text, ends[1]}, {"upper end, " + c.Confidence.text, ends[2]},
		},
	}
	for _, s := range data {
		p.marks = append(p.marks, plotter.XY{X: s.AgeDays, Y: s.MPa * size})
	}
	a.picture = p
	return nil
}
