package calc

import "earlyage/scheduler/concrete/unit"

// What flags and results measure, each with the digits it is written with.
var (
	inTemperature  = measure{name: "temperature", dimension: unit.Temperature, si: 1, cu: 1}
	inDifference   = measure{name: "temperature difference", dimension: unit.Difference, si: 1, cu: 1}
	inLength       = measure{name: "length", dimension: unit.Length, si: 2, cu: 2}
	inThickness    = measure{name: "thickness", dimension: unit.Thickness, si: 0, cu: 2}
	inArea         = measure{name: "area", dimension: unit.Area, si: 2, cu: 1}
	inVolume       = measure{name: "volume", dimension: unit.Volume, si: 2, cu: 2}
	inDuration     = measure{name: "duration", dimension: unit.Duration, si: 2, cu: 2}
	inRise         = measure{name: "rise rate", dimension: unit.RiseRate, si: 2, cu: 2}
	inDelivery     = measure{name: "delivery", dimension: unit.Delivery, si: 2, cu: 2}
	inSpeed        = measure{name: "speed", dimension: unit.Speed, si: 1, cu: 1}
	inPressure     = measure{name: "pressure", dimension: unit.Pressure, si: 2, cu: 1}
	inPressure3    = measure{name: "pressure", dimension: unit.Pressure, si: 4, cu: 2}
	inTension      = measure{name: "tension", dimension: unit.Strength, si: 3, cu: 0}
	inStrength     = measure{name: "strength", dimension: unit.Strength, si: 2, cu: 0}
	inUnitWeight   = measure{name: "unit weight", dimension: unit.UnitWeight, si: 2, cu: 1}
	inDensity      = measure{name: "density", dimension: unit.Density, si: 0, cu: 0}
	inMass         = measure{name: "mass", dimension: unit.Mass, si: 1, cu: 1}
	inForce        = measure{name: "force", dimension: unit.Force, si: 2, cu: 0}
	inLineLoad     = measure{name: "line load", dimension: unit.LineLoad, si: 2, cu: 0}
	inEvaporation  = measure{name: "evaporation", dimension: unit.Evaporation, si: 3, cu: 4}
	inPercent      = measure{name: "share", own: []ownUnit{{"%", nil, 0.01}}, si: 1, cu: 1}
	inRatio        = measure{name: "number", own: []ownUnit{{"", nil, 1}}, si: 3, cu: 3}
	inCount        = measure{name: "count", own: []ownUnit{{"", nil, 1}}, whole: true}
	inDays         = measure{name: "age", own: []ownUnit{{"d", []string{"day", "days"}, 1}, {"h", nil, 1. / 24}}, si: 2, cu: 2}
	inMinutes      = measure{name: "time", own: []ownUnit{{"min", []string{"minutes"}, 1}, {"h", nil, 60}}, si: 1, cu: 1}
	inSeconds      = measure{name: "time", own: []ownUnit{{"s", nil, 1}}, si: 1, cu: 1}
	inDegreeHours  = measure{name: "temperature-time factor", own: []ownUnit{{"°C·h", []string{"Ch", "C.h"}, 1}, {"°F·h", []string{"Fh", "F.h"}, 1 / 1.8}}, us: "°F·h", si: 2, cu: 1}
	inEnergy       = measure{name: "activation energy", own: []ownUnit{{"J/mol", nil, 1}, {"kJ/mol", nil, 1000}}}
	inResistance   = measure{name: "thermal resistance", own: []ownUnit{{"m²K/W", []string{"m2K/W"}, 1}, {"ft²h°F/Btu", []string{"ft2hF/Btu", "R"}, 0.1761101838}}, us: "ft²h°F/Btu", si: 3, cu: 2}
	inFilm         = measure{name: "air film", own: []ownUnit{{"W/m²K", []string{"W/m2K"}, 1}}, si: 3, cu: 3}
	inConductivity = measure{name: "conductivity", own: []ownUnit{{"W/mK", nil, 1}}, si: 2, cu: 2}
	inHeatCapacity = measure{name: "specific heat", own: []ownUnit{{"J/kgK", nil, 1}}}
	inPerDay       = measure{name: "rate", own: []ownUnit{{"1/d", []string{"/d"}, 1}}, si: 3, cu: 3}
	inAngle        = measure{name: "angle", own: []ownUnit{{"°", []string{"deg"}, 1}}}
	inMoment       = measure{name: "moment", own: []ownUnit{{"kNm/m", nil, 1}, {"lb·ft/ft", nil, 0.0044482216152605}}, us: "lb·ft/ft", si: 2, cu: 0}
	inFrequency    = measure{name: "frequency", own: []ownUnit{{"Hz", nil, 1}, {"vpm", nil, 1. / 60}}, us: "vpm"}
	inFineness     = measure{name: "fineness", own: []ownUnit{{"m²/kg", []string{"m2/kg"}, 1}}}
	inEnergyMass   = measure{name: "heat", own: []ownUnit{{"J/g", nil, 1}}, si: 1, cu: 1}
)

// The types of flags.
type (
	temperature  struct{}
	difference   struct{}
	length       struct{}
	thickness    struct{}
	volume       struct{}
	duration     struct{}
	rise         struct{}
	delivery     struct{}
	speed        struct{}
	pressure     struct{}
	strength     struct{}
	unitWeight   struct{}
	density      struct{}
	mass         struct{}
	percent      struct{}
	ratio        struct{}
	degreeHours  struct{}
	energy       struct{}
	resistance   struct{}
	film         struct{}
	conductivity struct{}
	heatCapacity struct{}
	perDay       struct{}
	angle        struct{}
	blaine       struct{}
	count        struct{}
)

func (temperature) measure() measure  { return inTemperature }
func (difference) measure() measure   { return inDifference }
func (length) measure() measure       { return inLength }
func (thickness) measure() measure    { return inThickness }
func (volume) measure() measure       { return inVolume }
func (duration) measure() measure     { return inDuration }
func (rise) measure() measure         { return inRise }
func (delivery) measure() measure     { return inDelivery }
func (speed) measure() measure        { return inSpeed }
func (pressure) measure() measure     { return inPressure }
func (strength) measure() measure     { return inStrength }
func (unitWeight) measure() measure   { return inUnitWeight }
func (density) measure() measure      { return inDensity }
func (mass) measure() measure         { return inMass }
func (percent) measure() measure      { return inPercent }
func (ratio) measure() measure        { return inRatio }
func (degreeHours) measure() measure  { return inDegreeHours }
func (energy) measure() measure       { return inEnergy }
func (resistance) measure() measure   { return inResistance }
func (film) measure() measure         { return inFilm }
func (conductivity) measure() measure { return inConductivity }
func (heatCapacity) measure() measure { return inHeatCapacity }
func (perDay) measure() measure       { return inPerDay }
func (angle) measure() measure        { return inAngle }
func (blaine) measure() measure       { return inFineness }
func (count) measure() measure        { return inCount }
