package picture

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// FromRecord is the wall as the record and an assessment of it have it. Corners,
// bulkheads and pilasters have no names in the record: they are numbered along
// the wall.
func FromRecord(s *site.State, w *wall.State, a scheduler.Assessment) Wall {
	g := &w.Holding.Geometry
	out := Wall{
		Site: s.Name(), Name: w.Holding.Name, State: words(a.State), At: a.At,
		LengthM: metres(g.Length), Closed: g.Closed, FormTopM: metres(g.Height), TopM: metres(g.Top),
	}
	if out.Name == "" {
		out.Name = w.Wall
	}
	for _, o := range g.Openings {
		out.Openings = append(out.Openings, Opening{o.Name, metres(o.From), metres(o.To), metres(o.Sill), metres(o.Head)})
	}
	for i, at := range g.Corners {
		out.Corners = append(out.Corners, Corner{"C" + strconv.Itoa(i+1), metres(at)})
	}
	for i, at := range g.Bulkheads {
		out.Bulkheads = append(out.Bulkheads, Bulkhead{"BH" + strconv.Itoa(i+1), metres(at)})
	}
	for i, p := range g.Pilasters {
		out.Pilasters = append(out.Pilasters, Pilaster{"P" + strconv.Itoa(i+1), metres(p.From), metres(p.To)})
	}
	out.Layers = layersOf(&w.Pour)
	for _, b := range a.Braces {
		out.Braces = append(out.Braces, Brace{b.Name, stationOf(w, b), stateOf(b)})
	}
	for _, j := range joined(a.Joints) {
		out.addJoint(j)
	}
	out.Fronts = merged(out.Fronts)
	return out
}

// joined makes one of the joints of two lifts side by side: the greatest age and
// the least limit hold for all of it.
func joined(joints []scheduler.Joint) []scheduler.Joint {
	var out []scheduler.Joint
	for _, j := range joints {
		i := slices.IndexFunc(out, func(o scheduler.Joint) bool {
			return o.ToM == j.FromM && o.State == scheduler.JointCold && j.State == scheduler.JointCold && !o.Nose() && !j.Nose() &&
				o.TopM == j.TopM && o.LowerSeq == j.LowerSeq && o.CoveredBySeq == j.CoveredBySeq && o.Treated == j.Treated
		})
		if i < 0 {
			out = append(out, j)
			continue
		}
		out[i].ToM, out[i].AgeMin, out[i].LimitMin = j.ToM, max(out[i].AgeMin, j.AgeMin), min(out[i].LimitMin, j.LimitMin)
	}
	return out
}

// merged joins fronts side by side at one height that have about as long: the
// least of what they may and of what they have left holds for all of it.
func merged(fronts []Front) []Front {
	const about = 15.0 // min
	var out []Front
	for _, f := range fronts {
		n := len(out) - 1
		if n < 0 || out[n].ToM != f.FromM || f.FromM == f.ToM || out[n].FromM == out[n].ToM || out[n].TopM != f.TopM ||
			out[n].State != f.State || abs(out[n].MinutesLeft-f.MinutesLeft) > about {
			out = append(out, f)
			continue
		}
		out[n].ToM, out[n].MinutesLeft = f.ToM, min(out[n].MinutesLeft, f.MinutesLeft)
	}
	return out
}

func metres(mm int) float64 { return float64(mm) / 1000 }

func moment(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

// words turns a state of the record into words.
func words(state string) string { return strings.ReplaceAll(state, "-", " ") }

// layersOf joins what one lift put on stretches side by side. Until the pour is
// finished the concrete counts as old as it can be, which joints ask for, and
// after that as young as it can be, which braces ask for.
func layersOf(p *wall.Pour) []Layer {
	var out []Layer
	open := map[wall.Layer]int{} // layers that end where the next stretch begins
	for _, s := range p.Stretches {
		mid := (s.From + s.To) / 2
		next := map[wall.Layer]int{}
		for y := s.Top; y != nil; y = y.Below {
			l := &p.Lifts[y.Lift]
			at := l.EarlyAt
			if p.Finished != 0 {
				at = l.LateAt
			}
			key := wall.Layer{Lift: y.Lift, Bottom: y.Bottom, Top: y.Top}
			began, ended := moment(at(mid, s.From)), moment(at(mid, s.To))
			if i, joins := open[key]; joins && out[i].Ended.Equal(began) {
				out[i].ToM, out[i].Ended = metres(s.To), ended
				next[key] = i
				continue
			}
			next[key] = len(out)
			out = append(out, Layer{FromM: metres(s.From), ToM: metres(s.To), BottomM: metres(y.Bottom), TopM: metres(y.Top), Began: began, Ended: ended})
		}
		open = next
	}
	return out
}

// stationOf is where a brace stands; under 0 where the record does not say.
func stationOf(w *wall.State, b scheduler.BraceWindow) float64 {
	for _, y := range w.Holding.Braces {
		if y.Name == b.Name && y.At < 0 {
			return -1
		}
	}
	return b.AtM
}

// stateOf is a brace's state, the one that keeps a hand off it first.
func stateOf(b scheduler.BraceWindow) BraceState {
	switch {
	case b.State == scheduler.BraceDisturbed:
		return BraceDisturbed
	case b.State == scheduler.BraceStripped:
		return BraceStripped
	case b.State == scheduler.BracePlanned:
		return BracePlanned
	case held(b.Strip):
		return BraceHeld
	case b.State == scheduler.BraceMayStrip && b.MayStrip:
		return BraceMayStrip
	}
	return BraceStanding
}

func held(s scheduler.Strip) bool {
	return slices.ContainsFunc(s.Criteria, func(c scheduler.Criterion) bool { return c.Name == scheduler.Hold && !c.Met })
}

// addJoint takes a joint of the assessment as a front while it is open.
func (w *Wall) addJoint(j scheduler.Joint) {
	head := max(j.HeadM, j.TopM)
	if j.State == scheduler.JointCold {
		state := JointCold
		if j.Treated {
			state = JointTreated
		}
		w.Joints = append(w.Joints, Joint{
			Name: "J" + strconv.Itoa(len(w.Joints)+1), FromM: j.FromM, ToM: j.ToM, LevelM: j.TopM, TopM: head,
			State: state, AgeMin: j.AgeMin, LimitMin: j.LimitMin,
		})
		return
	}
	w.Fronts = append(w.Fronts, Front{
		FromM: j.FromM, ToM: j.ToM, BottomM: j.TopM, TopM: head, State: FrontState(words(j.State)), MinutesLeft: j.Deadline.Sub(w.At).Minutes(),
	})
}

// PourFromRecord is how the wall was filled. A step's limit is known while it is
// open and where it was covered past it.
func PourFromRecord(s *site.State, w *wall.State, a scheduler.Assessment) Pour {
	out := Pour{Site: s.Name(), Name: FromRecord(s, w, a).Name, At: a.At, TopM: metres(w.Holding.Geometry.Top)}
	for _, st := range w.Pour.Stretches {
		next := Stretch{FromM: metres(st.From), ToM: metres(st.To), Steps: stepsOf(&w.Pour, st, a.Joints)}
		if n := len(out.Stretches); n > 0 && alike(out.Stretches[n-1], next) {
			out.Stretches[n-1].join(next)
			continue
		}
		out.Stretches = append(out.Stretches, next)
	}
	for _, l := range w.Pour.Loads {
		out.Loads = append(out.Loads, Load{
			Name: l.Name, Batched: moment(l.Batched), Arrived: moment(l.Arrived), Began: moment(l.Began), Ended: moment(l.Ended),
			Rejected: moment(l.Rejected), Expected: moment(l.Expected),
		})
	}
	for i, st := range w.Pour.Stops {
		out.Stops = append(out.Stops, Stop{From: moment(st.At), To: resumed(&w.Pour, i, a.At), Reason: st.Reason, Planned: st.Planned})
	}
	return out
}

// resumed is when placing went on after a stop; zero: not yet.
func resumed(p *wall.Pour, stop int, now time.Time) time.Time {
	from := p.Stops[stop].At
	var first int64
	for i := range p.Lifts {
		if at := p.Lifts[i].Began.Late; at >= from && (first == 0 || at < first) {
			first = at
		}
	}
	if p.Finished >= from && (first == 0 || p.Finished < first) {
		first = p.Finished
	}
	if first == 0 && !p.Stopped {
		return now
	}
	return moment(first)
}

// stepsOf lists how high the concrete of a stretch stood, and from when.
func stepsOf(p *wall.Pour, st wall.Stretch, joints []scheduler.Joint) []Step {
	var out []Step
	mid := (st.From + st.To) / 2
	for y := st.Top; y != nil; y = y.Below {
		l := &p.Lifts[y.Lift]
		x := Step{At: moment(l.EarlyAt(mid, mid)), TopM: metres(y.Top)}
		for _, j := range joints {
			over := j.FromM <= metres(mid) && metres(mid) <= j.ToM && j.TopM == x.TopM
			if over && !j.Nose() && j.LowerSeq == l.Entry.Seq {
				x.Limit = j.Deadline
			}
		}
		out = append(out, x)
	}
	slices.Reverse(out)
	return out
}

// alike reports whether two stretches rose in the same steps: to the same
// heights, within half an hour, so that what one lift did is drawn once.
func alike(a, b Stretch) bool {
	const near = 30 * time.Minute
	return a.ToM == b.FromM && slices.EqualFunc(a.Steps, b.Steps, func(x, y Step) bool {
		return x.TopM == y.TopM && x.At.Sub(y.At).Abs() < near && x.Limit.IsZero() == y.Limit.IsZero() && x.Limit.Sub(y.Limit).Abs() < near
	})
}

// join makes one stretch of two that are alike, by the earlier times of both.
func (s *Stretch) join(next Stretch) {
	s.ToM = next.ToM
	for i, x := range next.Steps {
		if x.At.Before(s.Steps[i].At) {
			s.Steps[i].At = x.At
		}
		if x.Limit.Before(s.Steps[i].Limit) {
			s.Steps[i].Limit = x.Limit
		}
	}
}

// RegisterFromRecord is the bracing of the wall.
func RegisterFromRecord(s *site.State, w *wall.State, a scheduler.Assessment) Register {
	out := Register{Site: s.Name(), Name: FromRecord(s, w, a).Name, At: a.At}
	for _, b := range a.Braces {
		bar := Bar{Name: b.Name, AtM: stationOf(w, b), State: stateOf(b), ClockZero: b.ClockZero, Opened: b.Strip.OpenedAt}
		if !b.Strip.Open {
			bar.Opened, bar.Expected = time.Time{}, b.Strip.Expected.Likely
		}
		for _, y := range w.Holding.Braces {
			if y.Name == b.Name {
				bar.Set, bar.Stripped, bar.Disturbed, bar.Inspected = moment(y.Set), moment(y.Stripped), moment(y.Disturbed), moment(y.Inspected)
			}
		}
		bar.Permit = permitted(w, b.Name)
		bar.HeldFrom, bar.HeldUntil = heldSince(w)
		bar.Early = !bar.Stripped.IsZero() && strippedEarly(w, a, b.Name)
		out.Bars = append(out.Bars, bar)
	}
	return out
}

// permitted is when the last permit to strip that counts for a brace was issued.
func permitted(w *wall.State, brace string) time.Time {
	var at int64
	for _, p := range w.Holding.Permits {
		if p.For == "strip" && p.Withdrawn == 0 && (len(p.Braces) == 0 || slices.Contains(p.Braces, brace)) {
			at = max(at, p.At)
		}
	}
	return moment(at)
}

// heldSince is the time of the persons' holds on the wall, from the first to the
// last; until is zero while one stands.
func heldSince(w *wall.State) (from, until time.Time) {
	var first, last int64
	stands := false
	for _, h := range w.Holding.Holds {
		if first == 0 || h.At < first {
			first = h.At
		}
		stands, last = stands || h.Released == 0, max(last, h.Released)
	}
	if stands {
		last = 0
	}
	return moment(first), moment(last)
}

// strippedEarly reports whether the assessment says so of the strip that took a brace.
func strippedEarly(w *wall.State, a scheduler.Assessment, brace string) bool {
	for _, s := range w.Holding.Strips {
		if !s.All && !slices.Contains(s.Braces, brace) {
			continue
		}
		if slices.ContainsFunc(a.Alerts, func(x scheduler.Alert) bool {
			return x.Kind == scheduler.AlertStripEarly && x.Cause == "strip "+s.Key.ID
		}) {
			return true
		}
	}
	return false
}
