package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate"
	"pgregory.net/rapid"

	"earlyage/scheduler/concrete"
)

func TestNodalAgreesWithLumpedWhereBiotIsSmall(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, run, _ := drawFoamWall(t)
		s.Mix.Conductivity = 4
		biot, err := s.Biot()
		require.NoError(t, err)
		lumped, err := s.Lumped(run)
		require.NoError(t, err)
		nodal, err := s.Nodal(run, 11)
		require.NoError(t, err)
		warmest := lumped.Peak(concrete.HeatMean).Mean
		for i, p := range lumped.Points {
			// The mean differs by a part of Bi of the excess over the air.
			allowed := 0.02 + biot/2*(warmest-s.Outer.Air.At(p.Hour))
			require.InDelta(t, p.Mean, nodal.Points[i].Mean, allowed, "hour %v, biot %v", p.Hour, biot)
		}
	})
}

func TestNodalInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, run, air := drawFoamWall(t)
		s.Outer.Form = rapid.Float64Range(0, 1).Draw(t, "outer form")
		run.Hours = 96
		h, err := s.Nodal(run, 11)
		require.NoError(t, err)
		ceiling, err := s.Mix.Adiabatic(run)
		require.NoError(t, err)
		warmerAir := s
		warmerAir.Outer.Air = stillAir(t, air+2)
		warmer, err := warmerAir.Nodal(run, 11)
		require.NoError(t, err)
		for i, p := range h.Points {
			for _, place := range heatPlaces {
				require.LessOrEqual(t, p.At(place), ceiling.Points[i].Mean+0.02, "above the adiabatic curve at %v h", p.Hour)
				require.GreaterOrEqual(t, p.At(place), air-0.02, "below the air at %v h", p.Hour)
			}
			require.GreaterOrEqual(t, p.Core+1e-6, p.Outer, "the cooled face is warmer than the core at %v h", p.Hour)
			require.GreaterOrEqual(t, warmer.Points[i].Outer, p.Outer-0.02, "warmer air, colder face at %v h", p.Hour)
		}
	})
}

func TestThickerWallIsWarmerLater(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, run, _ := drawFoamWall(t)
		run.Hours = 96
		thick := s
		thick.Thickness *= 1.25
		thin, err := s.Nodal(run, 11)
		require.NoError(t, err)
		warm, err := thick.Nodal(run, 11)
		require.NoError(t, err)
		for i, p := range thin.Points {
			require.GreaterOrEqual(t, warm.Points[i].Mean, p.Mean-0.02, "hour %v", p.Hour)
			require.GreaterOrEqual(t, warm.Points[i].Core, p.Core-0.02, "hour %v", p.Hour)
		}
	})
}

func TestNodalWithoutHeatNeverRises(t *testing.T) {
	s := alikeWall(t, plainMix(t, 0), 0.2, concrete.FormNone, 5)
	h, err := s.Nodal(concrete.HeatRun{Start: 20, Hours: 96, Every: 0.1}, 41)
	require.NoError(t, err)
	for i, p := range h.Points[1:] {
		for _, place := range heatPlaces {
			require.LessOrEqual(t, p.At(place), h.Points[i].At(place)+1e-9, "place %v rises at %v h: a ripple of the scheme", place, p.Hour)
		}
	}
	require.InDelta(t, 5, lastPoint(h).Core, 1e-3, "tends to the air")
}

func TestNodalEnergyBalance(t *testing.T) {
	for _, form := range []float64{concrete.FormPlywood19, concrete.FormFoam64} {
		s := alikeWall(t, plainMix(t, 350), 0.2, form, -5)
		s.Inner.Air = stillAir(t, 12)
		run := concrete.HeatRun{Start: 20, Hours: 168, Every: 0.1}
		h, err := s.Nodal(run, concrete.UsualNodes)
		require.NoError(t, err)
		u, err := s.Inner.U()
		require.NoError(t, err)
		var hours, out []float64
		for _, p := range h.Points {
			hours = append(hours, p.Hour)
			out = append(out, u*(p.Inner-12+p.Outer+5)*3600)
		}
		lost := integrate.Trapezoidal(hours, out)
		stored := s.Mix.Density * s.Mix.SpecificHeat * s.Thickness * (lastPoint(h).Mean - run.Start)
		free := s.Mix.Cementitious * s.Mix.Hydration.Heat * 1000 * lastPoint(h).Degree * s.Thickness
		require.InEpsilon(t, free, stored+lost, 1e-3, "form %v", form)
	}
}

func TestMirroredWallIsMirrored(t *testing.T) {
	s := alikeWall(t, plainMix(t, 350), 0.25, concrete.FormFoam64, 15)
	s.Outer = concrete.Face{Form: concrete.FormNone, Film: concrete.FilmWinter, Air: stillAir(t, -8)}
	m := s
	m.Inner, m.Outer = s.Outer, s.Inner
	run := concrete.HeatRun{Start: 18, Hours: 48, Every: 1}
	a, err := s.Nodal(run, 21)
	require.NoError(t, err)
	b, err := m.Nodal(run, 21)
	require.NoError(t, err)
	for i, p := range a.Points {
		require.InDelta(t, p.Inner, b.Points[i].Outer, 1e-9)
		require.InDelta(t, p.Outer, b.Points[i].Inner, 1e-9)
		require.InDelta(t, p.Core, b.Points[i].Core, 1e-9)
	}
}

// The reason for nodes: frost begins at the face, hours before the mean is cold
// enough for it.
func TestFaceFreezesBeforeTheMean(t *testing.T) {
	run := concrete.HeatRun{Start: 20, Hours: 72, Every: 0.25}
	for _, form := range []float64{concrete.FormPlywood19, concrete.FormNone} {
		s := alikeWall(t, plainMix(t, 350), 0.2, form, -10)
		h, err := s.Nodal(run, concrete.UsualNodes)
		require.NoError(t, err)
		face, ok := h.FallsThrough(concrete.HeatOuter, 0)
		require.True(t, ok)
		mean, ok := h.FallsThrough(concrete.HeatMean, 0)
		require.True(t, ok)
		core, ok := h.FallsThrough(concrete.HeatCore, 0)
		require.True(t, ok)
		require.Less(t, face, mean-1, "form %v", form)
		require.Less(t, mean, core, "form %v", form)
	}
}

func TestNodalFollowsAirOfASeries(t *testing.T) {
	var series concrete.Series
	for h := range 97 {
		series = append(series, concrete.Reading{Hours: float64(h), TempC: 5 + 8*math.Sin(2*math.Pi*float64(h)/24)})
	}
	air, err := concrete.AirSeries(series)
	require.NoError(t, err)
	s := alikeWall(t, plainMix(t, 0), 0.2, concrete.FormNone, 0)
	s.Inner.Air, s.Outer.Air = air, air
	h, err := s.Nodal(concrete.HeatRun{Start: 5, Hours: 96, Every: 0.5}, concrete.UsualNodes)
	require.NoError(t, err)
	peak := func(place concrete.HeatPlace) (at, height float64) {
		for _, p := range h.Points[96:144] { // the third day, when the start is forgotten
			if p.At(place) > height {
				at, height = p.Hour, p.At(place)
			}
		}
		return at, height
	}
	faceAt, face := peak(concrete.HeatOuter)
	coreAt, core := peak(concrete.HeatCore)
	require.Greater(t, face, core, "the swing dies away inward")
	require.Less(t, face, 13.0)
	require.Greater(t, faceAt, 54.0, "the face lags the air")
	require.Greater(t, coreAt, faceAt, "the core lags the face")
}

func TestHotWallIsFlagged(t *testing.T) {
	run := concrete.HeatRun{Start: 28, Hours: 120, Every: 0.5}
	hot, err := alikeWall(t, plainMix(t, 450), 1.0, concrete.FormFoam64, 25).Nodal(run, concrete.UsualNodes)
	require.NoError(t, err)
	at, flagged := hot.Hot()
	require.True(t, flagged)
	core, ok := hot.RisesThrough(concrete.HeatCore, concrete.DelayedEttringiteWarning)
	require.True(t, ok)
	require.InDelta(t, core, at, run.Every)
	require.GreaterOrEqual(t, at, core)
	cool, err := alikeWall(t, plainMix(t, 350), 0.2, concrete.FormFoam64, 20).Nodal(run, concrete.UsualNodes)
	require.NoError(t, err)
	_, flagged = cool.Hot()
	require.False(t, flagged)
}

func TestHotAtAnyPlaceIsFlagged(t *testing.T) {
	for _, p := range []concrete.HeatPoint{{Mean: 65}, {Core: 65}, {Inner: 65}, {Outer: 65}} {
		p.Hour = 3
		at, hot := concrete.HeatHistory{Points: []concrete.HeatPoint{{Core: 64.99}, p, {Hour: 4, Core: 70}}}.Hot()
		require.True(t, hot)
		require.Equal(t, 3.0, at, "%+v", p)
	}
}

// The age that a prediction gives is that of its coldest place: here the outer
// face, whose temperature it gives too.
func TestNodalAgeIsThatOfTheColdestPlace(t *testing.T) {
	s := alikeWall(t, plainMix(t, 350), 0.3, concrete.FormFoam64, 15)
	s.Outer.Form = concrete.FormNone
	h, err := s.Nodal(concrete.HeatRun{Start: 20, Hours: 48, Every: 0.05}, concrete.UsualNodes)
	require.NoError(t, err)
	var hours, factors []float64
	for _, p := range h.Points {
		factor, err := s.Mix.Hydration.AgeFactor(p.Outer)
		require.NoError(t, err)
		hours, factors = append(hours, p.Hour), append(factors, factor)
	}
	require.InDelta(t, integrate.Trapezoidal(hours, factors), lastPoint(h).Age, 0.01)
	alpha, err := s.Mix.Hydration.Degree(lastPoint(h).Age)
	require.NoError(t, err)
	require.Less(t, alpha, lastPoint(h).Degree, "the mean has hydrated further")
}

func BenchmarkNodalWeek(b *testing.B) {
	s := alikeWall(b, plainMix(b, 350), 0.2, concrete.FormPlywood19, -5)
	run := concrete.HeatRun{Start: 20, Hours: 168, Every: 1}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := s.Nodal(run, concrete.UsualNodes); err != nil {
			b.Fatal(err)
		}
	}
}
