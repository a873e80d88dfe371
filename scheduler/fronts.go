package scheduler

import (
	"cmp"
	"math"
	"slices"
	"time"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// Front is a run of stations that waits for more concrete. Its figures hold for
// all of it: ages are those of its oldest end, rise that of its newest. A long
// pass is cut so that the concrete of one front was placed within five minutes.
type Front struct {
	FromM, ToM float64
	TopM       float64 // where the next concrete begins: above the wall's foot
	EndM       float64 // up to where it may rise: the next sill, or the planned top

	Placed   time.Time // when the concrete it will lie on was placed, early; zero: there is none
	Deadline time.Time // when that no longer knits; zero: no concrete yet, or a planned joint
	LimitBy  string    // which rule set the limit
	AgeMin   float64
	LimitMin float64
	LeftMin  float64   // 0 once it is past
	BatchBy  time.Time // last moment to batch a load that can still be placed before the deadline; zero: no deadline

	RiseM    float64   // placed here in the last 60 minutes
	NowM     float64   // may be placed here now
	FullM    float64   // a full lift: 0.6 m, or what there is room for
	FullFrom time.Time // from when it may be placed; zero: not by what is known
	RiseBy   string    // what limits the rise

	lift int // that shows at the surface; -1: none
}

const (
	// frontGrain is how far apart in time the concrete of one front may be placed.
	frontGrain = 5 * minuteMS
	// frontCuts is into how many fronts a stretch is cut at the most.
	frontCuts = 24
	// riseWindow is the time over which the rise counts.
	riseWindow = hourMS
	// ready is how long a truck on site needs before its concrete is in the wall.
	ready = 5 * minuteMS
)

// fullLift is the least customary lift, mm (common practice, no source).
var fullLift = int(math.Round(concrete.CustomaryLiftLeast * 1000))

// fronts lists what waits for concrete, in order of station.
func (k *look) fronts() []Front {
	p := &k.wall.Pour
	if p.Finished != 0 && k.past(p.Finished) {
		return nil
	}
	var out []Front
	for i := range p.Stretches {
		s := &p.Stretches[i]
		begin, end, waits := p.Waits(*s)
		if !waits {
			continue
		}
		w := k.waiting(s, begin, end)
		cuts := k.cuts(s)
		for c := 1; c < len(cuts); c++ {
			f := w.front(cuts[c-1], cuts[c])
			if n := len(out); n > 0 && out[n-1].same(f) {
				out[n-1].ToM = f.ToM
				continue
			}
			out = append(out, f)
		}
	}
	return out
}

// same reports whether a front goes on in the next one.
func (f Front) same(next Front) bool {
	if f.ToM != next.FromM {
		return false
	}
	next.FromM, next.ToM = f.FromM, f.ToM
	return f == next
}

// cuts are the borders of the fronts of one stretch. They go by the record, not
// by the hour, so that a front does not change its place as time passes.
func (k *look) cuts(s *wall.Stretch) []int {
	out := []int{s.From, s.To}
	if s.Top == nil {
		return out
	}
	mid, apart, newest := (s.From+s.To)/2, int64(0), int64(0)
	for y := s.Top; y != nil; y = y.Below {
		l := &k.wall.Pour.Lifts[y.Lift]
		a, b := l.LateAt(mid, s.From), l.LateAt(mid, s.To)
		if y == s.Top {
			newest = min(a, b)
		}
		if max(a, b)+riseWindow <= newest {
			break
		}
		apart = max(apart, a-b, b-a)
	}
	n := min(int((apart+frontGrain-1)/frontGrain), frontCuts, s.To-s.From)
	for i := 1; i < n; i++ {
		out = append(out, s.From+(s.To-s.From)*i/n)
	}
	for _, f := range k.wall.Pour.Felt {
		out = append(out, f.From, f.To)
	}
	slices.Sort(out)
	out = slices.Compact(out)
	return slices.DeleteFunc(out, func(at int) bool { return at < s.From || at > s.To })
}

// waiting is a stretch that waits for concrete, and what holds for all of it.
type waiting struct {
	k          *look
	s          *wall.Stretch
	mid        int
	begin, end int
	on         *wall.Lift // that the next concrete will lie on; nil: none
	aging      aging
	limit      riseLimit
	head       int // how high the fresh concrete may stand, mm; 0: no such limit
}

func (k *look) waiting(s *wall.Stretch, begin, end int) waiting {
	w := waiting{k: k, s: s, mid: (s.From + s.To) / 2, begin: begin, end: end, limit: k.riseLimit(end)}
	if y := s.Top; y != nil && y.Top == begin {
		w.on = &k.wall.Pour.Lifts[y.Lift]
		// As hot as it was since the oldest of the stretch: the joint's own limit.
		w.aging = k.aging(w.on, min(w.on.EarlyAt(w.mid, s.From), w.on.EarlyAt(w.mid, s.To)), k.now)
	}
	rose := 0
	if w.on != nil && w.limit.bears > 0 {
		_, rose = k.freshOn(s)
	}
	w.head = w.limit.head(rose)
	return w
}

func (w *waiting) front(from, to int) Front {
	f := Front{FromM: metres(from), ToM: metres(to), TopM: metres(w.begin), EndM: metres(w.end), RiseBy: w.limit.by, lift: -1}
	if w.on != nil {
		f.lift = w.s.Top.Lift
		w.close(&f, from, to)
	}
	w.rise(&f, from, to)
	return f
}

// close says until when the next concrete still knits into what is there.
func (w *waiting) close(f *Front, from, to int) {
	k := w.k
	placed := min(w.on.EarlyAt(w.mid, from), w.on.EarlyAt(w.mid, to))
	f.Placed = moment(placed)
	if !k.past(placed) {
		return
	}
	lim := k.felt(w.aging.limit(placed), placed, k.now, from, to)
	f.AgeMin = minutesOf(k.now - placed)
	if k.plannedJoint(placed, lim.ms) {
		return
	}
	deadline := placed + lim.ms
	f.Deadline, f.LimitBy, f.LimitMin, f.LeftMin = moment(deadline), lim.by, minutesOf(lim.ms), minutesOf(max(0, deadline-k.now))
	by := k.batchBy(floorMinute(deadline))
	f.BatchBy = moment(by)
	k.at(by)
	k.at(deadline)
}

// batchBy is the last moment to batch a load that is placed before a deadline.
func (k *look) batchBy(deadline int64) int64 { return deadline - k.policy.TravelS*secondMS - ready }

func floorMinute(ms int64) int64 { return floorDiv(ms, minuteMS) * minuteMS }

// recent is what was placed on a stretch in the last 60 minutes, by when it no
// longer counts.
type recent struct {
	until int64
	mm    int
}

// rise says how much may be placed here now, and from when a full lift.
func (w *waiting) rise(f *Front, from, to int) {
	lim, room := w.limit, w.end-w.begin
	var lately []recent
	for y := w.s.Top; y != nil; y = y.Below {
		until := w.late(y, from, to) + riseWindow
		if until <= w.k.now {
			break
		}
		lately = append(lately, recent{until, y.Top - y.Bottom})
	}
	placed := sum(lately)
	now, full := min(room, lim.mm-placed), min(fullLift, lim.mm, room)
	at := max(w.k.now, freeAt(lately, placed-lim.mm+full))
	if w.head > 0 {
		fresh := w.fresh(from, to)
		full = min(full, w.head)
		now, at = min(now, w.head-sum(fresh)), max(at, freeAt(fresh, sum(fresh)-w.head+full))
	}
	f.RiseM, f.NowM, f.FullM = metres(placed), metres(max(0, now)), metres(max(0, full))
	switch {
	case full <= 0:
	case at > w.k.now:
		f.FullFrom = moment(ceilMinute(at))
	default:
		f.FullFrom = moment(at)
	}
}

// late is when a layer was placed between two stations, at the latest.
func (w *waiting) late(y *wall.Layer, from, to int) int64 {
	l := &w.k.wall.Pour.Lifts[y.Lift]
	return max(l.LateAt(w.mid, from), l.LateAt(w.mid, to))
}

// fresh is the concrete that still presses on the form where the next comes.
func (w *waiting) fresh(from, to int) (list []recent) {
	if w.on == nil {
		return nil
	}
	for y := w.s.Top; y != nil; y = y.Below {
		until := w.late(y, from, to) + w.k.form().fresh
		if until <= w.k.now {
			break
		}
		list = append(list, recent{until, y.Top - y.Bottom})
		if y.Below != nil && y.Below.Top != y.Bottom {
			break // an opening lies between
		}
	}
	return list
}

func sum(list []recent) (mm int) {
	for _, r := range list {
		mm += r.mm
	}
	return mm
}

// freeAt is when so much of a list no longer counts; 0: it is free now.
func freeAt(list []recent, mm int) int64 {
	if mm <= 0 {
		return 0
	}
	slices.SortFunc(list, func(a, b recent) int { return cmp.Compare(a.until, b.until) })
	for _, r := range list {
		if mm -= r.mm; mm <= 0 {
			return r.until
		}
	}
	return 0 // not reached: no more is asked for than the list holds
}

// riskAlerts tell of open joints that no load can reach in time, on walls that
// record the loads to come: one for each lift.
func (k *look) riskAlerts(c *collector, a *Assessment) {
	if !slices.ContainsFunc(k.wall.Pour.Loads, func(y *wall.Truckload) bool { return y.Announced }) {
		return
	}
	soonest := map[uint64]*Joint{}
	for i := range a.Joints {
		j := &a.Joints[i]
		if j.State == JointCold || j.State == JointPastLimit {
			continue
		}
		if k.past(floorMinute(j.Deadline.UnixMilli())) {
			continue
		}
		if old := soonest[j.LowerIdx]; old == nil || j.Deadline.Before(old.Deadline) {
			soonest[j.LowerIdx] = j
		}
	}
	for _, j := range soonest {
		deadline := floorMinute(j.Deadline.UnixMilli())
		k.at(deadline - ready)
		k.at(k.batchBy(deadline))
		if next, since := k.nextConcrete(deadline); next >= deadline {
			c.add(AlertJointAtRisk, "lift "+k.wall.Pour.Lifts[j.LowerIdx].Entry.ID, max(since, j.Placed.UnixMilli()), "No load can reach the joint at %s before it closes at %s: %s. %s",
				j.Where(), k.clockOnly(j.Deadline.UnixMilli()), k.nextWords(next), k.batchWords(deadline)).
				place(j.FromM, j.ToM).until(j.Deadline.UnixMilli()).measured("age", j.AgeMin, j.LimitMin)
		}
	}
}

func (k *look) nextWords(next int64) string {
	if next == math.MaxInt64 {
		return "none is ordered, on the road or on site"
	}
	return "the next can be placed at " + k.clockOnly(ceilMinute(next))
}

func (k *look) batchWords(deadline int64) string {
	if by := k.batchBy(deadline); by > k.now {
		return "Batch one by " + k.clockOnly(by) + ", or stop at a planned place."
	}
	return "One batched now comes too late: stop at a planned place."
}

// nextConcrete is when the next load can be placed, as it looks now; MaxInt64:
// none is known to come. If that is not before a deadline, it says since when.
func (k *look) nextConcrete(deadline int64) (next, since int64) {
	next = math.MaxInt64
	for _, y := range k.wall.Pour.Loads {
		if !y.Announced {
			continue
		}
		at, fixed, gone := k.placeable(y)
		switch {
		case at == 0:
			since = max(since, gone)
			continue
		case fixed < deadline: // it could have come
			since = max(since, deadline-(at-k.now))
		}
		next = min(next, at)
	}
	return next, since
}

// placeable is when a load can be placed, and what of that the record alone says;
// 0: not any more, and since when. One that is late on the road can come at any
// moment, one that is ordered can be batched now.
func (k *look) placeable(y *wall.Truckload) (at, fixed, gone int64) {
	travel := k.policy.TravelS * secondMS
	left := y.Batched // when it left the plant
	switch {
	case y.Rejected != 0 && k.past(y.Rejected):
		return 0, 0, y.Rejected
	case y.Ended != 0 && k.past(y.Ended):
		return 0, 0, y.Ended
	case y.Began != 0 && k.past(y.Began), y.FirstLift != 0 && k.past(y.FirstLift):
		at, left = k.now, orMoment(left, first(y.Arrived, y.FirstLift)-travel)
	case y.Arrived != 0 && k.past(y.Arrived):
		fixed, left = y.Arrived+ready, orMoment(left, y.Arrived-travel)
		at = max(k.now, fixed)
	case y.Batched != 0:
		fixed = max(y.Expected, y.Batched+travel) + ready
		at = max(k.now+ready, fixed)
	default:
		fixed = y.Expected + ready
		return max(k.now+travel+ready, fixed), fixed, 0
	}
	switch old := left + k.policy.LoadS*secondMS; {
	case k.past(old):
		return 0, 0, old
	case fixed > old:
		return 0, 0, 0 // it comes too old
	case at > old:
		return 0, 0, old - (at - k.now)
	}
	return at, fixed, 0
}

// first is the earlier of two moments, of which 0 is none.
func first(a, b int64) int64 {
	if a == 0 || b != 0 && b < a {
		return b
	}
	return a
}

func orMoment(a, otherwise int64) int64 {
	if a == 0 {
		return otherwise
	}
	return a
}
