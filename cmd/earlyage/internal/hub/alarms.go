package hub

import (
	"cmp"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// returnedShown is how long after its end an alert that nobody acknowledged is
// still listed among those that stand.
const returnedShown = 24 * time.Hour

// alarms lists the alerts of walls and sites, the most pressing first: all, or
// those that stand.
func (p pictured) alarms(site string, all bool) []face.Alarm {
	return p.alarmsThat(site, func(a wall.Alarm) bool { return all || a.Stands() })
}

// listed is alarms with those that are over and were not acknowledged, for a day:
// they come after the rest.
func (p pictured) listed(site string, all bool) []face.Alarm {
	return p.alarmsThat(site, func(a wall.Alarm) bool { return all || open(a, p.now) })
}

// open reports whether an alert stands at a moment, or ended of late and nobody
// acknowledged it.
func open(a wall.Alarm, at time.Time) bool {
	return a.Stands() || a.Acknowledged == 0 && at.UnixMilli() < a.ClearedAt+returnedShown.Milliseconds()
}

func (p pictured) alarmsThat(site string, wanted func(wall.Alarm) bool) []face.Alarm {
	out := []face.Alarm{}
	for _, ref := range p.Walls(site) {
		out = append(out, alarmsOf(p.Site(ref.Site), p.View.Wall(ref), p.now, wanted)...)
	}
	// What concerns the hub itself, a hole or its clock, stands on the company.
	for _, name := range append(p.Sites(), scheduler.Company) {
		if s := p.Site(name); s != nil && p.sight.sees(name) && (site == "" || site == name) {
			out = append(out, alarmsOf(s, nil, p.now, wanted)...)
		}
	}
	slices.SortStableFunc(out, func(a, b face.Alarm) int {
		return cmp.Or(over(a)-over(b), cmp.Compare(rank(a.Priority), rank(b.Priority)), a.Since.Compare(b.Since.Time),
			cmp.Compare(a.Place(), b.Place()), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID))
	})
	return out
}

// alarmsOf lists the alerts of a wall at a moment, or of no wall those of the whole
// site, in the order of raising.
func alarmsOf(s *site.State, w *wall.State, at time.Time, wanted func(wall.Alarm) bool) (out []face.Alarm) {
	name, alarms, rests := "", s.Alarms(), s.Rests()
	var told map[string][]wall.Telling
	if w != nil {
		name, alarms, rests, told = w.Wall, w.Alarms(), slices.Concat(w.Rests(), rests), s.Told()
	}
	for _, a := range alarms {
		if wanted(a) {
			out = append(out, face.AlarmOf(s.Site, name, a, at, rests, told[a.ID]))
		}
	}
	return out
}

// openOn lists the alerts of a wall that are open at a moment.
func openOn(s *site.State, w *wall.State, at time.Time) []face.Alarm {
	return alarmsOf(s, w, at, func(a wall.Alarm) bool { return open(a, at) })
}

// over is 1 for an alert that is over, 0 for one that stands.
func over(a face.Alarm) int {
	if a.Cleared.IsZero() || a.Acknowledged.IsZero() && events.Latches(a.Kind) {
		return 0
	}
	return 1
}

func rank(priority string) int {
	return slices.Index([]string{scheduler.Urgent, scheduler.High, scheduler.Medium, scheduler.Low}, priority)
}
