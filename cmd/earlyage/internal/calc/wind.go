package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type windCmd struct {
	output
	Wind         q[speed]      `required:"" placeholder:"40m/s" names:"wind speed" help:"Design wind of the place."`
	Period       q[duration]   `default:"28d" names:"construction period" help:"How long the wall stands unsupported: the shorter, the lower the wind taken."`
	FullWind     bool          `name:"full-wind" help:"Take the whole wind, without the factor of the construction period."`
	Kz           q[ratio]      `name:"kz" default:"0.85" names:"Kz" help:"Height and exposure up to 4.6 m: 0.85 open country, 0.57 built-up (0.70 in older tables)."`
	Kzt          q[ratio]      `name:"kzt" default:"1" names:"Kzt" help:"Topography."`
	Kd           q[ratio]      `name:"kd" default:"0.85" names:"Kd" help:"Directionality."`
	Gust         q[ratio]      `default:"0.85" names:"gust factor" help:"Gust factor."`
	Cf           q[ratio]      `name:"cf" placeholder:"1.30" names:"force coefficient" help:"Force coefficient; not given: by the length over the height."`
	Height       q[length]     `required:"" placeholder:"3m" names:"height of wall|height of form" help:"Height of the wall."`
	Length       q[length]     `placeholder:"12m" names:"length of wall|length over height of wall" help:"Length of the wall."`
	Thickness    q[thickness]  `placeholder:"150mm" names:"wall thickness" help:"Thickness: gives tension, strength needed and resistance of its own weight."`
	UnitWeight   q[unitWeight] `name:"unit-weight" default:"24kN/m3" names:"unit weight" help:"Unit weight of the concrete."`
	LoadFactor   q[ratio]      `name:"load-factor" default:"1" names:"load factor" help:"Load factor on the tension: 1 for a strength-level wind."`
	BraceSpacing q[length]     `name:"brace-spacing" placeholder:"1.8m" names:"brace spacing" help:"From brace to brace: gives the force on one."`
	BraceHeight  q[length]     `name:"brace-height" placeholder:"2m" names:"height of brace" help:"Where the brace holds the wall."`
	BraceAngle   q[angle]      `name:"brace-angle" default:"45deg" names:"angle of brace" help:"Angle of the brace above the horizontal."`
	Edition      string        `enum:"si,us" default:"si" placeholder:"si|us" help:"Edition whose constants are taken; they differ by rounding."`
}

// Run implements the command.
func (c *windCmd) Run(k *kong.Context, w io.Writer) error { return c.output.run(k, w, c.work) }

func (c *windCmd) work(sys unit.System) (*answer, error) {
	a := &answer{
		title:  "Wind on a free-standing wall",
		source: "ASCE 7 and ASCE 37-14 6.2.1 (from memory; Kd introduced in ASCE 7-98: found); ACI 318-14 chapter 14 and ACI 347 2.2.3 (from memory); the rest statics",
		status: fromMemory,
		valid:  "Kz as given holds up to 4.6 m; length over height from 1; not for a hurricane season without a plan", caution: cautionBracing,
	}
	p, err := c.pressure(a, sys)
	if err != nil {
		return nil, err
	}
	moment, err := concrete.WallBaseMoment(p, c.Height.base)
	if err != nil {
		return nil, err
	}
	a.add(value("base-moment", inMoment, moment).with("per length of wall, free at the top"))
	a.work(fmt.Sprintf("M = p h²/2 = %s", inMoment.format(moment, sys)))
	for _, part := range []func(*answer, float64, unit.System) error{c.concrete, c.brace, c.least} {
		if err := part(a, moment, sys); err != nil {
			return nil, err
		}
	}
	return a, c.zone(a, sys)
}

// pressure is the wind's pressure on the wall in kPa.
func (c *windCmd) pressure(a *answer, sys unit.System) (float64, error) {
	factor := 1.0
	if !c.FullWind {
		var err error
		if factor, err = concrete.ConstructionWindFactor(c.Period.base); err != nil {
			return 0, err
		}
	}
	v := factor * c.Wind.base
	q, err := concrete.VelocityPressure(concrete.Constants(c.Edition), v, concrete.WindFactors{Kz: c.Kz.base, Kzt: c.Kzt.base, Kd: c.Kd.base})
	if err != nil {
		return 0, err
	}
	cf, err := c.coefficient()
	if err != nil {
		return 0, err
	}
	p, err := concrete.WindPressureOnWall(q, c.Gust.base, cf)
	if err != nil {
		return 0, err
	}
	a.add(value("velocity-pressure", inPressure3, q), value("pressure", inPressure3, p).with("on the wall"))
	constant := "0.613 Kz Kzt Kd V² N/m², V in m/s"
	if c.Edition == "us" {
		constant = "0.00256 Kz Kzt Kd V² psf, V in mph"
	}
	a.work(fmt.Sprintf("V = %s · %s = %s", number(factor), inSpeed.format(c.Wind.base, sys), inSpeed.format(v, sys)))
	a.work(fmt.Sprintf("q = %s; Kz = %s, Kzt = %s, Kd = %s: %s", constant, number(c.Kz.base), number(c.Kzt.base), number(c.Kd.base), inPressure3.format(q, sys)))
	a.work(fmt.Sprintf("p = q G Cf = q · %s · %s = %s", number(c.Gust.base), number(cf), inPressure3.format(p, sys)))
	return p, nil
}

func (c *windCmd) coefficient() (float64, error) {
	switch {
	case c.Cf.given():
		return c.Cf.base, nil
	case !c.Length.given():
		return 0, wanted("length", "12m, or --cf 1.30")
	}
	return concrete.WallForceCoefficient(c.Length.base / c.Height.base)
}

// concrete is what the moment asks of plain concrete.
func (c *windCmd) concrete(a *answer, moment float64, sys unit.System) error {
	if !c.Thickness.given() {
		return nil
	}
	tension, err := concrete.WallTension(moment, c.Thickness.base)
	if err != nil {
		return err
	}
	need, err := concrete.RequiredPlainStrength(tension, c.LoadFactor.base)
	if err != nil {
		return err
	}
	own, err := concrete.ResistingMoment(c.UnitWeight.base, c.Height.base, c.Thickness.base)
	if err != nil {
		return err
	}
	verdict := "overturns unbraced"
	if own > moment {
		verdict = "its own weight holds it"
	}
	a.add(value("tension-at-foot", inTension, tension).with("no axial load; a cold joint at the foot bears none"),
		value("strength-needed", inStrength, need).with("of plain concrete in bending"),
		value("resisting-moment", inMoment, own).with("of its own weight about the toe"), says("unbraced", verdict))
	a.work(fmt.Sprintf("σ = 6 M/t² = %s; f'c = (factor σ/(0.60 · 0.42))² = %s", inTension.format(tension, sys), inStrength.format(need, sys)))
	a.work(fmt.Sprintf("w h t²/2 = %s against M = %s", inMoment.format(own, sys), inMoment.format(moment, sys)))
	return nil
}

func (c *windCmd) brace(a *answer, moment float64, sys unit.System) error {
	switch {
	case !c.BraceSpacing.given():
		return nil
	case !c.BraceHeight.given():
		return wanted("brace-height", "2m")
	}
	f, err := concrete.BraceForceFor(moment, c.Height.base, concrete.Brace{
		Spacing: c.BraceSpacing.base, Height: c.BraceHeight.base, AngleDeg: c.BraceAngle.base,
	})
	if err != nil {
		return err
	}
	a.add(value("brace-horizontal", inForce, f.HorizontalKN), value("brace-along", inForce, f.AlongKN).with("along the brace"),
		value("brace-foot-vertical", inForce, f.VerticalKN).with("uplift or thrust at its foot"))
	a.work(fmt.Sprintf("H = M spacing/height = %s; along it H/cos %s° = %s", inForce.format(f.HorizontalKN, sys), number(c.BraceAngle.base),
		inForce.format(f.AlongKN, sys)))
	return nil
}

// least is the least load for which forms are braced.
func (c *windCmd) least(a *answer, moment float64, sys unit.System) error {
	m, err := concrete.MinimumBracingFor(c.Height.base)
	if err != nil {
		return err
	}
	a.add(value("least-bracing-moment", inMoment, m.MomentKNm).with("ACI 347 2.2.3: the local wind if that is more"))
	a.work(fmt.Sprintf("least for forms: %s where exposed, %s along the top: %s", inPressure.format(m.PressureKPa, sys),
		inLineLoad.format(m.TopKNm, sys), inMoment.format(m.MomentKNm, sys)))
	if m.MomentKNm > moment {
		a.note("The least load of ACI 347 is more than this wind. Forms weigh next to nothing before they are filled: wind governs empty forms.")
	}
	return nil
}

func (c *windCmd) zone(a *answer, sys unit.System) error {
	if !c.Length.given() {
		return nil
	}
	z, err := concrete.RestrictedZone(c.Height.base, c.Length.base)
	if err != nil {
		return err
	}
	a.add(value("zone-out", inLength, z.Out).with("on both sides: nobody stays there until the wall is held for good"), value("zone-length", inLength, z.Length))
	a.note(fmt.Sprintf("Zone: masonry practice (found: learnwithseu.com), asked for above 2.4 m; leave it above %s in the initial period, %s after.",
		inSpeed.format(concrete.EvacuateInitial, sys), inSpeed.format(concrete.EvacuateIntermediate, sys)))
	return nil
}
