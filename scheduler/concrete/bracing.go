package concrete

import (
	"cmp"
	"fmt"
	"math"

	"earlyage/scheduler/concrete/unit"
)

// Brace is where one brace of a row holds a wall.
type Brace struct {
	Spacing  float64 // m from brace to brace, over 0 to 10
	Height   float64 // m above the foot at which it holds the wall, over 0 to the wall's height
	AngleDeg float64 // of the brace above the horizontal, 0 to 75 degrees
}

// Customary spacing of braces on insulating-form walls (trade practice, from
// memory, no primary source).
const (
	CustomaryBraceSpacing = 1.8 // m (6 ft)
	CustomaryBraceOffset  = 0.6 // m (2 ft) from corners and openings
)

// BraceForce is what one brace bears.
type BraceForce struct {
	HorizontalKN float64 // kN
	AlongKN      float64 // kN along the brace
	VerticalKN   float64 // kN of uplift, or of thrust, at its foot
}

// BraceForceFor is the force on one brace of a row if the foot of the wall turns
// freely: the brace alone bears the moment at the base, in kNm per m (0 to
// 10,000), of a wall over 0 to 30 m high. Source: statics. An aid for the
// engineer, not a design.
func BraceForceFor(baseMomentKNm, wallHeight float64, b Brace) (BraceForce, error) {
	err := cmp.Or(
		inRange("base moment", baseMomentKNm, 0, 1e4, "kNm/m"),
		inRange("height of wall", wallHeight, 0.1, 30, "m"),
		inRange("brace spacing", b.Spacing, 0.1, 10, "m"),
		inRange("height of brace", b.Height, 0.1, wallHeight, "m"),
		inRange("angle of brace", b.AngleDeg, 0, 75, "°"),
	)
	if err != nil {
		return BraceForce{}, fmt.Errorf("brace force: %w", err)
	}
	horizontal := baseMomentKNm * b.Spacing / b.Height
	sin, cos := math.Sincos(b.AngleDeg * math.Pi / 180)
	return BraceForce{HorizontalKN: horizontal, AlongKN: horizontal / cos, VerticalKN: horizontal * sin / cos}, nil
}

// MinimumBracing is the least load for which ACI 347 has wall forms braced.
type MinimumBracing struct {
	PressureKPa float64 // kPa on exposed forms
	TopKNm      float64 // kN per m along the top; 0 up to 2.4 m (8 ft)
	MomentKNm   float64 // kNm per m at the base: the larger of the two
}

// MinimumBracingFor is the least bracing load for a wall form over 0 to 30 m
// high: 0.7 kPa (15 psf) where exposed, and over 2.4 m (8 ft) not less than 1.5
// kN/m (100 lb/ft) along the top; the local wind if that is more. ACI 347 2.2.3,
// from memory. Forms before the placement weigh next to nothing: wind governs
// empty forms. An aid for the engineer, not a design.
func MinimumBracingFor(height float64) (MinimumBracing, error) {
	if err := inRange("height of form", height, 0.1, 30, "m"); err != nil {
		return MinimumBracing{}, fmt.Errorf("minimum bracing: %w", err)
	}
	out := MinimumBracing{PressureKPa: 0.7}
	if over(height, 2.4) {
		out.TopKNm = 1.5
	}
	out.MomentKNm = math.Max(out.PressureKPa*height*height/2, out.TopKNm*height)
	return out, nil
}

// Wind speeds at which people leave the restricted zone, m/s: above 20 mph in
// the initial period and above 35 mph in the intermediate period (Standard
// Practice for Bracing Masonry Walls Under Construction, 2012, found:
// learnwithseu.com). Bracing that a qualified person designs is for 40 mph
// (Michigan rule 211, found: docsbay.net). By anemometer, never by eye.
const (
	EvacuateInitial      = 20 * unit.MPH
	EvacuateIntermediate = 35 * unit.MPH
	BracingDesignWind    = 40 * unit.MPH
)

// Zone is the ground on which nobody stays while a wall is not held for good.
type Zone struct {
	Required bool    // the practice asks for one
	Out      float64 // m from the wall, on both sides
	Length   float64 // m along the wall
}

// RestrictedZone is the zone for a wall over 0 to 30 m high and to 2000 m long:
// its height and 4 ft out, and 4 ft beyond each end. The practice, which is for
// masonry, asks for it above 8 ft (here 2.4 m) until final lateral support; it
// gives the length as that of the wall and 4 ft, of which this is the safe
// reading. Found: learnwithseu.com (Standard Practice for Bracing Masonry Walls
// Under Construction, 2012). An aid for the engineer, not a design.
func RestrictedZone(height, length float64) (Zone, error) {
	err := cmp.Or(inRange("height of wall", height, 0.1, 30, "m"), inRange("length of wall", length, 0.1, 2000, "m"))
	if err != nil {
		return Zone{}, fmt.Errorf("restricted zone: %w", err)
	}
	margin := 4 * unit.Foot
	return Zone{Required: over(height, 2.4), Out: height + margin, Length: length + float64(2*margin)}, nil
}
