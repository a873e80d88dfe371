package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

func stillAir(t require.TestingT, temp float64) concrete.Air {
	air, err := concrete.ConstantAir(temp)
	require.NoError(t, err)
	return air
}

// alikeWall is a section with both faces alike, in constant air.
func alikeWall(t require.TestingT, m concrete.HeatMix, thickness, form, air float64) concrete.Section {
	face := concrete.Face{Form: form, Film: concrete.FilmBreeze, Air: stillAir(t, air)}
	return concrete.Section{Mix: m, Thickness: thickness, Inner: face, Outer: face}
}

func lastPoint(h concrete.HeatHistory) concrete.HeatPoint { return h.Points[len(h.Points)-1] }

func TestLumpedRefusesAWallOfMoreThanOneTemperature(t *testing.T) {
	run := concrete.HeatRun{Start: 20, Hours: 24, Every: 1}
	for _, form := range []float64{concrete.FormPlywood19, concrete.FormNone} {
		_, err := alikeWall(t, plainMix(t, 350), 0.2, form, 0).Lumped(run)
		require.ErrorIs(t, err, concrete.ErrNotLumped, "form %v", form)
	}
	_, err := alikeWall(t, plainMix(t, 350), 0.3, concrete.FormFoam64, 0).Lumped(run)
	require.NoError(t, err)

	// Insulated on one side only: the whole thickness drains to the other.
	s := alikeWall(t, plainMix(t, 350), 0.3, concrete.FormFoam64, 0)
	s.Outer.Form = concrete.FormNone
	biot, err := s.Biot()
	require.NoError(t, err)
	require.InDelta(t, 20*0.3/2, biot, 0.1)
	_, err = s.Lumped(run)
	require.ErrorIs(t, err, concrete.ErrNotLumped)
}

func TestSectionRefusesBadInput(t *testing.T) {
	good := alikeWall(t, plainMix(t, 350), 0.2, concrete.FormFoam64, 0)
	run := concrete.HeatRun{Start: 20, Hours: 24, Every: 1}
	for _, c := range []struct {
		name   string
		change func(*concrete.Section, *concrete.HeatRun)
	}{
		{"wall thickness", func(s *concrete.Section, _ *concrete.HeatRun) { s.Thickness = 0 }},
		{"form resistance", func(s *concrete.Section, _ *concrete.HeatRun) { s.Inner.Form = -0.1 }},
		{"air film", func(s *concrete.Section, _ *concrete.HeatRun) { s.Outer.Film = 0 }},
		{"density", func(s *concrete.Section, _ *concrete.HeatRun) { s.Mix.Density = 2.4 }},
		{"specific heat", func(s *concrete.Section, _ *concrete.HeatRun) { s.Mix.SpecificHeat = 1.05 }},
		{"thermal conductivity", func(s *concrete.Section, _ *concrete.HeatRun) { s.Mix.Conductivity = math.NaN() }},
		{"hydration time", func(s *concrete.Section, _ *concrete.HeatRun) { s.Mix.Hydration.Time = 0 }},
		{"placing temperature", func(_ *concrete.Section, r *concrete.HeatRun) { r.Start = -1 }},
		{"hours to predict", func(_ *concrete.Section, r *concrete.HeatRun) { r.Hours = 1e6 }},
		{"spacing of points", func(_ *concrete.Section, r *concrete.HeatRun) { r.Every = 0 }},
	} {
		s, r := good, run
		c.change(&s, &r)
		var out concrete.RangeError
		_, err := s.Lumped(r)
		require.ErrorAs(t, err, &out, c.name)
		require.Equal(t, c.name, out.Name)
		_, err = s.Nodal(r, concrete.UsualNodes)
		require.ErrorAs(t, err, &out, c.name)
		require.Equal(t, c.name, out.Name)
	}
}

func TestAirMustCoverTheRun(t *testing.T) {
	s := alikeWall(t, plainMix(t, 350), 0.2, concrete.FormFoam64, 0)
	air, err := concrete.AirSeries(concrete.Series{{-5, 3}, {0, 4}, {20, 5}})
	require.NoError(t, err)
	s.Outer.Air = air
	_, err = s.Lumped(concrete.HeatRun{Start: 20, Hours: 20, Every: 1})
	require.NoError(t, err)
	for _, run := range []concrete.HeatRun{{Start: 20, Hours: 21, Every: 1}, {Start: 20, Hours: 20, Every: 3}} {
		_, err = s.Lumped(run)
		require.ErrorContains(t, err, "air known to 20 h, prediction asked to 21 h")
		_, err = s.Nodal(run, 5)
		require.ErrorContains(t, err, "air known to 20 h")
	}
	s.Inner.Air = concrete.Air{}
	_, err = s.Lumped(concrete.HeatRun{Start: 20, Hours: 20, Every: 1})
	require.ErrorContains(t, err, "air known to 0 h", "the zero Air is refused")
}

func TestAirSeriesRefused(t *testing.T) {
	for name, series := range map[string]concrete.Series{
		"one":       {{0, 5}},
		"not rise":  {{0, 5}, {1, 5}, {1, 5}},
		"late":      {{1, 5}, {2, 5}},
		"nan hour":  {{0, 5}, {math.NaN(), 5}},
		"nan":       {{0, 5}, {1, math.NaN()}},
		"too cold":  {{0, -50.1}, {1, 5}},
		"too hot":   {{0, 5}, {1, 60.1}},
		"in kelvin": {{0, 293}, {1, 293}},
	} {
		_, err := concrete.AirSeries(series)
		require.Error(t, err, name)
	}
}

// Without heat of its own, faces and airs different, the wall cools as the
// closed form of one air that is the mean of the two weighted by U.
func TestLumpedWithoutHeatIsNewtonsCooling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := alikeWall(t, plainMix(t, 0), rapid.Float64Range(0.1, 0.3).Draw(t, "wall"), concrete.FormFoam64, 0)
		s.Inner.Form = rapid.Float64Range(1, 5).Draw(t, "inner form")
		in, out := rapid.Float64Range(-20, 30).Draw(t, "inner air"), rapid.Float64Range(-20, 30).Draw(t, "outer air")
		s.Inner.Air, s.Outer.Air = stillAir(t, in), stillAir(t, out)
		start := rapid.Float64Range(0, 40).Draw(t, "start")
		h, err := s.Lumped(concrete.HeatRun{Start: start, Hours: 96, Every: 8})
		require.NoError(t, err)

		ui, err := s.Inner.U()
		require.NoError(t, err)
		uo, err := s.Outer.U()
		require.NoError(t, err)
		tc, err := s.TimeConstant()
		require.NoError(t, err)
		for _, p := range h.Points {
			want, err := concrete.Cooled(start, (ui*in+uo*out)/(ui+uo), tc, p.Hour)
			require.NoError(t, err)
			require.InDelta(t, want, p.Mean, 1e-4, "hour %v", p.Hour)
		}
	})
}

func TestCoolingHoursIsTheInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.Float64Range(5, 50).Draw(t, "start")
		air := rapid.Float64Range(-30, 4).Draw(t, "air")
		tc := rapid.Float64Range(2, 200).Draw(t, "tc")
		hours := rapid.Float64Range(0, 3).Draw(t, "constants") * tc
		at, err := concrete.Cooled(start, air, tc, hours)
		require.NoError(t, err)
		back, err := concrete.CoolingHours(start, air, tc, at)
		require.NoError(t, err)
		require.InDelta(t, hours, back, 1e-9*tc)
	})
	for _, start := range []float64{5, 8, 20} {
		at, err := concrete.Cooled(start, -4.000000000000003, 2, 0)
		require.NoError(t, err)
		require.Equal(t, start, at, "no time, no cooling")
	}
	for _, level := range []float64{-10, -11, 20.1} {
		_, err := concrete.CoolingHours(20, -10, 100, level)
		var out concrete.RangeError
		require.ErrorAs(t, err, &out, "level %v", level)
	}
}

// referenceLumped solves the equation as it is written, with the heat rate q
// and an age that begins above 0, by explicit Euler steps of half a second.
func referenceLumped(t *testing.T, s concrete.Section, start, air float64, hours int) []float64 {
	t.Helper()
	const dt = 0.5 / 3600 // h
	ui, err := s.Inner.U()
	require.NoError(t, err)
	uo, err := s.Outer.U()
	require.NoError(t, err)
	capacity := s.Mix.Density * s.Mix.SpecificHeat * s.Thickness / 3600
	temp, te := start, 1e-3
	out := []float64{temp}
	for range hours {
		for range 7200 {
			q, err := s.Mix.Hydration.HeatRate(te, temp, s.Mix.Cementitious)
			require.NoError(t, err)
			factor, err := s.Mix.Hydration.AgeFactor(temp)
			require.NoError(t, err)
			temp += dt * (q*s.Thickness - (ui+uo)*(temp-air)) / capacity
			te += dt * factor
		}
		out = append(out, temp)
	}
	return out
}

func TestLumpedAgainstFineReference(t *testing.T) {
	for _, air := range []float64{-10, 20} {
		s := alikeWall(t, plainMix(t, 350), 0.2, concrete.FormFoam64, air)
		s.Inner.Form = 3
		h, err := s.Lumped(concrete.HeatRun{Start: 15, Hours: 72, Every: 1})
		require.NoError(t, err)
		for i, want := range referenceLumped(t, s, 15, air, 72) {
			require.InDelta(t, want, h.Points[i].Mean, 0.005, "air %v hour %d", air, i)
		}
	}
}

// drawFoamWall draws an insulated wall in air no warmer than the concrete.
func drawFoamWall(t *rapid.T) (concrete.Section, concrete.HeatRun, float64) {
	m, err := concrete.NewHeatMix(drawBinder(t), rapid.Float64Range(150, 450).Draw(t, "content"))
	require.NoError(t, err)
	run := concrete.HeatRun{Start: rapid.Float64Range(5, 30).Draw(t, "start"), Hours: 168, Every: 2}
	air := rapid.Float64Range(-25, run.Start).Draw(t, "air")
	s := alikeWall(t, m, rapid.Float64Range(0.1, 0.3).Draw(t, "wall"), rapid.Float64Range(1, 4).Draw(t, "form"), air)
	return s, run, air
}

func TestLumpedInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, run, air := drawFoamWall(t)
		h, err := s.Lumped(run)
		require.NoError(t, err)
		ceiling, err := s.Mix.Adiabatic(run)
		require.NoError(t, err)
		thick := s
		thick.Thickness *= 1.2
		warmer, err := thick.Lumped(run)
		require.NoError(t, err)
		for i, p := range h.Points {
			require.LessOrEqual(t, p.Mean, ceiling.Points[i].Mean+1e-6, "above the adiabatic curve at %v h", p.Hour)
			require.GreaterOrEqual(t, p.Mean, air-1e-6, "below the air at %v h", p.Hour)
			require.GreaterOrEqual(t, warmer.Points[i].Mean, p.Mean-1e-6, "the thicker wall is colder at %v h", p.Hour)
		}
		// Halving once more changes less than the promised step tolerance.
		again := run
		again.Every = h.Step / 2
		again.Hours = 48
		finer, err := s.Lumped(again)
		require.NoError(t, err)
		require.InDelta(t, lastPoint(finer).Mean, h.Points[24].Mean, 0.02)
	})
}

// What was set free is in the wall or has gone through its faces.
func TestLumpedEnergyBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, run, air := drawFoamWall(t)
		run.Every = 0.25
		h, err := s.Lumped(run)
		require.NoError(t, err)
		var hours, out []float64
		ui, err := s.Inner.U()
		require.NoError(t, err)
		for _, p := range h.Points {
			hours = append(hours, p.Hour)
			out = append(out, 2*ui*(p.Mean-air)*3600)
		}
		lost := integrate.Simpsons(hours, out)
		stored := s.Mix.Density * s.Mix.SpecificHeat * s.Thickness * (lastPoint(h).Mean - run.Start)
		free := s.Mix.Cementitious * s.Mix.Hydration.Heat * 1000 * lastPoint(h).Degree * s.Thickness
		require.InDelta(t, free, stored+lost, 1e-4*(free+math.Abs(lost)))
	})
}

func TestLumpedTendsToTheAir(t *testing.T) {
	s := alikeWall(t, plainMix(t, 350), 0.15, concrete.FormFoam64, 7)
	h, err := s.Lumped(concrete.HeatRun{Start: 20, Hours: 24 * 56, Every: 24})
	require.NoError(t, err)
	require.InDelta(t, 7, lastPoint(h).Mean, 0.5, "what still hydrates after 56 d holds it just above the air")
	require.Greater(t, lastPoint(h).Mean, 7.0)
}

// A wall without heat in air that changes by a straight line lags it by its
// time constant: T = a + b (t - tc) + C exp(-t/tc).
func TestLumpedFollowsAirOfASeries(t *testing.T) {
	s := alikeWall(t, plainMix(t, 0), 0.15, concrete.FormFoam64, 0)
	ramp, err := concrete.AirSeries(concrete.Series{{0, 20}, {100, -10}})
	require.NoError(t, err)
	s.Inner.Air, s.Outer.Air = ramp, ramp
	h, err := s.Lumped(concrete.HeatRun{Start: 20, Hours: 100, Every: 5})
	require.NoError(t, err)
	tc, err := s.TimeConstant()
	require.NoError(t, err)
	for _, p := range h.Points {
		want := 20 - 0.3*(p.Hour-tc) - 0.3*tc*math.Exp(-p.Hour/tc)
		require.InDelta(t, want, p.Mean, 1e-4, "hour %v", p.Hour)
	}
}

func TestLumpedConvergesAtFourthOrder(t *testing.T) {
	s := alikeWall(t, plainMix(t, 350), 0.15, concrete.FormFoam64, 0)
	fall, err := concrete.AirSeries(concrete.Series{{0, 20}, {72, -10}})
	require.NoError(t, err)
	s.Outer.Air = fall
	solve := func(steps int) concrete.HeatHistory {
		h, err := concrete.LumpedWithSteps(s, concrete.HeatRun{Start: 20, Hours: 72, Every: 6}, steps)
		require.NoError(t, err)
		return h
	}
	exact := solve(1024)
	previous := historyGap(solve(8), exact)
	for _, steps := range []int{16, 32} {
		now := historyGap(solve(steps), exact)
		require.Greater(t, previous/now, 12.0, "halving should give 16: %d steps: %v K after %v K", steps, now, previous)
		previous = now
	}
}

func TestHistoryCrossings(t *testing.T) {
	s := alikeWall(t, plainMix(t, 0), 0.15, concrete.FormFoam64, -10)
	h, err := s.Lumped(concrete.HeatRun{Start: 20, Hours: 200, Every: 0.25})
	require.NoError(t, err)
	tc, err := s.TimeConstant()
	require.NoError(t, err)
	for _, level := range []float64{10, 5, 0} {
		want, err := concrete.CoolingHours(20, -10, tc, level)
		require.NoError(t, err)
		got, ok := h.FallsThrough(concrete.HeatOuter, level)
		require.True(t, ok)
		require.InDelta(t, want, got, 0.001, "level %v", level)
	}
	_, ok := h.FallsThrough(concrete.HeatMean, -9.9)
	require.False(t, ok, "not within the history")
	_, ok = h.FallsThrough(concrete.HeatMean, 25)
	require.False(t, ok, "never warmer")
	_, ok = h.RisesThrough(concrete.HeatMean, 25)
	require.False(t, ok)
	require.Equal(t, 20.0, h.Peak(concrete.HeatCore).Mean)
	flat := concrete.HeatHistory{Points: []concrete.HeatPoint{{Hour: 0, Core: 9}, {Hour: 1, Core: 9}}}
	require.Zero(t, flat.Peak(concrete.HeatCore).Hour, "the first of equals")
	require.True(t, math.IsNaN(h.Points[0].At(concrete.HeatPlace(0))))
}
