package scheduler

import (
	"math"
	"strings"
	"sync"
	"time"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// Hub is what the hub knows of itself that shuts every window.
type Hub struct {
	Doubts []string
}

const (
	secondMS = int64(time.Second / time.Millisecond)
	minuteMS = 60 * secondMS
	hourMS   = 60 * minuteMS
	dayMS    = 24 * hourMS
	slotMS   = wall.SlotSeconds * secondMS
)

// look is one look at a wall: what Assess gathers once and its parts read.
type look struct {
	site    *site.State
	devices *site.Devices
	wall    *wall.State
	hub     Hub
	now     int64 // Unix ms

	policy   site.Policy
	criteria []wall.Criterion // those that bear on this wall
	mix      mix
	coreOK   bool // an engineer lets the core stand for the top
	ageOK    bool // equivalent age suffices without a strength

	// What is looked at: the whole wall, or what one brace answers for.
	zero  int64  // clock zero, Unix ms; 0: none
	brace string // empty: the whole wall
	reach reach

	next int64
}

// mix is what counts of the mixes that went into the wall.
type mix struct {
	known    bool // every one is approved and countersigned
	portland bool // of Portland cement without retarder, every one of them
	relation *concrete.Hyperbolic
	set      []concrete.SetPoint
}

func lookAt(s *site.State, d *site.Devices, w *wall.State, hub Hub, now time.Time) *look {
	k := &look{site: s, devices: d, wall: w, hub: hub, now: now.UnixMilli(), policy: s.Policy, zero: w.Pour.ClockZero}
	k.mix = k.mixOf()
	k.applyCriteria()
	return k
}

// at notes a moment at which time alone changes the answer.
func (k *look) at(t int64) {
	if t > k.now && (k.next == 0 || t < k.next) {
		k.next = t
	}
}

// mixNames lists the mixes planned and delivered.
func (k *look) mixNames() []string {
	names := []string{k.wall.Holding.Mix}
	for _, y := range k.wall.Pour.Loads {
		if y.Mix != "" && y.Mix != k.wall.Holding.Mix && y.Rejected == 0 {
			names = append(names, y.Mix)
		}
	}
	return names
}

// mixOf takes the cautious sum of the mixes: what one of them does not allow,
// the wall does not.
func (k *look) mixOf() mix {
	out := mix{known: true, portland: true}
	for i, name := range k.mixNames() {
		m, ok := k.site.Mixes[name]
		out.known = out.known && ok && m.Signed
		for _, v := range m.Versions {
			out.portland = out.portland && v.Binder == "portland" && v.Retarder != nil && !*v.Retarder
			for _, p := range v.Set {
				out.set = appendSet(out.set, p)
			}
			out.relate(i, len(m.Versions), v.Relation)
		}
	}
	out.portland = out.portland && out.known
	if !out.known {
		out.relation = nil
	}
	return out
}

// appendSet takes a measured initial set within the range of the library.
func appendSet(list []concrete.SetPoint, p events.InitialSet) []concrete.SetPoint {
	if *p.Celsius < 0 || *p.Celsius > 38 {
		return list
	}
	return append(list, concrete.SetPoint{Minutes: *p.Minutes, TempC: *p.Celsius})
}

// relate keeps a strength relation only if it is the only one there is.
func (m *mix) relate(index, versions int, r *events.Relation) {
	if index > 0 || versions > 1 || r == nil {
		m.relation = nil
		return
	}
	m.relation = &concrete.Hyperbolic{SuMPa: *r.SuMPa, KPerDay: *r.KPerD, T0Days: *r.T0D}
}

// applyCriteria makes the policy stricter by what engineers set for this wall or
// its mix. Nothing makes it less strict.
func (k *look) applyCriteria() {
	for _, c := range k.site.Criteria {
		if c.Mix == "" || c.Mix == k.wall.Holding.Mix {
			k.criteria = append(k.criteria, c)
		}
	}
	k.criteria = append(k.criteria, k.wall.Holding.Criteria...)
	p := &k.policy
	for _, c := range k.criteria {
		p.FloorS, p.AgeS, p.MPa100 = max(p.FloorS, c.FloorS), max(p.AgeS, c.AgeS), max(p.MPa100, c.MPa100)
		k.coreOK = k.coreOK || c.CoreCounts
		k.ageOK = k.ageOK || c.AgeSuffices
	}
	p.FloorS, p.AgeS = max(p.FloorS, site.FloorS), max(p.AgeS, site.FloorS)
	for _, r := range k.wall.Holding.Releases {
		k.ageOK = k.ageOK || r.Releases == "age" && r.At <= k.now
	}
}

// local formats a moment in the site's time.
func (k *look) local(ms int64) string {
	return time.UnixMilli(ms).In(k.site.Zone()).Format("Mon 2 Jan 15:04 MST")
}

// clockOnly formats a moment of the same day in the site's time.
func (k *look) clockOnly(ms int64) string {
	return time.UnixMilli(ms).In(k.site.Zone()).Format("15:04")
}

func ceilMinute(ms int64) int64 { return -floorDiv(-ms, minuteMS) * minuteMS }

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// moment turns Unix milliseconds into a time; 0 is unknown.
func moment(ms int64) time.Time {
	if ms == 0 {
		return time.Time{}
	}
	return time.UnixMilli(ms).UTC()
}

// tables are computed once for each set of constants; they are read-only.
var tables sync.Map // concrete.Maturity -> *concrete.Table

func tableOf(m concrete.Maturity) *concrete.Table {
	if t, ok := tables.Load(m); ok {
		return t.(*concrete.Table)
	}
	t, _ := tables.LoadOrStore(m, concrete.NewTable(m))
	return t.(*concrete.Table)
}

// maturityOf turns a rule of the policy into the library's.
func maturityOf(r site.Rule) concrete.Maturity {
	rule, err := concrete.ParseRule(r.Name)
	if err != nil {
		return concrete.Maturity{} // counts nothing: the window stays shut
	}
	m := concrete.Maturity{Rule: rule}
	switch rule {
	case concrete.RuleArrhenius:
		m.QK, m.ReferenceC = float64(r.QK), 20
	case concrete.RuleNurseSaul:
		m.DatumC = float64(r.DatumCenti) / 100
	}
	return m
}

func hoursText(seconds int64) string {
	return trimZero(math.Floor(float64(seconds)/360) / 10)
}

func trimZero(v float64) string {
	return strings.TrimSuffix(formatFixed(v, 1), ".0")
}
