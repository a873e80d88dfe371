package concrete

import "fmt"

// Strengths before which the wall must not freeze, and other figures of cold
// weather.
const (
	// FirstFreezeStrengthMPa is 3.5 MPa (500 psi): found in PCA Design and
	// Control, chapter 14. A wall that freezes before it can lose about half of
	// its strength.
	FirstFreezeStrengthMPa = 3.5
	// FreezeStrengthEN13670MPa is EN 13670 8.5 (from memory): the surface is
	// not below 0 °C until 5 MPa.
	FreezeStrengthEN13670MPa = 5.0
	// FreezingC is the temperature at which a wall counts as frozen. Pore water
	// freezes a little lower; the difference is left on the safe side.
	FreezingC = 0.0
	// MinDeliveredC is the least temperature of fresh concrete on delivery, EN
	// 206 (from memory; "5 °C" found in a UK builders' guide).
	MinDeliveredC = 5.0
	// MaxHeatedWaterC is the most that mixing water may have when it meets the
	// cement, 60 °C (140 °F): found, concreteconstruction.net.
	MaxHeatedWaterC = 60.0
	// CoversAfterHeatH is how long covers stay after the heat stops: found, a
	// city specification (Everett).
	CoversAfterHeatH = 24.0
	// MaxAboveMinimumK is by how much a placed temperature should not exceed
	// the minimum, about 11 K (20 °F): ACI 306R (from memory).
	MaxAboveMinimumK = 11.0
	// MaxCoolingPerHourK is 3 K in any 1 h: found, UFGS.
	MaxCoolingPerHourK = 3.0
	// MaxCoolingPerDayK is 10 K in any 24 h: found, UFGS, which prints "50 °F"
	// beside it; as a difference it is 18 °F.
	MaxCoolingPerDayK = 10.0
)

// Difference is a difference of temperatures in K (which is also a difference
// in °C). It converts by 1.8 alone; a temperature adds 32.
type Difference float64

// FahrenheitDifference converts a difference in °F to K (arithmetic; any value).
func FahrenheitDifference(f float64) Difference { return Difference(f / 1.8) }

// Kelvin is the difference in K (arithmetic).
func (d Difference) Kelvin() float64 { return float64(d) }

// Fahrenheit is the difference in °F (arithmetic).
func (d Difference) Fahrenheit() float64 { return float64(d) * 1.8 }

// fahrenheit converts a temperature (not a difference) to °F.
func fahrenheit(c float64) float64 { return float64(c*1.8) + 32 }

// ColdWeatherC is the air temperature of ACI 306R-16, 4 °C (40 °F).
const ColdWeatherC = 4.0

// Daily means of the air below which other countries' rules speak of cold
// weather (from memory).
const (
	ColdDailyMeanChinaC = 5.0
	ColdDailyMeanJapanC = 4.0
)

// ColdWeather is the definition of ACI 306R-16 (found, engineerfix.com): the air
// has fallen to 4 °C, or is expected to fall below it, during the protection
// period. Give the lowest air, measured or forecast, -60 to 60 °C. This is the
// definition to use.
func ColdWeather(lowestAirC float64) (bool, error) {
	if err := inRange("air temperature", lowestAirC, minAirC, maxAirC, "°C"); err != nil {
		return false, fmt.Errorf("cold weather: %w", err)
	}
	return lowestAirC <= ColdWeatherC, nil
}

// DailyAir sums up one day of air temperature.
type DailyAir struct {
	MeanC        float64 // °C, -60 to 60
	HoursAbove10 float64 // h of the day above 10 °C, 0 to 24
}

// ColdWeather1988 is the older definition of ACI 306R-88 (found, PCA Design and
// Control, chapter 14): more than 3 successive days with a daily mean below
// 5 °C and the air not above 10 °C for more than half of any 24 h. Days are
// calendar days. Values outside the ranges of [DailyAir] are refused.
func ColdWeather1988(days []DailyAir) (bool, error) {
	run := 0
	for i, d := range days {
		if err := inRange("daily mean air temperature", d.MeanC, minAirC, maxAirC, "°C"); err != nil {
			return false, fmt.Errorf("cold weather of 1988 day=%d: %w", i, err)
		}
		if err := inRange("hours above 10 °C", d.HoursAbove10, 0, hoursPerDay, "h"); err != nil {
			return false, fmt.Errorf("cold weather of 1988 day=%d: %w", i, err)
		}
		if d.MeanC >= 5 || d.HoursAbove10 > hoursPerDay/2 {
			run = 0
			continue
		}
		if run++; run > 3 {
			return true, nil
		}
	}
	return false, nil
}

// SectionLimits are the temperatures of ACI 306R Tables 3.1 and 5.1 (from
// memory) for one size of section.
type SectionLimits struct {
	PlacedC       float64    // least, as placed and maintained
	MixedMildC    float64    // least as mixed, air above -1 °C
	MixedFrostC   float64    // least as mixed, air -18 to -1 °C
	MixedSevereC  float64    // least as mixed, air below -18 °C
	MaxDrop24h    Difference // greatest gradual drop in the 24 h after protection ends
	leastDimBelow float64    // m; the row holds up to here
}

var sectionTable = [...]SectionLimits{
	{13, 16, 18, 21, 28, 0.3},
	{10, 13, 16, 18, 22, 0.9},
	{7, 10, 13, 16, 17, 1.8},
	{5, 7, 10, 13, 11, 10},
}

// LimitsForSection gives the row for a least dimension of 0.05 to 10 m: below
// 0.3 m, 0.3 to 0.9, 0.9 to 1.8, above. 0.9 and 1.8 m belong to the thinner
// row, the warmer one. Outside that range the dimension is refused. ACI 306R
// Tables 3.1 and 5.1, from memory. A page that gives 10 °C for thin sections
// (found, secondary) contradicts the 13 °C of this table; 13 is the safe one.
func LimitsForSection(leastDimM float64) (SectionLimits, error) {
	if err := inRange("least dimension of the section", leastDimM, 0.05, 10, "m"); err != nil {
		return SectionLimits{}, fmt.Errorf("cold-weather limits: %w", err)
	}
	if leastDimM < sectionTable[0].leastDimBelow {
		return sectionTable[0], nil
	}
	for _, row := range sectionTable[1:] {
		if leastDimM <= row.leastDimBelow {
			return row, nil
		}
	}
	return sectionTable[len(sectionTable)-1], nil
}

// AsMixedC is the least temperature of concrete as mixed, °C, at an air
// temperature of -60 to 60 °C; colder or hotter air is refused. -1 °C and -18 °C
// belong to the middle row. ACI 306R Table 3.1, from memory.
func (l SectionLimits) AsMixedC(airC float64) (float64, error) {
	if err := inRange("air temperature", airC, minAirC, maxAirC, "°C"); err != nil {
		return 0, fmt.Errorf("least temperature as mixed: %w", err)
	}
	switch {
	case airC > -1:
		return l.MixedMildC, nil
	case airC >= -18:
		return l.MixedFrostC, nil
	default:
		return l.MixedSevereC, nil
	}
}

// PlacedVerdict is what a placed temperature is worth in the cold.
type PlacedVerdict int

// The three verdicts.
const (
	PlacedOK      PlacedVerdict = iota + 1
	PlacedTooCold               // below the minimum for the section
	PlacedTooWarm               // more than MaxAboveMinimumK above it
)

// JudgePlaced compares a placed temperature of -50 to 80 °C with the limits of
// the section: at least PlacedC, and no more than MaxAboveMinimumK above it (ACI
// 306R, from memory). Any other temperature is refused.
func (l SectionLimits) JudgePlaced(concreteC float64) (PlacedVerdict, error) {
	if err := inRange("concrete temperature", concreteC, MinFactorC, MaxFactorC, "°C"); err != nil {
		return 0, fmt.Errorf("placed temperature: %w", err)
	}
	switch {
	case concreteC < l.PlacedC:
		return PlacedTooCold, nil
	case concreteC > l.PlacedC+MaxAboveMinimumK:
		return PlacedTooWarm, nil
	default:
		return PlacedOK, nil
	}
}

// DropOnUncovering is the drop that the concrete is exposed to when protection
// or a form comes off, and whether it exceeds MaxDrop24h (ACI 306R, from memory).
// Concrete -50 to 80 °C, air -60 to 60 °C, or the temperature is refused. Air
// warmer than the concrete is no drop.
func (l SectionLimits) DropOnUncovering(concreteC, airC float64) (drop Difference, tooMuch bool, err error) {
	if err := inRange("concrete temperature", concreteC, MinFactorC, MaxFactorC, "°C"); err != nil {
		return 0, false, fmt.Errorf("drop on uncovering: %w", err)
	}
	if err := inRange("air temperature", airC, minAirC, maxAirC, "°C"); err != nil {
		return 0, false, fmt.Errorf("drop on uncovering: %w", err)
	}
	drop = Difference(max(0, concreteC-airC))
	return drop, drop > l.MaxDrop24h, nil
}

// Service is how the concrete is used during the protection period.
type Service int

// The closed set of services of ACI 306R Tables 5.1 and 7.1.
const (
	NotLoadedNotExposed Service = iota + 1 // 2 d, accelerated 1 d
	NotLoadedExposed                       // exposed to freezing: 3 d, accelerated 2 d
	PartlyLoadedExposed                    // 6 d, accelerated 4 d
	FullyLoaded                            // by strength only
)

// ProtectionHours is the protection period of ACI 306R Tables 5.1 and 7.1 (from
// memory), in h, at the temperatures of SectionLimits. Accelerated means Type
// III cement, 60 kg/m³ more cement, or an accelerator. The second result is
// false for FullyLoaded, where strength decides and no hours are given. A service
// outside the closed set is refused.
func ProtectionHours(s Service, accelerated bool) (float64, bool, error) {
	usual := map[Service][2]float64{
		NotLoadedNotExposed: {48, 24},
		NotLoadedExposed:    {72, 48},
		PartlyLoadedExposed: {144, 96},
	}
	if s == FullyLoaded {
		return 0, false, nil
	}
	hours, ok := usual[s]
	if !ok {
		return 0, false, fmt.Errorf("protection period: service %d is unknown", int(s))
	}
	if accelerated {
		return hours[1], true, nil
	}
	return hours[0], true, nil
}

// OlderProtectionHours is the older rule (found, concreteconstruction.net and a
// city specification): 3 d at 21 °C or above, 5 d at 10 °C or above, and then
// no freezing for frostFree more. Below 10 °C it says nothing and the
// temperature is refused.
func OlderProtectionHours(concreteC float64) (hours, frostFree float64, err error) {
	if err := inRange("maintained concrete temperature", concreteC, 10, MaxFactorC, "°C"); err != nil {
		return 0, 0, fmt.Errorf("older protection rule: %w", err)
	}
	if concreteC >= 21 {
		return 72, 96, nil
	}
	return 120, 96, nil
}
