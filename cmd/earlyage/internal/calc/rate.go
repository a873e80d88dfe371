package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type rateCmd struct {
	plotted
	Rated    q[pressure]  `placeholder:"40kPa" names:"rated pressure of the form" help:"Rated pressure of the form: gives the greatest rate of rise."`
	Length   q[length]    `placeholder:"40m" names:"length of wall" help:"Length of wall placed at once: with --core, rate of rise and delivery."`
	Core     q[thickness] `placeholder:"150mm" names:"core thickness" help:"Thickness of the core."`
	Delivery q[delivery]  `placeholder:"7.2m3/h" names:"delivery" help:"Delivery of concrete: gives the rate of rise."`
	rateForm `embed:""`
}

// rateForm is placingFlags without what must be given: a rate of rise from a
// delivery wants none of it.
type rateForm struct {
	Temp           q[temperature] `placeholder:"10C" names:"concrete temperature" help:"Coldest concrete at placing."`
	Height         q[length]      `placeholder:"3m" names:"height of placement" help:"Height of concrete placed in one go."`
	UnitWeight     q[unitWeight]  `name:"unit-weight" default:"24kN/m3" names:"unit weight" help:"Unit weight of the concrete."`
	Slump          q[thickness]   `placeholder:"125mm" names:"slump" help:"Slump; not given: no formula holds."`
	Binder         string         `enum:",portland,blended,rich" default:"" placeholder:"BINDER" help:"portland; blended: under 70 % slag or 40 % fly ash; rich: more. Not given: the worst."`
	Retarder       string         `enum:",no,yes" default:"" placeholder:"no|yes" help:"Whether any load holds a retarder. Not given: yes."`
	VibrationDepth q[length]      `name:"vibration-depth" placeholder:"1.2m" names:"depth of vibration" help:"How deep the vibrator reaches; over 1.2 m: full head."`
	Edition        string         `enum:"si,us" default:"si" placeholder:"si|us" help:"Edition whose constants are taken."`
}

// Run implements the command.
func (c *rateCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

func (f rateForm) flags() placingFlags {
	return placingFlags{
		Temp: f.Temp, Height: f.Height, UnitWeight: f.UnitWeight, Slump: f.Slump, Binder: f.Binder, Retarder: f.Retarder,
		Member: "wall", VibrationDepth: f.VibrationDepth, Edition: f.Edition,
	}
}

func (c *rateCmd) work(sys unit.System) (*answer, error) {
	a := &answer{title: "Placing rate", status: computed, caution: cautionForm}
	if c.Rated.given() {
		if err := c.greatest(a, sys); err != nil {
			return nil, err
		}
	}
	switch {
	case c.Length.given() && !c.Core.given():
		return nil, wanted("core", "150mm")
	case c.Core.given() && !c.Length.given():
		return nil, wanted("length", "40m")
	case c.Delivery.given() && !c.Length.given():
		return nil, wanted("length", "40m")
	case !c.Rated.given() && !c.Delivery.given():
		return nil, wanted("rated", "40kPa, or --delivery 7.2m3/h --length 40m --core 150mm")
	}
	if c.Delivery.given() {
		if err := c.rise(a, sys); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// greatest is the greatest rate for a form.
func (c *rateCmd) greatest(a *answer, sys unit.System) error {
	switch {
	case !c.Temp.given():
		return wanted("temp", "10C")
	case !c.Height.given():
		return wanted("height", "3m")
	}
	f := c.flags()
	limit, err := concrete.ACIGreatestRate(f.constants(), c.Rated.base, f.placing(0))
	if err != nil {
		return err
	}
	a.title, a.source, a.status = "Greatest placing rate for a form", sourceACI+"; the inversion is arithmetic", fromMemory
	a.valid = "walls: never above 2.1 m/h (7 ft/h), even where the form holds the full head; " + rangeACI
	if limit.Possible {
		a.add(value("greatest-rate", inRise, limit.Rate), says("governs", string(limit.Formula)))
	} else {
		a.add(says("greatest-rate", "none: the form may not be filled at any rate"))
	}
	for _, n := range limit.Notes {
		a.note(sentence(string(n)))
	}
	c.inverse(a, f, limit, sys)
	if err := c.deliveryAt(a, limit.Rate, "delivery-at-greatest-rate"); err != nil {
		return err
	}
	c.draw(a, f, sys)
	return nil
}

// inverse shows the rule turned round, and checks it by the pressure it gives.
func (c *rateCmd) inverse(a *answer, f placingFlags, limit concrete.RateLimit, sys unit.System) {
	if f.edition() == unit.US {
		a.work("R = [p/(Cw Cc) - 150] T/9000, p in psf, T in °F, R in ft/h")
	} else {
		a.work("R = [p/(Cw Cc) - 7.2] (T + 17.8)/785, p in kPa, T in °C, R in m/h")
	}
	a.work(fmt.Sprintf("form rated %s; full head %s", inPressure.format(c.Rated.base, sys), inPressure.format(f.UnitWeight.base*f.Height.base, sys)))
	if !limit.Possible {
		return
	}
	p, err := concrete.ACIWallPressure(f.constants(), f.placing(limit.Rate))
	if err == nil {
		a.work(fmt.Sprintf("check: at %s the pressure is %s", inRise.format(limit.Rate, sys), inPressure.format(p.KPa, sys)))
	}
}

func (c *rateCmd) deliveryAt(a *answer, rate float64, name string) error {
	if !c.Length.given() || !c.Core.given() {
		return nil
	}
	m3h, err := concrete.DeliveryForRise(rate, c.Length.base, c.Core.base)
	if err != nil {
		return err
	}
	a.add(value(name, inDelivery, m3h))
	return nil
}

// rise is the rate at which a delivery fills a wall.
func (c *rateCmd) rise(a *answer, sys unit.System) error {
	rate, err := concrete.RiseRate(c.Delivery.base, c.Length.base, c.Core.base)
	if err != nil {
		return err
	}
	a.add(value("rate-of-rise", inRise, rate))
	a.work(fmt.Sprintf("R = Q/(L t) = %s/(%s · %s) = %s", inDelivery.format(c.Delivery.base, sys), inLength.format(c.Length.base, sys),
		inThickness.format(c.Core.base, sys), inRise.format(rate, sys)))
	if rate > concrete.CustomaryRise {
		a.note(fmt.Sprintf("Over %s, the customary ceiling for insulating-form walls (common practice, no source).", inRise.format(concrete.CustomaryRise, sys)))
	}
	if c.Rated.given() {
		return c.compare(a, rate)
	}
	a.title, a.source = "Rate of rise from a delivery", "R = Q/(L t), arithmetic; eng-tips thread 150606 gives an example (found)"
	a.valid = "delivery to 300 m³/h, length 0.1 to 2000 m, core 0.05 to 5 m"
	return nil
}

func (c *rateCmd) compare(a *answer, rate float64) error {
	f := c.flags()
	p, err := concrete.ACIWallPressure(f.constants(), f.placing(rate))
	if err != nil {
		return err
	}
	verdict := "within the form's rating"
	if p.KPa > c.Rated.base {
		verdict = "over the form's rating"
	}
	a.add(value("pressure-at-delivery", inPressure, p.KPa), says("verdict", verdict))
	return nil
}

func (c *rateCmd) draw(a *answer, f placingFlags, sys unit.System) {
	size, symbol := inRise.in(1, sys)
	points := sample(2, 35, func(t float64) (float64, error) {
		p := f.placing(0)
		p.TempC = t
		limit, err := concrete.ACIGreatestRate(f.constants(), c.Rated.base, p)
		return limit.Rate * size, err
	})
	a.picture = &picture{
		title: "Greatest placing rate, form rated " + inPressure.format(c.Rated.base, sys),
		x:     "concrete at placing, " + symbolOf(inTemperature, sys), y: symbol,
		desc:   "The colder the concrete, the slower it may rise.",
		curves: []line{{"greatest rate", inUnits(points, sys)}},
	}
}
