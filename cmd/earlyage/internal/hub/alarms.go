package hub

import (
	"cmp"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector"
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

// listed is alarms with those that are over and were not acknowledged, for a day.
func (p pictured) listed(site string, all bool) []face.Alarm {
	return p.alarmsThat(site, func(a wall.Alarm) bool { return all || p.open(a) })
}

// open reports whether an alert stands, or ended of late and nobody acknowledged it.
func (p pictured) open(a wall.Alarm) bool {
	return a.Stands() || a.Acknowledged == 0 && p.now.UnixMilli() < a.ClearedAt+returnedShown.Milliseconds()
}

func (p pictured) alarmsThat(site string, wanted func(wall.Alarm) bool) []face.Alarm {
	out := []face.Alarm{}
	for _, ref := range p.Walls(site) {
		out = append(out, p.alarmsOf(ref, wanted)...)
	}
	// What concerns the hub itself, a hole or its clock, stands on the company.
	for _, name := range append(p.Sites(), scheduler.Company) {
		if p.sight.sees(name) && (site == "" || site == name) {
			out = append(out, p.alarmsOf(projector.Ref{Site: name}, wanted)...)
		}
	}
	slices.SortStableFunc(out, func(a, b face.Alarm) int {
		return cmp.Or(cmp.Compare(rank(a.Priority), rank(b.Priority)), a.Since.Compare(b.Since.Time),
			cmp.Compare(a.Place(), b.Place()), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.ID, b.ID))
	})
	return out
}

// alarmsOf lists the alerts of a wall or, of a reference that names none, of a
// whole site, in the order of raising.
func (p pictured) alarmsOf(ref projector.Ref, wanted func(wall.Alarm) bool) (out []face.Alarm) {
	var alarms []wall.Alarm
	var rests []wall.Rest
	var told map[string][]wall.Telling
	if s := p.Site(ref.Site); s != nil {
		alarms, rests = s.Alarms(), s.Rests()
		if ref.Wall != "" {
			told = s.Told()
		}
	}
	if ref.Wall != "" {
		w := p.View.Wall(ref)
		alarms, rests = w.Alarms(), slices.Concat(w.Rests(), rests)
	}
	for _, a := range alarms {
		if wanted(a) {
			out = append(out, face.AlarmOf(ref.Site, ref.Wall, a, p.now, rests, told[a.ID]))
		}
	}
	return out
}

func rank(priority string) int {
	return slices.Index([]string{scheduler.Urgent, scheduler.High, scheduler.Medium, scheduler.Low}, priority)
}
