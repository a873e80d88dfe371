package concrete

import (
	"fmt"
	"math"
	"slices"
)

// The concrete temperatures for which a setting time is given.
const (
	minSetC = -50.0
	maxSetC = 80.0
)

// The range of the approximate-setting table, and of the tests that may be
// scaled by it.
const (
	setTableColdF = 30.0
	setTableStepF = 10.0
	setTableColdC = -1.1 // 30 °F as printed
	setTableHotC  = 37.8 // 100 °F as printed
	minSetTestC   = 0.0
	maxSetTestC   = 38.0
)

// SettingEntry is one line of the approximate-setting table.
type SettingEntry struct {
	TempF   float64 // °F, as printed
	Minutes float64 // to initial set, from the batching of the load
	Status  string  // "found" or "from memory"
}

// settingTable is the approximate setting time of concrete by temperature that
// handbooks print with their admixture tables: 100 to 70 °F found (quoted on a
// training page, positivemindstuitionacademy.com), 60 to 30 °F from memory. It
// runs from cold to hot in steps of 10 °F. It is no Arrhenius curve of one
// activation energy: its hot end falls faster.
var settingTable = [...]SettingEntry{
	{30, 19 * 60, "from memory"},
	{40, 14 * 60, "from memory"},
	{50, 11 * 60, "from memory"},
	{60, 8 * 60, "from memory"},
	{70, 6 * 60, "found"},
	{80, 4 * 60, "found"},
	{90, 160, "found"},
	{100, 100, "found"},
}

// SettingTable returns a copy of the approximate-setting table, cold to hot (70
// to 100 °F found, 30 to 60 °F from memory).
func SettingTable() []SettingEntry { return slices.Clone(settingTable[:]) }

// SetTableCovers says whether the temperature lies within the table, 30 to
// 100 °F (-1.1 to 37.8 °C). Outside it InitialSetMinutes still answers, on the
// safe side for a joint, and the answer has to be shown as an estimate beyond
// the table.
func SetTableCovers(tempC float64) bool { return tempC >= setTableColdC && tempC <= setTableHotC }

// InitialSetMinutes is the time from batching to initial set at a constant
// concrete temperature of -50 to 80 °C, by the approximate-setting table,
// linear in the logarithm of time between its entries. Above the table the last
// slope goes on; below it the coldest entry stands, which is earlier than the
// truth and so safe for a joint. It never rises with the temperature. Entries of
// 70 to 100 °F found, of 30 to 60 °F from memory. Another temperature is refused.
func InitialSetMinutes(tempC float64) (float64, error) {
	if err := inRange("concrete temperature", tempC, minSetC, maxSetC, "°C"); err != nil {
		return 0, err
	}
	f := fahrenheit(tempC)
	if f <= setTableColdF {
		return settingTable[0].Minutes, nil
	}
	i := min(int((f-setTableColdF)/setTableStepF), len(settingTable)-2)
	a, b := settingTable[i], settingTable[i+1]
	return logLinear(f, a.TempF, a.Minutes, b.TempF, b.Minutes), nil
}

// logLinear gives y at x on the line through two points whose logarithm of y is
// linear in x. It gives y0 exactly at x0.
func logLinear(x, x0, y0, x1, y1 float64) float64 {
	return y0 * math.Pow(y1/y0, (x-x0)/(x1-x0))
}

// ScaleInitialSet moves a mix's measured initial set (20 to 2,880 min from
// batching) from the temperature at which it was measured to another, by the
// ratio of the approximate-setting table at both. The measuring temperature has
// to be 0 to 38 °C, within the table, so that the ratio does not rest on a guess;
// the other is treated as InitialSetMinutes treats it. One activation
// energy is not used: from 21 °C it would be late by a fifth at 32 °C. The
// ratio: computed. Values out of range are refused.
func ScaleInitialSet(measuredMin, measuredAtC, tempC float64) (float64, error) {
	if err := (SetPoint{measuredAtC, measuredMin}).validate(); err != nil {
		return 0, err
	}
	from, err := InitialSetMinutes(measuredAtC)
	if err != nil {
		return 0, err
	}
	to, err := InitialSetMinutes(tempC)
	if err != nil {
		return 0, err
	}
	return measuredMin * (to / from), nil
}

// SetPoint is an initial set that was measured on a mix at a constant
// temperature.
type SetPoint struct {
	TempC   float64 // °C, 0 to 38
	Minutes float64 // from batching to initial set, 20 to 2,880
}

func (p SetPoint) validate() error {
	if err := inRange("measured initial set", p.Minutes, 20, 2880, "min"); err != nil {
		return err
	}
	return inRange("temperature of the setting test", p.TempC, minSetTestC, maxSetTestC, "°C")
}

// MixInitialSetMinutes is the time from batching to initial set at tempC by the
// mix's own measured points: linear in the logarithm of time between two, and
// beyond them scaled from the nearest by ScaleInitialSet. Without points it is
// InitialSetMinutes (computed from the points given). Points of equal temperature,
// and points that set later when hotter, contradict each other and are refused, as
// is a temperature outside -50 to 80 °C.
func MixInitialSetMinutes(points []SetPoint, tempC float64) (float64, error) {
	if len(points) == 0 {
		return InitialSetMinutes(tempC)
	}
	sorted, err := sortedSetPoints(points)
	if err != nil {
		return 0, err
	}
	if err := inRange("concrete temperature", tempC, minSetC, maxSetC, "°C"); err != nil {
		return 0, err
	}
	i, exact := slices.BinarySearchFunc(sorted, tempC, func(p SetPoint, c float64) int {
		return compareFloat(p.TempC, c)
	})
	switch {
	case exact:
		return sorted[i].Minutes, nil
	case i == 0:
		return ScaleInitialSet(sorted[0].Minutes, sorted[0].TempC, tempC)
	case i == len(sorted):
		return ScaleInitialSet(sorted[i-1].Minutes, sorted[i-1].TempC, tempC)
	}
	a, b := sorted[i-1], sorted[i]
	return logLinear(tempC, a.TempC, a.Minutes, b.TempC, b.Minutes), nil
}

// sortedSetPoints checks the points and returns them from cold to hot.
func sortedSetPoints(points []SetPoint) ([]SetPoint, error) {
	sorted := slices.Clone(points)
	slices.SortFunc(sorted, func(a, b SetPoint) int { return compareFloat(a.TempC, b.TempC) })
	for i, p := range sorted {
		if err := p.validate(); err != nil {
			return nil, err
		}
		if i > 0 && (p.TempC == sorted[i-1].TempC || p.Minutes > sorted[i-1].Minutes) {
			return nil, fmt.Errorf("setting data: %s min at %s °C contradicts %s min at %s °C", short(p.Minutes),
				short(p.TempC), short(sorted[i-1].Minutes), short(sorted[i-1].TempC))
		}
	}
	return sorted, nil
}

func compareFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
