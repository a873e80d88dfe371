package wall_test

import (
	"cmp"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
)

// The naive model: the wall as a grid of cells, 50 mm by 50 mm, filled column by
// column with plain arithmetic, to check the surface of the fold against.
const cell = 50 // mm

type naiveLift struct {
	from, to, top int // mm; top 0: depth is given
	depth         int
	began, ended  time.Time
	way           string
}

type naiveOpening struct{ from, to, sill, head int }

type naiveWall struct {
	length, height int
	closed         bool
	openings       []naiveOpening
	lifts          []naiveLift
}

var pourDay = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)

func drawNaive(t *rapid.T) naiveWall {
	w := naiveWall{length: cell * rapid.IntRange(20, 200).Draw(t, "length"), height: 2400, closed: rapid.Bool().Draw(t, "closed")}
	at := 0
	for range rapid.IntRange(0, 2).Draw(t, "openings") {
		from := at + cell*rapid.IntRange(2, 10).Draw(t, "gap")
		to := from + cell*rapid.IntRange(2, 10).Draw(t, "width")
		if to >= w.length {
			break
		}
		sill := cell * rapid.IntRange(0, 20).Draw(t, "sill")
		head := sill + cell*rapid.IntRange(4, 27).Draw(t, "open")
		w.openings = append(w.openings, naiveOpening{from, to, sill, min(head, w.height)})
		at = to
	}
	clock := pourDay
	for range rapid.IntRange(1, 12).Draw(t, "lifts") {
		l := naiveLift{from: cell * rapid.IntRange(0, w.length/cell).Draw(t, "from"), to: cell * rapid.IntRange(0, w.length/cell).Draw(t, "to"),
			way: rapid.SampledFrom([]string{"", "forward", "backward"}).Draw(t, "way")}
		if !w.closed {
			l.way = ""
		}
		if l.from == l.to {
			continue
		}
		if rapid.Bool().Draw(t, "by depth") {
			l.depth = cell * rapid.IntRange(2, 16).Draw(t, "depth")
		} else {
			l.top = cell * rapid.IntRange(1, 50).Draw(t, "top")
		}
		clock = clock.Add(time.Duration(rapid.IntRange(1, 40).Draw(t, "wait")) * time.Minute)
		l.began = clock
		clock = clock.Add(time.Duration(rapid.IntRange(1, 60).Draw(t, "took")) * time.Minute)
		l.ended = clock
		w.lifts = append(w.lifts, l)
	}
	return w
}

// columns lists the cells that a lift passes, in the order of placing.
func (w *naiveWall) columns(l naiveLift) []int {
	n := w.length / cell
	forward := l.way == "forward" || l.way == "" && l.from < l.to
	if l.way == "" && w.closed {
		way := (l.to - l.from + w.length) % w.length
		forward = 2*way <= w.length && (way > 0 || l.from < l.to)
	}
	var out []int
	at, end := l.from/cell, l.to/cell
	for i := 0; ; i++ {
		if forward {
			if i > 0 && at%n == end%n {
				return out
			}
			out = append(out, at%n)
			at++
		} else {
			if i > 0 && (at+n)%n == end%n {
				return out
			}
			out = append(out, (at-1+n)%n)
			at--
		}
	}
}

type naiveCell struct {
	lift int
	at   time.Time // when the middle of the column was placed
}

// pour fills the grid: [column][row].
func (w *naiveWall) pour() [][]naiveCell {
	grid := make([][]naiveCell, w.length/cell)
	for i := range grid {
		grid[i] = make([]naiveCell, w.height/cell)
		for r := range grid[i] {
			grid[i][r].lift = -1
		}
	}
	for n, l := range w.lifts {
		columns := w.columns(l)
		for i, c := range columns {
			at := l.began.Add(time.Duration((float64(i) + 0.5) / float64(len(columns)) * float64(l.ended.Sub(l.began))))
			w.fill(grid[c], c, n, l, at)
		}
	}
	return grid
}

func (w *naiveWall) holeAt(column, row int) bool {
	return slices.ContainsFunc(w.openings, func(o naiveOpening) bool {
		return o.from <= column*cell && column*cell < o.to && o.sill <= row*cell && row*cell < o.head
	})
}

func (w *naiveWall) fill(column []naiveCell, c, n int, l naiveLift, at time.Time) {
	height := 0
	for r := range column {
		if column[r].lift >= 0 {
			height = r + 1
		}
	}
	base := height
	for base < len(column) && w.holeAt(c, base) {
		base++
	}
	top := l.top / cell
	if l.depth > 0 {
		top = base + l.depth/cell
	}
	for r := height; r < min(top, len(column)); r++ {
		if !w.holeAt(c, r) {
			column[r] = naiveCell{n, at}
		}
	}
}

func metresOf(mm int) *float64 { v := float64(mm) / 1000; return &v }

// fold builds the same wall from events.
func (w *naiveWall) fold(t require.TestingT, braces []int) *wall.State {
	core := 200.0
	laid := &events.WallLaidOut{LengthM: metresOf(w.length), HeightM: metresOf(w.height), CoreMM: &core, Closed: w.closed}
	for _, o := range w.openings {
		laid.Openings = append(laid.Openings, events.Opening{FromM: metresOf(o.from), ToM: metresOf(o.to), SillM: metresOf(o.sill), HeadM: metresOf(o.head)})
	}
	var facts []wall.Fact
	add := func(kind events.Kind, at time.Time, d events.Data) {
		n := uint64(len(facts) + 1)
		e := events.Event{ID: fmt.Sprintf("e-%03d", n), Source: events.Source{Site: "north", Device: "phone-1"}, Kind: kind, Wall: "w1", Time: at, Sequence: n, HasOffset: true, Data: d}
		require.NoError(t, e.Check())
		facts = append(facts, wall.Fact{Event: e, Seq: n, Recorded: at})
	}
	add("wall.laid-out", pourDay.Add(-time.Hour), laid)
	for _, l := range w.lifts {
		d := &events.LiftPlaced{FromM: metresOf(l.from), ToM: metresOf(l.to), Began: l.began, Ended: l.ended, Way: l.way}
		if l.depth > 0 {
			d.DepthM = metresOf(l.depth)
		} else {
			d.TopM = metresOf(l.top)
		}
		add("lift.placed", l.ended, d)
	}
	s := wall.New("north", "w1")
	s.Add(facts...)
	return s
}

func TestTheSurfaceAgreesWithAGridOfCells(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := drawNaive(rt)
		grid := w.pour()
		s := w.fold(rt, nil)
		for c, column := range grid {
			st := stretchAt(s, c*cell+cell/2)
			require.Equal(rt, layersOf(column), stackOf(st), "layers at %d mm", c*cell)
		}
		compareFlat(rt, grid, s)
		compareRise(rt, &w, grid, s)
	})
}

func stretchAt(s *wall.State, at int) wall.Stretch {
	i := slices.IndexFunc(s.Pour.Stretches, func(st wall.Stretch) bool { return st.From <= at && at < st.To })
	return s.Pour.Stretches[i]
}

type run struct{ lift, bottom, top int }

func layersOf(column []naiveCell) []run {
	var out []run
	for r, c := range column {
		if c.lift < 0 {
			continue
		}
		if n := len(out); n > 0 && out[n-1].lift == c.lift && out[n-1].top == r*cell {
			out[n-1].top += cell
			continue
		}
		out = append(out, run{c.lift, r * cell, (r + 1) * cell})
	}
	return out
}

func stackOf(st wall.Stretch) []run {
	var out []run
	for y := st.Top; y != nil; y = y.Below {
		out = append(out, run{y.Lift, y.Bottom, y.Top})
	}
	slices.SortFunc(out, func(a, b run) int { return cmp.Compare(a.bottom, b.bottom) })
	return out
}

type flatKey struct{ lower, upper, level int }

// compareFlat: every horizontal joint of the grid is one of the fold's, no
// younger there, and no older than the grid's oldest column of it by more than
// what half a cell makes.
func compareFlat(t *rapid.T, grid [][]naiveCell, s *wall.State) {
	found := map[flatKey]bool{}
	for c, column := range grid {
		for r := 1; r < len(column); r++ {
			lo, up := column[r-1], column[r]
			if lo.lift < 0 || up.lift < 0 || lo.lift == up.lift {
				continue
			}
			key := flatKey{lo.lift, up.lift, r * cell}
			found[key] = true
			age := up.at.Sub(lo.at).Milliseconds()
			at := c*cell + cell/2
			i := slices.IndexFunc(s.Pour.Contacts, func(x wall.Contact) bool {
				return !x.Nose() && x.Lower == key.lower && x.Upper == key.upper && x.Level == key.level && x.From <= at && at < x.To
			})
			require.GreaterOrEqual(t, i, 0, "joint %v at %d mm", key, at)
			require.GreaterOrEqual(t, s.Pour.Contacts[i].AgeMS, age-2, "joint %v at %d mm", key, at)
		}
	}
	for _, c := range s.Pour.Contacts {
		if c.Nose() {
			continue
		}
		key := flatKey{c.Lower, c.Upper, c.Level}
		require.True(t, found[key], "joint %v is on the grid", key)
		oldest := int64(0)
		for i := c.From / cell; i < c.To/cell; i++ {
			oldest = max(oldest, grid[i][c.Level/cell].at.Sub(grid[i][c.Level/cell-1].at).Milliseconds())
		}
		half := s.Pour.Lifts[c.Lower].Ended.Early - s.Pour.Lifts[c.Lower].Began.Early + s.Pour.Lifts[c.Upper].Ended.Early - s.Pour.Lifts[c.Upper].Began.Early
		require.LessOrEqual(t, c.AgeMS, oldest+half/int64(min(s.Pour.Lifts[c.Lower].Run, s.Pour.Lifts[c.Upper].Run)/cell)+2, "joint %v", key)
	}
}

// compareRise: the fold never understates the greatest rise in 60 minutes.
func compareRise(t *rapid.T, w *naiveWall, grid [][]naiveCell, s *wall.State) {
	for n := range w.lifts {
		most, mostWide := 0, 0
		longest := time.Duration(0)
		for _, l := range w.lifts {
			longest = max(longest, l.ended.Sub(l.began))
		}
		for _, column := range grid {
			i := slices.IndexFunc(column, func(c naiveCell) bool { return c.lift == n })
			if i < 0 {
				continue
			}
			rise, wide := 0, 0
			for r := range column {
				c := column[r]
				if c.lift < 0 || c.lift > n {
					continue
				}
				if age := column[i].at.Sub(c.at); age < time.Hour {
					rise += cell
				}
				if column[i].at.Sub(c.at) < time.Hour+longest {
					wide += cell
				}
			}
			most, mostWide = max(most, rise), max(mostWide, wide)
		}
		require.GreaterOrEqual(t, s.Pour.Lifts[n].Rise, most, "lift %d", n)
		require.LessOrEqual(t, s.Pour.Lifts[n].Rise, mostWide, "lift %d", n)
	}
}
