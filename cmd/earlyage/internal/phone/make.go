package phone

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
	"earlyage/scheduler/checks"
	"earlyage/scheduler/concrete"
)

// Input is one look at the record, taken under its lock.
type Input struct {
	Now     time.Time
	Through uint64 // stream sequence of the last event in it
	Level   bool   // at the head of the stream
	Hub     scheduler.Hub
	Device  string // that asks; empty: no phone
	Person  string // who asks; empty: nobody in particular
	Site    *site.State
	Devices *site.Devices
	Walls   []WallInput
	Words   *words.Catalogue // of the check lists; nil: English

	told map[string][]wall.Telling // by messages of the whole site, by alert
}

// WallInput is one wall and what was said of it at that moment.
type WallInput struct {
	State      *wall.State
	Assessment scheduler.Assessment
}

// Make gives the snapshot of a site. It is pure, only reads, and keeps nothing
// of its input.
func Make(in Input) Sheet {
	in.told = in.Site.Told()
	out := Sheet{
		At: face.Time{Time: in.Now.UTC().Truncate(time.Second)}, Through: in.Through, Level: in.Level, Doubts: append([]string{}, in.Hub.Doubts...),
		Rules: scheduler.Rules, Caution: scheduler.Caution, Device: Known{Name: in.Device},
		Site: in.site(),
		Lang: in.words().Lang(), Lists: []List{}, Walls: make([]Wall, 0, len(in.Walls)), Alerts: in.alerts(nil, in.Site.Alarms(), in.Site.Rests()),
	}
	if in.Device != "" && in.Devices != nil {
		out.Device.UpTo = in.Devices.UpTo(in.Device)
	}
	for _, w := range in.Walls {
		out.Walls = append(out.Walls, makeWall(in, w))
		out.takeLists(w.Assessment.Checks, in.words())
	}
	slices.SortFunc(out.Walls, func(a, b Wall) int { return cmp.Compare(a.Wall, b.Wall) })
	return out
}

func (in *Input) site() face.Site {
	return face.Site{Site: in.Site.Site, Name: in.Site.Name(), Zone: in.Site.Zone().String(), Units: in.Site.Units()}
}

// takeLists keeps each check list once: a site has the same for all its walls.
func (s *Sheet) takeLists(lists []scheduler.CheckList, c *words.Catalogue) {
	for _, l := range lists {
		if slices.ContainsFunc(s.Lists, func(have List) bool { return have.Name == l.Name }) {
			continue
		}
		out := List{Name: l.Name, Version: l.Version, Items: make([]Item, len(l.Items))}
		for i, item := range l.Items {
			item.Text, item.Reason = inWords(c, l.Name, item)
			out.Items[i] = Item{Item: item, Tolerance: item.Tolerance(), Asks: item.Asks(), Waived: item.WaivedBy != ""}
		}
		s.Lists = append(s.Lists, out)
	}
}

func (in *Input) words() *words.Catalogue {
	if in.Words == nil {
		return words.Of(words.English)
	}
	return in.Words
}

// inWords gives the text and the reason of an item in a language. What a site
// added stands as the site said it.
func inWords(c *words.Catalogue, list string, item checks.Item) (text, reason string) {
	key := "check." + list + "." + item.ID
	if !c.Has(key+".text") || item.Text != words.Of(words.English).T(key+".text") {
		return item.Text, item.Reason
	}
	return c.T(key + ".text"), c.T(key + ".reason")
}

func makeWall(in Input, w WallInput) Wall {
	a, h, p := &w.Assessment, &w.State.Holding, &w.State.Pour
	out := Wall{
		Wall: a.Wall, Name: h.Name, State: a.State, LengthM: metres(h.Geometry.Length), HeightM: metres(h.Geometry.Height), TopM: metres(h.Geometry.Top), Closed: h.Geometry.Closed,
		Pour:   Pour{ms(p.Started), ms(p.Finished), p.Stopped, p.Planned},
		Places: places(h), Lift: lift(in, w), Fronts: []Front{}, Joints: []Joint{}, Loads: []Load{}, Checks: []Check{},
		Line: line(in, w), Strip: strip(in, w), Braces: braces(in, w), Alerts: in.alerts(a.Alerts, w.State.Alarms(), slices.Concat(w.State.Rests(), in.Site.Rests())), Open: append([]string{}, a.Open...),
	}
	if out.Name == "" {
		out.Name = a.Wall
	}
	for _, f := range a.Fronts {
		out.Fronts = append(out.Fronts, front(f))
	}
	for _, j := range a.Joints {
		if j.State == scheduler.JointCold && !j.Treated {
			out.Joints = append(out.Joints, Joint{j.FromM, j.ToM, j.TopM, j.State})
		}
	}
	for _, l := range a.Loads {
		switch l.State {
		case scheduler.LoadOrdered, scheduler.LoadOnTheRoad, scheduler.LoadArrived:
			out.Loads = append(out.Loads, load(in, l))
		}
	}
	for _, c := range a.Checks {
		out.Checks = append(out.Checks, check(h, c))
	}
	return out
}

// closing is the larger of the last fifth and 15 minutes of a joint's limit.
func closing(limit time.Duration) time.Duration { return max(limit/5, 15*time.Minute) }

func front(f scheduler.Front) Front {
	out := Front{FromM: f.FromM, ToM: f.ToM, TopM: f.TopM, EndM: f.EndM, Deadline: down(f.Deadline), LimitBy: f.LimitBy, RiseM: f.RiseM, NowM: f.NowM, FullM: f.FullM, FullFrom: face.Time{Time: f.FullFrom}, RiseBy: f.RiseBy}
	if !f.Deadline.IsZero() {
		out.Closing = down(f.Deadline.Add(-closing(f.Deadline.Sub(f.Placed))))
	}
	return out
}

func load(in Input, l scheduler.Load) Load {
	out := Load{Load: l.Name, Ticket: l.Ticket, Mix: l.Mix, State: l.State, Batched: down(l.Batched), Expected: face.Time{Time: l.Expected}, VolumeM3: l.VolumeM3}
	if !l.Batched.IsZero() {
		out.Old = down(l.Batched.Add(time.Duration(in.Site.Policy.LoadS) * time.Second))
	}
	return out
}

func check(h *wall.Holding, c scheduler.CheckList) Check {
	out := Check{List: c.Name, Open: []Open{}, Answers: []Answer{}}
	for _, m := range c.Open {
		out.Open = append(out.Open, Open{m.ID, m.Why})
	}
	for key, a := range h.Checks {
		if key.List != c.Name || a.Answer == "" {
			continue
		}
		answer := Answer{Item: key.Item, Answer: a.Answer}
		if a.Valued {
			answer.Lo, answer.Hi = new(float64(a.Lo)/1000), new(float64(a.Hi)/1000)
		}
		out.Answers = append(out.Answers, answer)
	}
	slices.SortFunc(out.Answers, func(a, b Answer) int { return cmp.Compare(a.Item, b.Item) })
	return out
}

// places are the stations that a person on the wall can point at.
func places(h *wall.Holding) []Place {
	g := &h.Geometry
	out := []Place{{PlaceStart, "", 0}}
	for _, b := range h.Braces {
		if b.At >= 0 && b.Stripped == 0 {
			out = append(out, Place{PlaceBrace, b.Name, metres(b.At)})
		}
	}
	for i, at := range g.Corners {
		out = append(out, Place{PlaceCorner, strconv.Itoa(i + 1), metres(at)})
	}
	for i, o := range g.Openings {
		name := cmp.Or(o.Name, strconv.Itoa(i+1))
		out = append(out, Place{PlaceOpening, name, metres(o.From)}, Place{PlaceOpening, name, metres(o.To)})
	}
	out = append(out, Place{PlaceEnd, "", metres(g.Length)})
	slices.SortStableFunc(out, func(a, b Place) int { return cmp.Compare(a.AtM, b.AtM) })
	return out
}

// lift offers the next lift by the last one.
func lift(in Input, w WallInput) Lift {
	out := Lift{RiseM: metres(in.Site.Policy.RiseMM), LeastMin: least(in, w)}
	lifts := w.State.Pour.Lifts
	if len(lifts) == 0 {
		return out
	}
	last := &lifts[len(lifts)-1]
	from, to := metres(last.From), metres(last.To)
	out.FromM, out.ToM, out.Ended = &from, &to, ms(last.Ended.Late)
	for _, s := range w.State.Pour.Stretches {
		if s.Top != nil && s.Top.Lift == len(lifts)-1 {
			out.DepthM = max(out.DepthM, metres(s.Top.Top-s.Top.Bottom))
		}
	}
	return out
}

const (
	hotC       = 30            // °C, for air that nobody read: what the scheduler takes
	forecastC  = 2             // K that the air may be over a forecast: likewise
	forecastOn = 6 * time.Hour // how long a phone may be without a word
	readBefore = time.Hour     // how far back a reading counts
)

// least is the least limit of a joint on the wall, minutes from placing, rounded
// down: of what the assessment said of any of its concrete, and of what the
// published tables say of a load of unknown age on the hottest of its hours. A
// phone reckons with it for lifts that the hub does not know yet.
func least(in Input, w WallInput) float64 {
	air := hottest(in, w)
	fresh := air
	for _, l := range w.Assessment.Loads {
		if l.Measured {
			fresh = max(fresh, l.Celsius)
		}
	}
	site := in.Site.Policy.JointS
	if air > 25 {
		site = min(site, in.Site.Policy.JointHotS)
	}
	out := float64(site) / 60
	got, err := concrete.EffectiveJointLimit(concrete.JointInputs{AirRule: concrete.JointJSCE, AirC: clamp(air, -60, 60), ConcreteC: clamp(fresh, -50, 80), SiteMinutes: clamp(out, 5, 150)})
	if err != nil {
		return 0
	}
	out = min(out, got.Minutes)
	for _, f := range w.Assessment.Fronts {
		if !f.Deadline.IsZero() {
			out = min(out, f.LimitMin)
		}
	}
	for _, j := range w.Assessment.Joints {
		if j.LimitMin > 0 {
			out = min(out, j.LimitMin)
		}
	}
	return float64(int(max(0, out)))
}

// hottest is how hot the air may be about a lift that the hub does not know yet, °C.
func hottest(in Input, w WallInput) float64 {
	from, until := in.Now.Add(-readBefore).UnixMilli(), in.Now.UnixMilli()
	air, known := -100.0, false
	for _, readings := range []*wall.Readings{&in.Site.Air, &w.State.Readings} {
		if centi, sure := readings.Hottest("air", from, until); centi != wall.None {
			air, known = max(air, float64(centi)/100), known || sure
		}
	}
	for _, h := range in.Site.Hours {
		if h.At+readBefore.Milliseconds() >= from && h.At <= until+forecastOn.Milliseconds() {
			air, known = max(air, float64(h.Hottest)/100+forecastC), true
		}
	}
	if !known {
		return max(air, hotC)
	}
	return air
}

func clamp(v, lo, hi float64) float64 { return min(hi, max(lo, v)) }

func line(in Input, w WallInput) Line {
	p, lines := &w.State.Pour, w.State.Holding.Lines
	out := Line{LimitMM: in.Site.Policy.LineMM, Good: met(w.Assessment.Strip.Criteria, scheduler.Straight)}
	var since int64
	for i := range lines {
		if l := &lines[i]; l.At <= in.Now.UnixMilli() {
			out.Read, out.After, out.WorstMM, since = ms(l.At), l.After, l.WorstMM, l.At
		}
	}
	placed := max(p.LastConcrete, p.Corrected)
	out.Due = p.LastConcrete != 0 && !out.Good && (!out.After || since < placed)
	return out
}

func met(list []scheduler.Criterion, name string) bool {
	return slices.ContainsFunc(list, func(c scheduler.Criterion) bool { return c.Name == name && c.Met })
}

func strip(in Input, w WallInput) Strip {
	s := &w.Assessment.Strip
	out := Strip{
		Open: s.Open, CuredAt: face.Time{Time: s.CuredAt}, Earliest: face.Time{Time: s.Earliest}, Expected: expected(s.Expected),
		Governs: s.Governs, Criteria: []Criterion{}, Permits: []Permit{},
	}
	for _, c := range s.Criteria {
		out.Criteria = append(out.Criteria, Criterion{c.Name, c.Met, face.Time{Time: c.MetAt}, c.Have, c.Need, c.Unit, c.Note})
	}
	for _, p := range standing(in.Now, w) {
		out.Permits = append(out.Permits, Permit{p.Number, append([]string{}, p.Braces...), down(moment(p.Until))})
	}
	return out
}

func expected(e scheduler.Expected) face.Expected {
	return face.Expected{Early: face.Time{Time: e.Early}, Likely: face.Time{Time: e.Likely}, Late: face.Time{Time: e.Late}}
}

// standing lists the permits to strip that stand.
func standing(at time.Time, w WallInput) (out []*wall.Permit) {
	now := at.UnixMilli()
	for _, p := range w.State.Holding.Permits {
		fell := slices.ContainsFunc(w.Assessment.Permits, func(s scheduler.PermitState) bool { return s.Number == p.Number && !s.Stands })
		if !fell && p.For == "strip" && p.At <= now && (p.Withdrawn == 0 || p.Withdrawn > now) && (p.Until == 0 || p.Until > now) {
			out = append(out, p)
		}
	}
	return out
}

func braces(in Input, w WallInput) []Brace {
	out, permits := []Brace{}, standing(in.Now, w)
	for _, b := range w.Assessment.Braces {
		x := Brace{Name: b.Name, AtM: b.AtM, State: b.State, MayStrip: b.MayStrip, Earliest: face.Time{Time: b.Strip.Earliest}, Likely: face.Time{Time: b.Strip.Expected.Likely}, Waits: b.Waits, Governs: b.Strip.Governs}
		for _, p := range permits {
			if p.Covers(b.Name, int(math.Round(float64(b.AtM*1000)))) {
				x.Permit = p.Number
			}
		}
		out = append(out, x)
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

func ms(at int64) face.Time { return down(moment(at)) }

// down keeps a moment to the second before it.
func down(t time.Time) face.Time {
	if t.IsZero() {
		return face.Time{}
	}
	return face.Time{Time: t.UTC().Truncate(time.Second)}
}
