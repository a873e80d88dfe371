package concrete_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"earlyage/scheduler/concrete"
)

var heatPlaces = []concrete.HeatPlace{concrete.HeatMean, concrete.HeatCore, concrete.HeatInner, concrete.HeatOuter}

func TestNodalRefusesNodes(t *testing.T) {
	s := alikeWall(t, plainMix(t, 350), 0.2, concrete.FormNone, 0)
	run := concrete.HeatRun{Start: 20, Hours: 1, Every: 1}
	for _, n := range []int{-1, 3, 403} {
		_, err := s.Nodal(run, n)
		var out concrete.RangeError
		require.ErrorAs(t, err, &out, "%d nodes", n)
	}
	_, err := s.Nodal(run, 20)
	require.ErrorContains(t, err, "want an odd number")
}

// slabRoots are the first roots of mu tan mu = Bi, by bisection.
func slabRoots(biot float64, n int) []float64 {
	roots := make([]float64, n)
	for i := range roots {
		lo, hi := float64(i)*math.Pi, (float64(i)+0.5)*math.Pi
		for range 80 {
			mid := (lo + hi) / 2
			if mid*math.Sin(mid) > biot*math.Cos(mid) == (math.Cos(mid) > 0) {
				hi = mid
			} else {
				lo = mid
			}
		}
		roots[i] = lo
	}
	return roots
}

// slabSeries is the closed series of a cooling slab at x of its half thickness.
func slabSeries(s concrete.Section, u, start, air, hour, x float64) float64 {
	half := s.Thickness / 2
	diffusivity := s.Mix.Conductivity / (s.Mix.Density * s.Mix.SpecificHeat)
	fourier := diffusivity * hour * 3600 / (half * half)
	sum := 0.0
	for _, mu := range slabRoots(u*half/s.Mix.Conductivity, 30) {
		sum += 4 * math.Sin(mu) / (2*mu + math.Sin(2*mu)) * math.Cos(mu*x) * math.Exp(-mu*mu*fourier)
	}
	return air + (start-air)*sum
}

func TestNodalWithoutHeatIsTheSlabSeries(t *testing.T) {
	for _, form := range []float64{concrete.FormNone, concrete.FormPlywood19, concrete.FormFoam64} {
		s := alikeWall(t, plainMix(t, 0), 0.25, form, -10)
		u, err := s.Outer.U()
		require.NoError(t, err)
		h, err := s.Nodal(concrete.HeatRun{Start: 20, Hours: 24, Every: 1}, 41)
		require.NoError(t, err)
		for _, p := range h.Points[1:] {
			require.InDelta(t, slabSeries(s, u, 20, -10, p.Hour, 0), p.Core, 0.02, "core, form %v hour %v", form, p.Hour)
			require.InDelta(t, slabSeries(s, u, 20, -10, p.Hour, 1), p.Outer, 0.02, "face, form %v hour %v", form, p.Hour)
			require.InDelta(t, p.Inner, p.Outer, 1e-9)
		}
	}
}

// conduction is C^-1 K of a section, and C^-1 b, written out anew.
func conduction(s concrete.Section, u, air [2]float64, n int) (*mat.Dense, *mat.VecDense) {
	dx := s.Thickness / float64(n-1)
	capacity := s.Mix.Density * s.Mix.SpecificHeat * dx / 3600
	k := s.Mix.Conductivity / dx
	a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		c := capacity
		if i == 0 || i == n-1 {
			c /= 2
		}
		for _, j := range []int{i - 1, i + 1} {
			if j >= 0 && j < n {
				a.Set(i, j, -k/c)
				a.Set(i, i, a.At(i, i)+k/c)
			}
		}
		for side, node := range []int{0, n - 1} {
			if i == node {
				a.Set(i, i, a.At(i, i)+u[side]/c)
				b.SetVec(i, u[side]*air[side]/c)
			}
		}
	}
	return a, b
}

// Different faces and airs, no heat: the time steps against the exponential of
// the same matrix, which has no step.
func TestNodalAgainstMatrixExponential(t *testing.T) {
	s := alikeWall(t, plainMix(t, 0), 0.3, concrete.FormNone, -10)
	s.Inner = concrete.Face{Form: concrete.FormPlywood19, Film: concrete.FilmStill, Air: stillAir(t, 15)}
	const n = 21
	ui, err := s.Inner.U()
	require.NoError(t, err)
	uo, err := s.Outer.U()
	require.NoError(t, err)
	a, b := conduction(s, [2]float64{ui, uo}, [2]float64{15, -10}, n)
	var steady mat.VecDense
	require.NoError(t, steady.SolveVec(a, b))
	excess := mat.NewVecDense(n, nil)
	for i := range n {
		excess.SetVec(i, 25-steady.AtVec(i))
	}
	h, err := s.Nodal(concrete.HeatRun{Start: 25, Hours: 300, Every: 0.5}, n)
	require.NoError(t, err)
	for _, i := range []int{1, 2, 8, 48, 600} {
		var scaled, exp mat.Dense
		scaled.Scale(-h.Points[i].Hour, a)
		exp.Exp(&scaled)
		var now mat.VecDense
		now.MulVec(&exp, excess)
		now.AddVec(&now, &steady)
		require.InDelta(t, now.AtVec(0), h.Points[i].Inner, 0.005, "inner, hour %v", h.Points[i].Hour)
		require.InDelta(t, now.AtVec(n/2), h.Points[i].Core, 0.005, "core, hour %v", h.Points[i].Hour)
		require.InDelta(t, now.AtVec(n-1), h.Points[i].Outer, 0.005, "outer, hour %v", h.Points[i].Hour)
	}
	// In the end a straight line between two films.
	flux := 25 / (1/ui + s.Thickness/s.Mix.Conductivity + 1/uo)
	require.InDelta(t, 15-flux/ui, lastPoint(h).Inner, 0.01)
	require.InDelta(t, -10+flux/uo, lastPoint(h).Outer, 0.01)
	require.InDelta(t, (lastPoint(h).Inner+lastPoint(h).Outer)/2, lastPoint(h).Core, 0.01)
}

// referenceNodal is the section with hydration, faces different, by explicit
// Euler steps of one second on the heat rate as it is written.
func referenceNodal(t *testing.T, s concrete.Section, start float64, air [2]float64, n, hours int) [][]float64 {
	t.Helper()
	ui, err := s.Inner.U()
	require.NoError(t, err)
	uo, err := s.Outer.U()
	require.NoError(t, err)
	a, b := conduction(s, [2]float64{ui, uo}, air, n)
	const dt = 1.0 / 3600
	temp, te, flow := mat.NewVecDense(n, nil), make([]float64, n), mat.NewVecDense(n, nil)
	for i := range n {
		temp.SetVec(i, start)
		te[i] = 1e-3
	}
	var out [][]float64
	for range hours {
		for range 3600 {
			flow.MulVec(a, temp)
			flow.SubVec(b, flow)
			for i := range n {
				q, err := s.Mix.Hydration.HeatRate(te[i], temp.AtVec(i), s.Mix.Cementitious)
				require.NoError(t, err)
				factor, err := s.Mix.Hydration.AgeFactor(temp.AtVec(i))
				require.NoError(t, err)
				te[i] += dt * factor
				temp.SetVec(i, temp.AtVec(i)+dt*(flow.AtVec(i)+q*3600/(s.Mix.Density*s.Mix.SpecificHeat)))
			}
		}
		out = append(out, append([]float64(nil), temp.RawVector().Data...))
	}
	return out
}

func TestNodalAgainstFineReference(t *testing.T) {
	s := alikeWall(t, plainMix(t, 350), 0.2, concrete.FormPlywood19, -5)
	s.Inner = concrete.Face{Form: concrete.FormFoam64, Film: concrete.FilmStill, Air: stillAir(t, 10)}
	h, err := s.Nodal(concrete.HeatRun{Start: 20, Hours: 36, Every: 1}, 11)
	require.NoError(t, err)
	for i, want := range referenceNodal(t, s, 20, [2]float64{10, -5}, 11, 36) {
		p := h.Points[i+1]
		require.InDelta(t, want[0], p.Inner, 0.02, "inner, hour %v", p.Hour)
		require.InDelta(t, want[5], p.Core, 0.02, "core, hour %v", p.Hour)
		require.InDelta(t, want[10], p.Outer, 0.02, "outer, hour %v", p.Hour)
	}
}

// historyGap is the greatest difference of core and face temperatures of two runs.
func historyGap(a, b concrete.HeatHistory) float64 {
	worst := 0.0
	for i, p := range a.Points {
		for _, place := range heatPlaces {
			worst = max(worst, math.Abs(p.At(place)-b.Points[i].At(place)))
		}
	}
	return worst
}

func TestNodalConvergesAtSecondOrder(t *testing.T) {
	s := alikeWall(t, plainMix(t, 350), 0.25, concrete.FormPlywood19, -5)
	for _, side := range []struct {
		face *concrete.Face
		air  concrete.Series
	}{
		{&s.Inner, concrete.Series{{0, 25}, {48, -15}}},
		{&s.Outer, concrete.Series{{0, -20}, {48, 30}}},
	} {
		air, err := concrete.AirSeries(side.air)
		require.NoError(t, err)
		side.face.Air = air
	}
	run := concrete.HeatRun{Start: 20, Hours: 48, Every: 1}
	solve := func(nodes, steps int) concrete.HeatHistory {
		h, err := concrete.NodalWithSteps(s, run, nodes, steps)
		require.NoError(t, err)
		return h
	}
	exact := solve(11, 512)
	previous := historyGap(solve(11, 4), exact)
	for _, steps := range []int{8, 16, 32} {
		now := historyGap(solve(11, steps), exact)
		require.InDelta(t, 4, previous/now, 0.6, "time, %d steps an hour: %v K after %v K", steps, now, previous)
		previous = now
	}
	exact = solve(401, 8)
	previous = historyGap(solve(9, 8), exact)
	for _, nodes := range []int{17, 33, 65} {
		now := historyGap(solve(nodes, 8), exact)
		require.InDelta(t, 4, previous/now, 0.6, "space, %d nodes: %v K after %v K", nodes, now, previous)
		previous = now
	}
}

func TestUsualNodesAreEnough(t *testing.T) {
	for _, form := range []float64{concrete.FormNone, concrete.FormPlywood19, concrete.FormFoam64} {
		s := alikeWall(t, plainMix(t, 400), 0.3, form, -15)
		run := concrete.HeatRun{Start: 25, Hours: 72, Every: 1}
		usual, err := s.Nodal(run, concrete.UsualNodes)
		require.NoError(t, err)
		fine, err := s.Nodal(run, 2*concrete.UsualNodes-1)
		require.NoError(t, err)
		require.LessOrEqual(t, historyGap(usual, fine), 0.02, "form %v", form)
	}
}
