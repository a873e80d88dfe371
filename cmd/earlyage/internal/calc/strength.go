package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler"
	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type strengthCmd struct {
	plotted
	history
	ruleFlags
	Curve      string         `enum:"en-1992,aci-209,hyperbolic,exponential,plowman" default:"en-1992" placeholder:"CURVE" help:"Curve: en-1992, aci-209, hyperbolic, exponential or plowman."`
	Fck        q[strength]    `placeholder:"25MPa" names:"characteristic strength fck" help:"EN 1992: characteristic cylinder strength at 28 days."`
	Class      string         `enum:"R,N,S" default:"N" placeholder:"R|N|S" help:"EN 1992: strength class of the cement."`
	F28        q[strength]    `name:"f28" placeholder:"30MPa" names:"strength at 28 d|28-day cube strength" help:"ACI 209, Plowman: strength at 28 days."`
	Cement     string         `enum:"type-i-moist,type-iii-moist,type-i-steam,type-iii-steam" default:"type-i-moist" placeholder:"CEMENT" help:"ACI 209: type-i-moist, type-iii-moist, type-i-steam or type-iii-steam."`
	Su         q[strength]    `placeholder:"40MPa" names:"limiting strength Su" help:"Hyperbolic, exponential: strength that the curve nears."`
	K          q[perDay]      `name:"k" placeholder:"0.35/d" names:"rate k" help:"Hyperbolic: rate constant."`
	T0         q[duration]    `name:"t0" default:"0d" names:"age t0" help:"Hyperbolic: age at which strength begins."`
	Tau        q[duration]    `placeholder:"36h" names:"time constant tau" help:"Exponential: time constant."`
	A          q[ratio]       `name:"a" placeholder:"0.8" names:"exponent a" help:"Exponential: exponent."`
	Age        q[duration]    `placeholder:"48h" names:"age" help:"Equivalent age at the reference of the curve, in place of a temperature history."`
	Maturity   q[degreeHours] `placeholder:"2000Ch" names:"maturity" help:"Plowman: temperature-time factor above -11.7 °C, in place of a history."`
	Reach      q[strength]    `placeholder:"3.5MPa" names:"strength" help:"Also: when this strength is reached."`
	Specimens  string         `placeholder:"FILE" help:"Fit the hyperbolic or exponential curve to a CSV of age and strength: days and MPa, unless cells or the head say otherwise."`
	Confidence q[percent]     `default:"90%" names:"confidence" help:"Of the prediction band about a fitted curve."`
}

// Run implements the command.
func (c *strengthCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

func (c *strengthCmd) work(sys unit.System) (*answer, error) {
	a := &answer{status: fromMemory, caution: scheduler.Caution}
	switch {
	case c.Specimens != "":
		return a, c.fit(a, sys)
	case c.Curve == "plowman":
		return a, c.plowman(a, sys)
	}
	curve, err := c.curve(a, sys)
	if err != nil {
		return nil, err
	}
	return a, c.evaluate(a, curve, sys)
}

// curve is the curve that the flags describe; its formula goes to the working.
func (c *strengthCmd) curve(a *answer, sys unit.System) (concrete.StrengthCurve, error) {
	switch c.Curve {
	case "en-1992":
		return c.en1992(a, sys)
	case "aci-209":
		return c.aci209(a, sys)
	case "hyperbolic":
		return c.hyperbolic(a, sys)
	default:
		return c.exponential(a, sys)
	}
}

func (c *strengthCmd) en1992(a *answer, sys unit.System) (concrete.StrengthCurve, error) {
	if !c.Fck.given() {
		return nil, wanted("fck", "25MPa")
	}
	class := map[string]concrete.CementClass{"R": concrete.ClassR, "N": concrete.ClassN, "S": concrete.ClassS}[c.Class]
	curve := concrete.EN1992{FckMPa: c.Fck.base, Class: class}
	fcm, err := curve.MeanMPa()
	if err != nil {
		return nil, err
	}
	s := map[string]string{"R": "0.20", "N": "0.25", "S": "0.38"}[c.Class]
	a.title = "Mean strength by EN 1992-1-1"
	a.source = "EN 1992-1-1 3.1.2(6), equations 3.1 and 3.2 (that they exist: found; the constants: from memory)"
	a.valid = "the clause gives strengths from 3 to 28 d and wants tests below 3 d; fck 8 to 100 MPa; the formula is carried on from 0.01 d"
	a.work(fmt.Sprintf("fcm = fck + 8 MPa = %s", inStrength.format(fcm, sys)))
	a.work(fmt.Sprintf("fcm(t) = fcm exp{s[1 - sqrt(28/t)]}, s = %s for class %s, t in days at 20 °C", s, c.Class))
	return curve, nil
}

func (c *strengthCmd) aci209(a *answer, sys unit.System) (concrete.StrengthCurve, error) {
	if !c.F28.given() {
		return nil, wanted("f28", "30MPa")
	}
	curve := map[string]func(float64) concrete.ACI209{
		"type-i-moist": concrete.ACI209TypeIMoist, "type-iii-moist": concrete.ACI209TypeIIIMoist,
		"type-i-steam": concrete.ACI209TypeISteam, "type-iii-steam": concrete.ACI209TypeIIISteam,
	}[c.Cement](c.F28.base)
	a.title = "Strength by ACI 209"
	a.source = "ACI 209R-92 equation 2-1 (from memory)"
	a.valid = "f28 1 to 150 MPa; the ratio at 28 d is not exactly 1 for every pair: the standard's own rounding"
	a.work(fmt.Sprintf("f(t) = f28 t/(a + b t), f28 = %s, a = %s d, b = %s for %s, t in days", inStrength.format(curve.F28MPa, sys),
		number(curve.A), number(curve.B), spaced(c.Cement)))
	return curve, nil
}

func (c *strengthCmd) hyperbolic(a *answer, sys unit.System) (concrete.StrengthCurve, error) {
	switch {
	case !c.Su.given():
		return nil, wanted("su", "40MPa")
	case !c.K.given():
		return nil, wanted("k", "0.35/d")
	}
	curve := concrete.Hyperbolic{SuMPa: c.Su.base, KPerDay: c.K.base, T0Days: c.T0.base / 24}
	a.title = "Strength by the hyperbolic curve"
	a.source = "Carino, Cement, Concrete and Aggregates 6(2), 1984 (symbols found), and the ASTM C1074 annex (from memory)"
	a.valid = "Su 1 to 200 MPa, k 0.001 to 50 per day, t0 0 to 10 d: the constants of a mix that was tested"
	a.work(fmt.Sprintf("S = Su k(t - t0)/[1 + k(t - t0)], Su = %s, k = %s/d, t0 = %s d", inStrength.format(curve.SuMPa, sys),
		number(curve.KPerDay), number(curve.T0Days)))
	return curve, nil
}

func (c *strengthCmd) exponential(a *answer, sys unit.System) (concrete.StrengthCurve, error) {
	switch {
	case !c.Su.given():
		return nil, wanted("su", "45MPa")
	case !c.Tau.given():
		return nil, wanted("tau", "36h")
	case !c.A.given():
		return nil, wanted("a", "0.8")
	}
	curve := concrete.Exponential{SuMPa: c.Su.base, TauDays: c.Tau.base / 24, Alpha: c.A.base}
	a.title = "Strength by the exponential curve"
	a.source = "Freiesleben Hansen and Pedersen (from memory)"
	a.valid = "Su 1 to 200 MPa, tau 0.01 to 100 d, exponent 0.1 to 5: the constants of a mix that was tested"
	a.work(fmt.Sprintf("S = Su exp[-(tau/t)^a], Su = %s, tau = %s d, a = %s", inStrength.format(curve.SuMPa, sys),
		number(curve.TauDays), number(curve.Alpha)))
	return curve, nil
}
