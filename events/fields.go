package events

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// A field's rule stands in its tag, so that Decode, the JSON Schema and the
// help text of the command line cannot disagree:
//
//	rule:"need"        must be given
//	rule:"0..200"      a number's range, ends included; "1.." has no upper end
//	rule:"a|b|c"       one of these words
//	rule:"token"       text of one of the forms in textForms
//	rule:"len 1..50"   how many elements, or how many characters of text
//	rule:"digits"      a whole number that may also be written as text
//
// parts separated by a comma. On a list, the words, the form and the range are
// those of its elements. unit:"m" and doc:"..." are for people.
type rule struct {
	name, unit, doc string // name is the member's in JSON
	shape           shape
	need            bool
	ranged          bool
	lo, hi          float64
	words           []string
	form            string // of text; empty: any
	minLen, maxLen  int
	index           int
	elem            *plan // of a group
	item            *rule // of a list's elements
}

// shape is what a value is in JSON.
type shape uint8

const (
	number shape = iota
	whole        // a number without fraction
	digits       // a whole number, or the same as text
	text
	truth
	moment
	list
	group
	object // any JSON object
)

// plan holds the rules of a struct in the order of its fields.
type plan struct {
	rules []rule
	needs uint64 // bit i: rules[i] must be given
}

const (
	maxText, maxList = 500, 500
	// maxWhole is the greatest whole number that every reader of JSON holds
	// exactly (RFC 8259 section 6).
	maxWhole = 1<<53 - 1
)

var (
	timeType = reflect.TypeFor[time.Time]()
	rawType  = reflect.TypeFor[jsontext.Value]()
)

// planOf panics on a field that it cannot read: a broken invariant of this package.
func planOf(t reflect.Type) *plan {
	p := &plan{}
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "" {
			continue
		}
		r := ruleOf(f.Type, f.Tag.Get("rule"))
		r.name, r.unit, r.doc, r.index = name, f.Tag.Get("unit"), f.Tag.Get("doc"), i
		if r.item != nil {
			r.item.unit, r.item.doc = r.unit, r.doc
		}
		if r.need {
			p.needs |= 1 << len(p.rules)
		}
		p.rules = append(p.rules, r)
	}
	if len(p.rules) > 64 {
		panic("events: too many fields in " + t.String())
	}
	return p
}

func ruleOf(t reflect.Type, tag string) rule {
	r := rule{minLen: -1, maxLen: -1, lo: math.Inf(-1), hi: math.Inf(1)}
	asDigits := false
	for part := range strings.SplitSeq(tag, ",") {
		switch {
		case part == "":
		case part == "need":
			r.need = true
		case part == "digits":
			asDigits = true
		case textForms[part].allowed != "":
			r.form = part
		case strings.HasPrefix(part, "len "):
			lo, hi := mustRange(part[len("len "):])
			r.minLen, r.maxLen = int(lo), int(hi)
		case strings.Contains(part, ".."):
			r.ranged = true
			r.lo, r.hi = mustRange(part)
		default:
			r.words = strings.Split(part, "|")
		}
	}
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	r.setShape(t, asDigits)
	return r
}

func (r *rule) setShape(t reflect.Type, asDigits bool) {
	switch {
	case t == timeType:
		r.shape = moment
	case t == rawType:
		r.shape = object
	case t.Kind() == reflect.Float64:
		r.shape = number
	case t.Kind() == reflect.Uint64 || t.Kind() == reflect.Int64:
		r.shape = whole
		if asDigits {
			r.shape = digits
		}
		r.hi = min(r.hi, maxWhole)
		if t.Kind() == reflect.Uint64 {
			r.lo = max(r.lo, 0)
		}
	case t.Kind() == reflect.Bool:
		r.shape = truth
	case t.Kind() == reflect.String:
		r.shape = text
		r.setLength(0, maxText)
	case t.Kind() == reflect.Struct:
		r.shape, r.elem = group, planOf(t)
	case t.Kind() == reflect.Slice:
		item := *r
		item.need, item.minLen, item.maxLen = true, -1, -1
		item.setShape(t.Elem(), false)
		item.setLength(1, maxText)
		*r = rule{shape: list, need: r.need, item: &item, minLen: r.minLen, maxLen: r.maxLen}
		r.setLength(0, maxList)
	default:
		panic("events: no rule for " + t.String())
	}
}

// setLength sets the least and greatest length where the tag has none.
func (r *rule) setLength(lo, hi int) {
	if r.maxLen < 0 {
		r.minLen, r.maxLen = lo, hi
	}
}

func mustRange(s string) (lo, hi float64) {
	a, b, _ := strings.Cut(s, "..")
	lo, errLo := strconv.ParseFloat(a, 64)
	hi, errHi := math.Inf(1), error(nil)
	if b != "" {
		hi, errHi = strconv.ParseFloat(b, 64)
	}
	if errLo != nil || errHi != nil {
		panic("events: unreadable rule " + s)
	}
	return lo, hi
}

// find returns the rule of a member, or nil. hint is where it probably stands.
func (p *plan) find(name []byte, hint int) (*rule, int) {
	if hint < len(p.rules) && p.rules[hint].name == string(name) {
		return &p.rules[hint], hint
	}
	for i := range p.rules {
		if p.rules[i].name == string(name) {
			return &p.rules[i], i
		}
	}
	return nil, 0
}

func (p *plan) names() []string {
	names := make([]string, len(p.rules))
	for i := range p.rules {
		names[i] = p.rules[i].name
	}
	return names
}

// allowed says in words what the rule allows.
func (r *rule) allowed() string {
	unit := r.unit
	if unit != "" {
		unit = " " + unit
	}
	switch r.shape {
	case number, whole, digits:
		return r.allowedNumber() + unit
	case text:
		return r.allowedText()
	case truth:
		return "true or false"
	case moment:
		return timeAllowed
	case list:
		what := r.item.allowed()
		if r.item.shape == group {
			what = strings.Join(r.item.elem.names(), ", ")
		}
		return fmt.Sprintf("%d to %d elements, each %s", r.minLen, r.maxLen, what)
	case group:
		return "an object of " + strings.Join(r.elem.names(), ", ")
	default:
		return "an object"
	}
}

func (r *rule) allowedNumber() string {
	what := "a number"
	if r.shape != number {
		what = "a whole number"
	}
	lo, hi := r.lo, r.hi
	if r.shape != number && hi == maxWhole {
		hi = math.Inf(1)
	}
	switch {
	case math.IsInf(lo, -1) && math.IsInf(hi, 1):
		return what
	case math.IsInf(hi, 1):
		return what + ", " + plain(lo) + " or more"
	case r.shape != number:
		return what + ", " + plain(lo) + ".." + plain(hi)
	default:
		return plain(lo) + ".." + plain(hi)
	}
}

func (r *rule) allowedText() string {
	switch {
	case r.words != nil:
		return strings.Join(r.words, ", ")
	case r.form != "":
		return textForms[r.form].allowed
	case r.minLen > 0:
		return fmt.Sprintf("text of %d to %d characters without control characters", r.minLen, r.maxLen)
	default:
		return fmt.Sprintf("text of at most %d characters without control characters", r.maxLen)
	}
}

// plain writes a number without an exponent.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
