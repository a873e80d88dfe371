package scheduler

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// States of a form's face.
const (
	FaceStanding = "standing"
	FaceMayStrip = "may-strip"
	FaceStripped = "stripped"
)

// The criteria of a face's window that the cure window has not.
const (
	FaceAge    = "age"
	FaceBraces = "braces"
	FaceDrop   = "drop"
)

// FaceWindow says when one face of the form may come off. It is a guide as the
// cure window is, and says nothing of the braces' own.
type FaceWindow struct {
	Face     string // inner or outer
	State    string
	Carries  bool      // braces are fixed to it
	MetAt    time.Time // when it was old enough; zero: not yet
	Earliest time.Time // when the last of all criteria was met; zero: not yet
	MayStrip bool
	Waits    string // for what, in words; empty if it may
	Criteria []Criterion
}

const (
	// warmConcrete is the temperature taken for concrete that nobody read, °C: a
	// thin wall in its first days is hardly hotter (planning figure).
	warmConcrete = 40.0
	// dropAhead is how far ahead the coldest air counts for what is uncovered.
	dropAhead = dayMS
)

// faces looks at the faces of a form that comes off; an insulating form stays.
func (k *look) faces(a *Assessment, complete ruling, acc *account) []FaceWindow {
	h := &k.wall.Holding
	if len(k.wall.Pour.Lifts) == 0 || a.State == StateHandedOver {
		return nil
	}
	if !k.comesOff() && len(h.FaceStrips) == 0 {
		return nil
	}
	var out []FaceWindow
	shared := k.faceShared(complete, acc)
	for _, face := range [2]string{"inner", "outer"} {
		stripped := h.Stripped(face, k.now)
		if !k.comesOff() && !stripped {
			continue
		}
		w := k.faceWindow(face, shared)
		if stripped {
			w.State, w.MayStrip, w.Waits = FaceStripped, false, ""
		}
		out = append(out, w)
	}
	return out
}

// comesOff reports whether the form is one that is taken off.
func (k *look) comesOff() bool {
	switch k.wall.Holding.Form {
	case "plywood", "steel", "other":
		return true
	}
	return false
}

// carries reports whether braces are fixed to a face: to both, if nobody said.
func (k *look) carries(face string) bool {
	switch k.wall.Holding.BraceFace {
	case "inner", "outer":
		return k.wall.Holding.BraceFace == face
	}
	return true
}

// faceShared are the criteria that both faces have in common. A cold joint is
// none: it is seen and treated once the face is off.
func (k *look) faceShared(complete ruling, acc *account) []named {
	return []named{{Complete, complete}, {FaceAge, k.faceAge()}, {Frost, k.frost(acc)}, {Hold, k.hold(nil)}, {FaceDrop, k.drop()}}
}

func (k *look) faceWindow(face string, shared []named) FaceWindow {
	w := FaceWindow{Face: face, State: FaceStanding, Carries: k.carries(face), MetAt: moment(shared[1].at)}
	list := append(slices.Clone(shared), named{FaceBraces, k.bracesOff(w.Carries)})
	var waits []string
	for _, n := range list {
		w.Criteria = append(w.Criteria, Criterion{Name: n.name, Layer: LayerStanding, Met: n.met, MetAt: moment(n.at), Have: n.have, Need: n.need, Unit: n.unit, Note: n.note})
		if !n.met {
			waits = append(waits, n.name)
		}
	}
	if w.MayStrip = len(waits) == 0; w.MayStrip {
		w.State, w.Earliest = FaceMayStrip, moment(metAt(list))
	}
	w.Waits = strings.Join(waits, ", ")
	return w
}

// striking sums up time and temperature by the rule for vertical faces of BS
// 8110-1:1997 Table 6.2 (from memory; concrete.BS8110Moment), in whole numbers:
// hundredths of a degree above -10 °C times seconds. Warmer than 25 °C counts as
// 25 °C, time at or below 0 °C counts nothing, and frost begins it again.
type striking struct {
	began       int64
	sum, need   int64
	warm, count int64 // of the temperature: hundredths of a degree times seconds, and seconds
}

func (s *striking) see(t slotTemp, from, end int64, frost bool) (reached int64) {
	seconds := (end - from) / secondMS
	if frost || t.frozen {
		s.began, s.sum, s.warm, s.count = end, 0, 0, 0
		return 0
	}
	if t.source == FromNothing {
		return 0
	}
	c := min(int64(t.centi), strikeMost)
	s.sum, s.warm, s.count = s.sum+(c-strikeDatum)*seconds, s.warm+int64(t.centi)*seconds, s.count+seconds
	if s.sum < s.need {
		return 0
	}
	return end - (s.sum-s.need)/(c-strikeDatum)*secondMS
}

const (
	strikeDatum = -1000
	strikeMost  = 2500
)

// faceAge: as old as BS 8110 asks for vertical faces at the temperature that
// counts, and as the site asks.
func (k *look) faceAge() ruling {
	v := ruling{need: "300", unit: "°C·h above -10 °C", have: "0", note: "BS 8110-1:1997 Table 6.2, vertical faces (from memory); not set by an engineer"}
	ch, err := concrete.BS8110MaturityCh(concrete.VerticalFaces)
	if err != nil || k.zero == 0 {
		v.note = "no concrete is recorded"
		return v
	}
	s := striking{began: k.zero, need: int64(ch) * 100 * 3600}
	reached := k.strike(&s, k.now)
	v.have = trimZero(float64(s.sum/3600) / 100)
	if reached == 0 {
		k.foreseeFace(s)
		return v
	}
	mean := float64(s.warm) / float64(s.count) / 100
	hours, err := concrete.BS8110Hours(concrete.VerticalFaces, clamp(mean, 0, concrete.MaxFactorC))
	if err != nil {
		return v
	}
	at := max(reached, s.began+int64(hours*float64(hourMS)))
	if k.policy.FaceS > 0 {
		at = max(at, k.zero+k.policy.FaceS*secondMS)
		v.note = fmt.Sprintf("and %s h since the last concrete, site policy; %s", hoursText(k.policy.FaceS), v.note)
	}
	v.at = ceilMinute(at)
	v.met = k.past(v.at)
	return v
}

// strike counts every whole slot from clock zero to a moment, until the need is reached.
func (k *look) strike(s *striking, until int64) (reached int64) {
	src, frosts := k.sources(until), k.frosts(k.zero, until)
	for from := k.zero; ; {
		slot := floorDiv(from, slotMS)
		end := (slot + 1) * slotMS
		if end > until {
			return 0
		}
		frost := false
		for len(frosts) > 0 && frosts[0] < end {
			frost, frosts = true, frosts[1:]
		}
		if reached = s.see(src.temperature(slot, from), from, end, frost); reached != 0 {
			return reached
		}
		from = end
	}
}

// foreseeFace notes when a forecast alone would make the face old enough.
func (k *look) foreseeFace(s striking) {
	n := len(k.site.Hours)
	if n == 0 || k.site.Hours[n-1].At <= k.now {
		return
	}
	ahead := striking{began: k.zero, need: s.need}
	if at := k.strike(&ahead, min(k.site.Hours[n-1].At+hourMS, k.now+wallReadEvery)); at > k.now {
		k.at(ceilMinute(at))
	}
}

// bracesOff: a face that carries braces stays until they are off.
func (k *look) bracesOff(carries bool) ruling {
	v := ruling{met: true, at: k.zero, have: "none", need: "none on this face"}
	if !carries {
		v.have, v.need = "on the other face", "not asked"
		return v
	}
	for _, y := range k.stands {
		switch {
		case !k.past(y.early):
		case y.until == 0 || !k.past(y.until):
			if v.met {
				v.met, v.have = false, "brace "+y.brace.Name+" stands"
			}
		default:
			v.at = max(v.at, y.until)
		}
	}
	if !v.met {
		v.at = 0
	}
	return v
}

// drop: the concrete is not cooled by more than it bears in 24 hours when it is
// uncovered (concrete.LimitsForSection, from memory).
func (k *look) drop() ruling {
	v := ruling{unit: "K", have: "unknown", note: "ACI 306R, from memory"}
	k.at(k.thisHour() + hourMS)
	core := k.wall.Holding.Geometry.LeastCore()
	limits, err := concrete.LimitsForSection(clamp(metres(core), 0.05, 10))
	if err != nil {
		return v
	}
	v.need = "at most " + trimZero(limits.MaxDrop24h.Kelvin())
	air, known := k.airAhead24()
	if !known {
		v.note = "no air temperature is known; " + v.note
		return v
	}
	warm, read := k.warmest()
	if !read {
		v.note = "the concrete was not read and is taken as 40 °C; " + v.note
	}
	drop, tooMuch, err := limits.DropOnUncovering(clamp(warm, concrete.MinFactorC, concrete.MaxFactorC), clamp(air, -60, 60))
	if err != nil {
		return v
	}
	v.have, v.met = trimZero(drop.Kelvin()), !tooMuch
	if v.met {
		v.at = k.zero
	}
	return v
}

// thisHour is the whole hour by which the drop is judged: it changes with the hour.
func (k *look) thisHour() int64 { return floorDiv(k.now, hourMS) * hourMS }

// airAhead24 is the coldest air that the uncovered concrete meets in a day: of
// this and the last hour as measured, and as forecast.
func (k *look) airAhead24() (c float64, known bool) {
	c, known = k.coldestAir(k.thisHour()-hourMS, k.now)
	for _, h := range k.site.Hours {
		if h.At+hourMS <= k.now {
			continue
		}
		if h.At > k.thisHour()+dropAhead {
			break
		}
		if f := float64(h.Coldest) / 100; !known || f < c {
			c, known = f, true
		}
	}
	return c, known
}

// warmest is the hottest that the concrete was last read, °C.
func (k *look) warmest() (c float64, read bool) {
	hottest := wall.None
	for _, place := range [3]string{"core", "top", "face"} {
		y, sure := k.wall.Readings.Hottest(place, k.thisHour()-typedSilentMS, k.now)
		hottest, read = max(hottest, y), read || sure
	}
	if c = float64(hottest) / 100; !read {
		c = max(c, warmConcrete)
	}
	return c, read
}

// faceAlerts judge every face that came off at the moment at which it did.
func (k *look) faceAlerts(c *collector) {
	for i := range k.wall.Holding.FaceStrips {
		s := &k.wall.Holding.FaceStrips[i]
		at := s.Began.Early
		if !k.past(at) {
			continue
		}
		if why := k.then(at).faceEarly(s); why != "" {
			c.add(AlertFaceEarly, "face "+s.ID, at, "The %s was taken off %s too early: %s. If braces went with it, stay out to the wall's height + 1.2 m, call the engineer, brace again only on their word. Have the concrete looked at, and cover it.",
				faceName(s.Face), k.local(at), why).clear(k)
		}
	}
}

func faceName(face string) string {
	if face == "both" {
		return "form's inner and outer face"
	}
	return "form's " + face + " face"
}

// faceEarly says why a face could not come off at the look's moment, or "". Air
// that nobody measured is no proof of too great a drop.
func (k *look) faceEarly(s *wall.FaceStrip) string {
	shared := k.faceShared(k.complete(), k.account())
	for _, face := range [2]string{"inner", "outer"} {
		if s.Face != face && s.Face != "both" {
			continue
		}
		var names []string
		for _, c := range k.faceWindow(face, shared).Criteria {
			if !c.Met && !(c.Name == FaceDrop && c.Have == "unknown") {
				names = append(names, faceWords(c))
			}
		}
		if len(names) > 0 {
			return strings.Join(names, ", ")
		}
	}
	return ""
}

func faceWords(c Criterion) string {
	switch c.Name {
	case FaceBraces:
		return c.Have
	case FaceAge:
		return fmt.Sprintf("%s of %s %s", c.Have, c.Need, c.Unit)
	case FaceDrop:
		return fmt.Sprintf("it cools by %s K, %s K", c.Have, c.Need)
	default:
		return c.Name + " was not met"
	}
}
