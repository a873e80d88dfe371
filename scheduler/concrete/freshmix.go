package concrete

import (
	"cmp"
	"fmt"
)

// specificHeatRatio is that of cement and aggregate to water.
const specificHeatRatio = 0.22

// IceShareGood is the share of ice in the mixing water up to which the result
// is good; above, it is flagged. Found: Jabbar, iasj.net article 167318.
const IceShareGood = 0.20

// Latent heats of melting, as the temperature in K by which it would warm the
// same mass of water. From memory; 80 is the rounded one.
const (
	LatentIce        = 79.6
	LatentIceRounded = 80.0
)

// Ingredients are the masses of a mix, in kg or in any one other unit, and
// their temperatures in °C.
type Ingredients struct {
	Cement, CementC       float64 // over 0; -30 to 150 °C
	Aggregate, AggregateC float64 // over 0, dry; -30 to 100 °C
	Water, WaterC         float64 // mixing water without the ice; 0 to 100 °C
	Moisture, MoistureC   float64 // free water of the aggregate; 0 to 100 °C: frozen aggregate is refused
	Ice                   float64 // at 0 °C
	Latent                float64 // K, 79 to 80; 0: LatentIce
}

// FreshMix is the outcome of mixing.
type FreshMix struct {
	TempC    float64 // °C
	IceShare float64 // of water and ice
	TooIcy   bool    // the share is over 20 %: the result is no longer good
}

func (i Ingredients) validate() error {
	err := cmp.Or(
		inRange("mass of cement", i.Cement, 1e-9, 1e6, ""), inRange("cement temperature", i.CementC, -30, 150, "°C"),
		inRange("mass of aggregate", i.Aggregate, 1e-9, 1e6, ""), inRange("aggregate temperature", i.AggregateC, -30, 100, "°C"),
		inRange("mass of water", i.Water, 0, 1e6, ""), inRange("water temperature", i.WaterC, 0, 100, "°C"),
		inRange("mass of moisture", i.Moisture, 0, 1e6, ""), inRange("moisture temperature", i.MoistureC, 0, 100, "°C"),
		inRange("mass of ice", i.Ice, 0, 1e6, ""),
	)
	if err == nil && i.Latent != 0 {
		err = inRange("latent heat of ice", i.Latent, 79, 80, "K")
	}
	if err == nil && i.Water+i.Ice+i.Moisture == 0 {
		err = RangeError{Name: "mass of water, moisture and ice", Value: 0, Min: 1e-9, Max: 3e6}
	}
	return err
}

// capacity is the heat capacity of the mix, as a mass of water.
func (i Ingredients) capacity() float64 {
	return float64(specificHeatRatio*(i.Cement+i.Aggregate)) + i.Water + i.Moisture + i.Ice
}

// FreshTemperature is the temperature of fresh concrete from its ingredients:
//
//	[0.22 (Ta Wa + Tc Wc) + Tw Ww + Twa Wwa - L Wi] / [0.22 (Wa + Wc) + Ww + Wwa + Wi]
//
// Ice over 20 % of water and ice is flagged, over half refused: there the
// equation gives irrational results (found, Jabbar). Form found (scribd
// 680176225); 0.22 and L from memory. Inputs in US units give the same result
// once temperatures are in °C.
func FreshTemperature(i Ingredients) (FreshMix, error) {
	if err := i.validate(); err != nil {
		return FreshMix{}, fmt.Errorf("fresh temperature: %w", err)
	}
	var out FreshMix
	if i.Ice > 0 {
		out.IceShare = i.Ice / (i.Water + i.Ice)
	}
	if err := inRange("share of ice in the mixing water", out.IceShare, 0, 0.5, ""); err != nil {
		return FreshMix{}, fmt.Errorf("fresh temperature: %w", err)
	}
	out.TooIcy = over(out.IceShare, IceShareGood)
	latent := cmp.Or(i.Latent, LatentIce)
	heat := float64(specificHeatRatio*(float64(i.AggregateC*i.Aggregate)+float64(i.CementC*i.Cement))) +
		float64(i.WaterC*i.Water) + float64(i.MoistureC*i.Moisture) - float64(latent*i.Ice)
	out.TempC = heat / i.capacity()
	return out, nil
}

// Cooling is by how many K one ingredient must be cooler.
type Cooling struct {
	Cement    float64 // K
	Aggregate float64 // K
	Water     float64 // K; 0 if the mix has no mixing water
}

// CoolingForDrop says by how much cement, or aggregate, or water, alone, must be
// cooler for fresh concrete 0 to 50 K cooler. It says nothing of whether that
// can be had. Source: the equation of FreshTemperature.
func CoolingForDrop(i Ingredients, dropK float64) (Cooling, error) {
	if err := cmp.Or(i.validate(), inRange("drop of temperature", dropK, 0, 50, "K")); err != nil {
		return Cooling{}, fmt.Errorf("cooling for drop: %w", err)
	}
	heat := dropK * i.capacity()
	out := Cooling{Cement: heat / (specificHeatRatio * i.Cement), Aggregate: heat / (specificHeatRatio * i.Aggregate)}
	if i.Water > 0 {
		out.Water = heat / i.Water
	}
	return out, nil
}
