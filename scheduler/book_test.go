package scheduler_test

import (
	"fmt"
	"time"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// book is a record in the making, folded as it grows: one site, one wall "w", one
// device, every entry recorded a second after it was made.
type book struct {
	site    *site.State
	devices *site.Devices
	wall    *wall.State
	seq     uint64
	by      string
	facts   []wall.Fact
}

func newBook() *book {
	return &book{site: site.New("s"), devices: site.NewDevices("s"), wall: wall.New("s", "w"), by: "p-1"}
}

// add makes an entry at a moment and returns its id.
func (b *book) add(at time.Time, kind events.Kind, data events.Data) string {
	b.seq++
	e := events.Event{ID: fmt.Sprint("e", b.seq), Source: events.Source{Site: "s", Device: "phone"}, Kind: kind, Wall: "w", Time: at, By: b.by, Sequence: b.seq, HasOffset: true, Data: data}
	if kind.SiteWide() {
		e.Wall = ""
	}
	b.take(e, at)
	return e.ID
}

// onSite makes an entry about the site that could also be about a wall.
func (b *book) onSite(at time.Time, kind events.Kind, data events.Data) {
	b.seq++
	b.take(events.Event{ID: fmt.Sprint("e", b.seq), Source: events.Source{Site: "s", Device: "phone"}, Kind: kind, Time: at, By: b.by, Sequence: b.seq, HasOffset: true, Data: data}, at)
}

func (b *book) take(e events.Event, at time.Time) {
	f := wall.Fact{Event: e, Seq: b.seq, Recorded: at.Add(time.Second)}
	b.facts = append(b.facts, f)
	b.devices.Add(f)
	if e.Wall == "" {
		b.site.Add(f)
	} else {
		b.wall.Add(f)
	}
}

// signed makes an entry about the site and has a second person countersign it.
func (b *book) signed(at time.Time, kind events.Kind, data events.Data) {
	id := b.add(at, kind, data)
	by := b.by
	b.by = "p-2"
	b.onSite(at.Add(time.Second), "record.countersigned", &events.RecordCountersigned{Target: events.Target{Source: "/site/s/device/phone", ID: id}, Role: "engineer"})
	b.by = by
}

func (b *book) assess(now time.Time) scheduler.Assessment {
	return scheduler.Assess(b.site, b.devices, b.wall, scheduler.Hub{}, now)
}

// copy folds the same entries again into a book of its own.
func (b *book) copy() *book {
	c := newBook()
	for _, f := range b.facts {
		c.seq = f.Seq
		c.take(f.Event, f.Recorded.Add(-time.Second))
	}
	c.by = b.by
	return c
}

// alertsOf lists the causes of the alerts of a kind.
func alertsOf(a scheduler.Assessment, kind string) (causes []string) {
	for _, x := range a.Alerts {
		if x.Kind == kind {
			causes = append(causes, x.Cause)
		}
	}
	return causes
}
