package scheduler

import (
	"math"
	"slices"
	"strings"
	"time"
	"unicode"

	"earlyage/events"
	"earlyage/projector/wall"
)

// clearBeyond is how much further than a wall's own height people stay out when
// it may fall, mm.
const clearBeyond = 1200

// Of what an event takes in an alert's numbers.
const (
	mostStationM = 2000
	mostClearM   = 30
	mostBraces   = 500
	mostName     = 80
)

// numbers are an alert's numbers, to be added to.
func (a *Alert) numbers() *events.About {
	if a.About == nil {
		a.About = &events.About{}
	}
	return a.About
}

// place says from which station to which it is, in m.
func (a *Alert) place(from, to float64) *Alert {
	n := a.numbers()
	n.FromM, n.ToM = &from, &to
	return a
}

// until says until when there is time to act; 0: nothing is said.
func (a *Alert) until(ms int64) *Alert {
	if ms != 0 {
		a.numbers().Until = moment(ms)
	}
	return a
}

// measured says what it is and what it may be, in the unit of the measure.
func (a *Alert) measured(measure string, have, limit float64) *Alert {
	n := a.numbers()
	n.Measure, n.Have, n.Limit = measure, &have, &limit
	return a
}

func (a *Alert) load(name string) *Alert {
	a.numbers().Load = name
	return a
}

// device names the device of a source or of a probe.
func (a *Alert) device(source string) *Alert {
	if name := source[strings.LastIndexByte(source, '/')+1:]; name != "" {
		a.numbers().Device = name
	}
	return a
}

// clear says how far people stay out: the wall's height and 1.2 m.
func (a *Alert) clear(k *look) *Alert {
	if h := k.wall.Holding.Geometry.Height; h > 0 {
		m := metres(h + clearBeyond)
		a.numbers().ClearM = &m
	}
	return a
}

// braces names braces, and the place of those whose place is known.
func (a *Alert) braces(k *look, names []string) *Alert {
	if len(names) == 0 {
		return a
	}
	n := a.numbers()
	n.Braces = slices.Sorted(slices.Values(names))
	from, to := math.MaxInt, -1
	for _, b := range k.wall.Holding.Braces {
		if b.At >= 0 && slices.Contains(names, b.Name) {
			from, to = min(from, b.At), max(to, b.At)
		}
	}
	if to >= 0 {
		a.place(metres(from), metres(to))
	}
	return a
}

// standingNames are the braces that stand at the look's moment.
func (k *look) standingNames() []string {
	return k.bracesThat(func(b *wall.Brace) bool { return b.Stripped == 0 || !k.past(b.Stripped) })
}

func namesOf(list []*wall.Brace) (names []string) {
	for _, b := range list {
		if !slices.Contains(names, b.Name) {
			names = append(names, b.Name)
		}
	}
	return names
}

// bracesThat names the braces that were set and are of a sort.
func (k *look) bracesThat(are func(*wall.Brace) bool) (names []string) {
	for _, b := range k.wall.Holding.Braces {
		if b.Set != 0 && are(b) {
			names = append(names, b.Name)
		}
	}
	return names
}

// takeable leaves out of an alert's numbers what an event does not take: an odd
// number must not keep the alert from being raised.
func takeable(n *events.About) *events.About {
	if n == nil {
		return nil
	}
	out := *n
	out.FromM, out.ToM, out.ClearM = within(n.FromM, mostStationM), within(n.ToM, mostStationM), within(n.ClearM, mostClearM)
	if out.FromM == nil || out.ToM == nil {
		out.FromM, out.ToM = nil, nil
	}
	if !finite(n.Have) || !finite(n.Limit) {
		out.Measure, out.Have, out.Limit = "", nil, nil
	}
	out.Braces = nil
	for _, b := range n.Braces {
		if events.IsToken(b) && len(out.Braces) < mostBraces {
			out.Braces = append(out.Braces, b)
		}
	}
	out.Load, out.Device = spelt(n.Load), spelt(n.Device)
	out.Until = stampOrNone(n.Until)
	if empty(&out) {
		return nil
	}
	return &out
}

func spelt(s string) string {
	return clipText(strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, s)), mostName)
}

func empty(n *events.About) bool {
	return n.FromM == nil && n.Until.IsZero() && len(n.Braces) == 0 && n.Load == "" && n.Device == "" && n.Measure == "" && n.ClearM == nil
}

func within(v *float64, most float64) *float64 {
	if !finite(v) || v == nil || *v < 0 || *v > most {
		return nil
	}
	return v
}

func finite(v *float64) bool { return v == nil || !math.IsNaN(*v) && !math.IsInf(*v, 0) }

// stampOrNone rounds a deadline down to the stream's millisecond; zero stays zero.
func stampOrNone(t time.Time) time.Time {
	if t.IsZero() {
		return t
	}
	return t.UTC().Truncate(time.Millisecond)
}
