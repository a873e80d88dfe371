package scheduler

import (
	"math"
	"slices"
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

	heats    map[[2]int64][2]float64
	pressing *form
	layers   []layered // of freshOn, used again
	rises    map[int]riseLimit
	fates    map[*wall.Permit]*fate // of live permits; shared by the looks of one moment
	stands   []stood                // of all braces, by station; shared by all looks at the record
	taken    []taken                // what took braces off

	next int64
}

// mix is what counts of the mixes that went into the wall.
type mix struct {
	known    bool // every one is approved and countersigned
	portland bool // of Portland cement without retarder, every one of them
	relation *concrete.Hyperbolic
	sets     [][]concrete.SetPoint // setting data; nil among them: the approximate table. A joint goes by the shortest
}

func lookAt(s *site.State, d *site.Devices, w *wall.State, hub Hub, now time.Time) *look {
	k := &look{site: s, devices: d, wall: w, hub: hub, now: now.UnixMilli(), zero: w.Pour.ClockZero}
	stands, moves := standsOf(w)
	k.stands = stands
	k.taken = k.takenOff(moves)
	k.mix = k.mixOf()
	k.setPolicy(s.Policy)
	k.permitFates()
	return k
}

// at notes a moment at which time alone changes the answer.
func (k *look) at(t int64) {
	if t > k.now && (k.next == 0 || t < k.next) {
		k.next = t
	}
}

// past reports whether a moment of the record is past, and otherwise notes when
// it will be.
func (k *look) past(t int64) bool {
	k.at(t)
	return t <= k.now
}

// mixNames lists the mixes planned and delivered. A load that was sent back
// counts only if some of it was placed.
func (k *look) mixNames() []string {
	names := slices.Clone(k.wall.Holding.Mixes)
	for _, y := range k.wall.Pour.Loads {
		if y.Rejected != 0 && !y.Placed {
			continue
		}
		for _, m := range y.Mixes {
			if !slices.Contains(names, m) {
				names = append(names, m)
			}
		}
	}
	if len(names) == 0 {
		names = append(names, "")
	}
	return names
}

// mixOf takes the cautious sum of the mixes: what one of them does not allow,
// the wall does not.
func (k *look) mixOf() mix {
	names := k.mixNames()
	out := mix{known: true, portland: true}
	versions := 0
	for _, name := range names {
		m := k.site.Mixes[name]
		out.known = out.known && m.Known
		if len(m.Versions) == 0 {
			out.sets = append(out.sets, nil)
		}
		for _, v := range m.Versions {
			versions++
			out.portland = out.portland && v.Binder == "portland" && v.Retarder != nil && !*v.Retarder
			points := setPoints(v.Set)
			out.sets = append(out.sets, points)
			if !v.Signed && points != nil {
				out.sets = append(out.sets, nil)
			}
			if r := v.Relation; r != nil && v.Signed {
				out.relation = &concrete.Hyperbolic{SuMPa: *r.SuMPa, KPerDay: *r.KPerD, T0Days: *r.T0D}
			}
		}
	}
	out.portland = out.portland && out.known
	if !out.known || versions != 1 { // a relation counts only if it is the only one there is
		out.relation = nil
	}
	return out
}

// setPoints takes the measured initial sets within the range of the library; nil: none.
func setPoints(list []events.InitialSet) (out []concrete.SetPoint) {
	for _, p := range list {
		if *p.Celsius >= 0 && *p.Celsius <= 38 {
			out = append(out, concrete.SetPoint{Minutes: *p.Minutes, TempC: *p.Celsius})
		}
	}
	return out
}

// setPolicy makes a policy stricter by what engineers set for this wall or its
// mixes. Nothing makes it less strict.
func (k *look) setPolicy(p site.Policy) {
	k.criteria = k.criteria[:0]
	names := k.mixNames()
	for _, c := range k.site.Criteria {
		if c.Mix == "" || slices.Contains(names, c.Mix) {
			k.criteria = append(k.criteria, c)
		}
	}
	onSite := len(k.criteria)
	k.criteria = append(k.criteria, k.wall.Holding.Criteria...)
	for i := range k.criteria { // what one asks for counts at any time, what it allows from its own on
		if c := &k.criteria[i]; !k.past(c.At) {
			c.CoreSaid, c.AgeSaid = c.CoreSaid && !c.CoreCounts, c.AgeSaid && !c.AgeSuffices
		}
	}
	for _, c := range k.criteria {
		p.FloorS, p.AgeS, p.MPa100 = max(p.FloorS, c.FloorS), max(p.AgeS, c.AgeS), max(p.MPa100, c.MPa100)
	}
	p.FloorS, p.AgeS = max(p.FloorS, site.FloorS), max(p.AgeS, site.FloorS)
	k.policy = p
	k.coreOK = says(k.criteria[:onSite], k.criteria[onSite:], func(c wall.Criterion) (bool, bool) { return c.CoreSaid, c.CoreCounts })
	k.ageOK = says(k.criteria[:onSite], k.criteria[onSite:], func(c wall.Criterion) (bool, bool) { return c.AgeSaid, c.AgeSuffices })
	for _, r := range k.wall.Holding.Releases {
		k.ageOK = k.ageOK || r.Releases == "age" && k.past(r.At)
	}
}

// says reports whether the last word of the engineers is yes: on the site or on
// the wall, and on neither of them no.
func says(onSite, onWall []wall.Criterion, of func(wall.Criterion) (said, yes bool)) bool {
	yes, no := false, false
	for _, list := range [2][]wall.Criterion{onSite, onWall} {
		for _, c := range slices.Backward(list) {
			if said, ok := of(c); said {
				yes, no = yes || ok, no || !ok
				break
			}
		}
	}
	return yes && !no
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
