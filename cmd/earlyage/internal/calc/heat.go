package calc

import (
	"errors"
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type heatCmd struct {
	plotted
	Core         q[thickness]    `required:"" placeholder:"200mm" names:"wall thickness" help:"Thickness of the concrete."`
	Start        q[temperature]  `required:"" placeholder:"20C" names:"placing temperature" help:"Concrete as placed."`
	Cement       q[density]      `required:"" placeholder:"350kg/m3" names:"cementitious content" help:"Cementitious material in 1 m³."`
	Air          q[temperature]  `placeholder:"-10C" names:"air temperature" help:"Constant air on both sides."`
	Temps        string          `placeholder:"FILE" help:"In its place, a CSV of the air from placing on: hours or RFC 3339."`
	TempsUnit    string          `name:"temps-unit" enum:",C,F" default:"" placeholder:"C|F" help:"Unit of bare temperatures in the file; C if nothing says otherwise."`
	Form         string          `enum:"foam,plywood,none" default:"foam" placeholder:"FORM" help:"Form on both faces: foam (63.5 mm), plywood (19 mm) or none (bare or steel)."`
	FormR        q[resistance]   `name:"form-r" placeholder:"1.76m2K/W" names:"form resistance" help:"Thermal resistance of the form, in place of --form."`
	InnerAir     q[temperature]  `name:"inner-air" placeholder:"10C" names:"air temperature" help:"Other air on the inner side."`
	InnerForm    string          `name:"inner-form" enum:",foam,plywood,none" default:"" placeholder:"FORM" help:"Other form on the inner side."`
	Film         q[film]         `default:"20W/m2K" names:"air film" help:"Air film: 20 at about 3 m/s, 34 in a winter wind of 6.7 m/s, 8.3 in still air."`
	Hours        q[duration]     `default:"72h" names:"hours to predict" help:"How long to look ahead."`
	Density      q[density]      `default:"2400kg/m3" names:"density" help:"Density of the concrete."`
	SpecificHeat q[heatCapacity] `name:"specific-heat" default:"1050J/kgK" names:"specific heat" help:"Its specific heat."`
	Conductivity q[conductivity] `default:"2W/mK" names:"thermal conductivity" help:"Its conductivity."`
	Model        string          `enum:"auto,lumped,nodal" default:"auto" placeholder:"MODEL" help:"auto: lumped where the Biot number is under 0.1, nodes where it is not."`
	binderFlags
}

// Run implements the command.
func (c *heatCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

func (c *heatCmd) resistance(form string) float64 {
	return map[string]float64{"foam": concrete.FormFoam64, "plywood": concrete.FormPlywood19, "none": concrete.FormNone}[form]
}

// airs are the airs of the inner and the outer side.
func (c *heatCmd) airs() (inner, outer concrete.Air, err error) {
	switch {
	case c.Air.given() && c.Temps != "":
		return inner, outer, &InputError{Flag: "air", Value: c.Air.text, Reason: "allowed: either --air or --temps"}
	case c.Air.given():
		outer, err = concrete.ConstantAir(c.Air.base)
	case c.Temps != "":
		var s story
		if s, err = readTemps("temps", c.Temps, c.TempsUnit); err == nil {
			outer, err = concrete.AirSeries(s.Series)
		}
		if err == nil && c.Hours.base > s.end() {
			err = &InputError{Flag: "hours", Value: c.Hours.text, Reason: "allowed to " + number(s.end()) + " h, where the air of " + c.Temps + " ends"}
		}
	default:
		err = wanted("air", "-10C, or --temps FILE")
	}
	inner = outer
	if err == nil && c.InnerAir.given() {
		inner, err = concrete.ConstantAir(c.InnerAir.base)
	}
	return inner, outer, err
}

func (c *heatCmd) section() (concrete.Section, error) {
	if !c.WCM.given() {
		return concrete.Section{}, wanted("wcm", "0.50")
	}
	mix, err := concrete.NewHeatMix(c.binder(), c.Cement.base)
	if err != nil {
		return concrete.Section{}, err
	}
	mix.Density, mix.SpecificHeat, mix.Conductivity = c.Density.base, c.SpecificHeat.base, c.Conductivity.base
	inner, outer, err := c.airs()
	if err != nil {
		return concrete.Section{}, err
	}
	r := c.FormR.or(c.resistance(c.Form))
	rInner := r
	if c.InnerForm != "" {
		rInner = c.resistance(c.InnerForm)
	}
	return concrete.Section{
		Mix: mix, Thickness: c.Core.base,
		Inner: concrete.Face{Form: rInner, Film: c.Film.base, Air: inner},
		Outer: concrete.Face{Form: r, Film: c.Film.base, Air: outer},
	}, nil
}

// predict chooses the model, and says which.
func (c *heatCmd) predict(s concrete.Section, run concrete.HeatRun) (concrete.HeatHistory, string, error) {
	const lumped, nodes = "lumped: one temperature through the thickness", "nodes through the thickness, Crank-Nicolson"
	if c.Model != "nodal" {
		h, err := s.Lumped(run)
		if err == nil || c.Model == "lumped" || !errors.Is(err, concrete.ErrNotLumped) {
			return h, lumped, err
		}
	}
	h, err := s.Nodal(run, concrete.UsualNodes)
	return h, nodes, err
}

const every = 0.25 // h between the points of a prediction

func (c *heatCmd) work(sys unit.System) (*answer, error) {
	s, err := c.section()
	if err != nil {
		return nil, err
	}
	run := concrete.HeatRun{Start: c.Start.base, Hours: c.Hours.base, Every: every}
	history, model, err := c.predict(s, run)
	if errors.Is(err, concrete.ErrNotLumped) {
		return nil, &InputError{Flag: "model", Value: c.Model, Reason: err.Error() + ": allowed auto, nodal", cause: err}
	}
	if err != nil {
		return nil, err
	}
	adiabatic, err := s.Mix.Adiabatic(run)
	if err != nil {
		return nil, err
	}
	a := &answer{
		title:  "Predicted temperature inside a wall",
		source: "Schindler and Folliard, ACI Materials Journal 102-M04, 2005 (constants from memory; the w/cm term of the ultimate degree found in public research code)",
		status: fromMemory, valid: rangeHydration + "; wall 0.05 to 3 m; placed at 0 to 45 °C; to 56 d", caution: cautionHeat,
	}
	if err := c.parameters(a, s, model, sys); err != nil {
		return nil, err
	}
	c.results(a, history, adiabatic)
	heatTable(a, history, adiabatic, sys)
	heatPicture(a, history, adiabatic, sys)
	return a, nil
}

func (c *heatCmd) parameters(a *answer, s concrete.Section, model string, sys unit.System) error {
	h := s.Mix.Hydration
	biot, err := s.Biot()
	if err != nil {
		return err
	}
	tc, err := s.TimeConstant()
	if err != nil {
		return err
	}
	full, err := s.Mix.FullRise()
	if err != nil {
		return err
	}
	inner, err := s.Inner.U()
	if err != nil {
		return err
	}
	outer, err := s.Outer.U()
	if err != nil {
		return err
	}
	a.work(fmt.Sprintf("Hu = %s, αu = %s, β = %s, τ = %s h at 21.1 °C, Ea = %s", inEnergyMass.format(h.Heat, sys),
		decimals(h.Ultimate, 4), decimals(h.Slope, 4), decimals(h.Time, 3), inEnergy.format(h.ActivationEnergy, sys)))
	a.work("α(te) = αu exp[-(τ/te)^β]; heat q = Hu Cc dα/dte dte/dt")
	a.work(fmt.Sprintf("rise if all hydrated, Cc Hu/(ρ c): %s K", decimals(full, 2)))
	a.work(fmt.Sprintf("U = 1/(R + 1/h): inner %s, outer %s W/m²K; Biot number %s; time constant %s h", decimals(inner, 3), decimals(outer, 3),
		decimals(biot, 3), decimals(tc, 1)))
	a.work("model: " + model)
	a.add(value("biot", inRatio, biot), value("time-constant", inDuration, tc))
	return nil
}

func (c *heatCmd) results(a *answer, h, adiabatic concrete.HeatHistory) {
	core := h.Peak(concrete.HeatCore)
	last := h.Points[len(h.Points)-1]
	a.add(value("peak-core", inTemperature, core.Core).with(fmt.Sprintf("at %s h", decimals(core.Hour, 1))),
		value("peak-hour", inDuration, core.Hour),
		value("mean-at-end", inTemperature, last.Mean), value("core-at-end", inTemperature, last.Core),
		value("inner-face-at-end", inTemperature, last.Inner), value("outer-face-at-end", inTemperature, last.Outer),
		value("adiabatic-at-end", inTemperature, adiabatic.Points[len(adiabatic.Points)-1].Mean).with("no wall of this concrete is warmer"),
		value("hydration-age", inDuration, last.Age).with("at 21.1 °C, of the heat model: no equivalent age of a window"))
	for _, f := range []struct {
		name  string
		level float64
	}{{"face-below-5C", 5}, {"face-below-0C", 0}} {
		if at, ok := firstFace(h, f.level); ok {
			a.add(value(f.name, inDuration, at).with("the first of the two faces"))
		} else {
			a.add(says(f.name, "not within the prediction"))
		}
	}
	if at, hot := h.Hot(); hot {
		a.note(fmt.Sprintf("At %s h it is at 65 °C or more: a peak above 70 °C risks delayed ettringite formation (from memory).", decimals(at, 1)))
	}
}

// firstFace is when the first face falls through a temperature.
func firstFace(h concrete.HeatHistory, level float64) (float64, bool) {
	inner, a := h.FallsThrough(concrete.HeatInner, level)
	outer, b := h.FallsThrough(concrete.HeatOuter, level)
	switch {
	case a && b:
		return min(inner, outer), true
	case a:
		return inner, true
	default:
		return outer, b
	}
}
