package concrete

import (
	"fmt"
	"math"
)

// FloorHours is the least time that braces stay after the last concrete. No
// temperature shortens it. 48 h is common practice, no source; the only
// published adjustment of it that was found is Radford's.
const FloorHours = 48.0

// Figures for the removal of forms that need no computation.
const (
	// ACIWallHours is 12 h of air above ACIWallAirC: ACI 347R-94, walls (found,
	// concreteconstruction.net).
	ACIWallHours = 12.0
	// ACIWallHoursLong is the upper end of the older 12 to 24 h summary (found,
	// concreteconstruction.net).
	ACIWallHoursLong = 24.0
	// ACIWallAirC is 50 °F; only air strictly above it counts.
	ACIWallAirC = 10.0
	// IS456WallHours and IS456WallHoursLong are IS 456:2000 11.3.1, 16 to 24 h
	// with ordinary Portland cement at 15 °C and above (found,
	// dreamhomeguide.in, afrozcivil.com).
	IS456WallHours     = 16.0
	IS456WallHoursLong = 24.0
	IS456AirC          = 15.0
	// IS456StrengthFactor is the strength over the stress at stripping, IS
	// 456:2000 11.3.1 (found).
	IS456StrengthFactor = 2.0
	// ArmyTieHours is when form ties may first be removed (found, a US Army
	// manual, EN5466).
	ArmyTieHours = 24.0
	// VerticalDamageMPa guards vertical faces against mechanical damage and
	// VerticalFrostMPa against frost: NSCS and CIRIA 136 (from memory).
	VerticalDamageMPa = 2.0
	VerticalFrostMPa  = 5.0
)

// Striking is a row of BS 8110-1:1997 Table 6.2.
type Striking int

// The four rows (from memory).
const (
	VerticalFaces Striking = iota + 1 // 12 h, 18 h, 300/(t+10) h
	SlabSoffit                        // 4 d, 6 d, 100/(t+10) d
	BeamSoffit                        // and props to slabs: 10 d, 15 d, 250/(t+10) d
	BeamProps                         // 14 d, 21 d, 360/(t+10) d
)

type strikingRow struct{ warmH, coolH, constantCh float64 }

var strikingTable = map[Striking]strikingRow{
	VerticalFaces: {12, 18, 300},
	SlabSoffit:    {4 * 24, 6 * 24, 100 * 24},
	BeamSoffit:    {10 * 24, 15 * 24, 250 * 24},
	BeamProps:     {14 * 24, 21 * 24, 360 * 24},
}

const (
	strikingCoolC  = 7.0
	strikingWarmC  = 16.0
	strikingDatumC = -10.0
	strikingMaxC   = 25.0
)

// BS8110MaturityCh is the constant Nurse-Saul maturity in °C·h above -10 °C that
// the formula of the row stands for: 300 °C·h for vertical faces (computed). An
// unknown row is refused.
func BS8110MaturityCh(s Striking) (float64, error) {
	row, ok := strikingTable[s]
	if !ok {
		return 0, fmt.Errorf("BS 8110 striking time: row %d is unknown", int(s))
	}
	return row.constantCh, nil
}

// BS8110FormulaHours is the formula of the row alone, at a surface temperature
// of 0 to 25 °C (from memory). The entries of the table are this in round
// figures, nearly all upwards: 360/(t+10) d at 7 °C is 21.2 d against 21.
func BS8110FormulaHours(s Striking, surfaceC float64) (float64, error) {
	sum, err := BS8110MaturityCh(s)
	if err != nil {
		return 0, err
	}
	if err := inRange("surface temperature", surfaceC, 0, strikingMaxC, "°C"); err != nil {
		return 0, fmt.Errorf("BS 8110 striking time: %w", err)
	}
	return sum / (surfaceC - strikingDatumC), nil
}

// BS8110Hours is the time before striking at a mean surface temperature of 0 to
// 80 °C, CEM I 42.5 (from memory): the larger of the formula and the entry of the
// table, the entry at 7 °C for 7 °C and below, the entry at 16 °C above. Warmer
// than 25 °C gives no less than at 25 °C. Never sooner when colder. Another
// temperature, and an unknown row, are refused.
func BS8110Hours(s Striking, surfaceC float64) (float64, error) {
	if err := inRange("surface temperature", surfaceC, 0, MaxFactorC, "°C"); err != nil {
		return 0, fmt.Errorf("BS 8110 striking time: %w", err)
	}
	formula, err := BS8110FormulaHours(s, min(surfaceC, strikingMaxC))
	if err != nil {
		return 0, err
	}
	entry := strikingTable[s].warmH
	if surfaceC <= strikingCoolC {
		entry = strikingTable[s].coolH
	}
	return max(formula, entry), nil
}

// Span is a stretch of time at one temperature, as a log kept by hand has it.
type Span struct {
	Hours float64 // 0 to 10,000 h
	TempC float64 // °C, -60 to 60
}

// ACICreditedHours is the hours of ACI 347R-94 (found,
// concreteconstruction.net): air strictly above 10 °C (50 °F), not necessarily
// consecutive. A wall wants ACIWallHours of them. Values outside the ranges of
// [Span] are refused. [Series.Above] counts them along a history.
func ACICreditedHours(spans []Span) (float64, error) {
	sum := 0.0
	for i, s := range spans {
		if err := inRange("length of the span", s.Hours, 0, 10000, "h"); err != nil {
			return 0, fmt.Errorf("ACI 347R hours span=%d: %w", i, err)
		}
		if err := inRange("air temperature", s.TempC, minAirC, maxAirC, "°C"); err != nil {
			return 0, fmt.Errorf("ACI 347R hours span=%d: %w", i, err)
		}
		if s.TempC > ACIWallAirC {
			sum += s.Hours
		}
	}
	return sum, nil
}

// RadfordHours is Radford's Cyclopedia of Construction, about 1909 (found,
// gluedideas.com): thin walls 2 days in summer, 5 days in cold weather.
func RadfordHours(cold bool) float64 {
	if cold {
		return 120
	}
	return 48
}

// HoursAtTemperature is how long a constant concrete temperature of 0.1 to 80 °C
// takes to earn an equivalent age in hours by a rule (computed). A temperature
// at which the rule counts nothing is refused.
func HoursAtTemperature(m Maturity, equivalentH, tempC float64) (float64, error) {
	if err := inRange("equivalent age", equivalentH, 0, 10000, "h"); err != nil {
		return 0, fmt.Errorf("hours at %s °C: %w", short(tempC), err)
	}
	if err := inRange("concrete temperature", tempC, 0.1, MaxFactorC, "°C"); err != nil {
		return 0, fmt.Errorf("hours for an equivalent age: %w", err)
	}
	f, err := m.CountedFactor(tempC)
	if err != nil {
		return 0, fmt.Errorf("hours at %s °C: %w", short(tempC), err)
	}
	if f <= 0 {
		return 0, fmt.Errorf("hours at %s °C: %s counts nothing", short(tempC), m.Name())
	}
	return equivalentH / f, nil
}

// BraceHours is HoursAtTemperature for FloorHours, and never under FloorHours
// elapsed, however warm (computed; the 48 h are common practice, no source). It
// refuses what HoursAtTemperature refuses.
func BraceHours(m Maturity, tempC float64) (float64, error) {
	h, err := HoursAtTemperature(m, FloorHours, tempC)
	return math.Max(h, FloorHours), err
}

// PublishedMaturities are the rules with the constants that the sheet shows side
// by side (from memory): they differ two to one at 5 °C.
func PublishedMaturities() []Maturity {
	return []Maturity{
		{Rule: RuleEN},
		DefaultMaturity(),
		{Rule: RuleFHP},
		{Rule: RuleSadgrove},
		{Rule: RuleNurseSaul, DatumC: 0},
		{Rule: RuleNurseSaul, DatumC: -10},
	}
}

// SiteSpecimenDay is the Chinese rule for specimens kept with the wall, GB 50204
// (found, sflowers.be): they are tested on the day on which the daily means sum
// up to 600 °C·d, days at or below 0 °C not counted, but not before 14 d nor
// after 60 d. Days count from 1; false if the days given do not reach it. A mean
// outside -60 to 60 °C is refused.
func SiteSpecimenDay(dailyMeanC []float64) (int, bool, error) {
	const wantCd, firstDay, lastDay = 600.0, 14, 60
	sum := 0.0
	for i, c := range dailyMeanC {
		if err := inRange("daily mean temperature", c, minAirC, maxAirC, "°C"); err != nil {
			return 0, false, fmt.Errorf("age of the site specimens day=%d: %w", i+1, err)
		}
		sum += max(0, c)
		if day := i + 1; day >= lastDay || day >= firstDay && sum >= wantCd {
			return day, true, nil
		}
	}
	return 0, false, nil
}
