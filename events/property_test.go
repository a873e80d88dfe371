package events_test

import (
	"encoding/json"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
)

// drawn makes a value that the schema takes, at random.
func drawn(t *rapid.T, schema map[string]any, label string) any {
	switch {
	case schema["enum"] != nil:
		return rapid.SampledFrom(schema["enum"].([]any)).Draw(t, label)
	case schema["type"] == "object":
		m := map[string]any{}
		properties, _ := schema["properties"].(map[string]any)
		for _, name := range slices.Sorted(maps.Keys(properties)) {
			if needs(schema, name) || rapid.Bool().Draw(t, label+"."+name+" given") {
				m[name] = drawn(t, properties[name].(map[string]any), label+"."+name)
			}
		}
		return m
	case schema["type"] == "array":
		list := make([]any, rapid.IntRange(whole(schema["minItems"]), min(whole(schema["maxItems"]), 4)).Draw(t, label+" length"))
		for i := range list {
			list[i] = drawn(t, schema["items"].(map[string]any), label)
		}
		return list
	case schema["type"] == "boolean":
		return rapid.Bool().Draw(t, label)
	case schema["type"] == "string":
		return drawnText(t, schema, label)
	}
	lo, _ := schema["minimum"].(json.Number)
	hi, _ := schema["maximum"].(json.Number)
	if schema["type"] == "integer" {
		return rapid.IntRange(whole(lo), min(whole(hi), 1<<53-1)).Draw(t, label)
	}
	return rapid.Float64Range(float(lo, -1e6), float(hi, 1e6)).Draw(t, label)
}

func drawnText(t *rapid.T, schema map[string]any, label string) any {
	if pattern, _ := schema["pattern"].(string); strings.HasPrefix(pattern, "^(1999") {
		return at(0, 0).Add(time.Duration(rapid.IntRange(0, 90_000).Draw(t, label)) * time.Second).Format(time.RFC3339)
	}
	return rapid.SampledFrom(fitting(schema)).Draw(t, label)
}

// spoiled changes one or two members of an event in one of the ways in which
// foreign programs are wrong.
func spoiled(t *rapid.T, c contract, event map[string]any) {
	places := c.places()
	for range rapid.IntRange(0, 2).Draw(t, "changes") {
		if len(places) == 0 {
			return
		}
		p := rapid.SampledFrom(places).Draw(t, "place")
		all, _ := values(p.schema)
		switch rapid.IntRange(0, 3).Draw(t, "way") {
		case 0:
			p.set(event, nil)
		case 1:
			put(event["data"].(map[string]any), rapid.SampledFrom([]string{"unknown", "AT", "at ", "x_m", "é"}).Draw(t, "name"), 1)
		case 2:
			p.set(event, rapid.Float64Range(-math.MaxFloat32, math.MaxFloat32).Draw(t, "number"))
		default:
			p.set(event, rapid.SampledFrom(all).Draw(t, "value"))
		}
	}
}

// Random events of every kind, some spoiled: the schema and Decode agree, and
// what is taken is written and read back the same.
func TestSchemaAndDecodeAgreeAtRandom(t *testing.T) {
	contracts := map[events.Kind]contract{}
	for _, kind := range events.Kinds() {
		contracts[kind] = contractOf(t, kind)
	}
	taken := map[events.Kind]int{}
	rapid.Check(t, func(t *rapid.T) {
		c := contracts[rapid.SampledFrom(events.Kinds()).Draw(t, "kind")]
		event := decoded(t, sampleBody(c.kind))
		event["data"] = drawn(t, c.plain["properties"].(map[string]any)["data"].(map[string]any), "data")
		spoiled(t, c, event)
		if c.agree(t, event) == nil {
			taken[c.kind]++
			body, err := json.Marshal(event)
			require.NoError(t, err)
			roundTrip(t, body)
		}
	})
	require.Greater(t, len(taken), 10, "kinds of which an event was taken: %v", taken)
}

// roundTrip asserts that a body that Decode takes is written and read back the
// same, and that writing is stable from then on.
func roundTrip(t require.TestingT, body []byte) {
	first, err := events.Decode("", body)
	require.NoError(t, err)
	written, err := first.Encode()
	require.NoError(t, err)
	second, err := events.Decode(first.Subject(), written)
	require.NoError(t, err, "%s was taken, but not when written anew: %s", body, written)
	require.Equal(t, first, second, "%s", body)
	byProbe, err := events.Decode(events.ProbeSubject(first), written)
	require.NoError(t, err)
	require.Equal(t, first, byProbe)
	again, err := second.Encode()
	require.NoError(t, err)
	require.Equal(t, string(written), string(again))
	require.NoError(t, first.Check())
}

func TestEverySampleIsReadBackTheSame(t *testing.T) {
	for _, kind := range events.Kinds() {
		roundTrip(t, sampleBody(kind))
	}
}

// Every member of every kind alone, with each value that it may have, is read
// back the same: none is dropped or rounded on the way.
func TestEveryMemberIsReadBackTheSame(t *testing.T) {
	for _, kind := range events.Kinds() {
		c := contractOf(t, kind)
		for _, p := range c.places() {
			all, in := values(p.schema)
			for _, v := range all[:in] {
				event := decoded(t, sampleBody(kind))
				p.set(event, v)
				if c.agree(t, event) != nil {
					continue // a rule between members
				}
				body, err := json.Marshal(event)
				require.NoError(t, err)
				roundTrip(t, body)
			}
		}
	}
}

// Equal events have equal bytes, however they were written.
func TestEqualEventsHaveEqualBytes(t *testing.T) {
	for _, c := range []struct {
		kind events.Kind
		old  string
		same []string
	}{
		{"lift.placed", `"from_m":0,"to_m":6.5`, []string{`"from_m":-0,"to_m":6.5`, `"to_m":6.50,"from_m":0.0`, "\n\"to_m\" : 65e-1,\t\"from_m\":\r0e9", `"from\u005fm":0,"to_m":6.5`}},
		{"lift.placed", `"load":"l3"`, []string{`"load":"\u006c3"`}},
		{"lift.placed", `T07:51:00Z`, []string{`T07:51:00.000Z`, `T08:51:00+01:00`, `T07:51:00-00:00`}},
		{"record.amended", `{"from_m":0,"to_m":7.5,"top_m":0.6}`, []string{`{ "top_m":0.60, "to_m":7.5, "from_m":-0.0 }`}},
		{"temperature.read", `"celsius":0}`, []string{`"celsius":-0.0}`, `"celsius":0e0}`}},
		{"lift.placed", `"subject":"w1"`, []string{`"subject":"w1","datacontenttypes":"x"`}},
		{"site.opened", `"type"`, []string{`"subject":"_","type"`, `"subject":null,"type"`}},
	} {
		want := string(sampleBody(c.kind))
		for _, same := range c.same {
			e, err := events.Decode("", with(t, c.kind, c.old, same))
			require.NoError(t, err, same)
			got, err := e.Encode()
			require.NoError(t, err)
			require.Equal(t, want, string(got), same)
		}
	}
}
