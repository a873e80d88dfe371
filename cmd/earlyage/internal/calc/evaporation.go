package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type evaporationCmd struct {
	plotted
	Surface  q[temperature] `required:"" placeholder:"30C" names:"concrete surface temperature" help:"Temperature of the concrete's surface."`
	Air      q[temperature] `required:"" placeholder:"27C" names:"air temperature" help:"Temperature of the air."`
	Humidity q[percent]     `required:"" placeholder:"50%" names:"relative humidity" help:"Relative humidity of the air."`
	Wind     q[speed]       `required:"" placeholder:"19km/h" names:"wind speed" help:"Wind at 0.5 m above the surface."`
	Formula  string         `enum:"exact,uno-si,uno-us,menzel" default:"exact" placeholder:"FORMULA" help:"exact, uno-si (rounded, reads 4 to 5 % low), uno-us or menzel."`
	LowBleed bool           `name:"low-bleed" help:"A mix that bleeds little, such as with silica fume."`
}

// Run implements the command.
func (c *evaporationCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

var evaporationFormulas = []struct {
	name   string
	of     concrete.EvaporationFormula
	says   string
	source string
}{
	{"exact", concrete.UnoExact, "5.275 ([Tc + 17.778]^2.5 - r [Ta + 17.778]^2.5)(V + 4.02336) 10^-6", "exact conversion of the US form (found: an instrument maker's note; derived again); constants of the US form from memory"},
	{"uno-si", concrete.UnoSI, "5 ([Tc + 18]^2.5 - r [Ta + 18]^2.5)(V + 4) 10^-6", "Uno, ACI Materials Journal 95-M34, 1998 (title and height found, constants from memory)"},
	{"uno-us", concrete.UnoUS, "(Tc^2.5 - r Ta^2.5)(1 + 0.4 V) 10^-6 lb/(ft² h), °F, mph", "Uno, ACI Materials Journal 95-M34, 1998 (title and height found, constants from memory)"},
	{"menzel", concrete.Menzel, "0.315 (e0 - r ea)(0.253 + 0.060 V), e = 0.61 exp[17.3 T/(237.3 + T)] kPa", "Menzel's formula as Uno 1998 gives it (constants from memory)"},
}

func (c *evaporationCmd) at(of concrete.EvaporationFormula, wind float64) (float64, error) {
	return concrete.Evaporation(of, c.Surface.base, c.Air.base, c.Humidity.base, wind)
}

func (c *evaporationCmd) work(sys unit.System) (*answer, error) {
	a := &answer{
		title: "Evaporation from a fresh surface", status: fromMemory,
		valid:   "surface 0 to 70 °C, air -60 to 60 °C, wind 0 to 60 m/s at 0.5 m above the surface; a guide: actual rates lie within 40 % of the nomograph (found: Hover, ACI SP-338)",
		caution: "Of a wall only the top is exposed. Fog, shade or cover the top before it dries; plastic cracks come within the first hours.",
	}
	for _, f := range evaporationFormulas {
		rate, err := c.at(f.of, c.Wind.base)
		if err != nil {
			return nil, err
		}
		if f.name != c.Formula {
			a.work(fmt.Sprintf("for comparison, %s: %s", f.name, inEvaporation.format(rate, sys)))
			continue
		}
		a.source = f.source
		a.add(value("evaporation", inEvaporation, rate))
		a.working = append([]string{"E = " + f.says + ", V in km/h unless it says mph", c.numbers(sys), "E = " + inEvaporation.format(rate, sys)}, a.working...)
		if err := c.action(a, rate); err != nil {
			return nil, err
		}
	}
	c.draw(a, sys)
	return a, nil
}

func (c *evaporationCmd) numbers(sys unit.System) string {
	return fmt.Sprintf("Tc = %s, Ta = %s, r = %s, V = %s km/h", celsius(c.Surface.base, sys), celsius(c.Air.base, sys),
		number(c.Humidity.base), number(c.Wind.base/unit.KMH))
}

func (c *evaporationCmd) action(a *answer, rate float64) error {
	action, err := concrete.DryingActionFor(rate, c.LowBleed)
	if err != nil {
		return err
	}
	a.add(says("action", map[concrete.DryingAction]string{
		concrete.DryingNone: "none", concrete.DryingWatch: "cover and mist at hand", concrete.DryingPrecaution: "take precautions",
		concrete.DryingAct: "protect at once",
	}[action]))
	a.note("Levels: 1.0 kg/m²/h, 0.2 lb/ft²/h (found: UFGS 03300N, which cites ACI 305R); 0.75 (from memory); 0.5 for mixes that bleed little (found, secondary).")
	return nil
}

func (c *evaporationCmd) draw(a *answer, sys unit.System) {
	size, symbol := inEvaporation.in(1, sys)
	perMS, wind := inSpeed.in(1, sys)
	a.picture = &picture{
		title: "Evaporation against wind", x: "wind, " + wind, y: symbol,
		desc: "Evaporation grows with the wind; the levels at which something must be done lie across.",
		levels: []level{{number(concrete.EvaporationLimit*size) + ": protect at once", concrete.EvaporationLimit * size},
			{number(concrete.EvaporationIntermediate*size) + ": precautions", concrete.EvaporationIntermediate * size},
			{number(concrete.EvaporationLowBleed*size) + ": low-bleed mixes", concrete.EvaporationLowBleed * size}},
	}
	for _, f := range evaporationFormulas {
		points := sample(0, max(10, 1.3*c.Wind.base), func(ms float64) (float64, error) {
			rate, err := c.at(f.of, ms)
			return rate * size, err
		})
		for i := range points {
			points[i].X *= perMS
		}
		if f.name == c.Formula {
			a.picture.curves = append(a.picture.curves, line{f.name, points})
		}
	}
}
