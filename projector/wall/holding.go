package wall

import (
	"cmp"
	"math"
	"slices"

	"earlyage/events"
)

// Brace is one brace. Times are Unix milliseconds, 0: not.
type Brace struct {
	Name      string
	At        int // mm, -1: not said
	Planned   bool
	Set       int64
	Stripped  int64 // early
	Disturbed int64
	Inspected int64 // found sound
}

// Strip is one entry that took braces off, by any of its versions.
type Strip struct {
	Key    events.Key
	Seq    uint64
	Began  Interval
	All    bool
	Braces []string
	Maybe  bool // voided, and the void waits for a second person
	Permit string
	By     string
}

// Held is a person's hold.
type Held struct {
	Name     string
	At       int64
	Released int64 // late; 0: stands
	Reason   string
	By       string
}

// Line is one reading of the string line.
type Line struct {
	At      int64 // early
	Late    int64 // one that is within tolerance shows it only then
	After   bool  // made after placing, by one of its versions
	Sure    bool  // by all of them, and not voided: otherwise it only speaks against the wall
	WorstMM int   // greatest difference within 3 m
	WholeMM int   // greatest difference over the whole wall
	LeanMM  int
	Points  []LinePoint
}

// LinePoint is one point of a reading: station in millimetres, out of line in
// hundredths of a millimetre.
type LinePoint struct{ At, Off int }

// Release is an engineer's word.
type Release struct {
	Key      events.Key
	Releases string
	At       int64 // late
	Freeze   int64
	GustCM   int // cm/s; of support
	MPa100   int // hundredths of a MPa
	By       string
	Reason   string
	Drawing  string
	Seq      uint64
}

// Test is a strength result that may count: cured beside the wall, or made on it.
type Test struct {
	At       int64 // late
	MPa100   int   // hundredths of a MPa, rounded down; over all versions the least
	Specimen string
	Wall     bool // cured beside the wall or tested on it, by every version and not voided; else it shows no strength
	Against  bool // by one of them: a low result counts
}

// Criterion is what an engineer set for this wall or mix. Zero members are not set.
type Criterion struct {
	FloorS, AgeS int64 // seconds
	MPa100       int
	CoreCounts   bool
	CoreSaid     bool // yes or no
	AgeSuffices  bool
	AgeSaid      bool
	Waits        bool // it allows something that no second person let count yet
	By           string
	At           int64
	Drawing      string
	Clause       string
	Mix          string // empty: all
}

// Holding is what is known of the wall beside its concrete.
type Holding struct {
	Name        string
	Geometry    Geometry
	CoreMM      int // where a leg does not say otherwise
	Form        string
	RatedPa     int
	Mix, Crew   string
	Mixes       []string // that may be in the wall: the mix, and those before it until a second person let the change count
	LaidOut     bool
	TieInNeeded bool     // the wall asks for it, whatever the site does
	Braces      []*Brace // in order of station, then name
	Strips      []Strip
	Permits     []*Permit
	Holds       []*Held
	Lines       []Line
	Releases    []Release
	Tests       []Test
	Criteria    []Criterion
	TiedIn      int64   // late; 0: not
	HandedOver  int64   // 0: not
	FrozenSeen  []int64 // a person saw frozen concrete, early
	Probes      []Probe // as declared, in order
	NeedML      int64   // concrete of the whole wall up to its planned top, openings left out, millilitres
	Works
	braces    map[string]*Brace
	specimens map[string]specimen
	withdrawn map[string]int64
	layout    events.WallLaidOut
}

func newHolding() Holding {
	return Holding{Works: Works{Checks: map[CheckItem]Answer{}}, braces: map[string]*Brace{}, specimens: map[string]specimen{}, withdrawn: map[string]int64{}}
}

// fold takes one entry on. It reports whether the entry was of its concern.
func (h *Holding) fold(e *Entry) {
	h.foldWorks(e)
	switch d := e.Last().(type) {
	case *events.WallLaidOut:
		h.layOut(e)
	case *events.WallAmended:
		h.amend(e)
	case *events.WallTiedIn:
		if !e.Maybe {
			h.TiedIn = first(h.TiedIn, e.Ended.Late)
		}
	case *events.WallHandedOver:
		if !e.Maybe {
			h.HandedOver = first(h.HandedOver, e.Ended.Late)
		}
	case *events.LineRead:
		h.foldLine(e)
	case *events.CriterionSet:
		h.Criteria = append(h.Criteria, CriterionOf(e, d))
	case *events.ConcreteInspected:
		if !allVersions(e, func(x *events.ConcreteInspected) bool { return x.Finding != "frozen" }) {
			h.FrozenSeen = append(h.FrozenSeen, e.Began.Early)
		}
	default:
		h.foldWords(e)
	}
}

// first keeps the earlier of two moments, of which 0 is none.
func first(old, at int64) int64 {
	if old == 0 {
		return at
	}
	return min(old, at)
}

// settled reports whether a second person let the one version of an entry count.
func (e *Entry) settled() bool { return e.Signed && !e.Maybe && len(e.Versions) == 1 }

// layOut takes what was laid out, by every version that counts: until a second
// person let a change of it count, what was said before counts as well.
func (h *Holding) layOut(e *Entry) {
	beside, again := h.LaidOut && !e.settled(), h.LaidOut
	h.LaidOut = true
	for i, v := range e.Versions {
		d := v.(*events.WallLaidOut)
		h.Name, h.Form, h.Crew = orText(d.Name, h.Name), orText(d.Form, h.Form), orText(d.Crew, h.Crew)
		asked := d.TieInNeeded != nil && *d.TieInNeeded
		if beside || i > 0 {
			h.TieInNeeded = h.TieInNeeded || asked
			h.layout = beyond(h.layout, *d)
		} else {
			h.TieInNeeded, h.layout = asked, *d
		}
		h.carry(d.BraceFace, beside || i > 0)
		h.mixed(beside || i > 0, d.Mix, !again || i > 0)
		for _, b := range d.Braces {
			y := h.brace(b.Name)
			y.Planned, y.At = true, mm(b.AtM)
		}
	}
	h.shape()
}

// beyond is what two layouts both allow: the longer and the higher wall, since a
// stretch that is not known to be left out could hide one that is missing, the
// openings and bulkheads of both, the lower rating.
func beyond(a, b events.WallLaidOut) events.WallLaidOut {
	b.TopM = greater(planned(a), planned(b))
	b.LengthM, b.HeightM = greater(a.LengthM, b.LengthM), greater(a.HeightM, b.HeightM)
	b.Closed = a.Closed || b.Closed
	b.Openings = slices.DeleteFunc(slices.Clone(b.Openings), func(o events.Opening) bool {
		return !slices.ContainsFunc(a.Openings, func(x events.Opening) bool {
			return *x.FromM == *o.FromM && *x.ToM == *o.ToM && *x.SillM == *o.SillM && *x.HeadM == *o.HeadM
		})
	})
	b.Bulkheads = slices.DeleteFunc(slices.Clone(b.Bulkheads), func(o events.Bulkhead) bool {
		return !slices.ContainsFunc(a.Bulkheads, func(x events.Bulkhead) bool { return *x.AtM == *o.AtM })
	})
	if a.RatedKPa != nil && (b.RatedKPa == nil || *a.RatedKPa < *b.RatedKPa) {
		b.RatedKPa = a.RatedKPa
	}
	return b
}

func planned(d events.WallLaidOut) *float64 {
	if d.TopM != nil {
		return d.TopM
	}
	return d.HeightM
}

// greater is the greater of two numbers, of which nil is none.
func greater(a, b *float64) *float64 {
	if a == nil || b != nil && *b > *a {
		return b
	}
	return a
}

// amend changes what was laid out; only the members given change.
func (h *Holding) amend(e *Entry) {
	for _, v := range e.Versions {
		d := v.(*events.WallAmended)
		h.Name, h.Crew = orText(d.Name, h.Name), orText(d.Crew, h.Crew)
		l := h.layout
		for to, from := range map[**float64]*float64{&l.LengthM: d.LengthM, &l.HeightM: d.HeightM, &l.TopM: d.TopM, &l.CoreMM: d.CoreMM, &l.RatedKPa: d.RatedKPa} {
			if from != nil {
				*to = from
			}
		}
		if h.LaidOut && !e.settled() {
			l = beyond(h.layout, l)
		}
		h.layout = l
		h.mixed(!e.settled() && len(h.Mixes) > 0, d.Mix, false)
	}
	h.shape()
}

// shape reads the wall's form from what was laid out and amended.
func (h *Holding) shape() {
	d := &h.layout
	if d.LengthM == nil || d.HeightM == nil || d.CoreMM == nil {
		return // amended, but never laid out
	}
	h.Geometry, h.CoreMM, h.RatedPa = geometryOf(d), int(math.Round(*d.CoreMM)), 0
	h.NeedML = h.Geometry.Volume(0, h.Geometry.Length, 0, h.Geometry.Top)
	if d.RatedKPa != nil {
		h.RatedPa = int(math.Floor(float64(*d.RatedKPa * 1000)))
	}
}

func (h *Holding) mixed(beside bool, mix string, evenNone bool) {
	if mix == "" && !evenNone {
		return
	}
	if !beside {
		h.Mixes = h.Mixes[:0]
	}
	if !slices.Contains(h.Mixes, mix) {
		h.Mixes = append(h.Mixes, mix)
	}
	h.Mix = mix
}

func (h *Holding) brace(name string) *Brace {
	y := h.braces[name]
	if y == nil {
		y = &Brace{Name: name, At: -1}
		h.braces[name] = y
		h.Braces = append(h.Braces, y)
	}
	return y
}

// foldWords takes braces, permits, holds, releases and specimens.
func (h *Holding) foldWords(e *Entry) {
	switch d := e.Last().(type) {
	case *events.BraceSet:
		for _, v := range e.Versions {
			for _, b := range v.(*events.BraceSet).Braces {
				y := h.brace(b.Name)
				y.At, y.Set, y.Stripped = mm(b.AtM), e.Ended.Late, 0
			}
		}
	case *events.BraceDisturbed:
		h.eachBrace(d.Braces, func(b *Brace) { b.Disturbed = e.Ended.Late })
	case *events.BraceInspected:
		if !e.Maybe && allVersions(e, func(x *events.BraceInspected) bool { return *x.Sound }) {
			h.eachBrace(d.Braces, func(b *Brace) { b.Inspected = e.Began.Early })
		}
	case *events.BraceStripped:
		h.foldStrip(e, d)
	case *events.PermitIssued, *events.PermitWithdrawn:
		h.foldPermit(e)
	case *events.ProbeDeclared:
		if !e.Maybe {
			h.Probes = append(h.Probes, Probe{At: e.Began.Late, ProbeDeclared: *d})
		}
	case *events.HoldPlaced, *events.HoldReleased:
		h.foldHold(e)
	case *events.EngineerReleased:
		if !e.Maybe {
			h.Releases = append(h.Releases, releaseOf(e))
		}
	case *events.SpecimenMade:
		h.foldSpecimen(e)
	case *events.SpecimenTested:
		h.foldTest(e)
	}
}

func (h *Holding) eachBrace(names []string, do func(*Brace)) {
	if len(names) == 0 {
		for _, b := range h.Braces {
			do(b)
		}
		return
	}
	for _, n := range names {
		do(h.brace(n))
	}
}

func (h *Holding) foldStrip(e *Entry, d *events.BraceStripped) {
	sure, any := TakenOff(e)
	h.Strips = append(h.Strips, Strip{Key: e.Key(), Seq: e.Seq, Began: e.Began, All: any.All, Braces: any.Braces, Maybe: e.Maybe, Permit: d.Permit, By: e.By})
	if sure.All || len(sure.Braces) > 0 {
		h.eachBrace(sure.Braces, func(b *Brace) { b.Stripped = e.Began.Early })
	}
}

// Off is what an entry took off: all braces, or some by name.
type Off struct {
	All    bool
	Braces []string
}

// Has reports whether a brace is among them.
func (o Off) Has(name string) bool { return o.All || slices.Contains(o.Braces, name) }

// TakenOff says what an entry took off by every one of its versions, nothing if it
// is voided, and what by any of them.
func TakenOff(e *Entry) (sure, any Off) {
	for i, v := range e.Versions {
		d := v.(*events.BraceStripped)
		switch {
		case i == 0:
			sure = Off{d.All, d.Braces}
		case sure.All:
			sure = Off{d.All, d.Braces}
		case !d.All:
			sure.Braces = slices.DeleteFunc(slices.Clone(sure.Braces), func(name string) bool { return !slices.Contains(d.Braces, name) })
		}
		any.All = any.All || d.All
		for _, name := range d.Braces {
			if !slices.Contains(any.Braces, name) {
				any.Braces = append(any.Braces, name)
			}
		}
	}
	if any.All {
		any.Braces = nil
	}
	if e.Maybe {
		sure = Off{}
	}
	return sure, any
}

func (h *Holding) foldHold(e *Entry) {
	if _, placed := e.Last().(*events.HoldPlaced); placed {
		for _, v := range e.Versions {
			x := v.(*events.HoldPlaced)
			h.Holds = append(h.Holds, &Held{Name: x.Hold, At: e.Began.Early, Reason: x.Reason, By: e.By})
		}
		return
	}
	d := e.Last().(*events.HoldReleased)
	if e.Maybe || !allVersions(e, func(x *events.HoldReleased) bool { return x.Hold == d.Hold }) {
		return
	}
	for _, y := range h.Holds { // those placed before it, since entries come in order
		if y.Name == d.Hold && y.Released == 0 {
			y.Released = e.Ended.Late
		}
	}
}

func releaseOf(e *Entry) Release {
	r := Release{Key: e.Key(), At: e.Ended.Late, By: e.By, Seq: e.Seq, GustCM: math.MaxInt, MPa100: 0}
	for i, v := range e.Versions {
		d := v.(*events.EngineerReleased)
		freeze := int64(0)
		if !d.Freeze.IsZero() {
			freeze = d.Freeze.UnixMilli()
		}
		if i > 0 && (d.Releases != r.Releases || freeze != r.Freeze) {
			r.Releases = "" // the versions disagree: nothing is released
			break
		}
		r.Releases, r.Reason, r.Drawing, r.Freeze = d.Releases, d.Reason, d.Drawing, freeze
		if d.GustMPS != nil {
			r.GustCM = min(r.GustCM, int(math.Floor(float64(*d.GustMPS*100))))
		}
		if d.StrengthMPa != nil {
			r.MPa100 = max(r.MPa100, int(math.Ceil(float64(*d.StrengthMPa*100))))
		}
	}
	return r
}

// specimen says how one was cured: beside the wall by every word on it, and by one
// of them.
type specimen struct{ wall, maybe bool }

func (h *Holding) foldSpecimen(e *Entry) {
	for _, v := range e.Versions {
		d := v.(*events.SpecimenMade)
		before, twice := h.specimens[d.Specimen]
		beside := d.Cured == "wall"
		h.specimens[d.Specimen] = specimen{wall: beside && !e.Maybe && (before.wall || !twice), maybe: beside || before.maybe}
	}
}

func (h *Holding) foldTest(e *Entry) {
	t := Test{At: e.Ended.Late, MPa100: math.MaxInt, Wall: !e.Maybe}
	for _, v := range e.Versions {
		d := v.(*events.SpecimenTested)
		t.Wall = t.Wall && (t.Specimen == d.Specimen || t.MPa100 == math.MaxInt)
		t.Specimen = d.Specimen
		t.MPa100 = min(t.MPa100, int(math.Floor(float64(*d.StrengthMPa*100))))
		cured := specimen{true, true} // on the wall itself
		if d.Specimen != "" {
			cured = h.specimens[d.Specimen]
		}
		t.Wall, t.Against = t.Wall && cured.wall, t.Against || cured.maybe
	}
	h.Tests = append(h.Tests, t)
}

// CriterionOf reads an engineer's criterion by the strictest of its versions. What
// it asks for counts at once; what it allows waits for a second person.
func CriterionOf(e *Entry, d *events.CriterionSet) Criterion {
	c := Criterion{By: e.By, At: e.Began.Early, Drawing: d.Drawing, Clause: d.Clause, Mix: d.Mix}
	var core, age said
	for _, v := range e.Versions {
		x := v.(*events.CriterionSet)
		c.FloorS = max(c.FloorS, Seconds(x.FloorH))
		c.AgeS = max(c.AgeS, Seconds(x.EquivalentH))
		if x.StrengthMPa != nil {
			c.MPa100 = max(c.MPa100, int(math.Ceil(float64(*x.StrengthMPa*100))))
		}
		if x.Mix != d.Mix {
			c.Mix = ""
		}
		core.hear(x.CoreCounts)
		age.hear(x.AgeSuffices)
	}
	c.CoreCounts, c.AgeSuffices = core.yes && e.settled(), age.yes && e.settled()
	c.CoreSaid, c.AgeSaid = c.CoreCounts || core.no, c.AgeSuffices || age.no
	c.Waits = (core.yes || age.yes) && !e.settled()
	return c
}

// said gathers what the versions of an entry answer.
type said struct{ yes, no bool }

func (s *said) hear(answer *bool) {
	if answer != nil {
		s.yes, s.no = s.yes || *answer, s.no || !*answer
	}
}

// Seconds turns hours into whole seconds, rounded up; nil is 0.
func Seconds(h *float64) int64 {
	if h == nil {
		return 0
	}
	return int64(math.Ceil(float64(*h * 3600)))
}

func (h *Holding) foldLine(e *Entry) {
	var worst Line
	for i, v := range e.Versions {
		d := v.(*events.LineRead)
		l := lineOf(d)
		l.At, l.Late, l.Sure = e.Began.Early, e.Ended.Late, l.After && !e.Maybe
		if i > 0 {
			l.After, l.Sure = l.After || worst.After, l.Sure && worst.Sure
			l.WorstMM, l.WholeMM, l.LeanMM = max(l.WorstMM, worst.WorstMM), max(l.WholeMM, worst.WholeMM), max(l.LeanMM, worst.LeanMM)
		}
		worst = l
	}
	h.Lines = append(h.Lines, worst)
}

// lineOf finds the greatest difference over any 3 m, or between neighbours that
// are further apart, and over the whole wall, the string itself included.
func lineOf(d *events.LineRead) Line {
	l := Line{After: d.When == "after"}
	if d.LeanMM != nil {
		l.LeanMM = int(math.Ceil(math.Abs(*d.LeanMM)))
	}
	for _, p := range d.Points {
		l.Points = append(l.Points, LinePoint{mm(p.AtM), int(math.Round(float64(*p.OffMM * 100)))})
	}
	slices.SortFunc(l.Points, func(a, b LinePoint) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Off, b.Off)) })
	for i, a := range l.Points {
		l.WholeMM = max(l.WholeMM, ceilCent(abs(a.Off)))
		for j, b := range l.Points[i:] {
			gap := ceilCent(abs(a.Off - b.Off))
			l.WholeMM = max(l.WholeMM, gap)
			if j == 1 || b.At-a.At <= 3000 {
				l.WorstMM = max(l.WorstMM, gap)
			}
		}
	}
	return l
}

func abs(x int) int { return max(x, -x) }

func ceilCent(x int) int { return (x + 99) / 100 }

func (h *Holding) finish() {
	slices.SortFunc(h.Braces, func(a, b *Brace) int { return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Name, b.Name)) })
}

// AllStripped reports whether no brace is left: every brace that was set is
// stripped, or an entry took all of them.
func (h *Holding) AllStripped() bool {
	set := 0
	for _, b := range h.Braces {
		if b.Set == 0 {
			continue
		}
		set++
		if b.Stripped == 0 {
			return false
		}
	}
	if set > 0 {
		return true
	}
	return slices.ContainsFunc(h.Strips, func(s Strip) bool { return s.All && !s.Maybe })
}
