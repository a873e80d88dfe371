package events

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// A field's rule stands in its tag, so that the check, the JSON Schema and the
// help text of the command line cannot disagree:
//
//	rule:"need"        must be given
//	rule:"0..200"      a number's range, ends included
//	rule:"a|b|c"       one of these words
//	rule:"token"       a-z, 0-9 and -, 1 to 40 characters
//	rule:"len 1..50"   how many elements, or how many bytes of text
//	rule:"pattern yyyy-mm-dd", "pattern hh:mm"
//
// parts separated by a comma. unit:"m" and doc:"..." are for people.
type rule struct {
	need        bool
	ranged      bool
	lo, hi      float64
	words       []string
	token       bool
	minLen      int
	maxLen      int
	pattern     string
	name        string // in JSON
	unit, doc   string
	index       int
	typ         reflect.Type
	elem        *plan // of a struct, or of a slice's elements
	elemPointer bool
}

type plan struct{ rules []rule }

const defaultMaxText, defaultMaxList = 500, 500

var plans sync.Map // reflect.Type -> *plan

var timeType = reflect.TypeFor[time.Time]()

func planOf(t reflect.Type) *plan {
	if p, ok := plans.Load(t); ok {
		return p.(*plan)
	}
	p := &plan{}
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "" || name == "-" {
			continue
		}
		r := parseRule(f.Tag.Get("rule"))
		r.name, r.unit, r.doc, r.index, r.typ = name, f.Tag.Get("unit"), f.Tag.Get("doc"), i, f.Type
		base := f.Type
		if base.Kind() == reflect.Slice || base.Kind() == reflect.Pointer {
			base = base.Elem()
		}
		if base.Kind() == reflect.Struct && base != timeType {
			r.elem = planOf(base)
		}
		p.rules = append(p.rules, r)
	}
	actual, _ := plans.LoadOrStore(t, p)
	return actual.(*plan)
}

// parseRule panics on a tag that cannot be read: a broken invariant of this package.
func parseRule(tag string) rule {
	r := rule{maxLen: -1}
	for part := range strings.SplitSeq(tag, ",") {
		switch {
		case part == "":
		case part == "need":
			r.need = true
		case part == "token":
			r.token = true
		case strings.HasPrefix(part, "pattern "):
			r.pattern = part[len("pattern "):]
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
	return r
}

func mustRange(s string) (lo, hi float64) {
	a, b, _ := strings.Cut(s, "..")
	lo, errLo := strconv.ParseFloat(a, 64)
	hi, errHi := strconv.ParseFloat(b, 64)
	if errLo != nil || errHi != nil {
		panic("events: unreadable rule " + s)
	}
	return lo, hi
}

func checkFields(path string, d any) error {
	v := reflect.ValueOf(d).Elem()
	if err := planOf(v.Type()).check(path, v); err != nil {
		return err
	}
	return nil
}

func (p *plan) check(path string, v reflect.Value) *Refusal {
	for i := range p.rules {
		r := &p.rules[i]
		if err := r.check(path, v.Field(r.index)); err != nil {
			return err
		}
	}
	return nil
}

func (r *rule) check(path string, v reflect.Value) *Refusal {
	if v.IsZero() {
		// A number that is given as zero and must be given is a value like any other,
		// so such fields are pointers; here zero means absent.
		if r.need {
			return refuse(path+"."+r.name, "", r.allowed())
		}
		return nil
	}
	if v.Kind() == reflect.Pointer {
		v = v.Elem()
	}
	switch v.Kind() {
	case reflect.Float64:
		return r.checkNumber(path, v.Float())
	case reflect.Int, reflect.Int64:
		return r.checkNumber(path, float64(v.Int()))
	case reflect.Uint64:
		return r.checkNumber(path, float64(v.Uint()))
	case reflect.String:
		return r.checkText(path, v.String())
	case reflect.Slice:
		return r.checkList(path, v)
	case reflect.Struct:
		if v.Type() == timeType {
			return r.checkTime(path, v.Interface().(time.Time))
		}
		return r.elem.check(path+"."+r.name, v)
	}
	return nil
}

func (r *rule) checkNumber(path string, x float64) *Refusal {
	if math.IsNaN(x) || math.IsInf(x, 0) || r.ranged && (x < r.lo || x > r.hi) {
		return refuse(path+"."+r.name, strconv.FormatFloat(x, 'g', -1, 64), r.allowed())
	}
	return nil
}

func (r *rule) checkText(path, s string) *Refusal {
	hi := r.maxLen
	if hi < 0 {
		hi = defaultMaxText
	}
	bad := len(s) > hi || len(s) < r.minLen ||
		r.words != nil && !slices.Contains(r.words, s) ||
		r.token && !isToken(s) ||
		r.pattern != "" && !fitsPattern(r.pattern, s)
	if bad {
		return refuse(path+"."+r.name, clip(s), r.allowed())
	}
	return nil
}

var layouts = map[string]string{"hh:mm": "15:04", "yyyy-mm-dd": "2006-01-02"}

func fitsPattern(pattern, s string) bool {
	layout, ok := layouts[pattern]
	if !ok {
		panic("events: unknown pattern " + pattern)
	}
	_, err := time.Parse(layout, s)
	return err == nil && len(s) == len(pattern)
}

func (r *rule) checkTime(path string, t time.Time) *Refusal {
	if t.Before(firstTime) || !t.Before(lastTime) {
		return refuse(path+"."+r.name, t.Format(time.RFC3339), timeAllowed)
	}
	return nil
}

func (r *rule) checkList(path string, v reflect.Value) *Refusal {
	hi := r.maxLen
	if hi < 0 {
		hi = defaultMaxList
	}
	if v.Len() > hi || v.Len() < r.minLen {
		return refuse(path+"."+r.name, fmt.Sprintf("%d elements", v.Len()), fmt.Sprintf("%d to %d elements", r.minLen, hi))
	}
	one := *r
	one.minLen, one.maxLen = 0, -1
	for i := range v.Len() {
		one.name = r.name + "[" + strconv.Itoa(i) + "]"
		e := v.Index(i)
		var err *Refusal
		switch {
		case r.elem != nil:
			err = r.elem.check(path+"."+one.name, e)
		case e.IsZero():
			err = refuse(path+"."+one.name, "", r.allowed())
		default:
			err = one.check(path, e)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// allowed says in words what the rule allows.
func (r *rule) allowed() string {
	unit := r.unit
	if unit != "" {
		unit = " " + unit
	}
	t := r.typ
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch {
	case r.ranged:
		return strconv.FormatFloat(r.lo, 'g', -1, 64) + ".." + strconv.FormatFloat(r.hi, 'g', -1, 64) + unit
	case r.words != nil:
		return strings.Join(r.words, ", ")
	case r.token:
		return "a-z, 0-9 and -, 1 to 40 characters"
	case r.pattern != "":
		return r.pattern
	case t == timeType:
		return timeAllowed
	case t.Kind() == reflect.String && r.maxLen >= 0:
		return fmt.Sprintf("text of %d to %d bytes", r.minLen, r.maxLen)
	case t.Kind() == reflect.String:
		return fmt.Sprintf("text of at most %d bytes", defaultMaxText)
	case t.Kind() == reflect.Slice:
		return "a list with at least one element"
	case t.Kind() == reflect.Bool:
		return "true or false"
	default:
		return "a value" + unit
	}
}
