package events

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// Reading and checking are one walk, so that a member that is given wrongly is
// never taken for one that is not given. Every read returns a *Refusal, whose
// field is completed on the way up, or the JSON decoder's own error.

// read reads an object into the struct v.
func (p *plan) read(dec *jsontext.Decoder, v reflect.Value) error {
	if dec.PeekKind() != '{' {
		return wrongShape(dec, "an object of "+strings.Join(p.names(), ", "))
	}
	if _, err := dec.ReadToken(); err != nil {
		return err
	}
	var seen uint64
	for hint := 0; dec.PeekKind() == '"'; {
		quoted, err := dec.ReadValue()
		if err != nil {
			return err
		}
		name, err := unquote(quoted)
		if err != nil {
			return err
		}
		r, i := p.find(name, hint)
		if r == nil {
			return p.unknown(dec, string(name))
		}
		if err := r.read(dec, v.Field(r.index)); err != nil {
			return within(r.name, err)
		}
		seen |= 1 << i
		hint = i + 1
	}
	if _, err := dec.ReadToken(); err != nil {
		return err
	}
	return p.missing(seen)
}

// missing refuses an object without a member that must be given.
func (p *plan) missing(seen uint64) error {
	lack := p.needs &^ seen
	if lack == 0 {
		return nil
	}
	for i := range p.rules {
		if lack&(1<<i) != 0 {
			return refuse(p.rules[i].name, "", p.rules[i].allowed())
		}
	}
	return nil
}

func (p *plan) unknown(dec *jsontext.Decoder, name string) error {
	value, err := dec.ReadValue()
	if err != nil {
		return err
	}
	return refuse(named(name), shown(value), nearest(name, p.names()))
}

// read reads one value into v, of the type that the rule was made from. A null
// is a value like any other: what is not given is left out.
func (r *rule) read(dec *jsontext.Decoder, v reflect.Value) error {
	switch r.shape {
	case group:
		if v.Kind() == reflect.Pointer {
			v.Set(reflect.New(v.Type().Elem()))
			v = v.Elem()
		}
		return r.elem.read(dec, v)
	case list:
		return r.readList(dec, v)
	}
	raw, err := dec.ReadValue()
	if err != nil {
		return err
	}
	if ref := r.set(raw, v); ref != nil {
		return ref
	}
	return nil
}

func (r *rule) readList(dec *jsontext.Decoder, v reflect.Value) error {
	if dec.PeekKind() != '[' {
		return wrongShape(dec, r.allowed())
	}
	if _, err := dec.ReadToken(); err != nil {
		return err
	}
	n := 0
	for ; dec.PeekKind() != ']' && dec.PeekKind() != 0; n++ {
		if n >= r.maxLen {
			return refuse("", "over "+strconv.Itoa(r.maxLen)+" elements", r.allowed())
		}
		if n >= v.Cap() {
			v.Grow(max(n, 4))
		}
		v.SetLen(n + 1)
		if err := r.item.read(dec, v.Index(n)); err != nil {
			return within(strconv.Itoa(n), err)
		}
	}
	if _, err := dec.ReadToken(); err != nil {
		return err
	}
	if n < r.minLen {
		return refuse("", strconv.Itoa(n)+" elements", r.allowed())
	}
	return nil
}

// set gives v the JSON value raw, which the decoder owns.
func (r *rule) set(raw jsontext.Value, v reflect.Value) *Refusal {
	switch r.shape {
	case number:
		return r.setNumber(raw, v)
	case whole, digits:
		return r.setWhole(raw, v)
	case text:
		return r.setText(raw, v)
	case truth:
		return r.setTruth(raw, v)
	case moment:
		t, ref := readTime(raw)
		if ref == nil {
			*v.Addr().Interface().(*time.Time) = t
		}
		return ref
	default:
		if raw.Kind() != '{' {
			return refuse("", shown(raw), r.allowed())
		}
		v.SetBytes(bytes.Clone(raw))
		return nil
	}
}

func (r *rule) setNumber(raw jsontext.Value, v reflect.Value) *Refusal {
	if raw.Kind() != '0' {
		return refuse("", shown(raw), r.allowed())
	}
	x, err := strconv.ParseFloat(string(raw), 64)
	if err != nil || x < r.lo || x > r.hi {
		return refuse("", clip(string(raw)), r.allowed())
	}
	if x == 0 {
		x = 0 // no negative zero: equal events have equal bytes
	}
	switch p := v.Addr().Interface().(type) {
	case **float64:
		*p = new(x)
	case *float64:
		*p = x
	}
	return nil
}

func (r *rule) setWhole(raw jsontext.Value, v reflect.Value) *Refusal {
	number, isText := []byte(raw), false
	if raw.Kind() == '"' && r.shape == digits {
		b, err := unquote(raw)
		if err != nil || !isDigits(b, r.lo < 0) {
			return refuse("", shown(raw), r.allowed())
		}
		number, isText = b, true
	}
	n, err := strconv.ParseInt(string(number), 10, 64)
	if err != nil || float64(n) < r.lo || float64(n) > r.hi {
		ref := refuse("", shown(raw), r.allowed())
		ref.Beyond = isText && (err == nil || errors.Is(err, strconv.ErrRange)) ||
			raw.Kind() == '0' && bytes.ContainsAny(raw, ".eE")
		return ref
	}
	switch p := v.Addr().Interface().(type) {
	case *uint64:
		*p = uint64(n)
	case *int64:
		*p = n
	case **int64:
		*p = new(n)
	}
	return nil
}

// isDigits is what digitsPattern says.
func isDigits(b []byte, signed bool) bool {
	n := 20
	if signed && bytes.HasPrefix(b, []byte("-")) {
		b, n = b[1:], 19
	}
	return len(b) > 0 && len(b) <= n && len(bytes.Trim(b, "0123456789")) == 0
}

func (r *rule) setText(raw jsontext.Value, v reflect.Value) *Refusal {
	if raw.Kind() != '"' {
		return refuse("", shown(raw), r.allowed())
	}
	b, err := unquote(raw)
	if err != nil {
		return refusal("", shown(raw), r.allowed(), err)
	}
	s := ""
	if i := slices.IndexFunc(r.words, func(w string) bool { return w == string(b) }); i >= 0 {
		s = r.words[i]
	} else {
		s = string(b)
		if ref := r.checkText(s); ref != nil {
			return ref
		}
	}
	if v.Kind() == reflect.Pointer {
		*v.Addr().Interface().(**string) = new(s)
		return nil
	}
	v.SetString(s)
	return nil
}

func (r *rule) setTruth(raw jsontext.Value, v reflect.Value) *Refusal {
	b := raw.Kind() == 't'
	if !b && raw.Kind() != 'f' {
		return refuse("", shown(raw), r.allowed())
	}
	if v.Kind() == reflect.Pointer {
		*v.Addr().Interface().(**bool) = new(b)
		return nil
	}
	v.SetBool(b)
	return nil
}

var (
	firstTime = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	lastTime  = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)
)

const timeAllowed = "an RFC 3339 time with offset, years 2000 to 2099"

// timePattern is the schema's share of timeAllowed. The day before and the day
// after are the range's edges in other offsets.
const timePattern = `^(1999-12-31|2100-01-01|20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01]))` +
	`T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](\.[0-9]+)?(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$`

// readTime reads a time and turns it to UTC, so that equal instants are equal
// whatever the zone of the machine.
func readTime(raw jsontext.Value) (time.Time, *Refusal) {
	if raw.Kind() != '"' {
		return time.Time{}, refuse("", shown(raw), timeAllowed)
	}
	b, err := unquote(raw)
	if err != nil {
		return time.Time{}, refusal("", shown(raw), timeAllowed, err)
	}
	var t time.Time
	if err := t.UnmarshalText(b); err != nil || !isTime(b) {
		return time.Time{}, refuse("", shown(raw), timeAllowed)
	}
	if t.Before(firstTime) || !t.Before(lastTime) {
		ref := refuse("", shown(raw), timeAllowed)
		ref.Beyond = bytes.HasPrefix(b, []byte("1999-12-31")) || bytes.HasPrefix(b, []byte("2100-01-01"))
		return time.Time{}, ref
	}
	return t.UTC(), nil
}

// isTime reports whether b is written as RFC 3339 asks, which package time does
// not look at closely (a comma, an hour of one digit, an offset of 24 h or 60 min). It
// leaves the values but the offset's to that package.
func isTime(b []byte) bool {
	const upToSeconds = "0000-00-00T00:00:00"
	if len(b) < len(upToSeconds) || !hasForm(b[:len(upToSeconds)], upToSeconds) {
		return false
	}
	b = b[len(upToSeconds):]
	if len(b) > 1 && b[0] == '.' {
		b = bytes.TrimLeft(b[1:], "0123456789")
	}
	if string(b) == "Z" {
		return true
	}
	return (hasForm(b, "+00:00") || hasForm(b, "-00:00")) && string(b[1:3]) < "24" && string(b[4:]) < "60"
}

// hasForm compares b with a form in which 0 stands for any digit.
func hasForm(b []byte, form string) bool {
	if len(b) != len(form) {
		return false
	}
	for i, c := range b {
		if c != form[i] && (form[i] != '0' || c < '0' || c > '9') {
			return false
		}
	}
	return true
}

// unquote returns the text of a JSON string, in place where it has no escapes.
func unquote(raw jsontext.Value) ([]byte, error) {
	if len(raw) >= 2 && bytes.IndexByte(raw, '\\') < 0 {
		return raw[1 : len(raw)-1], nil
	}
	return jsontext.AppendUnquote(nil, raw)
}

// shown is how a refusal quotes a JSON value.
func shown(raw jsontext.Value) string {
	if raw.Kind() == '"' {
		if b, err := unquote(raw); err == nil {
			return clip(string(b))
		}
	}
	return clip(string(raw))
}

// named is how a refusal writes the name of a foreign member: quoted where it
// is empty or could forge a line of a log.
func named(name string) string {
	if name == "" || !isPlain(name) || strings.ContainsAny(name, "\n\t") {
		return strconv.Quote(clip(name))
	}
	return clip(name)
}

func clip(s string) string {
	if len(s) > 60 {
		return strings.ToValidUTF8(s[:57], "") + "..."
	}
	return s
}

// wrongShape refuses the next value, or returns why there is none.
func wrongShape(dec *jsontext.Decoder, allowed string) error {
	raw, err := dec.ReadValue()
	if err != nil {
		return err
	}
	return refuse("", shown(raw), allowed)
}

// within puts the name of a member before the field of a refusal.
func within(name string, err error) error {
	if r, ok := err.(*Refusal); ok {
		if r.Field == "" {
			r.Field = name
		} else {
			r.Field = name + "." + r.Field
		}
	}
	return err
}

// malformed turns the JSON decoder's error about raw into a refusal of the
// whole or of the member where it stands.
func malformed(root string, raw []byte, err error) error {
	var ref *Refusal
	if errors.As(err, &ref) {
		return ref
	}
	const allowed = "JSON (RFC 8259) in UTF-8, each member once"
	var syn *jsontext.SyntacticError
	if !errors.As(err, &syn) {
		return refusal(root, "", allowed, err)
	}
	for token := range syn.JSONPointer.Tokens() {
		root = strings.TrimPrefix(root+"."+named(token), "body.")
	}
	value := raw[min(int(syn.ByteOffset), len(raw)):]
	if end := bytes.IndexAny(value, ",:]}\n"); end > 0 {
		value = value[:end]
	}
	return refusal(root, strings.ToValidUTF8(clip(string(value)), "\uFFFD"), allowed, fmt.Errorf("at byte %d: %w", syn.ByteOffset, syn.Err))
}
