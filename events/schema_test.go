package events_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"earlyage/events"
)

// contract is the schema of one kind, compiled and as plain JSON.
type contract struct {
	kind     events.Kind
	compiled *jsonschema.Schema
	plain    map[string]any
}

func contractOf(t require.TestingT, kind events.Kind) contract {
	raw, err := events.Schema(kind)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	url := doc.(map[string]any)["$id"].(string)
	require.NoError(t, c.AddResource(url, doc))
	compiled, err := c.Compile(url)
	require.NoError(t, err, kind)
	return contract{kind, compiled, doc.(map[string]any)}
}

// agree asserts that the schema and Decode say the same of an event, but for
// what Decode marks as beyond the schema, and returns what Decode said.
func (c contract) agree(t require.TestingT, event any) *events.Refusal {
	body, err := json.Marshal(event)
	require.NoError(t, err)
	instance, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	require.NoError(t, err)
	bySchema := c.compiled.Validate(instance)
	_, byDecode := events.Decode("", body)
	if byDecode == nil {
		require.NoError(t, bySchema, "the schema refuses what Decode takes: %s", body)
		return nil
	}
	var ref *events.Refusal
	require.ErrorAs(t, byDecode, &ref)
	if !ref.Beyond {
		require.Error(t, bySchema, "the schema takes what Decode refuses, %v: %s", byDecode, body)
	}
	return ref
}

func decoded(t require.TestingT, body []byte) map[string]any {
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	require.NoError(t, err)
	return v.(map[string]any)
}

func TestSchemaTakesEverySample(t *testing.T) {
	for _, kind := range events.Kinds() {
		c := contractOf(t, kind)
		require.Nil(t, c.agree(t, decoded(t, sampleBody(kind))), kind)
	}
}

func TestSchemaBytesAreAlwaysTheSame(t *testing.T) {
	for _, kind := range events.Kinds() {
		one, err := events.Schema(kind)
		require.NoError(t, err)
		two, err := events.Schema(kind)
		require.NoError(t, err)
		require.Equal(t, string(one), string(two))
	}
	for _, kind := range []events.Kind{"lift.placed", "temperature.read", "site.opened"} {
		schema, err := events.Schema(kind)
		require.NoError(t, err)
		golden(t, "schema/"+string(kind)+".json", append(schema, '\n'))
	}
}

func TestSchemaOfNoKind(t *testing.T) {
	_, err := events.Schema("lift.place")
	refused(t, err, "type", "lift.place", "lift.placed?")
}

// What the schema cannot say, its description does.
func TestSchemaTellsWhatItLeavesOut(t *testing.T) {
	lift := contractOf(t, "lift.placed").plain["description"].(string)
	require.Contains(t, lift, "exactly one of top_m and depth_m")
	require.Contains(t, lift, "wallsequence is less than sequence")
}

// place is one member or element of a sample, and how to give it another value.
type place struct {
	path   string // as a refusal names it
	schema map[string]any
	need   bool
	set    func(event map[string]any, value any) // nil: leave it out
}

// places lists every member of the data that the schema knows, nested ones too.
func (c contract) places() []place {
	properties := c.plain["properties"].(map[string]any)
	root := place{path: "data", schema: properties["data"].(map[string]any), set: func(e map[string]any, v any) { put(e, "data", v) }}
	return inner(root, func(e map[string]any) map[string]any {
		if _, ok := e["data"].(map[string]any); !ok {
			e["data"] = map[string]any{}
		}
		return e["data"].(map[string]any)
	})
}

func put(m map[string]any, name string, v any) {
	if v == nil {
		delete(m, name)
		return
	}
	m[name] = v
}

// inner lists the places within an object; at finds the object in an event and
// makes it where there is none.
func inner(outer place, at func(map[string]any) map[string]any) (all []place) {
	properties, _ := outer.schema["properties"].(map[string]any)
	for _, name := range slices.Sorted(maps.Keys(properties)) {
		schema := properties[name].(map[string]any)
		p := place{path: outer.path + "." + name, schema: schema, need: needs(outer.schema, name),
			set: func(e map[string]any, v any) { put(at(e), name, v) }}
		all = append(all, p)
		switch schema["type"] {
		case "object":
			all = append(all, inner(p, func(e map[string]any) map[string]any {
				m := at(e)
				if _, ok := m[name].(map[string]any); !ok {
					m[name] = least(schema)
				}
				return m[name].(map[string]any)
			})...)
		case "array":
			all = append(all, element(p, name, at)...)
		}
	}
	return all
}

// element lists the first element of a list and what is within it.
func element(list place, name string, at func(map[string]any) map[string]any) []place {
	item := list.schema["items"].(map[string]any)
	first := func(e map[string]any) []any {
		m := at(e)
		if l, ok := m[name].([]any); !ok || len(l) == 0 {
			m[name] = []any{least(item)}
		}
		return m[name].([]any)
	}
	p := place{path: list.path + ".0", schema: item, need: true, set: func(e map[string]any, v any) {
		if v != nil {
			first(e)[0] = v
		}
	}}
	if item["type"] != "object" {
		return []place{p}
	}
	return append([]place{p}, inner(p, func(e map[string]any) map[string]any {
		list := first(e)
		if _, ok := list[0].(map[string]any); !ok {
			list[0] = least(item)
		}
		return list[0].(map[string]any)
	})...)
}

func needs(schema map[string]any, name string) bool {
	required, _ := schema["required"].([]any)
	return slices.Contains(required, any(name))
}

// least makes a value that the schema takes, with what must be given and no more.
func least(schema map[string]any) any {
	switch {
	case schema["enum"] != nil:
		return schema["enum"].([]any)[0]
	case schema["type"] == "object":
		m := map[string]any{}
		required, _ := schema["required"].([]any)
		for _, name := range required {
			m[name.(string)] = least(schema["properties"].(map[string]any)[name.(string)].(map[string]any))
		}
		return m
	case schema["type"] == "array":
		return []any{least(schema["items"].(map[string]any))}
	case schema["type"] == "boolean":
		return true
	case schema["type"] == "string":
		return fitting(schema)[0]
	case schema["minimum"] != nil:
		return schema["minimum"]
	default:
		return json.Number("1")
	}
}

// fitting lists texts that the schema takes; the pattern says which form it is.
func fitting(schema map[string]any) []any {
	pattern, _ := schema["pattern"].(string)
	switch {
	case schema["enum"] != nil:
		return schema["enum"].([]any)
	case strings.HasPrefix(pattern, "^(1999-12-31"):
		return []any{"2026-01-12T08:00:00Z", "2000-01-01T00:00:00Z", "2099-12-31T23:59:59.999999999Z", "1999-12-31T23:30:00-01:00", "2100-01-01T00:30:00+01:00"}
	case strings.HasPrefix(pattern, "^/site/"):
		return []any{"/site/a/device/b", "/site/_/device/" + strings.Repeat("z", 40)}
	case strings.HasPrefix(pattern, "^[!-~]"):
		return []any{"x", strings.Repeat("~", 64)}
	case pattern == `^[a-z0-9-]{1,40}$`:
		return []any{"a", "0-z", strings.Repeat("b", 40)}
	case pattern == `^[0-9a-f]{64}$`:
		return []any{strings.Repeat("0f", 32)}
	case strings.HasPrefix(pattern, "^U[A-Z"):
		return []any{stationKey, strings.Repeat("U", 56)} // the second has another checksum
	case strings.HasPrefix(pattern, "^[a-z]{2,30}"):
		return []any{"wind.read", "zz." + strings.Repeat("-", 30)}
	case strings.HasPrefix(pattern, "^([01][0-9]"):
		return []any{"00:00", "23:59"}
	case strings.HasPrefix(pattern, "^[0-9]{4}-"):
		return []any{"2026-01-12", "2028-02-29"}
	case strings.HasPrefix(pattern, "^[A-Za-z"):
		return []any{"UTC", "America/Argentina/Buenos_Aires", "Etc/GMT+5"}
	default:
		lo, hi := whole(schema["minLength"]), whole(schema["maxLength"])
		return []any{strings.Repeat("é", max(lo, 1)), strings.Repeat("\U0001F9F1", hi), "a\n\tb "}
	}
}

// unfitting lists texts of which no schema of text takes one, but that of free
// text the last.
var unfitting = []any{"", " ", "A B", "a\x00", "\x7f", "a\u009f", strings.Repeat("x", 2001), "_", "a.b", "a_b", "é", "a\n", "9", "2026-01-12T08:00:00", "2026-01-12 08:00:00Z",
	"2026-01-12T24:00:00Z", "2026-13-01T00:00:00Z", "2026-02-30T00:00:00Z", "2026-01-12T08:00:60Z", "2026-01-12T08:00:00+24:00", "2026-01-12T08:00:00+05:60",
	"2026-01-12t08:00:00z", "2026-01-12T08:00:00,5Z", "2026-01-12T8:00:00Z", "9999-01-01T00:00:00Z", "1999-12-31T00:00:00Z", "2100-01-01T00:00:00Z", "24:00", "7:30", "2026-1-1", "2026-02-30",
	"/site/a/device/b/", "/site//device/b", "America/Nowhere", "../UTC", strings.ToLower(stationKey), "A" + stationKey[1:], stationKey + "A", stationKey[:55] + "\n", "Wind.read", "wind.read.v1"}

func whole(v any) int {
	n, _ := v.(json.Number)
	i, _ := strconv.Atoi(n.String())
	return i
}

// values lists values in and out of the range of a schema, at its edges and of
// other types. in is how many of them, from the first, are within it.
func values(schema map[string]any) (all []any, in int) {
	lo, hasLo := schema["minimum"].(json.Number)
	hi, hasHi := schema["maximum"].(json.Number)
	switch schema["type"] {
	case "number":
		a, b := float(lo, -math.MaxFloat64), float(hi, math.MaxFloat64)
		all, in = []any{a, b}, 2
		if hasLo && hasHi {
			all, in = append(all, (a+b)/2), 3
			all = append(all, math.Nextafter(a, math.Inf(-1)), a-1, math.Nextafter(b, math.Inf(1)), b+1, json.Number("1e999"), json.Number("-1e999"))
		}
	case "integer":
		all, in = []any{lo, hi}, 2
		all = append(all, json.Number(fmt.Sprint(whole(lo)-1)), json.Number(fmt.Sprint(whole(hi)+1)), json.Number("1.5"), json.Number("5.0"), json.Number("5e0"), json.Number("18446744073709551616"))
	case "boolean":
		all, in = []any{true, false}, 2
	case "string":
		all = fitting(schema)
		in = len(all)
		all = append(all, unfitting...)
	case "array":
		item := least(schema["items"].(map[string]any))
		all, in = []any{[]any{item}}, 1
		all = append(all, []any{}, slices.Repeat([]any{item}, whole(schema["maxItems"])), slices.Repeat([]any{item}, whole(schema["maxItems"])+1), []any{nil}, []any{[]any{}})
	case "object":
		all, in = []any{least(schema)}, 1
		all = append(all, map[string]any{"unknown": true})
	}
	return append(all, true, 0, -7, "x", []any{}, map[string]any{}, json.Number("0"), json.RawMessage("null")), in
}

func float(n json.Number, otherwise float64) float64 {
	if x, err := n.Float64(); err == nil {
		return x
	}
	return otherwise
}

// Every member of every kind, with every value that could be right or wrong:
// the schema and Decode say the same.
func TestSchemaAndDecodeAgreeMemberByMember(t *testing.T) {
	probes := 0
	for _, kind := range events.Kinds() {
		c := contractOf(t, kind)
		for _, p := range c.places() {
			all, in := values(p.schema)
			for i, v := range all {
				event := decoded(t, sampleBody(kind))
				p.set(event, v)
				ref := c.agree(t, event)
				probes++
				if i < in && ref != nil {
					require.True(t, ref.Beyond, "%s: %v is within %v: %v", p.path, v, p.schema, ref)
				}
			}
			event := decoded(t, sampleBody(kind))
			p.set(event, nil)
			ref := c.agree(t, event)
			if p.need && !strings.HasSuffix(p.path, ".0") {
				require.NotNil(t, ref, "%s %s left out", kind, p.path)
				require.Equal(t, p.path, ref.Field)
				require.Empty(t, ref.Value)
			}
		}
	}
	require.Greater(t, probes, 10000)
}

// A number just out of its range is refused by its own name and value.
func TestDecodeNamesEveryNumberOutOfRange(t *testing.T) {
	for _, kind := range events.Kinds() {
		for _, p := range contractOf(t, kind).places() {
			hi, ok := p.schema["maximum"].(json.Number)
			if !ok || p.schema["type"] != "number" {
				continue
			}
			event := decoded(t, sampleBody(kind))
			over := math.Nextafter(float(hi, 0), math.Inf(1))
			p.set(event, over)
			body, err := json.Marshal(event)
			require.NoError(t, err)
			_, err = events.Decode("", body)
			value, err2 := json.Marshal(over)
			require.NoError(t, err2)
			unit, _ := p.schema["x-unit"].(string)
			refused(t, err, p.path, string(value), strings.TrimSpace(".."+hi.String()+" "+unit))
		}
	}
}

func TestEveryMemberOfTheSchemaHasADescription(t *testing.T) {
	for _, kind := range events.Kinds() {
		c := contractOf(t, kind)
		for name, schema := range c.plain["properties"].(map[string]any) {
			require.NotEmpty(t, schema.(map[string]any)["description"], name)
		}
		for _, p := range c.places() {
			if !strings.HasSuffix(p.path, ".0") {
				require.NotEmpty(t, p.schema["description"], "%s %s", kind, p.path)
			}
		}
	}
}

// The unit stands at the end of a member's name, and in the schema.
func TestUnitsOfTheSchemaFitTheNames(t *testing.T) {
	units := map[string]string{"_m": "m", "_mm": "mm", "_mms": "mm/s", "_m3": "m³", "_m3h": "m³/h", "_c": "°C", "celsius": "°C", "_h": "h", "_min": "min", "minutes": "min",
		"_kpa": "kPa", "_mpa": "MPa", "_mps": "m/s", "_k": "K", "_l": "l", "_ms": "ms", "_percent": "%", "_deg": "°", "_kn_m3": "kN/m³", "_per_d": "1/d", "t0_d": "d", "_m2kw": "m²K/W"}
	for _, kind := range events.Kinds() {
		for _, p := range contractOf(t, kind).places() {
			// What have and limit of an alert are in, measure says.
			if p.schema["type"] != "number" || slices.Contains([]string{"data.w_cm", "data.value", "data.least", "data.most", "data.about.have", "data.about.limit"}, p.path) || strings.HasSuffix(p.path, ".value") {
				continue
			}
			longest := ""
			for ending := range units {
				if strings.HasSuffix(p.path, ending) && len(ending) > len(longest) {
					longest = ending
				}
			}
			require.Equal(t, units[longest], p.schema["x-unit"], "%s %s", kind, p.path)
		}
	}
}

// The attributes of the envelope, value by value.
func TestSchemaAndDecodeAgreeOnAttributes(t *testing.T) {
	odd := []any{"", "x", "_", "A", "w1", "1.0", true, 5, json.Number("5.0"), json.Number("-5"), json.Number("1e3"), -420, "-420", "+5", "5", "00000000000000000005", "000000000000000000005",
		"99999999999999999999", "-9999999999999999999", json.Number("9007199254740992"), json.Number("9007199254740991"), json.Number("3155760000001"),
		[]any{}, map[string]any{}, json.RawMessage("null"), "/site/a/device/b", "/site/_/device/b", "application/json", "text/plain", "2026-01-12T08:00:00Z", "2026-01-12T08:00:00.5+05:30"}
	odd = append(odd, unfitting...)
	for _, kind := range []events.Kind{"lift.placed", "hold.placed", "site.opened", "temperature.read", "alert.raised", "pour.started", "device.enrolled"} {
		c := contractOf(t, kind)
		names := slices.Sorted(maps.Keys(c.plain["properties"].(map[string]any)))
		for _, name := range append(names, "By", "data_base64", "traceparent", "", "ä") {
			for _, v := range odd {
				event := decoded(t, sampleBody(kind))
				event[name] = v
				c.agree(t, event)
			}
			event := decoded(t, sampleBody(kind))
			delete(event, name)
			ref := c.agree(t, event)
			if needs(c.plain, name) {
				require.NotNil(t, ref, "%s without %s", kind, name)
			}
		}
	}
}

// Every member stands in a sample, so that the golden files show its bytes, but
// for those that exclude another that does.
func TestSamplesHoldEveryMember(t *testing.T) {
	excluded := map[string]bool{
		"lift.placed data.depth_m": true, "brace.stripped data.braces": true, "brace.stripped data.braces.0": true, "doubt.settled data.message": true,
		"temperature.read data.at": true, "temperature.read data.celsius": true, "temperature.read data.from": true, "temperature.read data.to": true,
		"temperature.read data.min_c": true, "temperature.read data.max_c": true,
		"device.enrolled data.person": true, "device.enrolled data.wall": true,
	}
	for _, kind := range events.Kinds() {
		for _, p := range contractOf(t, kind).places() {
			held := holds(decoded(t, sampleBody(kind)), strings.Split(p.path, "."))
			name := string(kind) + " " + p.path
			// Go leaves out a truth that is false.
			require.True(t, held || excluded[name] || p.schema["type"] == "boolean", "%s is in no sample", name)
		}
	}
}

// holds reports whether a path leads to a value, through any element of a list.
func holds(v any, path []string) bool {
	if len(path) == 0 {
		return true
	}
	switch v := v.(type) {
	case map[string]any:
		return v[path[0]] != nil && holds(v[path[0]], path[1:])
	case []any:
		return slices.ContainsFunc(v, func(e any) bool { return holds(e, path[1:]) })
	}
	return false
}
