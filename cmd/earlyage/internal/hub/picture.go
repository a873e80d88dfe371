package hub

import (
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// pictured is a consistent look at the record, taken under the projector's lock.
type pictured struct {
	projector.View
	hub   scheduler.Hub
	now   time.Time
	sight sight
}

// Sites lists the sites in sight, in order, without the company.
func (p pictured) Sites() []string {
	return slices.DeleteFunc(p.View.Sites(), func(s string) bool { return !p.sight.sees(s) })
}

// Walls lists the walls in sight of a site, or of all.
func (p pictured) Walls(site string) []projector.Ref {
	return slices.DeleteFunc(p.View.Walls(site), func(r projector.Ref) bool { return !p.sight.sees(r.Site) })
}

// Wall returns a wall that is known and in sight, or nil.
func (p pictured) Wall(ref projector.Ref) *wall.State {
	if !p.sight.sees(ref.Site) {
		return nil
	}
	if w := p.View.Wall(ref); w != nil && w.Known() {
		return w
	}
	return nil
}

// look calls see with a picture of what is in sight. Nothing of it may be kept.
func (h *Hub) look(seen sight, see func(pictured) error) error {
	return h.projector.Read(func(v projector.View) error {
		p := pictured{View: v, hub: h.loop.Hub(), now: h.clock.Now(), sight: seen}
		if state := v.Hub(); !state.Level {
			why := state.Why
			if waits := h.waits.Load(); waits != nil {
				why = *waits
			}
			p.hub.Doubts = append(slices.Clone(p.hub.Doubts), "the record is not level with the stream: "+why)
		}
		return see(p)
	})
}

func (p pictured) head(demo bool) api.Head {
	head := api.Head{
		At: face.Time{Time: p.now}, Through: p.Through(), Level: p.Level(), Doubts: p.hub.Doubts, Demo: demo,
		Sites: []face.Site{},
	}
	for _, name := range p.Sites() {
		s := p.Site(name)
		zone := ""
		if z := s.Zone(); z != nil {
			zone = z.String()
		}
		head.Sites = append(head.Sites, face.Site{Site: name, Name: s.Name(), Zone: zone, Units: s.Units()})
	}
	return head
}

func (p pictured) assess(ref projector.Ref) scheduler.Assessment {
	return scheduler.Assess(p.Site(ref.Site), p.Devices(ref.Site), p.Wall(ref), p.hub, p.now)
}

// walls assesses every wall of a site, or of all.
func (p pictured) walls(site string) []face.Wall { return p.assessed(p.Walls(site)) }

func (p pictured) assessed(refs []projector.Ref) []face.Wall {
	out := make([]face.Wall, 0, len(refs))
	for _, ref := range refs {
		out = append(out, face.FromAssessment(p.assess(ref)))
	}
	return out
}

// Walls assesses every wall of a site at the present moment, or of all sites.
func (h *Hub) Walls(site string) (out api.Walls, err error) {
	err = h.look(everything, func(p pictured) error {
		out = api.Walls{Head: p.head(h.demo), Walls: p.walls(site)}
		return nil
	})
	return out, err
}

// Alerts lists the alerts of a site, or of all; all of them or those that stand.
func (h *Hub) Alerts(site string, all bool) (out api.Alerts, err error) {
	err = h.look(everything, func(p pictured) error {
		out = api.Alerts{Head: p.head(h.demo), Alerts: p.alarms(site, all), Refused: p.refused(0, refusedShown)}
		return nil
	})
	return out, err
}

const (
	refusedShown = 500 // the newest
	// refusedLooked is how many are looked through for them: a flood on one site costs
	// the viewers of another no more than some tenths of a second.
	refusedLooked = 100_000
)

// refused lists what was refused on the sites in sight, the newest first, from
// before a sequence on; 0: from the newest of all.
func (p pictured) refused(before uint64, limit int) []face.RefusedRow {
	out, seen := []face.RefusedRow{}, 0
	p.EachRefused(before, func(r projector.RefusedRow) bool {
		seen++
		if p.sight.sees(r.Site) {
			out = append(out, face.RefusedRow{
				Seq: r.Seq, Recorded: face.Time{Time: r.Recorded}, Subject: r.Subject, Site: r.Site, Wall: r.Wall,
				ID: r.ID, Field: r.Field, Reason: r.Reason,
			})
		}
		return len(out) < limit && seen < refusedLooked
	})
	return out
}

// health says what is wrong with the hub itself.
func (p pictured) health(demo bool) api.Health {
	state := p.View.Hub()
	h := api.Health{
		At: face.Time{Time: p.now}, Through: p.Through(), Level: p.Level(), Short: state.Short,
		Holes: len(state.Holes), Problems: []string{}, Demo: demo,
	}
	h.Problems = append(h.Problems, p.hub.Doubts...)
	h.OK = len(h.Problems) == 0 && !h.Short && h.Holes == 0 && h.Level
	return h
}
