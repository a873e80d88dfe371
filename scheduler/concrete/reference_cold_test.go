package concrete_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
)

var services = map[string]concrete.Service{
	"not-loaded": concrete.NotLoadedNotExposed, "not-loaded-exposed": concrete.NotLoadedExposed,
	"partly-loaded-exposed": concrete.PartlyLoadedExposed,
}

var strikings = map[string]concrete.Striking{
	"vertical": concrete.VerticalFaces, "slab": concrete.SlabSoffit, "beam": concrete.BeamSoffit, "props": concrete.BeamProps,
}

var curingClasses = map[string]concrete.CuringClass{
	"1": concrete.CuringClass1, "2": concrete.CuringClass2, "3": concrete.CuringClass3, "4": concrete.CuringClass4,
}

func yes(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func coldReference() {
	reference("cold-weather", func(t *testing.T, in inputs) map[string]float64 {
		cold, err := concrete.ColdWeather(in.num(t, "air"))
		require.NoError(t, err)
		return map[string]float64{"cold": yes(cold)}
	})
	reference("cold-weather-1988", func(t *testing.T, in inputs) map[string]float64 {
		var days []concrete.DailyAir
		for range int(in.num(t, "days")) {
			days = append(days, concrete.DailyAir{MeanC: in.num(t, "mean"), HoursAbove10: in.num(t, "above10")})
		}
		cold, err := concrete.ColdWeather1988(days)
		require.NoError(t, err)
		return map[string]float64{"cold": yes(cold)}
	})
	reference("cold-constants", func(_ *testing.T, _ inputs) map[string]float64 {
		return map[string]float64{
			"first-freeze": concrete.FirstFreezeStrengthMPa, "first-freeze-psi": concrete.FirstFreezeStrengthMPa / concrete.MPaPerPSI,
			"freeze-en13670": concrete.FreezeStrengthEN13670MPa,
			"delivered":      concrete.MinDeliveredC, "heated-water": concrete.MaxHeatedWaterC,
			"covers-after-heat": concrete.CoversAfterHeatH, "above-minimum": concrete.MaxAboveMinimumK,
			"china-mean": concrete.ColdDailyMeanChinaC, "japan-mean": concrete.ColdDailyMeanJapanC,
			"cooling-hour": concrete.MaxCoolingPerHourK, "cooling-day": concrete.MaxCoolingPerDayK,
		}
	})
}

func protectionReference() {
	reference("section-limits", func(t *testing.T, in inputs) map[string]float64 {
		l, err := concrete.LimitsForSection(in.num(t, "m"))
		require.NoError(t, err)
		out := map[string]float64{
			"placed": l.PlacedC, "placed-f": l.PlacedC*1.8 + 32,
			"drop": l.MaxDrop24h.Kelvin(), "drop-f": l.MaxDrop24h.Fahrenheit(),
		}
		if in.has("air") {
			mixed, err := l.AsMixedC(in.num(t, "air"))
			require.NoError(t, err)
			out["mixed"], out["mixed-f"] = mixed, mixed*1.8+32
		}
		if in.has("concrete") {
			verdict, err := l.JudgePlaced(in.num(t, "concrete"))
			require.NoError(t, err)
			out["too-cold"], out["ok"] = yes(verdict == concrete.PlacedTooCold), yes(verdict == concrete.PlacedOK)
			if in.has("air") {
				drop, tooMuch, err := l.DropOnUncovering(in.num(t, "concrete"), in.num(t, "air"))
				require.NoError(t, err)
				out["fall"], out["too-much"] = drop.Kelvin(), yes(tooMuch)
			}
		}
		return out
	})
	reference("protection", func(t *testing.T, in inputs) map[string]float64 {
		h, ok, err := concrete.ProtectionHours(services[in.word("service")], in.word("accelerated") == "yes")
		require.NoError(t, err)
		require.True(t, ok)
		return map[string]float64{"hours": h, "days": h / 24}
	})
	reference("older-protection", func(t *testing.T, in inputs) map[string]float64 {
		h, free, err := concrete.OlderProtectionHours(in.num(t, "temp"))
		require.NoError(t, err)
		return map[string]float64{"days": h / 24, "frost-free-days": free / 24}
	})
	reference("difference", func(t *testing.T, in inputs) map[string]float64 {
		if in.has("f") {
			return map[string]float64{"k": concrete.FahrenheitDifference(in.num(t, "f")).Kelvin()}
		}
		return map[string]float64{"f": concrete.Difference(in.num(t, "k")).Fahrenheit()}
	})
}

func removalReference() {
	reference("bs8110", func(t *testing.T, in inputs) map[string]float64 {
		row, c := strikings[in.word("row")], in.num(t, "temp")
		formula, err := concrete.BS8110FormulaHours(row, c)
		require.NoError(t, err)
		larger, err := concrete.BS8110Hours(row, c)
		require.NoError(t, err)
		sum, err := concrete.BS8110MaturityCh(row)
		require.NoError(t, err)
		return map[string]float64{
			"formula": formula, "formula-days": formula / 24, "hours": larger, "days": larger / 24, "sum": sum,
		}
	})
	reference("aci-hours", func(t *testing.T, in inputs) map[string]float64 {
		var spans []concrete.Span
		for _, c := range in.list(t, "air") {
			spans = append(spans, concrete.Span{Hours: in.num(t, "each"), TempC: c})
		}
		h, err := concrete.ACICreditedHours(spans)
		require.NoError(t, err)
		return map[string]float64{"credited": h, "wall-met": yes(h >= concrete.ACIWallHours)}
	})
}

func removalRulesReference() {
	reference("removal-constants", func(_ *testing.T, _ inputs) map[string]float64 {
		return map[string]float64{
			"floor": concrete.FloorHours, "aci-wall": concrete.ACIWallHours, "aci-wall-long": concrete.ACIWallHoursLong,
			"aci-air-f": concrete.ACIWallAirC*1.8 + 32, "is456": concrete.IS456WallHours, "is456-long": concrete.IS456WallHoursLong,
			"is456-air": concrete.IS456AirC, "is456-strength": concrete.IS456StrengthFactor, "army-ties": concrete.ArmyTieHours,
			"damage": concrete.VerticalDamageMPa, "frost": concrete.VerticalFrostMPa,
		}
	})
	reference("radford", func(_ *testing.T, in inputs) map[string]float64 {
		return map[string]float64{"days": concrete.RadfordHours(in.word("weather") == "cold") / 24}
	})
	reference("curing", func(t *testing.T, in inputs) map[string]float64 {
		r, set := concrete.CuringMedium, 5.0
		if in.has("r") {
			r = in.num(t, "r")
		}
		if in.has("set") {
			set = in.num(t, "set")
		}
		h, err := concrete.CuringHours(curingClasses[in.word("class")], r, in.num(t, "temp"), set)
		require.NoError(t, err)
		return map[string]float64{"days": h / 24, "hours": h}
	})
}

func init() {
	coldReference()
	protectionReference()
	removalReference()
	removalRulesReference()
}
