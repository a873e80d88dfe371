package unit

import (
	"fmt"
	"strconv"
)

// Exact sizes of the customary units (international foot and pound of 1959,
// standard gravity 9.80665 m/s²; found in every table of units).
const (
	Inch            = 0.0254                            // m
	Foot            = 0.3048                            // m
	Yard            = 0.9144                            // m
	Mile            = 1609.344                          // m
	Pound           = 0.45359237                        // kg
	StandardGravity = 9.80665                           // m/s²
	PoundForce      = 0.0044482216152605                // kN
	GallonUS        = 0.003785411784                    // m³
	CubicYard       = Yard * Yard * Yard                // m³
	SquareFoot      = Foot * Foot                       // m²
	PSF             = PoundForce / (SquareFoot)         // kPa in one lbf/ft²
	PSI             = PoundForce / (Inch * Inch) / 1000 // MPa in one lbf/in²
	PCF             = PoundForce / (Foot * Foot * Foot) // kN/m³ in one lbf/ft³
	MPH             = Mile / 3600                       // m/s in one mile an hour
	KMH             = 1.0 / 3.6                         // m/s in one kilometre an hour
)

// Dimension says what a value measures. The zero value is no dimension.
type Dimension int

// The dimensions, each with its base unit.
const (
	Length         Dimension = iota + 1 // m; lengths and heights, written in m or ft
	Thickness                           // m; cores, slump, readings off a line, written in mm or in
	Area                                // m²
	Volume                              // m³; concrete
	Liquid                              // m³; water and admixture, written in L or US gallons
	Duration                            // h
	RiseRate                            // m/h; rise of concrete in a form
	Delivery                            // m³/h
	Speed                               // m/s; wind
	WithdrawalRate                      // m/s; a vibrator drawn out, written in mm/s or in/s
	Temperature                         // °C
	Difference                          // K; a difference of two temperatures
	Pressure                            // kPa; on forms, and wind
	Strength                            // MPa
	UnitWeight                          // kN/m³
	Density                             // kg/m³; also kg of a constituent in 1 m³ of concrete
	Mass                                // kg
	Force                               // kN
	LineLoad                            // kN/m
	Evaporation                         // kg/(m² h)
)

// System chooses the units in which values are written. Both are read.
type System int

// The two systems. SI is the default.
const (
	SI System = iota
	US
)

// String is "si" or "us".
func (s System) String() string {
	switch s {
	case SI:
		return "si"
	case US:
		return "us"
	}
	return "system " + strconv.Itoa(int(s))
}

// MarshalText writes "si" or "us"; any other system is refused.
func (s System) MarshalText() ([]byte, error) {
	if s != SI && s != US {
		return nil, fmt.Errorf("write unit system: %s is none", s)
	}
	return []byte(s.String()), nil
}

// UnmarshalText reads "si" or "us".
func (s *System) UnmarshalText(text []byte) error {
	switch string(text) {
	case "si":
		*s = SI
	case "us":
		*s = US
	default:
		return fmt.Errorf("read unit system: %q is neither si nor us", text)
	}
	return nil
}

// scale is a unit. A value v in it is (v - zero) * mul / div in the base unit.
// The quotient is kept as two numbers so that 175 mm is the same float as 0.175.
type scale struct {
	names    []string // the first is the one that errors name
	mul, div float64
	zero     float64
	part     bool // may follow the unit listed before it, as "6 in" follows "5 ft"
}

// shown is how a dimension is written in one system.
type shown struct {
	symbol string // must be one of the names
	digits int    // after the point
}

type dimension struct {
	name   string
	min    float64 // least value in the base unit
	scales []scale
	si, us shown
}

func (d Dimension) table() (dimension, bool) {
	if d < Length || int(d) > len(dimensions) {
		return dimension{}, false
	}
	return dimensions[d-1], true
}

// String is the name of the dimension, as in "unit weight".
func (d Dimension) String() string {
	if t, ok := d.table(); ok {
		return t.name
	}
	return "dimension " + strconv.Itoa(int(d))
}

// Dimensions lists all dimensions.
func Dimensions() []Dimension {
	out := make([]Dimension, len(dimensions))
	for i := range out {
		out[i] = Dimension(i + 1)
	}
	return out
}

// Units lists the units that [Parse] accepts for the dimension, one spelling
// of each. It is empty for what is no dimension.
func (d Dimension) Units() []string {
	t, _ := d.table()
	out := make([]string, 0, len(t.scales))
	for _, s := range t.scales {
		out = append(out, s.names[0])
	}
	return out
}
