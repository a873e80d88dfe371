package picture

import (
	"cmp"
	"slices"
)

// braces draws the braces of a row under its foot and returns how far down they
// reach. The state of neighbours that share it is written once.
func (u *unrolling) braces(i int, y float64) float64 {
	r := u.rows[i]
	var here []Brace
	for _, b := range u.w.Braces {
		if b.AtM >= 0 && r.holds(b.AtM) {
			here = append(here, b)
		}
	}
	if len(here) == 0 {
		return y + 4
	}
	side := 20.0
	for k := 1; k < len(here); k++ {
		if d := (here[k].AtM - here[k-1].AtM) * r.perM; d > 0 {
			side = max(min(side, d-2), 6)
		}
	}
	mid := y + 6 + 10
	for _, b := range here {
		x := r.x(b.AtM)
		u.line(ink, 2, Point{x, y}, Point{x, y + 6})
		braceMark(b.State)(u.sheet, Point{x, mid}, side)
	}
	names := mid + 12 + u.size
	u.braceNames(r, here, names)
	return u.braceWords(r, here, names+leading*u.size+4) + 8
}

func braceMark(s BraceState) mark {
	switch s {
	case BracePlanned:
		return planMark
	case BraceStanding:
		return ringMark
	case BraceMayStrip:
		return tickMark
	case BraceStripped:
		return crossMark
	case BraceHeld:
		return holdMark
	case BraceDisturbed:
		return watchMark
	}
	return unknownMark
}

func braceWord(s BraceState) string {
	switch s {
	case BracePlanned, BraceStanding, BraceMayStrip, BraceStripped, BraceHeld, BraceDisturbed:
		return string(s)
	}
	return "not known"
}

// braceNames names as many braces as there is room for: those that must not be
// touched first, then the first and the last, then from the left.
func (u *unrolling) braceNames(r row, here []Brace, y float64) {
	order := make([]int, len(here))
	for k := range order {
		order[k] = k
	}
	rank := func(k int) int {
		switch {
		case here[k].State == BraceHeld, here[k].State == BraceDisturbed:
			return 0
		case k == 0, k == len(here)-1:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rank(a), rank(b)) })
	lane := Box{2, y - u.size, u.wide - 2, y + u.size}
	for _, k := range order {
		u.trySay(Text{At: Point{r.x(here[k].AtM), y}, Say: fit(here[k].Name, u.size, false, 160), Anchor: Middle}, lane)
	}
}

// braceRun is neighbours that share a state.
type braceRun struct {
	state  BraceState
	x0, x1 float64
}

// braceRuns lists the runs of a row, those first that keep a hand off a brace.
func braceRuns(r row, here []Brace) []braceRun {
	var runs []braceRun
	for _, b := range here {
		x := r.x(b.AtM)
		if n := len(runs); n > 0 && runs[n-1].state == b.State {
			runs[n-1].x1 = x + 8
			continue
		}
		runs = append(runs, braceRun{b.State, x - 8, x + 8})
	}
	rank := func(r braceRun) int { return slices.Index(braceStates[:], BraceState(braceWord(r.state))) }
	slices.SortStableFunc(runs, func(a, b braceRun) int { return cmp.Compare(rank(a), rank(b)) })
	return runs
}

// braceWords writes the states under brackets over the runs. A word that finds
// no room in the first line may stand in a second. It returns the baseline of the
// last line.
func (u *unrolling) braceWords(r row, here []Brace, y float64) float64 {
	lane := Box{2, y - u.size, u.wide - 2, y + 2.5*u.size}
	lowest := y
	for _, run := range braceRuns(r, here) {
		word := Text{At: Point{(run.x0 + run.x1) / 2, y}, Say: braceWord(run.state), Anchor: Middle}
		said := u.trySay(word, lane)
		if !said {
			word.At.Y += leading * u.size
			if u.trySay(word, lane) {
				lowest = word.At.Y
			}
		}
		if half := wide(word.Say, u.size, false)/2 + gap; said && run.x1-run.x0 >= 2*half {
			u.bracket(run.x0, word.At.X-half, y-u.size*0.3)
			u.bracket(run.x1, word.At.X+half, y-u.size*0.3)
			continue
		}
		u.line(ink, 1.5, Point{run.x0, y - u.size*1.15}, Point{run.x1, y - u.size*1.15})
	}
	return lowest
}

// bracket draws one arm of a bracket, from its end to the word in its middle.
func (u *unrolling) bracket(end, near, level float64) {
	arm := Box{min(end, near), level - 5, max(end, near), level + 1}
	if u.free(arm) {
		u.line(ink, 1.5, Point{end, level - 5}, Point{end, level}, Point{near, level})
		u.take(arm)
	}
}

// station is something on the station axis.
type station struct {
	atM  float64
	name string
	rank int // less is written first
}

// stationsOf lists what the axis of a row names: its ends, corners, bulkheads,
// the edges of openings and of pilasters.
func (u *unrolling) stationsOf(r row) []station {
	out := []station{{atM: r.fromM, rank: 0}, {atM: r.toM, rank: 0}}
	add := func(m float64, name string, rank int) {
		if m >= r.fromM && m <= r.toM {
			out = append(out, station{m, name, rank})
		}
	}
	for _, c := range u.w.Corners {
		add(c.AtM, cmp.Or(c.Name, "corner"), 1)
	}
	for _, b := range u.w.Bulkheads {
		add(b.AtM, cmp.Or(b.Name, "bulkhead"), 2)
	}
	for _, o := range u.w.Openings {
		add(o.FromM, "", 3)
		add(o.ToM, "", 3)
	}
	for _, p := range u.w.Pilasters {
		add(p.FromM, "", 4)
		add(p.ToM, "", 4)
	}
	return out
}

// stations draws the axis under the braces and returns how far down it reaches:
// a line with a tick at each place, the names of places, and their stations.
func (u *unrolling) stations(r row, y float64) float64 {
	axis := y + 6
	names := axis + 8 + u.size
	metres := names + leading*u.size
	lane := Box{2, axis, u.wide - 2, metres + u.size}
	places := u.stationsOf(r)
	slices.SortStableFunc(places, func(a, b station) int { return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(a.atM, b.atM)) })
	u.say(Text{At: Point{u.margin, metres}, Say: u.lengthUnit()})
	for _, p := range places {
		x := r.x(p.atM)
		u.line(ink, 2, Point{x, axis - 5}, Point{x, axis + 5})
		u.tryNear(Text{At: Point{x, names}, Say: fit(p.name, u.size, true, 160), Bold: true}, lane)
		u.tryNear(Text{At: Point{x, metres}, Say: u.bareLength(p.atM)}, lane)
	}
	u.spans(r, names, lane)
	u.rounds(r, axis, metres, lane)
	u.line(ink, 1.5, Point{r.left, axis}, Point{r.right(), axis})
	return metres + descent*u.size
}

// spans names openings and pilasters between the ticks of their edges.
func (u *unrolling) spans(r row, y float64, lane Box) {
	name := func(from, to float64, say string) {
		x0, x1, shows := r.span(from, to)
		if !shows {
			return
		}
		t := Text{At: Point{(x0 + x1) / 2, y}, Say: fit(say, u.size, true, max(x1-x0, 160)), Bold: true, Anchor: Middle}
		if !u.trySay(t, lane) {
			return
		}
		w, level := wide(t.Say, u.size, true)/2+3, y-u.size*0.35
		arms := [2]Box{{x0, level - 5, t.At.X - w, level + 5}, {t.At.X + w, level - 5, x1, level + 5}}
		if x1-x0 > 2*w+8 && u.free(arms[0]) && u.free(arms[1]) {
			u.take(arms[0])
			u.take(arms[1])
			u.path(Style{Stroke: ink, WidthPX: 1}, []Point{{x0, level}, {t.At.X - w, level}}, []Point{{t.At.X + w, level}, {x1, level}},
				[]Point{{x0, level - 5}, {x0, level + 5}}, []Point{{x1, level - 5}, {x1, level + 5}})
		}
	}
	for _, o := range u.w.Openings {
		name(o.FromM, o.ToM, cmp.Or(o.Name, "opening"))
	}
	for _, p := range u.w.Pilasters {
		name(p.FromM, p.ToM, cmp.Or(p.Name, "pilaster"))
	}
}

// rounds writes round stations where nothing else stands.
func (u *unrolling) rounds(r row, axis, y float64, lane Box) {
	step := u.lengthStep(max(70, wide(u.bareLength(u.w.LengthM), u.size, false)*1.6) / r.perM)
	for m := step * float64(int(r.fromM/step)); m <= r.toM; m += step {
		if m < r.fromM {
			continue
		}
		x := r.x(m)
		if u.trySay(Text{At: Point{x, y}, Say: u.bareLength(m), Anchor: Middle}, lane) {
			u.line(ink, 1, Point{x, axis}, Point{x, axis + 5})
		}
	}
}
