package concrete

import (
	"cmp"
	"fmt"
	"math"

	"earlyage/scheduler/concrete/unit"
)

// DischargeLimit is the time from water meeting cement to the end of discharge.
type DischargeLimit struct {
	Rule    string  // its name
	Minutes float64 // the value itself is allowed
	Source  string
	Status  string // found or from memory
}

var dischargeLimits = [...]DischargeLimit{
	{"astm-c94", 90, "ASTM C94/C94M; the purchaser may waive or shorten it", "from memory"},
	{"csa-a23.1", 120, "CSA A23.1", "from memory"},
	{"en-206-truck-mixer", 90, "EN 206/DIN 1045, truck mixer", "from memory"},
	{"en-206-non-agitating", 45, "EN 206/DIN 1045, non-agitating", "from memory"},
	{"bs-8500", 120, "BS 8500", "from memory"},
}

// OlderRevolutionLimit is the count of drum revolutions that editions of ASTM
// C94 before about 2013 allowed (from memory); RevolutionsAfterWater are those
// at mixing speed after water is added on arrival, once.
const (
	OlderRevolutionLimit  = 300
	RevolutionsAfterWater = 30
)

// DischargeLimits lists the limits in minutes on the age of a load at discharge,
// each with its source and how far that was checked. The limits by air
// temperature of JSCE and JASS 5 are those of [PlacingLimitMinutes].
func DischargeLimits() []DischargeLimit {
	limits := dischargeLimits
	return limits[:]
}

// DischargeLimitFor is the limit of a rule that DischargeLimits names; another
// name is refused.
func DischargeLimitFor(rule string) (DischargeLimit, error) {
	for _, l := range dischargeLimits {
		if l.Rule == rule {
			return l, nil
		}
	}
	return DischargeLimit{}, fmt.Errorf("discharge limit: rule %q is unknown", rule)
}

// SlumpRule is a way of stating a slump.
type SlumpRule int

// The rules.
const (
	SlumpC94Nominal SlumpRule = iota + 1 // ASTM C94, a nominal slump
	SlumpC94Maximum                      // ASTM C94, "maximum" or "not to exceed"
	SlumpEN206                           // EN 206, a target slump
)

// SlumpRange is the slump accepted on arrival, both ends included. A load must
// hold it for 30 min (ASTM C94, from memory).
type SlumpRange struct{ Least, Most float64 } // m

// Accepts says whether a measured slump in m is within the range. One that was
// not measured (NaN) is not.
func (r SlumpRange) Accepts(slump float64) bool {
	return reaches(slump, r.Least) && !over(slump, r.Most)
}

// SlumpTolerance is the range for a stated slump of 0.01 to 0.25 m. C94 nominal:
// to 50 mm ±15, to 100 mm ±25, over ±40. C94 maximum: to 75 mm +0 -40, more +0
// -65. With USConstants nominal: to 2 in ±1/2, to 4 in ±1, over ±1 1/2; maximum:
// to 3 in +0 -1 1/2, more +0 -2 1/2. A slump that is stated in inches needs
// those: 4 in is over 100 mm. EN 206, in mm only: 10 to 40 ±10, 50 to 90 ±20,
// from 100 ±30; between these the tighter one. Another slump, and a rule without
// tolerances in those constants, are refused. All from memory.
func SlumpTolerance(rule SlumpRule, c Constants, stated float64) (SlumpRange, error) {
	err := inRange("stated slump", stated, 0.01, 0.25, "m")
	if err == nil && c != SIConstants && c != USConstants {
		err = fmt.Errorf("constants %q: neither %s nor %s", string(c), SIConstants, USConstants)
	}
	if err != nil {
		return SlumpRange{}, fmt.Errorf("slump tolerance: %w", err)
	}
	steps, ok := slumpSteps[rule][c]
	if !ok {
		return SlumpRange{}, fmt.Errorf("slump tolerance: rule %d has none with constants %s", rule, c)
	}
	for _, s := range steps {
		if (s.within && !over(stated, s.limit)) || !reaches(stated, s.limit) {
			return SlumpRange{Least: math.Max(0, stated-s.less), Most: stated + s.more}, nil
		}
	}
	return SlumpRange{}, fmt.Errorf("slump tolerance: rule %d has none for %v m", rule, stated)
}

// slumpStep is a tolerance up to a limit in m, the limit within it or not.
type slumpStep struct {
	limit      float64
	within     bool
	less, more float64
}

var slumpSteps = map[SlumpRule]map[Constants][]slumpStep{
	SlumpC94Nominal: {
		SIConstants: {{0.050, true, 0.015, 0.015}, {0.100, true, 0.025, 0.025}, {1, true, 0.040, 0.040}},
		USConstants: {
			{2 * unit.Inch, true, unit.Inch / 2, unit.Inch / 2},
			{4 * unit.Inch, true, unit.Inch, unit.Inch},
			{1, true, 1.5 * unit.Inch, 1.5 * unit.Inch},
		},
	},
	SlumpC94Maximum: {
		SIConstants: {{0.075, true, 0.040, 0}, {1, true, 0.065, 0}},
		USConstants: {{3 * unit.Inch, true, 1.5 * unit.Inch, 0}, {1, true, 2.5 * unit.Inch, 0}},
	},
	SlumpEN206: {
		SIConstants: {{0.050, false, 0.010, 0.010}, {0.100, false, 0.020, 0.020}, {1, true, 0.030, 0.030}},
	},
}

// TestRule is a rule for how many strength tests a placement needs.
type TestRule int

// The rules.
const (
	TestsACI318  TestRule = iota + 1 // ACI 318-19 26.12.2.1: 150 yd³, 5000 ft²
	TestsACI318M                     // the metric code: 110 m³, 460 m²
	TestsCSA                         // CSA A23.1: 100 m³
	TestsEN206                       // EN 206 Table 17, certified plant
)

// Placed is what was placed of one class of concrete.
type Placed struct {
	Volume float64 // m³, 0 to 100,000
	Face   float64 // m² of wall face, one side, 0 to 1,000,000
	Days   int     // on which it was placed, 1 to 366
}

// TestsDue is how many strength tests are due. None is due for no volume.
type TestsDue struct {
	Tests    int
	Waivable bool // under 50 yd³ (38 m³): ACI 318 lets the official waive them
}

// Cylinders of one strength test (ACI 318-19 26.12, from memory).
const (
	CylindersLarge = 2 // 150 x 300 mm
	CylindersSmall = 3 // 100 x 200 mm
)

// TestsFor is the number of tests due: for ACI 318 the largest of one a day, one
// per 150 yd³ (114.7 m³; the metric code 110) and one per 5000 ft² (464.5 m²;
// 460) of face; for CSA A23.1 the larger of one a day and one per 100 m³; for EN
// 206 three of the first 50 m³, then the more frequent of one per 200 m³ and one
// per 3 production days. Values outside the ranges of [Placed] are refused. All
// from memory.
func TestsFor(rule TestRule, p Placed) (TestsDue, error) {
	err := cmp.Or(
		inRange("volume placed", p.Volume, 0, 1e5, "m³"),
		inRange("wall face", p.Face, 0, 1e6, "m²"),
		inRange("days", float64(p.Days), 1, 366, "d"),
	)
	if err != nil {
		return TestsDue{}, fmt.Errorf("tests due: %w", err)
	}
	if p.Volume == 0 {
		return TestsDue{}, nil
	}
	switch rule {
	case TestsACI318:
		n := max(p.Days, whole(p.Volume/(150*unit.CubicYard)), whole(p.Face/(5000*unit.SquareFoot)))
		return TestsDue{Tests: n, Waivable: p.Volume < 50*unit.CubicYard}, nil
	case TestsACI318M:
		return TestsDue{Tests: max(p.Days, whole(p.Volume/110), whole(p.Face/460)), Waivable: p.Volume < 38}, nil
	case TestsCSA:
		return TestsDue{Tests: max(p.Days, whole(p.Volume/100))}, nil
	case TestsEN206:
		return TestsDue{Tests: 3 + max(whole((p.Volume-50)/200), whole(float64(p.Days)/3)-1, 0)}, nil
	}
	return TestsDue{}, fmt.Errorf("tests due: rule %d is unknown", rule)
}

// whole rounds up, but for the last digits of a quotient that is whole.
func whole(v float64) int { return int(math.Ceil(v - 1e-9)) }

// Cold-weather limits on delivered concrete, °C.
const ColdDeliveryMost = 32.0 // heated concrete; ASTM C94, from memory

// ColdDeliveryLeast is the least temperature in °C at which concrete may be
// delivered in cold weather, by the least dimension of the section (0.05 to 10
// m): under 300 mm 13, to 900 mm 10, to 1.8 m 7, over it 5. ASTM C94 names the
// figures of ACI 306R, [LimitsForSection]; from memory.
func ColdDeliveryLeast(thickness float64) (float64, error) {
	limits, err := LimitsForSection(thickness)
	if err != nil {
		return 0, fmt.Errorf("cold delivery minimum: %w", err)
	}
	return limits.PlacedC, nil
}
