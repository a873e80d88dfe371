package wall

import (
	"math"
	"slices"

	"earlyage/events"
)

// Lift is concrete placed from one station to another.
type Lift struct {
	Entry            *Entry
	From, To         int // mm, in the direction of placing
	Way              int // 1 along the stations, -1 against them
	Run              int // mm placed along
	Began            Interval
	Ended            Interval
	Load             string
	Vibrated         *bool
	TopUp            bool
	Centi            int16 // concrete temperature, None if not measured
	Marks            []string
	VolumeML         int64 // what it put on the wall, millilitres
	Rise, Rise55     int   // mm: greatest rise that this lift brought about in 60 and in 55 minutes
	RiseFrom, RiseTo int

	pieces        []piece // one, or two round station 0
	below, inside int     // mm of its run that lay below the surface, or in openings
}

// piece is a run of stations that a lift passed at one go.
type piece struct {
	low, high int
	start     int // mm along the lift's run at which it enters the piece
}

func (l *Lift) mark(reason string) {
	if !slices.Contains(l.Marks, reason) {
		l.Marks = append(l.Marks, reason)
	}
}

// judge marks a lift that lies where no concrete can have been placed.
func (l *Lift) judge() {
	switch {
	case l.Run > 0 && l.inside >= l.Run:
		l.mark("inside an opening")
	case 2*l.below > l.Run:
		l.mark("below the surface already there")
	}
}

// split lays out the lift's run on a wall: its direction, and round station 0 on
// a closed one.
func (l *Lift) split(way string, g *Geometry) {
	direct := l.To - l.From
	l.Way = 1
	switch {
	case way == "backward" || way == "" && !g.Closed && direct < 0:
		l.Way = -1
	case way == "" && g.Closed:
		forward := (direct + g.Length) % g.Length
		if 2*forward > g.Length || forward == 0 && direct < 0 {
			l.Way = -1
		}
	}
	from, to := l.From, l.To
	if l.Way < 0 {
		from, to = to, from // along the stations from from to to
	}
	if g.Closed && from <= g.Length && to <= g.Length { // station 0 is where the wall ends, too
		if from %= g.Length; to == 0 {
			to = g.Length
		}
	}
	if from < to || !g.Closed {
		low, high := min(from, to), max(from, to)
		l.Run = high - low
		l.pieces = []piece{{low, high, 0}}
		return
	}
	first, second := piece{from, g.Length, 0}, piece{0, to, 0}
	l.Run = first.high - first.low + second.high - second.low
	if l.Way > 0 {
		second.start = first.high - first.low
		l.pieces = []piece{first, second}
	} else {
		first.start = second.high - second.low
		l.pieces = []piece{second, first}
	}
	l.pieces = slices.DeleteFunc(l.pieces, func(p piece) bool { return p.low == p.high })
}

// Reaches reports whether the lift touches some stations, ends included.
func (l *Lift) Reaches(from, to int) bool {
	if len(l.pieces) == 0 { // not laid over a wall
		return min(l.From, l.To) <= to && from <= max(l.From, l.To)
	}
	return slices.ContainsFunc(l.pieces, func(p piece) bool { return p.low <= to && from <= p.high })
}

// along is how far along its run the lift was at a station of the piece that
// holds another station.
func (l *Lift) along(within, station int) int64 {
	for _, p := range l.pieces {
		if p.low > within || within > p.high {
			continue
		}
		if l.Way > 0 {
			return int64(p.start + station - p.low)
		}
		return int64(p.start + p.high - station)
	}
	return 0
}

func (l *Lift) at(within, station int, began, ended int64) int64 {
	if l.Run <= 0 {
		return began
	}
	return began + (ended-began)*l.along(within, station)/int64(l.Run)
}

// EarlyAt is the earliest moment at which the lift can have passed a station;
// within is a station inside the stretch that is meant.
func (l *Lift) EarlyAt(within, station int) int64 {
	return l.at(within, station, l.Began.Early, l.Ended.Early)
}

// LateAt is the latest moment at which the lift can have passed a station.
func (l *Lift) LateAt(within, station int) int64 {
	return l.at(within, station, l.Began.Late, max(l.Ended.Late, l.Began.Late))
}

func (l *Lift) gain(st *Stretch, lifts []Lift) {
	if r := st.riseWithin(lifts, 60*minute); r > l.Rise {
		l.Rise, l.RiseFrom, l.RiseTo = r, st.From, st.To
	}
	l.Rise55 = max(l.Rise55, st.riseWithin(lifts, 55*minute))
}

// Truckload is one load of concrete. Times are Unix milliseconds, 0: not said. Batched is
// the early end, the others the late one.
type Truckload struct {
	Name, Ticket      string
	Ordered, Expected int64
	Batched, Arrived  int64
	Began, Ended      int64
	Rejected          int64
	VolumeML          int64 // millilitres, so that it is an integer
	Mix               string
	Centi             int16
	SlumpMM           int // -1: not measured
}

// Felt is an answer to the practical test of an open joint.
type Felt struct {
	From, To int
	At       int64
	Sinks    bool
}

// Treated is an answer to a cold joint.
type Treated struct {
	From, To int
	At       int64
	How      []string
	WordOf   string
}

// Vibrated is a stretch that was consolidated, or declared not to be. Figures
// that were not given are 0.
type Vibrated struct {
	From, To                          int // mm, in order
	At                                int64
	Not                               bool // declared not vibrated
	HeadMM, IntoMM, SpacingMM, OutMMS int
	Into                              bool // IntoMM was given
}

func vibratedOf(e *Entry, d *events.LiftConsolidated) Vibrated {
	v := Vibrated{From: min(mm(d.FromM), mm(d.ToM)), To: max(mm(d.FromM), mm(d.ToM)), At: e.Ended.Late, Not: d.Vibrated != nil && !*d.Vibrated, Into: d.IntoMM != nil}
	for to, from := range map[*int]*float64{&v.HeadMM: d.HeadMM, &v.IntoMM: d.IntoMM, &v.SpacingMM: d.SpacingMM, &v.OutMMS: d.WithdrawMS} {
		if from != nil {
			*to = int(math.Round(*from))
		}
	}
	return v
}

// Stop is a stop in placing.
type Stop struct {
	At      int64
	AtM     int // mm, -1: not said
	Planned bool
	Reason  string
}

// Pour is what was placed, folded from the entries in canonical order.
type Pour struct {
	Lifts     []Lift
	Stretches []Stretch
	Contacts  []Contact
	Loads     []*Truckload // in order of first mention
	Felt      []Felt
	Treated   []Treated
	Stops     []Stop

	Started  int64 // Unix ms, early; 0: not begun
	Finished int64 // Unix ms, late; 0: not finished, or resumed since
	Stopped  bool  // standing still now
	Planned  bool  // the standing stop is a planned joint
	PumpML   int64 // pump rate, ml/h

	// ClockZero is the last concrete: the late end of the last lift, discharge,
	// consolidation or line correction, Unix ms; 0: none.
	ClockZero    int64
	ClockZeroBy  events.Kind
	LastConcrete int64 // of lifts alone, late
	Corrected    int64 // the last line correction, late
	Discharged   int64 // the last discharge, late
	Consolidated []Vibrated
	LeftLow      []Stretch
	geometry     *Geometry
	surface      *surface
	Low          []Stretch // short of the planned top by over 50 mm and not declared
}

func mm(m *float64) int {
	if m == nil {
		return 0
	}
	return int(math.Round(float64(*m * 1000)))
}

func (p *Pour) clockZero(at int64, by events.Kind) {
	if at > p.ClockZero {
		p.ClockZero, p.ClockZeroBy = at, by
	}
}

// fold takes one entry on. Entries come in canonical order.
func (p *Pour) fold(e *Entry, loads map[string]*Truckload) {
	switch d := e.Last().(type) {
	case *events.LiftPlaced:
		p.foldLift(e, d)
	case *events.LiftConsolidated:
		p.clockZero(e.Ended.Late, e.Kind)
		p.Consolidated = append(p.Consolidated, vibratedOf(e, d))
	case *events.JointFelt:
		if !e.Maybe {
			p.Felt = append(p.Felt, Felt{mm(d.FromM), mm(d.ToM), e.Began.Early, *d.Sinks && allVersions(e, func(x *events.JointFelt) bool { return *x.Sinks })})
		}
	case *events.JointTreated:
		if !e.Maybe {
			p.Treated = append(p.Treated, Treated{mm(d.FromM), mm(d.ToM), e.Ended.Late, d.How, d.WordOf})
		}
	case *events.StretchLeftLow:
		if !e.Maybe {
			p.LeftLow = append(p.LeftLow, Stretch{From: min(mm(d.FromM), mm(d.ToM)), To: max(mm(d.FromM), mm(d.ToM))})
		}
	case *events.PourStopped:
		p.Stops = append(p.Stops, Stop{At: e.Began.Late, AtM: stationOf(d.AtM), Planned: d.Planned && !e.Maybe, Reason: d.Reason})
		p.Stopped, p.Planned = true, d.Planned && !e.Maybe
	case *events.PumpReported:
		p.PumpML = int64(math.Round(float64(*d.RateM3H * 1e6)))
	case *events.Moment:
		p.foldMoment(e)
	default:
		p.foldLoad(e, loads)
	}
}

func stationOf(m *float64) int {
	if m == nil {
		return -1
	}
	return mm(m)
}

// allVersions reports whether a relief holds by every version that still counts.
func allVersions[T events.Data](e *Entry, ok func(T) bool) bool {
	for _, v := range e.Versions {
		if x, fits := v.(T); !fits || !ok(x) {
			return false
		}
	}
	return true
}

func (p *Pour) foldMoment(e *Entry) {
	switch e.Kind {
	case "pour.started", "pour.resumed":
		if p.Started == 0 {
			p.Started = e.Began.Early
		}
		if e.Ended.Late > p.Finished {
			p.Finished = 0
		}
		p.Stopped, p.Planned = false, false
	case "pour.finished":
		if !e.Maybe {
			p.Finished = e.Ended.Late
		}
	case "line.corrected":
		p.clockZero(e.Ended.Late, e.Kind)
		p.Corrected = max(p.Corrected, e.Ended.Late)
	}
}

func (p *Pour) foldLift(e *Entry, d *events.LiftPlaced) {
	l := Lift{Entry: e, From: mm(d.FromM), To: mm(d.ToM), Began: e.Began, Ended: e.Ended, Load: d.Load, Vibrated: d.Vibrated, Centi: None}
	l.TopUp = d.TopUp
	if d.Celsius != nil {
		l.Centi = centiOf(*d.Celsius)
	}
	if p.Started == 0 {
		p.Started = l.Began.Early
	}
	p.Stopped, p.Planned = false, false
	p.Lifts = append(p.Lifts, l)
	p.clockZero(l.Ended.Late, e.Kind)
	p.LastConcrete = max(p.LastConcrete, l.Ended.Late)
}

func (p *Pour) foldLoad(e *Entry, loads map[string]*Truckload) {
	switch d := e.Last().(type) {
	case *events.LoadOrdered:
		y := p.load(d.Load, loads)
		y.Ordered = e.Began.Late
		if !d.Expected.IsZero() {
			y.Expected = d.Expected.UnixMilli()
		}
		y.volume(d.VolumeM3, d.Mix)
	case *events.LoadBatched:
		y := p.load(d.Load, loads)
		y.batched(e.Began.Early)
		y.volume(d.VolumeM3, d.Mix)
		y.Ticket = orText(d.Ticket, y.Ticket)
	case *events.LoadArrived:
		p.load(d.Load, loads).Arrived = e.Began.Late
	case *events.LoadDischarged:
		p.foldDischarge(e, d, p.load(d.Load, loads))
	case *events.LoadRejected:
		p.load(d.Load, loads).Rejected = e.Began.Late
	}
}

func (p *Pour) foldDischarge(e *Entry, d *events.LoadDischarged, y *Truckload) {
	y.Began, y.Ended = e.Began.Late, e.Ended.Late
	if !d.Batched.IsZero() {
		y.batched(d.Batched.UnixMilli())
	}
	y.volume(d.VolumeM3, "")
	y.Ticket = orText(d.Ticket, y.Ticket)
	if d.Celsius != nil {
		y.Centi = centiOf(*d.Celsius)
	}
	if d.SlumpMM != nil {
		y.SlumpMM = int(math.Round(*d.SlumpMM))
	}
	p.clockZero(e.Ended.Late, e.Kind)
	p.Discharged = max(p.Discharged, e.Ended.Late)
}

func (p *Pour) load(name string, loads map[string]*Truckload) *Truckload {
	y := loads[name]
	if y == nil {
		y = &Truckload{Name: name, Centi: None, SlumpMM: -1}
		loads[name] = y
		p.Loads = append(p.Loads, y)
	}
	return y
}

func (y *Truckload) batched(at int64) {
	if y.Batched == 0 || at < y.Batched {
		y.Batched = at
	}
}

func (y *Truckload) volume(m3 *float64, mix string) {
	if m3 != nil {
		y.VolumeML = int64(math.Round(float64(*m3 * 1e6)))
	}
	y.Mix = orText(mix, y.Mix)
}

func orText(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// raise lays the lifts from one on over the wall, and finds what is low.
func (p *Pour) raise(g *Geometry, from int) {
	p.geometry = g
	if g.Length <= 0 {
		return
	}
	if p.surface == nil {
		p.surface = newSurface(g)
	}
	for i := from; i < len(p.Lifts); i++ {
		p.place(i)
	}
	p.survey()
}

// place lays one lift over the surface.
func (p *Pour) place(i int) {
	l := &p.Lifts[i]
	if max(l.From, l.To) > p.geometry.Length {
		l.mark("beyond the end of the wall")
	}
	l.split(l.Entry.Last().(*events.LiftPlaced).Way, p.geometry)
	p.surface.paint(p.Lifts, i)
}

// survey takes over what the surface is now.
func (p *Pour) survey() {
	p.Stretches, p.Contacts, p.Low = p.surface.stretches, p.surface.contacts, p.Low[:0]
	for _, st := range p.Stretches {
		if p.geometry.short(st) && !p.declaredLow(st) {
			p.Low = append(p.Low, st)
		}
	}
}

// Open reports whether a stretch's surface waits for more concrete: it stands
// neither at its planned top nor at a sill.
func (p *Pour) Open(st Stretch) bool { return st.Top != nil && p.geometry.open(st) }

// topTolerance is how far under its planned top a stretch may stand, mm.
const topTolerance = 50

func (p *Pour) declaredLow(st Stretch) bool {
	return slices.ContainsFunc(p.LeftLow, func(d Stretch) bool { return d.From <= st.From && st.To <= d.To })
}

// height is where the lift brings a surface: by every version, the lowest.
func (l *Lift) height(under int) int {
	top := math.MaxInt
	for _, v := range l.Entry.Versions {
		d := v.(*events.LiftPlaced)
		if d.TopM != nil {
			top = min(top, mm(d.TopM))
		} else {
			top = min(top, under+mm(d.DepthM))
		}
	}
	return top
}
