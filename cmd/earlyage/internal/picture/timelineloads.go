package picture

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// loads draws the loads in as few tracks as they need and returns how far down
// they reach: thin and dashed on the road, thin while waiting, thick while
// discharging.
func (t *timeline) loads(y float64) float64 {
	if len(t.p.Loads) == 0 {
		return y
	}
	y += 6
	t.say(Text{At: Point{t.margin, baseline(y+10, t.size)}, Say: fit("loads", t.size, true, t.axis.x0-t.margin-4), Bold: true})
	list := slices.Clone(t.p.Loads)
	slices.SortStableFunc(list, func(a, b Load) int { return a.first().Compare(b.first()) })
	free := make([]float64, 0, loadTracks) // where each track ends
	each := 16 + leading*t.size
	for _, l := range list {
		x0, x1, known := t.extent(l)
		if !known {
			continue
		}
		k := slices.IndexFunc(free, func(end float64) bool { return end+4 <= x0 })
		if k < 0 && len(free) < loadTracks {
			free, k = append(free, 0), len(free)
		} else if k < 0 {
			k = slices.Index(free, slices.Min(free))
		}
		free[k] = max(free[k], x1)
		t.load(l, y+float64(k)*each)
	}
	return y + float64(max(len(free), 1))*each
}

func (l Load) times() []time.Time {
	return slices.DeleteFunc([]time.Time{l.Batched, l.Arrived, l.Began, l.Ended, l.Rejected, l.Expected}, time.Time.IsZero)
}

func (l Load) first() time.Time {
	times := l.times()
	if len(times) == 0 {
		return time.Time{}
	}
	return slices.MinFunc(times, time.Time.Compare)
}

// extent is the room that a load needs in its track, its name's included.
func (t *timeline) extent(l Load) (x0, x1 float64, known bool) {
	times := l.times()
	if len(times) == 0 {
		return 0, 0, false
	}
	return t.axis.at(slices.MinFunc(times, time.Time.Compare)) - 6, t.axis.at(slices.MaxFunc(times, time.Time.Compare)) + 6, true
}

func (t *timeline) load(l Load, y float64) {
	mid := y + 8
	arrived := cmp.Or(l.Arrived, l.Began, l.Rejected, l.Expected)
	if !l.Batched.IsZero() && !arrived.IsZero() {
		t.dashed(ink, 1.5, []float64{3, 3}, Point{t.axis.at(l.Batched), mid}, Point{t.axis.at(arrived), mid})
	}
	if leaves := cmp.Or(l.Began, l.Rejected); !l.Arrived.IsZero() && !leaves.IsZero() {
		t.line(ink, 1.5, Point{t.axis.at(l.Arrived), mid}, Point{t.axis.at(leaves), mid})
	}
	var named float64
	switch {
	case !l.Rejected.IsZero():
		named = t.axis.at(l.Rejected)
		crossMark(t.sheet, Point{named, mid}, 16)
	case !l.Began.IsZero():
		end := cmp.Or(l.Ended, t.p.At)
		x0, x1 := t.axis.at(l.Began), t.axis.at(end)
		x1 = max(x1, x0+3)
		t.rect(Box{x0, mid - 6, x1, mid + 6}, Style{Fill: placingBlue, Stroke: ink, WidthPX: 1})
		named = (x0 + x1) / 2
	case !l.Arrived.IsZero():
		named = t.axis.at(l.Arrived)
		t.rect(Box{named - 5, mid - 6, named + 5, mid + 6}, Style{Fill: paper, Stroke: ink, WidthPX: 2})
	default:
		named = t.axis.at(cmp.Or(l.Expected, l.Batched))
		planMark(t.sheet, Point{named, mid}, 16)
	}
	t.nameLoad(l, named, mid+9)
}

func (t *timeline) nameLoad(l Load, x, y float64) {
	lane := Box{t.margin, y, t.wide - 2, y + leading*t.size}
	if l.Name == "" || !t.tryNear(Text{At: Point{x, y + ascent*t.size}, Say: fit(l.Name, t.size, false, 140)}, lane) {
		t.names++
	}
}

func (t *timeline) key() []entry {
	list := []entry{
		{func(s *sheet, b Box) {
			s.path(Style{Fill: ages[3], Closed: true}, []Point{{b.X0, b.Y1 - 2}, {b.X0, b.Y0 + 12}, {b.middle().X, b.Y0 + 12}, {b.middle().X, b.Y0 + 4}, {b.X1, b.Y0 + 4}, {b.X1, b.Y1 - 2}})
			s.line(ink, 3, Point{b.X0, b.Y0 + 12}, Point{b.middle().X, b.Y0 + 12}, Point{b.middle().X, b.Y0 + 4}, Point{b.X1, b.Y0 + 4})
		}, "height of the concrete"},
		{level(ink, 2, []float64{8, 5}), "planned top"},
	}
	if t.over {
		list = append(list, entry{func(s *sheet, b Box) {
			s.band(Box{b.X0, b.middle().Y - 4, b.X1, b.middle().Y + 4}, FrontPastLimit)
		}, "open past its limit"})
	}
	if t.ahead {
		list = append(list, entry{func(s *sheet, b Box) { s.limitLine(b.X0, b.X1-2, b.middle().Y) }, "must be covered by then"})
	}
	list = append(list, t.loadEntries()...)
	for _, s := range t.p.Stops {
		list = append(list, entry{hatched, t.stopSays(s)})
	}
	return list
}

// loadEntries explain what occurs of the loads.
func (t *timeline) loadEntries() []entry {
	var list []entry
	add := func(has func(Load) bool, sample func(*sheet, Box), say string) {
		if slices.ContainsFunc(t.p.Loads, has) {
			list = append(list, entry{sample, say})
		}
	}
	add(func(l Load) bool { return !l.Batched.IsZero() }, level(ink, 1.5, []float64{3, 3}), "load on the road")
	add(func(l Load) bool { return !l.Arrived.IsZero() }, level(ink, 1.5, nil), "waiting")
	add(func(l Load) bool { return !l.Began.IsZero() && l.Rejected.IsZero() }, func(s *sheet, b Box) {
		s.rect(Box{b.X0, b.middle().Y - 6, b.X1, b.middle().Y + 6}, Style{Fill: placingBlue, Stroke: ink, WidthPX: 1})
	}, "discharging")
	add(func(l Load) bool { return !l.Arrived.IsZero() && l.Began.IsZero() && l.Rejected.IsZero() }, func(s *sheet, b Box) {
		s.rect(Box{b.middle().X - 5, b.middle().Y - 6, b.middle().X + 5, b.middle().Y + 6}, Style{Fill: paper, Stroke: ink, WidthPX: 2})
	}, "on site")
	add(func(l Load) bool { return !l.Rejected.IsZero() }, marked(crossMark), "rejected")
	add(func(l Load) bool {
		return l.Arrived.IsZero() && l.Began.IsZero() && l.Rejected.IsZero() && !l.Expected.IsZero()
	}, marked(planMark), "expected")
	return list
}

func (t *timeline) notes() []string {
	if t.names > 0 {
		return append(t.more, plural(t.names, "load has", "loads have")+" no name here for want of room.")
	}
	return t.more
}

// describe says in plain words what the timeline shows.
func (t *timeline) describe() string {
	said := []string{"Height of the concrete against time, as of " + t.moment(t.p.At) + ", planned top " + t.length(t.p.TopM) + "."}
	for _, s := range t.p.Stretches {
		say := "Stretch " + s.stations(t.speech) + ": "
		if s.Name != "" {
			say = s.Name + ", " + s.stations(t.speech) + ": "
		}
		said = append(said, say+t.describeSteps(s)+".")
	}
	if n := len(t.p.Loads); n > 0 {
		said = append(said, sentence(plural(n, "load", "loads"))+".")
	}
	for _, s := range t.p.Stops {
		said = append(said, sentence(t.stopSays(s))+".")
	}
	return strings.Join(append(said, t.notes()...), " ")
}

func (t *timeline) describeSteps(s Stretch) string {
	if len(s.Steps) == 0 {
		return "nothing placed"
	}
	var parts []string
	for i, x := range s.Steps {
		say := t.length(x.TopM) + " at " + t.clock(x.At)
		if until := t.until(s, i); !x.Limit.IsZero() && until.After(x.Limit) {
			say += " (open past its limit of " + t.clock(x.Limit) + ")"
		} else if i == len(s.Steps)-1 && !x.Limit.IsZero() {
			say += " (to be covered by " + t.clock(x.Limit) + ")"
		}
		parts = append(parts, say)
	}
	return list(parts)
}
