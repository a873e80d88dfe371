package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type freshCmd struct {
	output
	Cement        q[mass]        `required:"" placeholder:"335kg" names:"mass of cement" help:"Cementitious material."`
	CementTemp    q[temperature] `name:"cement-temp" required:"" placeholder:"66C" names:"cement temperature" help:"Its temperature."`
	Aggregate     q[mass]        `required:"" placeholder:"1839kg" names:"mass of aggregate" help:"Aggregate, dry."`
	AggregateTemp q[temperature] `name:"aggregate-temp" required:"" placeholder:"27C" names:"aggregate temperature|moisture temperature" help:"Its temperature."`
	Water         q[mass]        `required:"" placeholder:"123kg" names:"mass of water|mass of water, moisture and ice" help:"Mixing water, without the ice."`
	WaterTemp     q[temperature] `name:"water-temp" required:"" placeholder:"27C" names:"water temperature" help:"Its temperature."`
	Moisture      q[mass]        `placeholder:"25kg" names:"mass of moisture" help:"Free water of the aggregate."`
	MoistureTemp  q[temperature] `name:"moisture-temp" placeholder:"2C" names:"moisture temperature" help:"Its temperature; not given: that of the aggregate."`
	Ice           q[mass]        `placeholder:"44kg" names:"mass of ice|share of ice in the mixing water" help:"Ice at 0 °C."`
	Latent        q[difference]  `default:"79.6K" names:"latent heat of ice" help:"Latent heat of ice, by the K it would warm as much water; 80K is the rounded one."`
	Drop          q[difference]  `placeholder:"1K" names:"drop of temperature" help:"Also: by how much one ingredient must be cooler for this drop."`
}

// Run implements the command.
func (c *freshCmd) Run(k *kong.Context, w io.Writer) error { return c.output.run(k, w, c.work) }

func (c *freshCmd) ingredients() concrete.Ingredients {
	i := concrete.Ingredients{
		Cement: c.Cement.base, CementC: c.CementTemp.base, Aggregate: c.Aggregate.base, AggregateC: c.AggregateTemp.base,
		Water: c.Water.base, WaterC: c.WaterTemp.base, Moisture: c.Moisture.base, Ice: c.Ice.base, Latent: c.Latent.base,
	}
	if c.Moisture.given() {
		i.MoistureC = c.MoistureTemp.or(c.AggregateTemp.base)
	}
	return i
}

func (c *freshCmd) work(sys unit.System) (*answer, error) {
	i := c.ingredients()
	mix, err := concrete.FreshTemperature(i)
	if err != nil {
		return nil, err
	}
	a := &answer{
		title:  "Temperature of fresh concrete",
		source: "form of the equation found (scribd 680176225); 0.22 and the latent heat from memory; range of ice found (Jabbar, iasj.net article 167318)",
		status: fromMemory,
		valid:  "ice to 20 % of the mixing water is good, to half is flagged, over half is refused; frozen aggregate is refused",
	}
	a.add(value("fresh-temperature", inTemperature, mix.TempC))
	if c.Ice.given() {
		a.add(value("ice-share", inPercent, mix.IceShare).with("of the mixing water"))
	}
	a.work("T = [0.22 (Ta Wa + Tc Wc) + Tw Ww + Twa Wwa - L Wi] / [0.22 (Wa + Wc) + Ww + Wwa + Wi], worked in °C and kg")
	a.work(fmt.Sprintf("above: 0.22 (%s · %s + %s · %s) + %s · %s + %s · %s - %s · %s", number(i.AggregateC), number(i.Aggregate),
		number(i.CementC), number(i.Cement), number(i.WaterC), number(i.Water), number(i.MoistureC), number(i.Moisture), number(i.Latent), number(i.Ice)))
	a.work(fmt.Sprintf("below: 0.22 (%s + %s) + %s + %s + %s", number(i.Aggregate), number(i.Cement), number(i.Water), number(i.Moisture), number(i.Ice)))
	a.work("T = " + celsius(mix.TempC, sys))
	if mix.TooIcy {
		a.note("Ice over 20 % of the mixing water: the result is no longer good.")
	}
	limits(a, mix.TempC, sys)
	return a, c.cooling(a, i)
}

// limits says which published limits on hot concrete the result breaks.
func limits(a *answer, tempC float64, sys unit.System) {
	for _, l := range concrete.HotLimits() {
		hot, err := l.TooHot(tempC)
		if err == nil && hot {
			a.note(fmt.Sprintf("Hotter than %s: %s (%s).", celsius(l.MaxC, sys), l.Source, l.Status))
		}
	}
	if tempC < concrete.MinDeliveredC {
		a.note(fmt.Sprintf("Colder than %s, the least on delivery by EN 206 (from memory).", celsius(concrete.MinDeliveredC, sys)))
	}
}

func (c *freshCmd) cooling(a *answer, i concrete.Ingredients) error {
	if !c.Drop.given() {
		return nil
	}
	by, err := concrete.CoolingForDrop(i, c.Drop.base)
	if err != nil {
		return err
	}
	a.add(value("cement-cooler-by", inDifference, by.Cement).with("or"),
		value("aggregate-cooler-by", inDifference, by.Aggregate).with("or"), value("water-cooler-by", inDifference, by.Water))
	a.work(fmt.Sprintf("for %s less, one alone must be cooler by (drop · heat of the mix)/(heat of the ingredient)", c.Drop.text))
	return nil
}
