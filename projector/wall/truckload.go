package wall

import (
	"math"
	"slices"

	"earlyage/events"
)

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
	Mixes             []string // by every entry and version
	Placed            bool     // some of it was discharged
	PutML             int64    // of it in the wall, by the lifts that name it alone, millilitres
	Announced         bool     // it was told of before it was discharged
	FirstLift         int64    // early, of the lifts that name it; 0: none
	LastLift          int64    // late
	Centi             int16
	SlumpMM           int   // -1: not measured
	MeasuredAt        int64 // late, of slump or temperature; 0: neither
	Coldest           int16 // as Centi, the lowest said
	WaterML           int64 // added on site
}

func (p *Pour) foldLoad(e *Entry, v events.Data) {
	switch d := v.(type) {
	case *events.LoadOrdered:
		y := p.load(d.Load)
		y.Ordered, y.Announced = e.Began.Late, true
		if !d.Expected.IsZero() {
			y.Expected = d.Expected.UnixMilli()
		}
		y.volume(d.VolumeM3, d.Mix)
	case *events.LoadBatched:
		y := p.load(d.Load)
		y.Batched, y.Announced = first(y.Batched, e.Began.Early), true
		y.volume(d.VolumeM3, d.Mix)
		y.Ticket = orText(d.Ticket, y.Ticket)
	case *events.LoadArrived:
		y := p.load(d.Load)
		y.Arrived, y.Announced = e.Began.Late, true
		y.measured(d.SlumpMM, d.Celsius, d.WaterL, e.Ended.Late)
	case *events.LoadDischarged:
		p.foldDischarge(e, d, p.load(d.Load))
	case *events.LoadRejected:
		if !e.Maybe && len(e.Versions) == 1 {
			y := p.load(d.Load)
			y.Rejected = max(y.Rejected, e.Began.Late)
		}
	}
}

func (p *Pour) foldDischarge(e *Entry, d *events.LoadDischarged, y *Truckload) {
	y.Began, y.Ended, y.Placed = first(y.Began, e.Began.Late), max(y.Ended, e.Ended.Late), true
	if !d.Batched.IsZero() {
		y.Batched = first(y.Batched, d.Batched.UnixMilli())
	}
	y.volume(d.VolumeM3, "")
	y.Ticket = orText(d.Ticket, y.Ticket)
	y.measured(d.SlumpMM, d.Celsius, d.WaterL, e.Ended.Late)
	p.clockZero(e)
	p.Discharged = max(p.Discharged, e.Ended.Late)
}

func (p *Pour) load(name string) *Truckload {
	y := p.loads[name]
	if y == nil {
		y = &Truckload{Name: name, Centi: None, Coldest: None, SlumpMM: -1}
		if p.loads == nil {
			p.loads = map[string]*Truckload{}
		}
		p.loads[name] = y
		p.Loads = append(p.Loads, y)
	}
	return y
}

func (y *Truckload) volume(m3 *float64, mix string) {
	if m3 != nil {
		y.VolumeML = int64(math.Round(float64(*m3 * 1e6)))
	}
	y.Mix = orText(mix, y.Mix)
	if mix != "" && !slices.Contains(y.Mixes, mix) {
		y.Mixes = append(y.Mixes, mix)
	}
}

func orText(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
