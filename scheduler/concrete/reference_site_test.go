package concrete_test

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

func init() {
	reference("vibrator-group", refVibratorGroup)
	reference("insertion", refInsertion)
	reference("insertion-by-head", refInsertionByHead)
	reference("withdrawal", refWithdrawal)
	reference("vibration-rules", refVibrationRules)
	reference("keep-up", refKeepUp)
	reference("core-vibrator", refCoreVibrator)
	reference("evaporation", refEvaporation)
	reference("drying", refDrying)
	reference("hot-limit", refHotLimit)
	reference("fresh-temperature", refFreshTemperature)
	reference("ingredient-cooling", refCoolingForDrop)
	reference("discharge-limit", refDischargeLimit)
	reference("slump-tolerance", refSlumpTolerance)
	reference("tests-due", refTestsDue)
	reference("take-off", refTakeOff)
	reference("centre-line", refCentreLine)
	reference("cold-delivery", refColdDelivery)
}

const mm = 1000 // in a metre

func count(t *testing.T, in inputs, key string) int {
	t.Helper()
	n, err := strconv.Atoi(in.word(key))
	require.NoError(t, err, "input %q", key)
	return n
}

func refVibratorGroup(t *testing.T, in inputs) map[string]float64 {
	g, err := concrete.VibratorGroupNumber(count(t, in, "group"))
	require.NoError(t, err)
	require.Equal(t, concrete.VibratorGroups()[g.Number-1], g)
	return map[string]float64{
		"head-least": g.HeadLeast * mm, "head-most": g.HeadMost * mm,
		"frequency-least": g.FrequencyLeast, "frequency-most": g.FrequencyMax,
		"radius-least": g.RadiusLeast * mm, "radius-most": g.RadiusMost * mm,
		"rate-least": g.RateLeast, "rate-most": g.RateMost,
		"head-least-in": g.HeadLeast / unit.Inch, "head-most-in": g.HeadMost / unit.Inch,
		"vpm-least": g.FrequencyLeast * 60, "vpm-most": g.FrequencyMax * 60,
		"radius-least-in": g.RadiusLeast / unit.Inch, "radius-most-in": g.RadiusMost / unit.Inch,
		"rate-least-yd3": g.RateLeast / unit.CubicYard, "rate-most-yd3": g.RateMost / unit.CubicYard,
	}
}

func refInsertion(t *testing.T, in inputs) map[string]float64 {
	spacing, err := concrete.InsertionSpacing(in.quantity(t, "radius", unit.Thickness))
	require.NoError(t, err)
	return map[string]float64{"spacing": spacing * mm}
}

func refInsertionByHead(t *testing.T, in inputs) map[string]float64 {
	least, most, err := concrete.InsertionSpacingByHead(in.quantity(t, "head", unit.Thickness))
	require.NoError(t, err)
	return map[string]float64{"least": least * mm, "most": most * mm}
}

func refWithdrawal(t *testing.T, in inputs) map[string]float64 {
	depth := in.quantity(t, "depth", unit.Length)
	if in.has("lift") {
		var err error
		depth, err = concrete.InsertionDepth(in.quantity(t, "lift", unit.Length), true)
		require.NoError(t, err)
	}
	seconds, err := concrete.WithdrawalSeconds(depth)
	require.NoError(t, err)
	return map[string]float64{"seconds": seconds, "quoted": depth / concrete.QuotedWithdrawal}
}

func refVibrationRules(*testing.T, inputs) map[string]float64 {
	return map[string]float64{
		"penetration": concrete.PenetrationLeast * mm, "speed": concrete.WithdrawalSpeed * mm,
		"seconds-least": concrete.InsertionSecLeast, "seconds-most": concrete.InsertionSecMost,
	}
}

func refKeepUp(t *testing.T, in inputs) map[string]float64 {
	c, err := concrete.VibratorsKeepUp(count(t, in, "group"), count(t, in, "count"), in.quantity(t, "delivery", unit.Delivery))
	require.NoError(t, err)
	return map[string]float64{"verdict": float64(c.Verdict), "needed": float64(c.Needed)}
}

func refCoreVibrator(t *testing.T, in inputs) map[string]float64 {
	v, err := concrete.VibratorForCore(in.quantity(t, "core", unit.Thickness))
	require.NoError(t, err)
	return map[string]float64{"group": float64(v.Group.Number), "head-most": v.HeadMost * mm}
}

func refEvaporation(t *testing.T, in inputs) map[string]float64 {
	formula := choice(t, in, "formula", map[string]concrete.EvaporationFormula{
		"exact": concrete.UnoExact, "uno-si": concrete.UnoSI, "us": concrete.UnoUS, "menzel": concrete.Menzel,
	})
	rate, err := concrete.Evaporation(formula, in.quantity(t, "surface", unit.Temperature),
		in.quantity(t, "air", unit.Temperature), in.num(t, "humidity"), in.quantity(t, "wind", unit.Speed))
	require.NoError(t, err)
	us, _ := unit.In(unit.Evaporation, rate, unit.US)
	return map[string]float64{"rate": rate, "rate-us": us}
}

func refDrying(t *testing.T, in inputs) map[string]float64 {
	action, err := concrete.DryingActionFor(in.quantity(t, "rate", unit.Evaporation), in.word("low-bleed") == "yes")
	require.NoError(t, err)
	return map[string]float64{"action": float64(action)}
}

func refHotLimit(t *testing.T, in inputs) map[string]float64 {
	limit, err := concrete.HotLimitFor(in.word("rule"))
	require.NoError(t, err)
	at, err := limit.TooHot(limit.MaxC)
	require.NoError(t, err)
	above, err := limit.TooHot(limit.MaxC + 0.1)
	require.NoError(t, err)
	require.False(t, at)
	require.True(t, above)
	return map[string]float64{"max": limit.MaxC}
}

// massOr0 reads a mass that a row may leave out.
func massOr0(t *testing.T, in inputs, key string) float64 {
	if !in.has(key) {
		return 0
	}
	return in.num(t, key)
}

func ingredientsOf(t *testing.T, in inputs) concrete.Ingredients {
	return concrete.Ingredients{
		Cement: in.num(t, "cement"), CementC: in.quantity(t, "cement-temp", unit.Temperature),
		Aggregate: in.num(t, "aggregate"), AggregateC: in.quantity(t, "aggregate-temp", unit.Temperature),
		Water: in.num(t, "water"), WaterC: in.quantity(t, "water-temp", unit.Temperature),
		Moisture: massOr0(t, in, "moisture"), MoistureC: in.quantity(t, "moisture-temp", unit.Temperature),
		Ice: massOr0(t, in, "ice"), Latent: massOr0(t, in, "latent"),
	}
}

func refFreshTemperature(t *testing.T, in inputs) map[string]float64 {
	mix, err := concrete.FreshTemperature(ingredientsOf(t, in))
	require.NoError(t, err)
	f, _ := unit.In(unit.Temperature, mix.TempC, unit.US)
	return map[string]float64{"temperature": mix.TempC, "temperature-us": f, "flagged": flag(mix.TooIcy)}
}

func refCoolingForDrop(t *testing.T, in inputs) map[string]float64 {
	c, err := concrete.CoolingForDrop(ingredientsOf(t, in), in.quantity(t, "drop", unit.Difference))
	require.NoError(t, err)
	return map[string]float64{"cement": c.Cement, "aggregate": c.Aggregate, "water": c.Water}
}

func refDischargeLimit(t *testing.T, in inputs) map[string]float64 {
	limit, err := concrete.DischargeLimitFor(in.word("rule"))
	require.NoError(t, err)
	return map[string]float64{
		"minutes": limit.Minutes, "revolutions": concrete.OlderRevolutionLimit, "after-water": concrete.RevolutionsAfterWater,
	}
}

func refSlumpTolerance(t *testing.T, in inputs) map[string]float64 {
	rule := choice(t, in, "rule", map[string]concrete.SlumpRule{
		"c94-nominal": concrete.SlumpC94Nominal, "c94-maximum": concrete.SlumpC94Maximum, "en-206": concrete.SlumpEN206,
	})
	r, err := concrete.SlumpTolerance(rule, editionOf(t, in), in.quantity(t, "slump", unit.Thickness))
	require.NoError(t, err)
	return map[string]float64{
		"least": r.Least * mm, "most": r.Most * mm, "least-in": r.Least / unit.Inch, "most-in": r.Most / unit.Inch,
	}
}

func refTestsDue(t *testing.T, in inputs) map[string]float64 {
	rule := choice(t, in, "rule", map[string]concrete.TestRule{
		"aci-318": concrete.TestsACI318, "aci-318m": concrete.TestsACI318M,
		"csa": concrete.TestsCSA, "en-206": concrete.TestsEN206,
	})
	due, err := concrete.TestsFor(rule, concrete.Placed{
		Volume: in.quantity(t, "volume", unit.Volume), Face: in.quantity(t, "face", unit.Area), Days: count(t, in, "days"),
	})
	require.NoError(t, err)
	return map[string]float64{
		"tests": float64(due.Tests), "waivable": flag(due.Waivable),
		"large-cylinders": concrete.CylindersLarge, "small-cylinders": concrete.CylindersSmall,
	}
}

func refTakeOff(t *testing.T, in inputs) map[string]float64 {
	off := concrete.TakeOff{
		CentreLine: in.quantity(t, "length", unit.Length), Height: in.quantity(t, "height", unit.Length),
		Core: in.quantity(t, "core", unit.Thickness), Waste: massOr0(t, in, "waste"), Truck: in.quantity(t, "truck", unit.Volume),
	}
	if in.has("openings") {
		for _, o := range strings.Fields(in.word("openings")) {
			w, h, ok := strings.Cut(o, "x")
			require.True(t, ok, "opening %q", o)
			sides := inputs{"w": w, "h": h}
			off.Openings = append(off.Openings, concrete.Opening{Width: sides.num(t, "w"), Height: sides.num(t, "h")})
		}
	}
	q, err := off.Quantity()
	require.NoError(t, err)
	yd3, _ := unit.In(unit.Volume, q.Net, unit.US)
	return map[string]float64{"net": q.Net, "net-yd3": yd3, "with-waste": q.WithWaste, "trucks": float64(q.Trucks)}
}

func refCentreLine(t *testing.T, in inputs) map[string]float64 {
	inward := 0
	if in.has("inward") {
		inward = count(t, in, "inward")
	}
	length, err := concrete.CentreLine(in.list(t, "legs"), in.num(t, "core"),
		concrete.Corners{Outward: count(t, in, "outward"), Inward: inward})
	require.NoError(t, err)
	return map[string]float64{"length": length}
}

func refColdDelivery(t *testing.T, in inputs) map[string]float64 {
	least, err := concrete.ColdDeliveryLeast(in.quantity(t, "core", unit.Thickness))
	require.NoError(t, err)
	return map[string]float64{"least": least, "most": concrete.ColdDeliveryMost}
}
