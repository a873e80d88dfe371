package concrete

import "fmt"

// CuringClass is a class of EN 13670 Annex F.
type CuringClass int

// The closed set of classes (from memory), by the share of the 28-day strength
// that curing has to reach at the surface.
const (
	CuringClass1 CuringClass = iota + 1 // 12 h
	CuringClass2                        // 35 %
	CuringClass3                        // 50 %
	CuringClass4                        // 70 %
)

// Strength development r = fcm2/fcm28 of the three columns of Annex F.
const (
	CuringRapid  = 0.50
	CuringMedium = 0.30
	CuringSlow   = 0.15
)

const (
	curingLeastC   = 5.0
	curingSetHours = 5.0
)

// curingBand is a row of Annex F: surface temperatures from leastC up to the
// next row, and days by class and development.
type curingBand struct {
	leastC float64
	days   map[CuringClass][3]float64 // rapid, medium, slow
}

var curingTable = [...]curingBand{
	{25, map[CuringClass][3]float64{CuringClass2: {1, 1.5, 2.5}, CuringClass3: {1.5, 2.5, 3.5}, CuringClass4: {3, 5, 6}}},
	{15, map[CuringClass][3]float64{CuringClass2: {1, 2.5, 5}, CuringClass3: {2, 4, 7}, CuringClass4: {5, 9, 12}}},
	{10, map[CuringClass][3]float64{CuringClass2: {1.5, 4, 8}, CuringClass3: {2.5, 7, 12}, CuringClass4: {7, 13, 21}}},
	{5, map[CuringClass][3]float64{CuringClass2: {2, 5, 11}, CuringClass3: {3.5, 9, 18}, CuringClass4: {9, 18, 30}}},
}

// CuringHours is the curing period of EN 13670 Annex F (from memory) at a
// constant surface temperature of 5 to 80 °C, in h. Development r is 0.15 to 1:
// straight between the columns 0.50, 0.30 and 0.15, as rapid above 0.50. The
// bands of temperature are not interpolated: each holds from its lower end.
// Setting time beyond 5 h (setHours 0 to 72) is added. Class 1 does not look at
// r. Below 5 °C nothing counts and the temperature is refused.
func CuringHours(c CuringClass, r, surfaceC, setHours float64) (float64, error) {
	if err := inRange("surface temperature", surfaceC, curingLeastC, MaxFactorC, "°C"); err != nil {
		return 0, fmt.Errorf("curing period: %w", err)
	}
	if err := inRange("setting time", setHours, 0, 72, "h"); err != nil {
		return 0, fmt.Errorf("curing period: %w", err)
	}
	hours, err := curingHours(c, r, surfaceC)
	return hours + max(0, setHours-curingSetHours), err
}

// curingHours is the period without the part for late setting.
func curingHours(c CuringClass, r, surfaceC float64) (float64, error) {
	if c == CuringClass1 {
		return 12, nil
	}
	if err := inRange("strength development r", r, CuringSlow, 1, ""); err != nil {
		return 0, fmt.Errorf("curing period: %w", err)
	}
	for _, band := range curingTable {
		if surfaceC < band.leastC {
			continue
		}
		days, ok := band.days[c]
		if !ok {
			return 0, fmt.Errorf("curing period: class %d is unknown", int(c))
		}
		return hoursPerDay * betweenColumns(days, r), nil
	}
	return 0, RangeError{"surface temperature", surfaceC, curingLeastC, MaxFactorC, "°C"}
}

// betweenColumns is straight in r between the three columns.
func betweenColumns(days [3]float64, r float64) float64 {
	switch {
	case r >= CuringRapid:
		return days[0]
	case r >= CuringMedium:
		return days[0] + (days[1]-days[0])*(CuringRapid-r)/(CuringRapid-CuringMedium)
	default:
		return days[1] + (days[2]-days[1])*(CuringMedium-r)/(CuringMedium-CuringSlow)
	}
}

// CuringShare is the part of the curing period that a history of surface
// temperature has earned, 1 when it is done: each interval counts at its colder
// end, and nothing below 5 °C (how the parts are summed: common practice, no
// source). The setting time beyond 5 h comes off the beginning. A series that is
// not valid is refused, and what CuringHours refuses but for the temperature.
func CuringShare(c CuringClass, r, setHours float64, s Series) (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, fmt.Errorf("curing share: %w", err)
	}
	if err := inRange("setting time", setHours, 0, 72, "h"); err != nil {
		return 0, fmt.Errorf("curing share: %w", err)
	}
	begin := s[0].Hours + max(0, setHours-curingSetHours)
	share := 0.0
	for i := 1; i < len(s); i++ {
		hours := s[i].Hours - max(begin, s[i-1].Hours)
		coldest := min(s[i-1].TempC, s[i].TempC)
		if hours <= 0 || coldest < curingLeastC {
			continue
		}
		period, err := curingHours(c, r, coldest)
		if err != nil {
			return 0, fmt.Errorf("curing share: %w", err)
		}
		share += hours / period
	}
	return min(1, share), nil
}
