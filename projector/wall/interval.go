package wall

import (
	"time"

	"earlyage/events"
)

// Interval is when something happened, in Unix milliseconds: not before Early,
// not after Late.
type Interval struct{ Early, Late int64 }

// EarlyTime returns the early end in UTC.
func (i Interval) EarlyTime() time.Time { return time.UnixMilli(i.Early).UTC() }

// LateTime returns the late end in UTC.
func (i Interval) LateTime() time.Time { return time.UnixMilli(i.Late).UTC() }

func (i Interval) hull(o Interval) Interval {
	return Interval{min(i.Early, o.Early), max(i.Late, o.Late)}
}

const (
	minute = int64(time.Minute / time.Millisecond)
	hour   = 60 * minute

	// clockTolerance is how far a device's clock may disagree without a doubt.
	clockTolerance = 2 * minute
	// rememberedAfter is how long after the fact an entry counts as remembered,
	// and rememberedBy how far it then may be off.
	rememberedAfter = 10 * minute
	rememberedBy    = 15 * minute
	// backdatedAfter is how late an entry that moves clock zero may be made
	// before it counts at the time of its entry, until countersigned.
	backdatedAfter = 60 * minute
)

// clock says by how much the device's times have to be corrected, as an
// interval of plausible corrections in milliseconds.
type clock struct {
	lo, hi int64
	doubt  string // empty: none
}

// clockOf judges one entry by itself: its own offset against the time at which
// it was recorded.
func clockOf(f *Fact) clock {
	entered, recorded := f.Time.UnixMilli(), f.Recorded.UnixMilli()
	off := f.ClockOffset.Milliseconds()
	c := clock{lo: off, hi: off}
	switch lag := recorded - (entered + off); {
	case lag < -clockTolerance:
		c.lo = recorded - entered
		c.doubt = "entered in the future of its recording"
	case lag > clockTolerance && !f.HasOffset:
		c.hi = recorded - entered
		c.doubt = "delivered late by a device whose clock was never checked"
	}
	return c
}

func (c clock) with(o clock) clock { return clock{min(c.lo, o.lo), max(c.hi, o.hi), c.doubt} }

// kinds whose times are printed on a paper or measured by an instrument, and
// so are not remembered by a person.
func printedTime(k events.Kind) bool {
	switch k {
	case "load.batched", "load.ordered", "temperature.read", "weather.forecast", "wind.read",
		"wall.laid-out", "wall.amended", "device.reported":
		return true
	}
	return false
}

// movesClockZero reports whether the end of such an event starts the wall's clock.
func movesClockZero(k events.Kind) bool {
	switch k {
	case "lift.placed", "load.discharged", "lift.consolidated", "line.corrected":
		return true
	}
	return false
}

// telling is what one event, or an amendment of it, says.
type telling struct {
	data   events.Data
	by     *Fact // the event itself, or the amendment
	signed bool  // a second person let it count
}

// version is one telling of an event: its data and when that says it happened.
type version struct {
	data         events.Data
	began, ended Interval
}

// versionOf places what is told of f in time under the plausible clock
// corrections. A moment that people remember is widened to the safe side, but
// nothing can have happened after it was entered. A lift entered late counts at
// the time of its entry until a second person lets it count earlier. Times that
// an amendment changes were read off the amender's clock and are remembered from
// its entry; times that it leaves are as first entered.
func versionOf(f *Fact, t telling, clocks map[*Fact]clock) version {
	e := f.Event
	e.Data = t.data
	began, ended := e.Span()
	source := f
	if b, z := f.Span(); !began.Equal(b) || !ended.Equal(z) {
		source = t.by
	}
	c := clocks[source]
	entered := Interval{source.Time.UnixMilli() + c.lo, source.Time.UnixMilli() + c.hi}
	v := version{data: t.data,
		began: Interval{began.UnixMilli() + c.lo, began.UnixMilli() + c.hi},
		ended: Interval{ended.UnixMilli() + c.lo, ended.UnixMilli() + c.hi}}
	if source.Time.Sub(ended).Milliseconds() > rememberedAfter && !printedTime(f.Kind) {
		v.began = remembered(v.began, entered)
		v.ended = remembered(v.ended, entered)
	}
	if f.Time.Sub(ended).Milliseconds() > backdatedAfter && movesClockZero(f.Kind) && !t.signed {
		v.ended.Late = max(v.ended.Late, f.Time.UnixMilli()+clocks[f].hi)
	}
	return v
}

func remembered(i, entered Interval) Interval {
	return Interval{i.Early - rememberedBy, max(i.Late, min(i.Late+rememberedBy, entered.Late))}
}
