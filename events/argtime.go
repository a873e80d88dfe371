package events

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// parseTime reads RFC 3339, with or without seconds, or a local time.
func (b *builder) parseTime(s string) (any, *Refusal) {
	const minutes = len("2026-01-12T08:03")
	full := s
	if len(s) == minutes || len(s) > minutes && strings.ContainsRune("Z+-", rune(s[minutes])) {
		full = s[:minutes] + ":00" + s[minutes:]
	}
	if t, ref := readTime(jsontext.Value(strconv.Quote(full))); ref == nil {
		return t, nil
	}
	allowed := timeAllowed
	if b.Location == nil {
		return nil, refuse("", clip(s), allowed)
	}
	allowed += ", or a local time such as 2026-01-12T08:03 (" + b.Location.String() + ")"
	clock, ref := readTime(jsontext.Value(strconv.Quote(full + "Z")))
	if ref != nil {
		return nil, refuse("", clip(s), allowed)
	}
	t, ref := localTime(clock, b.Location, s)
	if ref == nil && (t.Before(firstTime) || !t.Before(lastTime)) {
		return nil, refuse("", clip(s), allowed)
	}
	return t.UTC(), ref
}

// localTime returns the one instant at which clocks in the zone show clock's
// date and time, and refuses a time that they skip or show twice.
func localTime(clock time.Time, zone *time.Location, typed string) (time.Time, *Refusal) {
	near := time.Date(clock.Year(), clock.Month(), clock.Day(), clock.Hour(), clock.Minute(), clock.Second(), clock.Nanosecond(), zone)
	began, ended := near.ZoneBounds()
	var found []time.Time
	seen := map[int]bool{}
	for _, at := range [...]time.Time{near, began.Add(-time.Nanosecond), ended} {
		_, offset := at.In(zone).Zone()
		t := clock.Add(-time.Duration(offset) * time.Second).In(zone)
		if _, real := t.Zone(); real == offset && !seen[offset] {
			found = append(found, t)
		}
		seen[offset] = true
	}
	slices.SortFunc(found, time.Time.Compare)
	switch len(found) {
	case 0:
		return time.Time{}, refuse("", clip(typed), "a time that is not skipped when clocks change in "+zone.String())
	case 1:
		return found[0], nil
	default:
		return time.Time{}, refuse("", clip(typed), "a time with its offset, since clocks in "+zone.String()+" show this one twice: "+
			found[0].Format(time.RFC3339)+" or "+found[1].Format(time.RFC3339))
	}
}

// parseGroup reads an object whose members stand in order between colons. A
// time has colons of its own: of all ways to read the text exactly one must fit.
func (b *builder) parseGroup(p *plan, s string) (any, *Refusal) {
	g := grouping{builder: b, plan: p}
	g.read(0, s, nil)
	switch {
	case len(g.found) == 1:
		return g.found[0], nil
	case len(g.found) > 1:
		return nil, refuse("", clip(s), "a text that can be read in one way: write the seconds and the offset of a time")
	default:
		return nil, g.wrong
	}
}

// grouping collects the ways to read one text as the members of a plan.
type grouping struct {
	*builder
	plan  *plan
	found []map[string]any
	wrong *Refusal // of the way that came furthest
	far   int
}

// read reads rest as the members from the i-th on, after the values before them.
func (g *grouping) read(i int, rest string, before []any) {
	if i >= len(g.plan.rules) {
		g.refuse(i, refuse("", clip(rest), "at most "+strconv.Itoa(i)+" values between colons: "+strings.Join(g.plan.names(), ":")))
		return
	}
	r := &g.plan.rules[i]
	for end := 0; end <= len(rest); end++ {
		if end < len(rest) && rest[end] != ':' {
			continue
		}
		g.take(i, r, rest[:end], rest[end:], before)
		if r.shape != moment {
			return
		}
	}
}

func (g *grouping) take(i int, r *rule, text, rest string, before []any) {
	var v any
	if text != "" || r.need {
		var ref *Refusal
		if v, ref = g.parse(r, text); ref != nil {
			g.refuse(i, inside(r.name, ref))
			return
		}
	}
	values := append(append([]any{}, before...), v)
	if rest != "" {
		g.read(i+1, rest[1:], values)
		return
	}
	if err := g.plan.missing(1<<len(values) - 1); err != nil {
		g.refuse(i+1, err.(*Refusal))
		return
	}
	one := map[string]any{}
	for j, v := range values {
		if v != nil {
			one[g.plan.rules[j].name] = v
		}
	}
	g.found = append(g.found, one)
}

func (g *grouping) refuse(i int, ref *Refusal) {
	if g.wrong == nil || i > g.far {
		g.wrong, g.far = ref, i
	}
}
