package wall

import (
	"math"
	"slices"

	"earlyage/events"
)

// Lift is concrete placed from one station to another. While two versions of it
// count, or it is voided and the void waits for a second person, it stands only
// where all of them say so, and may have covered what any of them says.
type Lift struct {
	Entry            *Entry
	From, To         int // mm, in the direction of placing
	Way              int // 1 along the stations, -1 against them
	Run              int // mm placed along
	Began            Interval
	Ended            Interval
	Load             string
	Loads            []string // by every version
	Vibrated         *bool
	TopUp            bool
	Centi            int16 // concrete temperature, the highest said; None if not measured
	Marks            []string
	VolumeML         int64 // what it put on the wall, millilitres
	Rise, Rise55     int   // mm: greatest rise that this lift brought about in 60 and in 55 minutes
	RiseFrom, RiseTo int

	Said []Said // of its vibration, in canonical order

	over          bool      // some of it lies on other concrete
	pieces        []piece   // one, or two round station 0
	others        [][]piece // of the versions before the last
	below, inside int       // mm of its run that lay below the surface, or in openings
	beyond        bool      // one of its versions names a station that the wall has not
}

// piece is a run of stations that a lift passed at one go.
type piece struct {
	low, high int
	start     int // mm along the lift's run at which it enters the piece
}

func (p piece) holds(station int) bool { return p.low <= station && station <= p.high }

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

// lie lays out the lift's run on a wall, by each of its versions.
func (l *Lift) lie(g *Geometry) {
	l.others, l.beyond = nil, false
	for _, v := range l.Entry.Versions {
		d := v.(*events.LiftPlaced)
		l.beyond = l.beyond || max(mm(d.FromM), mm(d.ToM)) > g.Length
		if l.pieces != nil {
			l.others = append(l.others, l.pieces)
		}
		l.split(mm(d.FromM), mm(d.ToM), d.Way, g)
	}
}

// surely reports whether the lift stands over a station by every version.
func (l *Lift) surely(station int) bool {
	holds := func(list []piece) bool {
		return slices.ContainsFunc(list, func(p piece) bool { return p.holds(station) })
	}
	return !l.Entry.Maybe && holds(l.pieces) && !slices.ContainsFunc(l.others, func(o []piece) bool { return !holds(o) })
}

// split lays out the lift's run on a wall: its direction, and round station 0 on
// a closed one.
func (l *Lift) split(from, to int, way string, g *Geometry) {
	direct := to - from
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

// Reaches reports whether the lift touches some stations, ends included. One at a
// station that the wall has not may lie anywhere on it.
func (l *Lift) Reaches(from, to int) bool {
	if l.beyond {
		return true
	}
	if len(l.pieces) == 0 { // not laid over a wall
		return min(l.From, l.To) <= to && from <= max(l.From, l.To)
	}
	touches := func(p piece) bool { return p.low <= to && from <= p.high }
	return slices.ContainsFunc(l.pieces, touches) || slices.ContainsFunc(l.others, func(o []piece) bool { return slices.ContainsFunc(o, touches) })
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
// within is a station inside the stretch that is meant. The versions of one lift
// may run differently: then it is when the first of them began.
func (l *Lift) EarlyAt(within, station int) int64 {
	if len(l.Entry.Versions) > 1 {
		return l.Began.Early
	}
	return l.at(within, station, l.Began.Early, l.Ended.Early)
}

// LateAt is the latest moment at which the lift can have passed a station.
func (l *Lift) LateAt(within, station int) int64 {
	late := max(l.Ended.Late, l.Began.Late)
	if len(l.Entry.Versions) > 1 {
		return late
	}
	return l.at(within, station, l.Began.Late, late)
}

func (l *Lift) gain(st *Stretch, lifts []Lift) {
	if r := st.riseWithin(lifts, 60*minute); r > l.Rise {
		l.Rise, l.RiseFrom, l.RiseTo = r, st.From, st.To
	}
	l.Rise55 = max(l.Rise55, st.riseWithin(lifts, 55*minute))
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
	OnConcrete                        bool // concrete lay below what was vibrated

	after int // how many lifts come before it in canonical order
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
	At      int64 // late
	AtM     int   // mm, -1: not said
	Planned bool  // a construction joint, by every version
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
	Resumed  int64 // Unix ms, late: last begun or resumed
	Finished int64 // Unix ms, late; 0: not finished, or resumed since
	unsure   int64 // Unix ms, late: last resumed at a time that is not sure
	Stopped  bool  // standing still now
	Planned  bool  // the standing stop is a planned joint
	PumpML   int64 // pump rate, ml/h

	// ClockZero is the last concrete: the late end of the last lift, discharge,
	// consolidation or line correction, Unix ms; 0: none.
	ClockZero    int64
	ClockZeroBy  events.Kind
	ClockZeroKey events.Key
	LastConcrete int64 // of lifts alone, late
	Hottest      int16 // of the lifts' concrete; None if not measured
	Unloaded     bool  // a lift names no load
	Corrected    int64 // the last line correction, late
	Discharged   int64 // the last discharge, late
	Consolidated []Vibrated
	LeftLow      []LeftLow
	Low          []Stretch // short of the planned top by over 50 mm and not declared
	High         []Stretch // over the planned top by over 50 mm

	geometry *Geometry
	surface  *surface
	credited int // how many of Consolidated are put to their lifts
	loads    map[string]*Truckload
}

// LeftLow is a stretch declared to stand lower than planned, mm.
type LeftLow struct{ From, To, Top int }

func mm(m *float64) int {
	if m == nil {
		return 0
	}
	return int(math.Round(float64(*m * 1000)))
}

func (p *Pour) clockZero(e *Entry) {
	if at := e.Ended.Late; at > p.ClockZero {
		p.ClockZero, p.ClockZeroBy, p.ClockZeroKey = at, e.Kind, e.Key()
	}
}

// fold takes one entry on. Entries come in canonical order.
func (p *Pour) fold(e *Entry) {
	switch d := e.Last().(type) {
	case *events.LiftPlaced:
		p.foldLift(e, d)
	case *events.LiftConsolidated:
		p.clockZero(e)
		for _, v := range e.Versions {
			c := vibratedOf(e, v.(*events.LiftConsolidated))
			c.after = len(p.Lifts)
			p.Consolidated = append(p.Consolidated, c)
		}
	case *events.JointFelt:
		// A voided yes is gone at once, a voided no stays until the void counts.
		sinks := allVersions(e, func(x *events.JointFelt) bool { return *x.Sinks })
		if !e.Maybe || !sinks {
			p.Felt = append(p.Felt, Felt{min(mm(d.FromM), mm(d.ToM)), max(mm(d.FromM), mm(d.ToM)), e.Began.Early, sinks})
		}
	case *events.JointTreated:
		p.foldTreated(e, d)
	case *events.StretchLeftLow:
		p.foldLeftLow(e)
	case *events.PourStopped:
		planned := !e.Maybe && allVersions(e, func(x *events.PourStopped) bool { return x.Planned })
		p.Stops = append(p.Stops, Stop{At: e.Began.Late, AtM: stationOf(d.AtM), Planned: planned, Reason: d.Reason})
		p.Stopped, p.Planned = true, planned
	case *events.PumpReported:
		p.PumpML = int64(math.Round(float64(*d.RateM3H * 1e6)))
	case *events.Moment:
		p.foldMoment(e)
	default:
		for _, v := range e.Versions {
			p.foldLoad(e, v)
		}
	}
}

// foldTreated takes an answer to a cold joint where every version gives it.
func (p *Pour) foldTreated(e *Entry, d *events.JointTreated) {
	if e.Maybe {
		return
	}
	t := Treated{0, math.MaxInt, e.Ended.Late, d.How, d.WordOf}
	for _, v := range e.Versions {
		x := v.(*events.JointTreated)
		t.From, t.To = max(t.From, min(mm(x.FromM), mm(x.ToM))), min(t.To, max(mm(x.FromM), mm(x.ToM)))
	}
	if t.From < t.To {
		p.Treated = append(p.Treated, t)
	}
}

// foldLeftLow takes a stretch declared low where every version says so.
func (p *Pour) foldLeftLow(e *Entry) {
	if e.Maybe {
		return
	}
	low := LeftLow{0, math.MaxInt, 0}
	for _, v := range e.Versions {
		x := v.(*events.StretchLeftLow)
		low.From, low.To = max(low.From, min(mm(x.FromM), mm(x.ToM))), min(low.To, max(mm(x.FromM), mm(x.ToM)))
		low.Top = max(low.Top, mm(x.TopM))
	}
	if low.From < low.To {
		p.LeftLow = append(p.LeftLow, low)
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

// momentWidth is how wide the time of a moment is where it is only remembered.
const momentWidth = 2*rememberedBy + clockTolerance

func (p *Pour) foldMoment(e *Entry) {
	switch e.Kind {
	case "pour.started", "pour.resumed":
		p.Started, p.Resumed = first(p.Started, e.Began.Early), max(p.Resumed, e.Ended.Late)
		p.Finished, p.Stopped, p.Planned = 0, false, false
		if e.Ended.Late-e.Began.Early > momentWidth {
			p.unsure = max(p.unsure, e.Ended.Late)
		}
	case "pour.finished":
		// What may have been resumed after it is not finished.
		if !e.Maybe && e.Began.Early >= p.unsure {
			p.Finished = max(p.Finished, e.Ended.Late)
		}
	case "line.corrected":
		p.clockZero(e)
		p.Corrected = max(p.Corrected, e.Ended.Late)
	}
}

func (p *Pour) foldLift(e *Entry, d *events.LiftPlaced) {
	l := Lift{Entry: e, From: mm(d.FromM), To: mm(d.ToM), Began: e.Began, Ended: e.Ended, Load: d.Load, Vibrated: d.Vibrated, TopUp: d.TopUp, Centi: None}
	for _, v := range e.Versions {
		x := v.(*events.LiftPlaced)
		if x.Celsius != nil {
			l.Centi = max(l.Centi, centiOf(*x.Celsius))
		}
		switch { // the worst of the versions: not vibrated, then not said
		case x.Vibrated != nil && !*x.Vibrated:
			l.Vibrated = x.Vibrated
		case x.Vibrated == nil && l.Vibrated != nil && *l.Vibrated:
			l.Vibrated = nil
		}
		if !slices.Contains(l.Loads, x.Load) {
			l.Loads = append(l.Loads, x.Load)
		}
	}
	p.Hottest = max(p.Hottest, l.Centi)
	for _, name := range l.Loads {
		if name == "" {
			p.Unloaded = true
			continue
		}
		y := p.load(name)
		y.FirstLift, y.LastLift = first(y.FirstLift, l.Began.Early), max(y.LastLift, l.Ended.Late)
	}
	p.Started = first(p.Started, l.Began.Early)
	p.Stopped, p.Planned = false, false
	p.Lifts = append(p.Lifts, l)
	p.clockZero(e)
	p.LastConcrete = max(p.LastConcrete, l.Ended.Late)
}

// measured takes what was measured of a load. Water may be told on arrival and
// again with the discharge: the greater counts.
func (y *Truckload) measured(slump, celsius, water *float64, at int64) {
	if celsius != nil {
		c := centiOf(*celsius)
		if y.Coldest == None || c < y.Coldest {
			y.Coldest = c
		}
		y.Centi, y.MeasuredAt = max(y.Centi, c), max(y.MeasuredAt, at)
	}
	if slump != nil {
		y.SlumpMM, y.MeasuredAt = int(math.Round(*slump)), max(y.MeasuredAt, at)
	}
	if water != nil {
		y.WaterML = max(y.WaterML, int64(math.Round(float64(*water*1e3))))
	}
}

// raise lays the lifts from one on over the wall, and finds what stands too low
// or too high.
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
	p.consolidate()
	p.survey()
}

// place lays one lift over the surface.
func (p *Pour) place(i int) {
	l := &p.Lifts[i]
	if max(l.From, l.To) > p.geometry.Length {
		l.mark("beyond the end of the wall")
	}
	l.lie(p.geometry)
	p.surface.paint(p.Lifts, i)
	if y := p.loads[l.Load]; y != nil && len(l.Loads) == 1 {
		y.PutML += l.VolumeML
	}
}

// survey takes over what the surface is now.
func (p *Pour) survey() {
	p.Stretches, p.Contacts, p.Low, p.High = p.surface.stretches, p.surface.contacts, p.Low[:0], p.High[:0]
	for _, st := range p.Stretches {
		if p.geometry.short(st) {
			p.Low = append(p.Low, p.undeclared(st)...)
		}
		if st.Height() > p.geometry.Top+topTolerance {
			p.High = append(p.High, st)
		}
	}
}

// Open reports whether a stretch's surface waits for more concrete: it stands
// neither at its planned top nor at a sill.
func (p *Pour) Open(st Stretch) bool { return st.Top != nil && p.geometry.open(st) }

// Room reports whether concrete may still come beside a layer on the next
// stretch: there is none yet, it is planned there, and no opening lies there.
func (p *Pour) Room(next *Stretch, y *Layer) bool {
	low, high := max(y.Bottom, next.Height()), min(y.Top, p.geometry.Top)
	return slices.ContainsFunc(p.geometry.zones(next.mid()), func(z zone) bool { return max(low, z.bottom) < min(high, z.top) })
}

// topTolerance is how far from its planned top a stretch may stand, mm.
const topTolerance = 50

// undeclared is what of a low stretch was not declared to stand that low.
func (p *Pour) undeclared(st Stretch) []Stretch {
	rest := []Stretch{st}
	for _, d := range p.LeftLow {
		if st.Height() < d.Top-topTolerance {
			continue
		}
		var left []Stretch
		for _, r := range rest {
			if r.From < min(d.From, r.To) {
				left = append(left, Stretch{From: r.From, To: min(d.From, r.To), Top: r.Top})
			}
			if max(d.To, r.From) < r.To {
				left = append(left, Stretch{From: max(d.To, r.From), To: r.To, Top: r.Top})
			}
		}
		rest = left
	}
	return rest
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
