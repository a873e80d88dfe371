package hub

import (
	"fmt"
	"strings"
	"time"

	"earlyage/projector"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// record shows the projector's picture to the scheduler's loop.
type record struct{ *projector.Projector }

// Read implements scheduler.Record.
func (r record) Read(show func(scheduler.Page) error) error {
	return r.Projector.Read(func(v projector.View) error { return show(page{v}) })
}

// Subscribe implements scheduler.Record. The goroutine ends with the
// projector's channel, which cancel closes.
func (r record) Subscribe() (<-chan scheduler.Change, func()) {
	in, cancel := r.Projector.Subscribe()
	out := make(chan scheduler.Change)
	stop := make(chan struct{})
	go func() {
		defer close(out)
		for c := range in {
			change := scheduler.Change{Through: c.Through, Sites: c.Sites, Walls: make([]scheduler.Ref, len(c.Walls))}
			for i, w := range c.Walls {
				change.Walls[i] = scheduler.Ref(w)
			}
			select {
			case out <- change:
			case <-stop:
				return
			}
		}
	}()
	return out, func() {
		cancel()
		close(stop)
	}
}

// page is one picture as the loop reads it.
type page struct{ v projector.View }

// Status implements scheduler.Page.
func (p page) Status() scheduler.Status {
	h := p.v.Hub()
	st := scheduler.Status{Through: h.Through, Recorded: h.Recorded, Level: h.Level, Short: h.Short, Offsets: p.offsets}
	for _, hole := range h.Holes {
		st.Holes = append(st.Holes, scheduler.Hole{From: hole.From, To: hole.To, Since: hole.Since})
	}
	return st
}

// offsets gives what every device last said of its clock. What a device itself
// knows of its offset counts; a device that was never in contact says nothing.
func (p page) offsets() []scheduler.Offset {
	var all []scheduler.Offset
	for _, name := range p.v.Sites() {
		devices := p.v.Devices(name)
		for _, d := range devices.List() {
			if y, ok := devices.Device(d); ok && y.Offset && d != scheduler.HubDevice {
				all = append(all, scheduler.Offset{Heard: time.UnixMilli(y.Seen).UTC(), By: time.Duration(y.OffsetMS) * time.Millisecond})
			}
		}
	}
	return all
}

// Refs implements scheduler.Page.
func (p page) Refs(only string) []scheduler.Ref {
	var refs []scheduler.Ref
	for _, name := range p.v.Sites() {
		if only != "" && only != name {
			continue
		}
		refs = append(refs, scheduler.Ref{Site: name})
		for _, w := range p.v.Walls(name) {
			refs = append(refs, scheduler.Ref(w))
		}
	}
	return refs
}

// Look implements scheduler.Page.
func (p page) Look(ref scheduler.Ref) scheduler.Folded {
	s, d := p.v.Site(ref.Site), p.v.Devices(ref.Site)
	if s == nil || d == nil {
		return scheduler.Folded{}
	}
	if ref.Wall == "" {
		return lookSite(s, d)
	}
	w := p.v.Wall(projector.Ref(ref))
	if w == nil || !w.Known() {
		return scheduler.Folded{Zone: s.Zone()}
	}
	said, has := w.Said()
	return scheduler.Folded{
		Zone: s.Zone(), Alarms: w.Alarms(), Said: said, HasSaid: has, Digest: w.Digest,
		Assess:    func(h scheduler.Hub, at time.Time) scheduler.Assessment { return scheduler.Assess(s, d, w, h, at) },
		Permitted: func(at time.Time) bool { return permitted(w, at.UnixMilli()) },
		Begun:     func() time.Time { return begun(w) },
		Braced:    func(at time.Time) time.Time { return braced(w, at.UnixMilli()) },
	}
}

func lookSite(s *site.State, d *site.Devices) scheduler.Folded {
	var gaps strings.Builder
	d.Gaps(func(device string, g site.Gap) { fmt.Fprintf(&gaps, "%s %d %d;", device, g.From, g.To) })
	return scheduler.Folded{
		Zone: s.Zone(), Alarms: s.Alarms(), Sheets: s.Sheets(), SheetMinute: s.Policy.SheetMinute, Gaps: gaps.String(),
		Assess: func(h scheduler.Hub, at time.Time) scheduler.Assessment {
			alerts, next := scheduler.AlertsOfSite(s, d, h, at)
			return scheduler.Assessment{Site: s.Site, At: at, Alerts: alerts, Next: next}
		},
	}
}

// permitted reports whether a permit to strip stands at a moment.
func permitted(w *wall.State, at int64) bool {
	for _, p := range w.Holding.Permits {
		if p.For == "strip" && p.At <= at && (p.Until == 0 || at < p.Until) && (p.Withdrawn == 0 || at < p.Withdrawn) {
			return true
		}
	}
	return false
}

// braced is since when the first of the braces stands that stand at a moment.
func braced(w *wall.State, at int64) time.Time {
	var first int64
	for _, b := range w.Holding.Braces {
		stands := b.Set != 0 && b.Set <= at && (b.Stripped == 0 || b.Stripped > at)
		if stands && (first == 0 || b.Set < first) {
			first = b.Set
		}
	}
	if first == 0 {
		return time.Time{}
	}
	return time.UnixMilli(first).UTC()
}

// begun is when the first of the wall's entries was recorded.
func begun(w *wall.State) time.Time {
	var first time.Time
	for _, e := range w.Entries() {
		if first.IsZero() || e.Recorded.Before(first) {
			first = e.Recorded
		}
	}
	return first
}
