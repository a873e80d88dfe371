package concrete

import (
	"cmp"
	"fmt"
	"math"

	"earlyage/scheduler/concrete/unit"
)

// Guidance on placing. The first three are common practice, no source.
const (
	CustomaryRise      = 1.2           // m/h (4 ft/h); customary ceiling for insulating-form walls
	CustomaryLiftLeast = 0.6           // m (2 ft)
	CustomaryLiftMost  = 1.2           // m (4 ft)
	LayerMost          = 0.5           // m; CSA A23.1, from memory (UFGS and ACI 304R: 0.3 to 0.5 m)
	FreeFallMost       = 5 * unit.Foot // m; found, Colorado DRMS 1218846 p. 47. ACI 304R sets no limit if the stream is not cut (from memory)
)

// Rules of ACI 309R 7.2 for internal vibrators (from memory).
const (
	SpacingPerRadius  = 1.5   // insertions 1.5 radii of action apart
	PenetrationLeast  = 0.150 // m (6 in) into the layer below
	WithdrawalSpeed   = 0.075 // m/s (3 in/s); the safe one of the two
	QuotedWithdrawal  = 0.100 // m/s; the often-quoted "1 ft in 3 s", a third faster
	InsertionSecLeast = 5.0   // s in one place
	InsertionSecMost  = 15.0  // s in one place
	SmallCoreHeadMost = 0.038 // m (1 1/2 in); greatest head for small cores
)

// VibratorGroup is a row of ACI 309R Table 5.1.5.
type VibratorGroup struct {
	Number                       int
	HeadLeast, HeadMost          float64 // m, diameter of the head
	FrequencyLeast, FrequencyMax float64 // Hz, in concrete
	RadiusLeast, RadiusMost      float64 // m, radius of action
	RateLeast, RateMost          float64 // m³/h that one vibrator consolidates
}

var vibratorGroups = [...]VibratorGroup{
	{1, 0.020, 0.040, 150, 250, 0.080, 0.150, 0.8, 4},
	{2, 0.030, 0.060, 140, 210, 0.130, 0.250, 2.3, 8},
	{3, 0.050, 0.090, 130, 200, 0.180, 0.360, 4.6, 15},
	{4, 0.080, 0.150, 120, 180, 0.300, 0.510, 11, 31},
	{5, 0.130, 0.150, 90, 140, 0.400, 0.610, 19, 38},
}

// VibratorGroups is ACI 309R-96/05 Table 5.1.5 for internal vibrators, metric
// values (from memory). The groups overlap.
func VibratorGroups() []VibratorGroup {
	groups := vibratorGroups
	return groups[:]
}

// VibratorGroupNumber is the group of that number, 1 to 5; another is refused.
// ACI 309R-96/05 Table 5.1.5, from memory.
func VibratorGroupNumber(number int) (VibratorGroup, error) {
	if err := inRange("vibrator group", float64(number), 1, float64(len(vibratorGroups)), ""); err != nil {
		return VibratorGroup{}, err
	}
	return vibratorGroups[number-1], nil
}

// GroupForHead is the group of a vibrator head of 0.020 to 0.150 m diameter.
// Where two groups overlap it is the lower, which credits the vibrator with the
// lesser radius and rate. Another diameter is refused. ACI 309R-96/05 Table 5.1.5,
// from memory.
func GroupForHead(diameter float64) (VibratorGroup, error) {
	last := vibratorGroups[len(vibratorGroups)-1]
	if err := inRange("head diameter", diameter, vibratorGroups[0].HeadLeast, last.HeadMost, "m"); err != nil {
		return VibratorGroup{}, fmt.Errorf("vibrator group for head: %w", err)
	}
	for _, g := range vibratorGroups {
		if !over(diameter, g.HeadMost) {
			return g, nil
		}
	}
	return last, nil
}

// CoreVibrator is a vibrator that suits a core.
type CoreVibrator struct {
	Group    VibratorGroup
	HeadMost float64 // m, greatest diameter of the head
}

// VibratorForCore is the smallest group whose least radius of action, from the
// middle of a core 0.08 to 1.2 m thick, reaches both faces: group 1 with a head
// of at most 38 mm up to 160 mm, group 2 up to 260 mm, and so on. The head of
// at most 38 mm for small cores: from memory. The choice by radius: common
// practice, no source.
func VibratorForCore(thickness float64) (CoreVibrator, error) {
	if err := inRange("core thickness", thickness, 0.08, 2*vibratorGroups[4].RadiusMost, "m"); err != nil {
		return CoreVibrator{}, fmt.Errorf("vibrator for core: %w", err)
	}
	for _, g := range vibratorGroups {
		if !over(thickness, 2*g.RadiusLeast) {
			most := g.HeadMost
			if g.Number == 1 {
				most = SmallCoreHeadMost
			}
			return CoreVibrator{Group: g, HeadMost: most}, nil
		}
	}
	last := vibratorGroups[len(vibratorGroups)-1]
	return CoreVibrator{Group: last, HeadMost: last.HeadMost}, nil
}

// InsertionSpacing is the distance in m between insertions, 1.5 times a radius
// of action of 0.05 to 1 m. ACI 309R 7.2, from memory.
func InsertionSpacing(radius float64) (float64, error) {
	if err := inRange("radius of action", radius, 0.05, 1, "m"); err != nil {
		return 0, fmt.Errorf("insertion spacing: %w", err)
	}
	return SpacingPerRadius * radius, nil
}

// InsertionSpacingByHead is the distance in m between insertions by the head's
// diameter (0.02 to 0.15 m): 8 to 10 diameters. Handbooks, from memory.
func InsertionSpacingByHead(diameter float64) (least, most float64, err error) {
	if err := inRange("head diameter", diameter, 0.02, 0.15, "m"); err != nil {
		return 0, 0, fmt.Errorf("insertion spacing by head: %w", err)
	}
	return 8 * diameter, 10 * diameter, nil
}

// InsertionDepth is how far in m the head must go down through a lift of over 0
// to 3 m: the lift and 150 mm (6 in) of the layer below, or the lift alone if
// nothing lies below. ACI 309R 7.2, from memory.
func InsertionDepth(lift float64, layerBelow bool) (float64, error) {
	if err := inRange("lift", lift, 0.01, 3, "m"); err != nil {
		return 0, fmt.Errorf("insertion depth: %w", err)
	}
	if !layerBelow {
		return lift, nil
	}
	return lift + PenetrationLeast, nil
}

// WithdrawalSeconds is the least time in s to draw a head out of a depth of 0 to
// 5 m at 75 mm/s (ACI 309R 7.2, from memory). The often-quoted 1 ft in 3 s is
// 100 mm/s: the sources disagree, and the slower leaves fewer voids.
func WithdrawalSeconds(depth float64) (float64, error) {
	if err := inRange("depth of insertion", depth, 0, 5, "m"); err != nil {
		return 0, fmt.Errorf("withdrawal time: %w", err)
	}
	return depth / WithdrawalSpeed, nil
}

// KeepUp says whether vibrators keep up with a delivery.
type KeepUp int

// The answers. The group's rates are a range, so that the answer may be open.
const (
	CannotKeepUp KeepUp = iota // not even at the group's greatest rate
	MayKeepUp                  // at its greatest, but not at its least rate
	KeepsUp                    // at its least rate
)

// VibratorCapacity compares vibrators with a delivery.
type VibratorCapacity struct {
	Least, Most float64 // m³/h that those on hand consolidate
	Verdict     KeepUp
	Needed      int // vibrators that keep up at the group's least rate
}

// VibratorsKeepUp says whether a count (0 to 50) of vibrators of a group (1 to
// 5) keeps up with a delivery of 0 to 300 m³/h. One vibrator is a spare, or
// none; the caller leaves it out. ACI 309R Table 5.1.5, from memory.
func VibratorsKeepUp(group, count int, deliveryM3h float64) (VibratorCapacity, error) {
	g, err := VibratorGroupNumber(group)
	err = cmp.Or(err,
		inRange("vibrators on hand", float64(count), 0, 50, ""),
		inRange("delivery", deliveryM3h, 0, 300, "m³/h"))
	if err != nil {
		return VibratorCapacity{}, fmt.Errorf("vibrators keep up: %w", err)
	}
	out := VibratorCapacity{
		Least: float64(count) * g.RateLeast, Most: float64(count) * g.RateMost,
		Needed: int(math.Ceil(deliveryM3h/g.RateLeast - 1e-9)),
	}
	switch {
	case !over(deliveryM3h, out.Least):
		out.Verdict = KeepsUp
	case !over(deliveryM3h, out.Most):
		out.Verdict = MayKeepUp
	}
	return out, nil
}
