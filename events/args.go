package events

import (
	"errors"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// Args says how FromArgs reads values. The zero value reads plain numbers in
// the member's own unit, and times with their offset.
type Args struct {
	// Location is the zone of a time that is written without an offset; nil: such
	// a time is refused.
	Location *time.Location
	// ParseQuantity turns text with a unit of its own, such as 4ft, into a number
	// of the member's unit, such as m. It returns false where it cannot. nil:
	// units are not read. It is not asked about plain numbers.
	ParseQuantity func(unit, text string) (float64, bool)
}

// FromArgs reads the data of an event from key=value pairs, as a person types
// them on a command line:
//
//	top_m=0.6                      a number, or with its unit (see Args)
//	vibrated=true                  true or false
//	began=2026-01-12T08:03         a time: RFC 3339, or local without offset
//	policy.floor_h=60              a member of a member
//	braces=b1,b2                   a list
//	points=0:2,3:-1                a list of objects, each its members in order
//	points.0.at_m=0                one member of the first of them
//
// Trailing members of an object that need not be given may be left off, and one
// in the middle left empty. A local time that the zone's change of clocks skips
// or repeats is refused. The error is a *Refusal whose field is the key as
// typed; a wrong key names the nearest right one.
func FromArgs(kind Kind, args []string, in Args) (Data, error) {
	def, ok := vocabulary[kind]
	if !ok {
		return nil, refuse("type", clip(string(kind)), knownKind(string(kind)))
	}
	b := builder{Args: in, replaced: replacedPlan(args)}
	root := map[string]any{}
	for _, arg := range args {
		key, value, found := strings.Cut(arg, "=")
		switch {
		case !found:
			return nil, refuse(named(arg), "", "key=value; keys are "+strings.Join(def.plan.names(), ", "))
		case !utf8.ValidString(arg):
			return nil, refuse(named(strings.ToValidUTF8(key, "\uFFFD")), strings.ToValidUTF8(clip(value), "\uFFFD"), "UTF-8")
		}
		if ref := b.put(def.plan, root, strings.Split(key, "."), value); ref != nil {
			return nil, ref
		}
	}
	whole, ref := joined(root)
	if ref != nil {
		return nil, ref
	}
	raw, err := json.Marshal(whole)
	if err != nil {
		return nil, refusal("data", "", "values that JSON can hold", err)
	}
	d, err := DecodeData(kind, raw)
	if errors.As(err, &ref) {
		ref.Field = strings.TrimPrefix(ref.Field, "data.")
	}
	return d, err
}

// replacedPlan returns the plan of the kind that an amendment replaces the data
// of, so that its members can be given one by one; nil where there is none.
func replacedPlan(args []string) *plan {
	for _, arg := range args {
		if kind, ok := strings.CutPrefix(arg, "kind="); ok {
			return Kind(kind).definition().plan
		}
	}
	return nil
}

// builder collects values in a tree of map[string]any, items and JSON values.
type builder struct {
	Args
	replaced *plan
}

// items are the elements of a list that are given one by one.
type items map[int]any

// put sets the member that path names. The refusal's field is the path.
func (b *builder) put(p *plan, into map[string]any, path []string, value string) *Refusal {
	r, _ := p.find([]byte(path[0]), 0)
	if r == nil {
		return refuse(named(path[0]), clip(value), nearest(path[0], p.names()))
	}
	if ref := b.putMember(r, into, path, value); ref != nil {
		return inside(path[0], ref)
	}
	return nil
}

func (b *builder) putMember(r *rule, into map[string]any, path []string, value string) *Refusal {
	rest := path[1:]
	elem := r.elem
	if r.shape == object {
		elem = b.replaced
	}
	switch {
	case elem != nil && len(rest) > 0:
		group, ok := into[r.name].(map[string]any)
		if !ok && into[r.name] != nil {
			return twice(value)
		}
		if !ok {
			group = map[string]any{}
			into[r.name] = group
		}
		return b.put(elem, group, rest, value)
	case r.shape == list && len(rest) > 0:
		return b.putItem(r, into, rest, value)
	case len(rest) > 0:
		return refuse(named(strings.Join(rest, ".")), clip(value), "no members: "+r.name+" is "+r.allowed())
	case into[r.name] != nil:
		return twice(value)
	case r.shape == group:
		return refuse("", clip(value), "its members one by one: "+r.name+"."+strings.Join(r.elem.names(), ", "+r.name+"."))
	}
	v, ref := b.parse(r, value)
	into[r.name] = v
	return ref
}

func twice(value string) *Refusal {
	return refuse("", clip(value), "each member once")
}

// putItem sets an element of a list, or a member of one.
func (b *builder) putItem(r *rule, into map[string]any, path []string, value string) *Refusal {
	list, ok := into[r.name].(items)
	if !ok && into[r.name] != nil {
		return twice(value)
	}
	if !ok {
		list = items{}
		into[r.name] = list
	}
	i, err := strconv.Atoi(path[0])
	if err != nil || i < 0 || i >= r.maxLen || strconv.Itoa(i) != path[0] {
		return refuse(named(path[0]), clip(value), "an element's number, 0 to "+strconv.Itoa(r.maxLen-1))
	}
	if len(path) > 1 && r.item.shape == group {
		elem, ok := list[i].(map[string]any)
		if !ok && list[i] != nil {
			return inside(path[0], twice(value))
		}
		if !ok {
			elem = map[string]any{}
			list[i] = elem
		}
		return inside(path[0], b.put(r.item.elem, elem, path[1:], value))
	}
	if len(path) > 1 || list[i] != nil {
		return inside(path[0], twice(value))
	}
	v, ref := b.parse(r.item, value)
	list[i] = v
	return inside(path[0], ref)
}

// joined turns items into lists and refuses one with an element missing.
func joined(v any) (any, *Refusal) {
	switch v := v.(type) {
	case map[string]any:
		for name, one := range v {
			whole, ref := joined(one)
			if ref != nil {
				return nil, inside(name, ref)
			}
			v[name] = whole
		}
	case items:
		list := make([]any, len(v))
		for i := range list {
			one, given := v[i]
			if !given {
				return nil, refuse(strconv.Itoa(i), "", "elements numbered from 0 without a gap")
			}
			list[i] = one
		}
		return list, nil
	}
	return v, nil
}

// inside is within for a refusal that may be nil.
func inside(name string, ref *Refusal) *Refusal {
	if ref != nil {
		_ = within(name, ref)
	}
	return ref
}

// parse reads one value as the rule asks for it.
func (b *builder) parse(r *rule, s string) (any, *Refusal) {
	if s == "" {
		return nil, refuse("", "", r.allowed())
	}
	switch r.shape {
	case number:
		return b.parseNumber(r, s)
	case whole, digits:
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil || float64(n) < r.lo || float64(n) > r.hi {
			return nil, refuse("", clip(s), r.allowed())
		}
		return n, nil
	case text:
		if ref := r.checkText(s); ref != nil {
			return nil, ref
		}
		return s, nil
	case truth:
		if s != "true" && s != "false" {
			return nil, refuse("", clip(s), r.allowed())
		}
		return s == "true", nil
	case moment:
		return b.parseTime(s)
	case list:
		return b.parseList(r, s)
	case group:
		return b.parseGroup(r.elem, s)
	default:
		if raw := jsontext.Value(s); raw.Kind() == '{' && raw.IsValid() {
			return raw, nil
		}
		return nil, refuse("", clip(s), "a JSON object, or its members one by one beside kind=")
	}
}

var plainNumber = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$`)

func (b *builder) parseNumber(r *rule, s string) (any, *Refusal) {
	x, err := strconv.ParseFloat(s, 64)
	ok := err == nil && plainNumber.MatchString(s)
	if !ok && b.ParseQuantity != nil && r.unit != "" && !plainNumber.MatchString(s) {
		x, ok = b.ParseQuantity(r.unit, s)
	}
	if !ok || math.IsNaN(x) || math.IsInf(x, 0) || x < r.lo || x > r.hi {
		return nil, refuse("", clip(s), r.allowed())
	}
	return x, nil
}

func (b *builder) parseList(r *rule, s string) (any, *Refusal) {
	parts := strings.Split(s, ",")
	if len(parts) < r.minLen || len(parts) > r.maxLen {
		return nil, refuse("", strconv.Itoa(len(parts))+" elements", r.allowed())
	}
	list := make([]any, len(parts))
	for i, part := range parts {
		v, ref := b.parse(r.item, part)
		if ref != nil {
			return nil, inside(strconv.Itoa(i), ref)
		}
		list[i] = v
	}
	return list, nil
}
