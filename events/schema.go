package events

import (
	"math"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// beyondAll says what Decode checks of every event and its schema does not.
const beyondAll = "The schema checks each member by itself. The hub checks more, and its word counts: " +
	"no member stands twice; a whole number has no point and no exponent; numbers are compared as IEEE 754 doubles; " +
	"a number written as text is within the range of the number; a time, turned to UTC, is in the years 2000 to 2099; " +
	"a time zone is one that the IANA database knows; wallsequence is less than sequence; " +
	"source and subject are those of the NATS subject; the site _ has no walls; the body has at most 262144 bytes."

const (
	beyondStretch = "from_m and to_m differ, in either order"
	beyondSpan    = "ended is at or after began, by at most 24 h"
)

// beyondOne says what checkData asks of a kind's members together.
var beyondOne = map[Kind]string{
	"alert.out-of-service": "until is after at, by at most 7 days; kind is one that may go out of service: " + strings.Join(mayRest, ", "),
	"alert.shelved":        "until is after at, by at most 8 h",
	"brace.set":            "no two braces have one name",
	"brace.stripped":       "either braces by name, or all is true",
	"checklist.amended":    "most is at least least",
	"device.enrolled": "device is not hub and does not begin with desk-; a phone has a person and a key, a station a key, a probe neither; " +
		"only a probe has a wall, and a phone has no kinds; kinds are such as the role probe may record; key has a right checksum",
	"doubt.settled":     "either target or message",
	"engineer.released": "frost needs freeze; support needs gust_mps",
	"gap.written-off":   "to is at least from, and at most a million more",
	"hole.accepted":     "to is at least from",
	"joint.felt":        beyondStretch,
	"joint.treated":     beyondStretch,
	"lift.consolidated": beyondStretch,
	"lift.placed":       "exactly one of top_m and depth_m; " + beyondStretch + "; " + beyondSpan,
	"load.discharged":   beyondSpan,
	"mix.approved":      "portland goes with no slag_percent and no ash_percent; both together are at most 100",
	"permit.issued": "until is after at; requested_by is another person than by; from_m goes with to_m, " + beyondStretch + "; release goes with basis release; " +
		"where basis is given, until is at most 14 days after at, and reviewed_by is another person than requested_by",
	"person.appointed": "each role stands once",
	"record.amended":   "kind is a known one that a person or a device records, no record event itself; data fits that kind, and asks of by what that kind does",
	"stretch.left-low": beyondStretch,
	"temperature.read": "exactly one of celsius, series, or from with to, min_c and max_c; a series goes forward in time, " +
		"within 48 h; to is after from, by at most 72 h; max_c is at least min_c",
	"wall.amended": "where both are given, top_m is at most height_m",
	"wall.laid-out": "top_m is at most height_m; legs add up to length_m within 10 mm, and where closed meet their start within 1 % of it; " +
		"openings, braces, bulkheads and pilasters stand within length_m, and openings within height_m; an opening's head is above its sill; " +
		"the ends of an opening or a pilaster differ; no two openings overlap; no two braces have one name or one station",
	"weather.forecast": "hours go forward in time, at most 6 h from one to the next",
}

// Schema returns the JSON Schema (draft 2020-12) of a whole event of one kind,
// envelope and data, made from the rules that Decode checks by. What is refused
// by the schema is refused by Decode; what Decode refuses beyond it is marked so
// in the Refusal and told in the schema's description. The bytes are always the
// same. x-unit is the unit of a number. The error is a *Refusal of the kind.
func Schema(kind Kind) ([]byte, error) {
	def, ok := vocabulary[kind]
	if !ok {
		return nil, refuse("type", clip(string(kind)), knownKind(string(kind)))
	}
	description := sentence(def.doc) + " " + beyondAll
	if more := beyondOne[kind]; more != "" {
		description += " Of this kind: " + more + "."
	}
	data := append(ordered{{"description", def.doc}}, def.plan.schema()...)
	properties, required := def.envelope()
	properties = append(properties, member{"data", data})
	if def.plan.needs != 0 {
		required = append(required, "data")
	}
	return json.Marshal(ordered{
		{"$schema", "https://json-schema.org/draft/2020-12/schema"},
		{"$id", "urn:earlyage:schema:" + string(kind) + ":v1"},
		{"title", kind.Type()},
		{"description", description},
		{"type", "object"},
		{"propertyNames", ordered{{"pattern", "^[a-z0-9]+$"}}},
		{"required", required},
		{"properties", properties},
	}, jsontext.WithIndent("  "))
}

// sentence ends a doc text.
func sentence(s string) string {
	if strings.HasSuffix(s, "?") {
		return s
	}
	return s + "."
}

// envelope returns the schema of the attributes as this kind asks for them.
func (def *definition) envelope() (properties ordered, required []string) {
	for i := range envelopePlan.rules {
		r := envelopePlan.rules[i]
		r.need = r.need || r.name == "by" && def.person || r.name == "subject" && def.scope == onWall
		switch {
		case r.name == "type":
			r.words = []string{def.kind.Type()}
		case r.name == "subject" && def.scope == onWall:
			r.form = "token"
		case r.name == "subject" && def.scope == onSite:
			r.words, r.doc = []string{"_"}, "not given, or _: the whole site"
		case r.name == "subject":
			r.doc += "; not given, or _: the whole site"
		}
		if r.need {
			required = append(required, r.name)
		}
		properties = append(properties, member{r.name, r.schema(!r.need)})
	}
	return properties, required
}

func (p *plan) schema() ordered {
	required, properties := []string{}, ordered{}
	for i := range p.rules {
		r := &p.rules[i]
		properties = append(properties, member{r.name, r.schema(false)})
		if r.need {
			required = append(required, r.name)
		}
	}
	return ordered{
		{"type", "object"}, {"required", required}, {"properties", properties}, {"additionalProperties", false},
	}
}

// schema returns the schema of one member. nullable is for attributes, where
// CloudEvents takes null for not set.
func (r *rule) schema(nullable bool) ordered {
	var s ordered
	if r.doc != "" {
		s = append(s, member{"description", r.doc})
	}
	var types []any
	var rest ordered
	switch r.shape {
	case number:
		types, rest = []any{"number"}, r.limits()
	case whole:
		types, rest = []any{"integer"}, r.limits()
	case digits:
		types, rest = []any{"integer", "string"}, append(r.limits(), member{"pattern", r.digitsPattern()})
	case text:
		types, rest = []any{"string"}, r.textSchema(nullable)
	case truth:
		types = []any{"boolean"}
	case moment:
		types, rest = []any{"string"}, ordered{{"format", "date-time"}, {"pattern", timePattern}}
	case list:
		item := *r.item
		item.doc, item.unit = "", ""
		types, rest = []any{"array"}, ordered{{"minItems", r.minLen}, {"maxItems", r.maxLen}, {"items", item.schema(false)}}
	case group:
		return append(s, r.elem.schema()...)
	case object:
		types = []any{"object"}
	}
	switch {
	case nullable:
		s = append(s, member{"type", append(types, "null")})
	case len(types) > 1:
		s = append(s, member{"type", types})
	default:
		s = append(s, member{"type", types[0]})
	}
	s = append(s, rest...)
	if r.unit != "" {
		s = append(s, member{"x-unit", r.unit})
	}
	return s
}

func (r *rule) digitsPattern() string {
	if r.lo < 0 {
		return "^(-[0-9]{1,19}|[0-9]{1,20})$"
	}
	return "^[0-9]{1,20}$"
}

func (r *rule) textSchema(nullable bool) ordered {
	switch {
	case r.words != nil && nullable:
		words := []any{}
		for _, w := range r.words {
			words = append(words, w)
		}
		return ordered{{"enum", append(words, nil)}}
	case r.words != nil:
		return ordered{{"enum", r.words}}
	case r.form != "":
		return ordered{{"pattern", textForms[r.form].pattern}}
	default:
		return ordered{{"minLength", r.minLen}, {"maxLength", r.maxLen}, {"pattern", plainText}}
	}
}

func (r *rule) limits() (s ordered) {
	if !math.IsInf(r.lo, 0) {
		s = append(s, member{"minimum", jsontext.Value(plain(r.lo))})
	}
	if !math.IsInf(r.hi, 0) {
		s = append(s, member{"maximum", jsontext.Value(plain(r.hi))})
	}
	return s
}

// ordered is a JSON object whose members keep their order.
type ordered []member

type member struct {
	name  string
	value any
}

// MarshalJSONTo writes the object.
func (o ordered) MarshalJSONTo(enc *jsontext.Encoder) error {
	if err := enc.WriteToken(jsontext.BeginObject); err != nil {
		return err
	}
	for _, m := range o {
		if err := enc.WriteToken(jsontext.String(m.name)); err != nil {
			return err
		}
		if err := json.MarshalEncode(enc, m.value); err != nil {
			return err
		}
	}
	return enc.WriteToken(jsontext.EndObject)
}
