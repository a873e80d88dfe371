package scheduler

import (
	"cmp"
	"slices"

	"earlyage/events"
	"earlyage/projector/wall"
)

// Basis is on whose word an assessment goes, and by what probe.
type Basis struct {
	Policy    events.Key // the event that last set the site's policy; empty: none
	Criterion wall.Criterion
	Set       bool                // an engineer set that criterion
	Probe     *events.StatedProbe // counted last; nil: none
}

// basis finds it. Of several criteria it is the one that was set last.
func (k *look) basis(acc *account) Basis {
	b := Basis{Policy: k.site.PolicyOf}
	if n := len(k.criteria); n > 0 {
		b.Set = true
		b.Criterion = slices.MaxFunc(k.criteria, func(x, y wall.Criterion) int { return cmp.Compare(x.At, y.At) })
	}
	b.Probe = k.probeCounted(acc)
	return b
}

// putInto says it in a statement.
func (b *Basis) putInto(w *events.WindowStated) {
	w.Policy, w.Clause, w.Probe = events.Target(b.Policy), notSet, b.Probe
	if b.Set {
		c := &b.Criterion
		w.CriterionBy, w.CriterionAt, w.Drawing, w.Clause = c.By, moment(c.At), c.Drawing, c.Clause
	}
}

// placesOf are where the probes of a source are read.
var placesOf = map[string][]string{FromTop: {"top"}, FromCore: {"core", "face"}, FromOther: {"core", "face", "air"}, FromAir: {"air"}}

// probeCounted is the probe of the source that counted last: of several the one
// read last.
func (k *look) probeCounted(acc *account) *events.StatedProbe {
	var best *wall.Track
	var read int64
	for _, tracks := range [2][]*wall.Track{k.wall.Readings.Tracks(), k.site.Air.Tracks()} {
		for _, t := range tracks {
			if at, ok := t.LastAt(); ok && at > read && slices.Contains(placesOf[acc.last.source], t.Place) {
				best, read = t, at
			}
		}
	}
	if best == nil {
		return nil
	}
	out := &events.StatedProbe{Probe: best.Probe, Place: best.Place}
	if p, ok := k.wall.Holding.ProbeOf(best.Place, best.Probe, k.now); ok {
		out.AtM, out.HeightM, out.Calibrated, out.Certificate = p.AtM, p.HeightM, p.Calibrated, p.Certificate
	}
	return out
}
