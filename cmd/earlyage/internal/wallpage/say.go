package wallpage

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/scheduler/concrete/unit"
)

// fact is one thing that an entry says: a word and what it is.
type fact struct{ Label, Value string }

// member is one member of an entry's data, in the order in which it stands there.
type member struct {
	name  string
	value jsontext.Value
}

// members reads an object.
func members(raw []byte) (out []member) {
	d := jsontext.NewDecoder(bytes.NewReader(raw))
	if t, err := d.ReadToken(); err != nil || t.Kind() != '{' {
		return nil
	}
	for d.PeekKind() == '"' {
		name, err := d.ReadToken()
		if err != nil {
			return out
		}
		m := member{name: name.String()}
		if m.value, err = d.ReadValue(); err != nil {
			return out
		}
		m.value = m.value.Clone()
		out = append(out, m)
	}
	return out
}

// elements reads an array.
func elements(raw []byte) (out []jsontext.Value) {
	d := jsontext.NewDecoder(bytes.NewReader(raw))
	if t, err := d.ReadToken(); err != nil || t.Kind() != '[' {
		return nil
	}
	for d.PeekKind() != ']' {
		v, err := d.ReadValue()
		if err != nil {
			return out
		}
		out = append(out, v.Clone())
	}
	return out
}

// unsaid are members that an entry's line shows elsewhere or that say nothing to
// a person.
var unsaid = map[string]bool{"target": true, "rules": true, "preceding": true, "alert": true, "walls": true}

// says words the data of an entry.
func (t tongue) says(e Entry) (out []fact) {
	t.unit = e.Unit
	d := t.raisedOf(e)
	for _, m := range members([]byte(e.Data)) {
		switch {
		case unsaid[m.name], d != nil && m.name == "about":
		case d != nil && m.name == "text":
			out = append(out, d...)
		default:
			out = append(out, t.member(m, "")...)
		}
	}
	return out
}

// raisedOf says of an alert that was raised what it says here, and what the record
// says; nothing where that is the same.
func (t tongue) raisedOf(e Entry) []fact {
	var d events.AlertRaised
	if e.Kind != "alert.raised" || json.Unmarshal([]byte(e.Data), &d) != nil {
		return nil
	}
	say, record := t.alertSays(d.Kind, d.Text, d.About)
	if record == "" {
		return nil
	}
	return []fact{{t.label("text"), say}, {t.label("in_record"), record}}
}

func (t tongue) label(name string) string {
	return t.own("wall.field."+name, strings.ReplaceAll(name, "_", " "))
}

func (t tongue) member(m member, before string) []fact {
	label := before + t.label(m.name)
	switch m.value.Kind() {
	case '{':
		if m.name == "data" { // of an amendment: what it says now, together
			var parts []fact
			for _, x := range members(m.value) {
				parts = append(parts, t.member(x, "")...)
			}
			return []fact{{label, line(parts)}}
		}
		var out []fact
		for _, x := range members(m.value) {
			out = append(out, t.member(x, label+": ")...)
		}
		return out
	case '[':
		return []fact{{label, t.list(m.name, elements(m.value))}}
	}
	return []fact{{label, t.scalar(m.name, m.value)}}
}

// mostListed is how many members of a list are written out.
const mostListed = 12

func (t tongue) list(name string, all []jsontext.Value) string {
	if span := t.span(all); span != "" {
		return span
	}
	var out []string
	for i, v := range all {
		if i == mostListed && !t.paper {
			out = append(out, t.T("wall.more", "n", len(all)-i))
			break
		}
		if v.Kind() != '{' {
			out = append(out, t.scalar(name, v))
			continue
		}
		var parts []string
		for _, x := range members(v) {
			for _, f := range t.member(x, "") {
				parts = append(parts, f.Value)
			}
		}
		out = append(out, strings.Join(parts, " "))
	}
	return strings.Join(out, ", ")
}

// span sums up a series of temperatures: how many, from when to when, the lowest
// and the highest.
func (t tongue) span(all []jsontext.Value) string {
	var from, to face.Time
	low, high, n := math.Inf(1), math.Inf(-1), 0
	for _, v := range all {
		for _, x := range members(v) {
			switch x.name {
			case "at":
				at, err := time.Parse(time.RFC3339Nano, text(x.value))
				if err != nil {
					return ""
				}
				if from.IsZero() || at.Before(from.Time) {
					from.Time = at
				}
				if at.After(to.Time) {
					to.Time = at
				}
			case "celsius":
				c, err := strconv.ParseFloat(string(x.value), 64)
				if err != nil {
					return ""
				}
				low, high, n = min(low, c), max(high, c), n+1
			}
		}
	}
	if n == 0 || from.IsZero() {
		return ""
	}
	return t.T("wall.series", "n", n, "low", t.quantity(unit.Temperature, low), "high", t.quantity(unit.Temperature, high), "from", t.down(from), "to", t.down(to))
}

func text(v jsontext.Value) string {
	tok, err := jsontext.NewDecoder(bytes.NewReader(v)).ReadToken()
	if err != nil {
		return string(v)
	}
	return tok.String()
}

// toStrip are the members that are times to strip: they are rounded up.
var toStrip = map[string]bool{"cured_at": true, "earliest": true, "early": true, "likely": true, "late": true}

func (t tongue) scalar(name string, v jsontext.Value) string {
	switch v.Kind() {
	case 't':
		return t.T("wall.yes")
	case 'f':
		return t.T("wall.no")
	case '0':
		return t.number(name, string(v))
	}
	said := text(v)
	if at, err := time.Parse(time.RFC3339Nano, said); err == nil {
		if toStrip[name] {
			return t.up(face.Time{Time: at})
		}
		return t.down(face.Time{Time: at})
	}
	switch name {
	case "by", "person", "reviewed_by", "requested_by", "word_of":
		return t.person(said)
	case "kind":
		if k := t.own("kind."+said, ""); k != "" {
			return k
		}
		return t.alert(said)
	case "governs", "releases":
		return t.criterion(said)
	case "state":
		return t.own("state."+said, said)
	case "role":
		return t.own("role."+said, said)
	}
	return t.value(said)
}

// endings are how the name of a member says its unit.
var endings = []struct {
	ending    string
	dimension unit.Dimension
	inBase    float64
}{
	{"_mm", unit.Thickness, 1000}, {"_m3", unit.Volume, 1}, {"rate_m3h", unit.Delivery, 1}, {"_m", unit.Length, 1},
	{"celsius", unit.Temperature, 1}, {"_c", unit.Temperature, 1}, {"_mps", unit.Speed, 1}, {"_mpa", unit.Strength, 1}, {"_kpa", unit.Pressure, 1},
}

func (t tongue) number(name, v string) string {
	x, err := strconv.ParseFloat(v, 64)
	if err != nil {
		return v
	}
	if name == "value" {
		return strings.TrimSpace(v + " " + t.unit)
	}
	for _, e := range endings {
		if strings.HasSuffix(name, e.ending) && name != "w_cm" {
			return unit.Format(e.dimension, x/e.inBase, t.units)
		}
	}
	for ending, symbol := range map[string]string{"_h": "h", "_min": "min", "_l": "L", "_ms": "ms", "_percent": "%", "_deg": "°"} {
		if strings.HasSuffix(name, ending) {
			return v + " " + symbol
		}
	}
	return v
}

// line writes all facts of an entry in one line, as it is searched.
func line(facts []fact) string {
	var b strings.Builder
	for i, f := range facts {
		if i > 0 {
			b.WriteString("; ")
		}
		fmt.Fprintf(&b, "%s %s", f.Label, f.Value)
	}
	return b.String()
}
