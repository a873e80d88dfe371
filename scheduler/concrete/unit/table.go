package unit

import "math"

// below is the least value of a dimension that may be negative: a reading off
// a line may lie on either side of it.
var below = math.Inf(-1)

// coldest is below any temperature measured on the face of the earth; a colder
// reading is a broken sensor or a wrong unit.
const coldest = -100

var (
	metre   = scale{names: []string{"m", "metre", "metres", "meter", "meters"}, mul: 1, div: 1}
	centim  = scale{names: []string{"cm"}, mul: 1, div: 100}
	millim  = scale{names: []string{"mm"}, mul: 1, div: 1000}
	foot    = scale{names: []string{"ft", "'", "foot", "feet"}, mul: 3048, div: 10000}
	inch    = scale{names: []string{"in", `"`, "''", "inch", "inches"}, mul: 254, div: 10000, part: true}
	lengths = []scale{metre, centim, millim, foot, inch}

	cubicMetre = scale{names: []string{"m3", "cum"}, mul: 1, div: 1}
	cubicYard  = scale{names: []string{"yd3", "cy", "cu yd", "cuyd"}, mul: CubicYard, div: 1}
	cubicFoot  = scale{names: []string{"ft3", "cu ft", "cuft"}, mul: Foot * Foot * Foot, div: 1}

	kilonewton = scale{names: []string{"kN"}, mul: 1, div: 1}
)

// dimensions is indexed by Dimension less one.
var dimensions = [...]dimension{
	{name: "length", min: below, scales: lengths, si: shown{"m", 2}, us: shown{"ft", 2}},
	{name: "thickness", min: below, scales: lengths, si: shown{"mm", 0}, us: shown{"in", 2}},
	{name: "area", scales: []scale{
		{names: []string{"m2", "sq m", "sqm"}, mul: 1, div: 1},
		{names: []string{"ft2", "sq ft", "sqft", "sf"}, mul: SquareFoot, div: 1},
	}, si: shown{"m²", 1}, us: shown{"ft²", 0}},
	{name: "volume", scales: []scale{cubicMetre, cubicYard, cubicFoot}, si: shown{"m³", 2}, us: shown{"yd³", 2}},
	{name: "liquid", scales: []scale{
		{names: []string{"L", "litre", "litres", "liter", "liters"}, mul: 1, div: 1000},
		{names: []string{"mL"}, mul: 1, div: 1e6},
		{names: []string{"gal", "US gal", "gallon", "gallons"}, mul: GallonUS, div: 1},
		cubicMetre,
	}, si: shown{"L", 1}, us: shown{"gal", 1}},
	{name: "duration", scales: []scale{
		{names: []string{"d", "day", "days"}, mul: 24, div: 1},
		{names: []string{"h", "hr", "hrs", "hour", "hours"}, mul: 1, div: 1, part: true},
		{names: []string{"min", "mins", "minute", "minutes"}, mul: 1, div: 60, part: true},
		{names: []string{"s", "sec", "second", "seconds"}, mul: 1, div: 3600, part: true},
	}, si: shown{"h", 2}, us: shown{"h", 2}},
	{name: "rise rate", scales: []scale{
		{names: []string{"m/h", "m/hr"}, mul: 1, div: 1},
		{names: []string{"mm/h", "mm/hr"}, mul: 1, div: 1000},
		{names: []string{"ft/h", "ft/hr"}, mul: 3048, div: 10000},
		{names: []string{"in/h", "in/hr"}, mul: 254, div: 10000},
	}, si: shown{"m/h", 2}, us: shown{"ft/h", 2}},
	{name: "delivery", scales: []scale{
		{names: []string{"m3/h", "m3/hr"}, mul: 1, div: 1},
		{names: []string{"yd3/h", "yd3/hr", "cy/h", "cy/hr"}, mul: CubicYard, div: 1},
	}, si: shown{"m³/h", 1}, us: shown{"yd³/h", 1}},
	{name: "speed", scales: []scale{
		{names: []string{"m/s"}, mul: 1, div: 1},
		{names: []string{"km/h", "kph", "km/hr"}, mul: 10, div: 36},
		{names: []string{"mph", "mi/h"}, mul: 44704, div: 100000},
		{names: []string{"kn", "kt", "knot", "knots"}, mul: 1852, div: 3600},
	}, si: shown{"m/s", 1}, us: shown{"mph", 1}},
	{name: "withdrawal rate", scales: []scale{
		{names: []string{"mm/s"}, mul: 1, div: 1000},
		{names: []string{"in/s"}, mul: 254, div: 10000},
		{names: []string{"m/s"}, mul: 1, div: 1},
	}, si: shown{"mm/s", 0}, us: shown{"in/s", 2}},
	{name: "temperature", min: coldest, scales: []scale{
		{names: []string{"°C", "C", "degC", "deg C", "Celsius"}, mul: 1, div: 1},
		{names: []string{"°F", "F", "degF", "deg F", "Fahrenheit"}, mul: 5, div: 9, zero: 32},
	}, si: shown{"°C", 1}, us: shown{"°F", 1}},
	{name: "temperature difference", min: below, scales: []scale{
		{names: []string{"K", "C-diff", "°C-diff"}, mul: 1, div: 1},
		{names: []string{"F-diff", "°F-diff"}, mul: 5, div: 9},
	}, si: shown{"K", 1}, us: shown{"°F-diff", 1}},
	{name: "pressure", scales: []scale{
		{names: []string{"kPa", "kN/m2"}, mul: 1, div: 1},
		{names: []string{"Pa", "N/m2"}, mul: 1, div: 1000},
		{names: []string{"psf", "lb/ft2", "lbf/ft2"}, mul: PSF, div: 1},
	}, si: shown{"kPa", 2}, us: shown{"psf", 1}},
	{name: "strength", scales: []scale{
		{names: []string{"MPa", "N/mm2"}, mul: 1, div: 1},
		{names: []string{"kPa"}, mul: 1, div: 1000},
		{names: []string{"psi", "lbf/in2"}, mul: PSI, div: 1},
		{names: []string{"ksi"}, mul: PSI * 1000, div: 1},
	}, si: shown{"MPa", 1}, us: shown{"psi", 0}},
	{name: "unit weight", scales: []scale{
		{names: []string{"kN/m3"}, mul: 1, div: 1},
		{names: []string{"pcf", "lb/ft3", "lbf/ft3"}, mul: PCF, div: 1},
		{names: []string{"kg/m3"}, mul: StandardGravity, div: 1000},
	}, si: shown{"kN/m³", 1}, us: shown{"pcf", 1}},
	{name: "density", scales: []scale{
		{names: []string{"kg/m3"}, mul: 1, div: 1},
		{names: []string{"pcf", "lb/ft3"}, mul: Pound, div: Foot * Foot * Foot},
		{names: []string{"lb/yd3", "pcy"}, mul: Pound, div: CubicYard},
	}, si: shown{"kg/m³", 0}, us: shown{"lb/yd³", 0}},
	{name: "mass", scales: []scale{
		{names: []string{"kg"}, mul: 1, div: 1},
		{names: []string{"t", "tonne", "tonnes"}, mul: 1000, div: 1},
		{names: []string{"lb", "lbs"}, mul: Pound, div: 1},
	}, si: shown{"kg", 1}, us: shown{"lb", 1}},
	{name: "force", scales: []scale{
		kilonewton,
		{names: []string{"N"}, mul: 1, div: 1000},
		{names: []string{"lbf", "lb"}, mul: PoundForce, div: 1},
	}, si: shown{"kN", 2}, us: shown{"lbf", 0}},
	{name: "line load", scales: []scale{
		{names: []string{"kN/m"}, mul: 1, div: 1},
		{names: []string{"lb/ft", "plf", "lbf/ft"}, mul: PoundForce, div: Foot},
	}, si: shown{"kN/m", 2}, us: shown{"lb/ft", 0}},
	{name: "evaporation", scales: []scale{
		{names: []string{"kg/m2/h", "kg/(m2 h)"}, mul: 1, div: 1},
		{names: []string{"lb/ft2/h", "lb/(ft2 h)"}, mul: Pound, div: SquareFoot},
	}, si: shown{"kg/m²/h", 2}, us: shown{"lb/ft²/h", 3}},
}
