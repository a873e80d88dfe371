package events_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
)

// refused asserts that err is a refusal of the field and the value, and that it
// says what is allowed.
func refused(t *testing.T, err error, field, value, allowed string) {
	t.Helper()
	var ref *events.Refusal
	require.ErrorAs(t, err, &ref)
	require.Equal(t, field, ref.Field, ref.Error())
	require.Equal(t, value, ref.Value, ref.Error())
	require.Contains(t, ref.Allowed, allowed)
	require.Contains(t, ref.Error(), ref.Allowed)
	if value == "" {
		require.Contains(t, ref.Error(), "nothing")
	}
}

// with returns the sample's body with old replaced by new, once.
func with(t *testing.T, kind events.Kind, old, new string) []byte {
	t.Helper()
	body := string(sampleBody(kind))
	require.Equal(t, 1, strings.Count(body, old), "%s stands once in %s", old, body)
	return []byte(strings.Replace(body, old, new, 1))
}

const (
	tokens   = "a-z, 0-9 and -, 1 to 40 characters"
	anyTime  = "an RFC 3339 time with offset, years 2000 to 2099"
	jsonOnly = "JSON (RFC 8259) in UTF-8, each member once"
)

func TestDecodeRefusesAttributes(t *testing.T) {
	for _, c := range []struct {
		name, old, new        string
		field, value, allowed string
	}{
		{"no version", `"specversion":"1.0",`, ``, "specversion", "", "1.0"},
		{"other version", `"1.0"`, `"0.3"`, "specversion", "0.3", "1.0"},
		{"no id", `"id":"0195f1c0-8a5e-7cc0-9d3b-000000000030",`, ``, "id", "", "1 to 64 printable"},
		{"empty id", `"0195f1c0-8a5e-7cc0-9d3b-000000000030"`, `""`, "id", "", "1 to 64 printable"},
		{"space in id", `"0195f1c0-8a5e-7cc0-9d3b-000000000030"`, `"a b"`, "id", "a b", "1 to 64 printable"},
		{"long id", `"0195f1c0-8a5e-7cc0-9d3b-000000000030"`, `"` + strings.Repeat("x", 65) + `"`, "id", strings.Repeat("x", 57) + "...", "1 to 64 printable"},
		{"control character in id", `"0195f1c0-8a5e-7cc0-9d3b-000000000030"`, `"a\u0007b"`, "id", "a\ab", "1 to 64 printable"},
		{"null id", `"0195f1c0-8a5e-7cc0-9d3b-000000000030"`, `null`, "id", "", "1 to 64 printable"},
		{"number as id", `"0195f1c0-8a5e-7cc0-9d3b-000000000030"`, `17`, "id", "17", "1 to 64 printable"},
		{"foreign source", `/site/north/device/phone-7`, `https://example.com`, "source", "https://example.com", "/site/<site>/device/<device>"},
		{"source in capitals", `/site/north/`, `/site/North/`, "source", "/site/North/device/phone-7", "/site/<site>/device/<device>"},
		{"source with a tail", `device/phone-7`, `device/phone-7/x`, "source", "/site/north/device/phone-7/x", "/site/<site>/device/<device>"},
		{"other type", `earlyage.lift.placed.v1`, `earlyage.lift.place.v1`, "type", "earlyage.lift.place.v1", "lift.placed?"},
		{"other version of a type", `earlyage.lift.placed.v1`, `earlyage.lift.placed.v2`, "type", "earlyage.lift.placed.v2", "earlyage.<thing>.<what>.v1"},
		{"no type", `"type":"earlyage.lift.placed.v1",`, ``, "type", "", "text of 1 to 100"},
		{"no wall", `"subject":"w1",`, ``, "subject", "", "the wall that lift.placed is about"},
		{"null wall", `"subject":"w1"`, `"subject":null`, "subject", "", "the wall that lift.placed is about"},
		{"empty wall", `"subject":"w1"`, `"subject":""`, "subject", "", "a wall"},
		{"whole site", `"subject":"w1"`, `"subject":"_"`, "subject", "", "the wall that lift.placed is about"},
		{"wall in capitals", `"subject":"w1"`, `"subject":"W1"`, "subject", "W1", "a wall: " + tokens},
		{"wall with a dot", `"subject":"w1"`, `"subject":"w.1"`, "subject", "w.1", "a wall: " + tokens},
		{"wall of the company", `/site/north/`, `/site/_/`, "subject", "w1", "the whole company, which has no walls"},
		{"no time", `"time":"2026-01-12T18:03:00Z",`, ``, "time", "", anyTime},
		{"null time", `"time":"2026-01-12T18:03:00Z"`, `"time":null`, "time", "", anyTime},
		{"time without offset", `18:03:00Z`, `18:03:00`, "time", "2026-01-12T18:03:00", anyTime},
		{"time with a comma", `18:03:00Z`, `18:03:00,5Z`, "time", "2026-01-12T18:03:00,5Z", anyTime},
		{"no such day", `2026-01-12T18`, `2026-02-30T18`, "time", "2026-02-30T18:03:00Z", anyTime},
		{"year 9999", `2026-01-12T18`, `9999-01-12T18`, "time", "9999-01-12T18:03:00Z", anyTime},
		{"year 2100", `2026-01-12T18:03:00Z`, `2100-01-01T00:00:00Z`, "time", "2100-01-01T00:00:00Z", anyTime},
		{"year 1999", `2026-01-12T18:03:00Z`, `2000-01-01T00:30:00+01:00`, "time", "2000-01-01T00:30:00+01:00", anyTime},
		{"number as time", `"2026-01-12T18:03:00Z"`, `1768240980`, "time", "1768240980", anyTime},
		{"other media type", `application/json`, `text/xml`, "datacontenttype", "text/xml", "application/json"},
		{"sequence 0", `"00000000000000000032"`, `0`, "sequence", "0", "1 or more"},
		{"sequence 0 as text", `"00000000000000000032"`, `"00000000000000000000"`, "sequence", "00000000000000000000", "1 or more"},
		{"negative sequence", `"00000000000000000032"`, `-1`, "sequence", "-1", "1 or more"},
		{"sequence with a fraction", `"00000000000000000032"`, `32.5`, "sequence", "32.5", "a whole number"},
		{"sequence with an exponent", `"00000000000000000032"`, `32e0`, "sequence", "32e0", "a whole number"},
		{"sequence of 21 digits", `"00000000000000000032"`, `"000000000000000000032"`, "sequence", "000000000000000000032", "a whole number"},
		{"sequence over 2^53", `"00000000000000000032"`, `"99999999999999999999"`, "sequence", "99999999999999999999", "a whole number"},
		{"sequence in letters", `"00000000000000000032"`, `"thirty"`, "sequence", "thirty", "a whole number"},
		{"empty sequence", `"00000000000000000032"`, `""`, "sequence", "", "a whole number"},
		{"signed sequence", `"00000000000000000032"`, `"+32"`, "sequence", "+32", "a whole number"},
		{"wallsequence not less", `"00000000000000000031"`, `"32"`, "wallsequence", "32", "less than sequence"},
		{"wallsequence without sequence", `"sequence":"00000000000000000032",`, ``, "wallsequence", "31", "less than sequence"},
		{"by in capitals", `"p-4f2a"`, `"Mr P"`, "by", "Mr P", tokens},
		{"clockoffset in words", `"-420"`, `"slow"`, "clockoffset", "slow", "a whole number"},
		{"clockoffset over a hundred years", `"-420"`, `"-3155760000001"`, "clockoffset", "-3155760000001", "-3155760000000..3155760000000 ms"},
		{"clockoffset as number over a hundred years", `"-420"`, `3155760000001`, "clockoffset", "3155760000001", "-3155760000000..3155760000000 ms"},
		{"wrong case of a name", `"by"`, `"By"`, "By", "p-4f2a", "by? one of"},
		{"no name", `"by"`, `""`, `""`, "p-4f2a", "names of a-z and 0-9"},
		{"name that would forge a line", `"by"`, `"\n\u001b[2J"`, `"\n\x1b[2J"`, "p-4f2a", "names of a-z and 0-9"},
		{"member of data that would forge a line", `"to_m"`, `"\n"`, `data."\n"`, "6.5", "one of from_m"},
		{"binary data", `"data":{`, `"data_base64":"","data":{`, "data_base64", "", "names of a-z and 0-9"},
		{"no data", `"data":{`, `"dataz":{`, "data.from_m", "", "0..2000 m"},
		{"null data", `"data":{`, `"data":null,"dataz":{`, "data", "null", "an object of from_m"},
		{"list as data", `"data":{`, `"data":[],"dataz":{`, "data", "[]", "an object of from_m"},
		{"duplicate member", `"by":"p-4f2a"`, `"by":"p-4f2a","by":"p-1"`, "by", `"by"`, jsonOnly},
	} {
		_, err := events.Decode("", with(t, "lift.placed", c.old, c.new))
		t.Log(err)
		require.Error(t, err, c.name)
		refused(t, err, c.field, c.value, c.allowed)
	}
}

func TestDecodeRefusesAPersonOrWallThatTheKindForbids(t *testing.T) {
	_, err := events.Decode("", with(t, "hold.placed", `"by":"p-4f2a",`, ``))
	refused(t, err, "by", "", "hold.placed needs a name")
	_, err = events.Decode("", with(t, "site.opened", `"type"`, `"subject":"w1","type"`))
	refused(t, err, "subject", "w1", "site.opened is about the whole site")
}

func TestDecodeRefusesData(t *testing.T) {
	long := strings.Repeat("é", 501)
	for _, c := range []struct {
		name                  string
		kind                  events.Kind
		old, new              string
		field, value, allowed string
	}{
		{"missing", "lift.placed", `"from_m":0,`, ``, "data.from_m", "", "0..2000 m"},
		{"null", "lift.placed", `"celsius":14.5`, `"celsius":null`, "data.celsius", "null", "-10..60 °C"},
		{"below", "lift.placed", `"to_m":6.5`, `"to_m":-0.001`, "data.to_m", "-0.001", "0..2000 m"},
		{"above", "lift.placed", `"to_m":6.5`, `"to_m":2000.001`, "data.to_m", "2000.001", "0..2000 m"},
		{"1e999", "lift.placed", `"to_m":6.5`, `"to_m":1e999`, "data.to_m", "1e999", "0..2000 m"},
		{"number as text", "lift.placed", `"to_m":6.5`, `"to_m":"6.5"`, "data.to_m", "6.5", "0..2000 m"},
		{"NaN", "lift.placed", `"to_m":6.5`, `"to_m":NaN`, "data.to_m", "NaN", jsonOnly},
		{"unknown member", "lift.placed", `"to_m"`, `"tom"`, "data.tom", "6.5", "to_m? one of from_m, to_m, top_m"},
		{"wrong case of a member", "lift.placed", `"to_m"`, `"TO_M"`, "data.TO_M", "6.5", "to_m? one of"},
		{"duplicate member", "lift.placed", `"to_m":6.5`, `"to_m":6.5,"to_m":6.5`, "data.to_m", `"to_m"`, jsonOnly},
		{"duplicate member with an escape", "lift.placed", `"to_m":6.5`, `"to_m":6.5,"to\u005fm":6.5`, "data.to_m", `"to\u005fm"`, jsonOnly},
		{"text as truth", "lift.placed", `"vibrated":true`, `"vibrated":"yes"`, "data.vibrated", "yes", "true or false"},
		{"control character", "lift.placed", `"load":"l3"`, `"load":"l\u00003"`, "data.load", "l\x003", tokens},
		{"year 9999", "lift.placed", `"began":"2026-01-12T07`, `"began":"9999-01-12T07`, "data.began", "9999-01-12T07:51:00Z", anyTime},
		{"year 1", "lift.placed", `"began":"2026-01-12T07:51`, `"began":"0001-01-01T00:00`, "data.began", "0001-01-01T00:00:00Z", anyTime},
		{"top and depth", "lift.placed", `"top_m"`, `"depth_m":0.6,"top_m"`, "data.top_m", "", "either top_m or depth_m"},
		{"neither top nor depth", "lift.placed", `"top_m":0.6,`, ``, "data.top_m", "", "either top_m or depth_m"},
		{"no length", "lift.placed", `"to_m":6.5`, `"to_m":0`, "data.to_m", "0", "another station than from_m"},
		{"ended before began", "lift.placed", `08:02:00Z`, `07:02:00Z`, "data.ended", "2026-01-12T07:02:00Z", "at or after began"},
		{"a lift of two days", "lift.placed", `"ended":"2026-01-12T08`, `"ended":"2026-01-14T08`, "data.ended", "2026-01-14T08:02:00Z", "within 24 h of began"},

		{"word that is none", "permit.issued", `"strip"`, `"Strip"`, "data.for", "Strip", "pour, strip"},
		{"missing word", "permit.issued", `"for":"strip",`, ``, "data.for", "", "pour, strip"},
		{"escape sequence for a terminal", "permit.issued", `only while`, `\u001b[2Jonly`, "data.conditions", "\x1b[2Jonly the gust is under 6 m/s", "without control characters"},
		{"empty text", "permit.issued", `"P-17"`, `""`, "data.number", "", "text of 1 to 40 characters"},
		{"no brace in the list", "permit.issued", `["b1","b2"]`, `[]`, "data.braces", "0 elements", "1 to 1000 elements"},
		{"null for all braces", "permit.issued", `["b1","b2"]`, `null`, "data.braces", "null", "1 to 1000 elements, each " + tokens},
		{"a brace's name", "permit.issued", `["b1","b2"]`, `["b1","B 2"]`, "data.braces.1", "B 2", tokens},
		{"a null brace", "permit.issued", `["b1","b2"]`, `["b1",null]`, "data.braces.1", "null", tokens},
		{"one brace, no list", "permit.issued", `["b1","b2"]`, `"b1"`, "data.braces", "b1", "1 to 1000 elements"},
		{"over before it begins", "permit.issued", `18:00:00Z`, `07:00:00Z`, "data.until", "2026-01-12T07:00:00Z", "after at"},

		{"long text in characters", "brace.set", `"braces"`, `"note":"` + long + `","braces"`, "data.note", long[:56] + "...", "one of at, braces"},
		{"long note", "hold.placed", `frost tonight`, long, "data.reason", long[:56] + "...", "text of 1 to 500 characters"},
		{"two braces of one name", "wall.laid-out", `"name":"b2"`, `"name":"b1"`, "data.braces.1.name", "b1", "no other brace"},
		{"a brace beyond the wall", "wall.laid-out", `"at_m":2.7`, `"at_m":12.6`, "data.braces.1.at_m", "12.6", "0..12.5 m"},
		{"a brace's station", "wall.laid-out", `"at_m":2.7`, `"at_m":2001`, "data.braces.1.at_m", "2001", "0..2000 m"},
		{"head under sill", "wall.laid-out", `"head_m":2.1`, `"head_m":0.9`, "data.openings.0.head_m", "0.9", "above sill_m"},
		{"opening beyond the wall", "wall.laid-out", `"to_m":3.2`, `"to_m":13.2`, "data.openings.0.to_m", "13.2", "0..12.5 m"},
		{"opening without width", "wall.laid-out", `"to_m":3.2`, `"to_m":2`, "data.openings.0.to_m", "2", "another station"},
		{"top above form", "wall.laid-out", `"top_m":2.7`, `"top_m":2.8`, "data.top_m", "2.8", "at most height_m, 2.75 m"},
		{"amended top above form", "wall.amended", `"top_m":2.75`, `"top_m":2.8`, "data.top_m", "2.8", "at most height_m, 2.75 m"},
		{"braces and all", "brace.stripped", `"all"`, `"braces":["b1"],"all"`, "data.braces", "1 named, all=true", "either braces by name, or all=true"},
		{"neither braces nor all", "brace.stripped", `"all":true,`, ``, "data.braces", "0 named, all=false", "either braces by name, or all=true"},
		{"frost without freeze", "engineer.released", `"freeze":"2026-01-12T03:00:00Z",`, ``, "data.freeze", "", "the time of the freeze"},
		{"support without gust", "engineer.released", `"frost"`, `"support"`, "", "", ""},

		{"floor under 48 h", "site.opened", `"floor_h":60`, `"floor_h":47.999`, "data.policy.floor_h", "47.999", "48..720 h"},
		{"no such zone", "site.opened", `America/New_York`, `America/Nowhere`, "data.zone", "America/Nowhere", "an IANA time zone"},
		{"the machine's own zone", "site.opened", `America/New_York`, `Local`, "data.zone", "Local", "an IANA time zone"},
		{"a path as zone", "site.opened", `America/New_York`, `../../etc/passwd`, "data.zone", "../../etc/passwd", "an IANA time zone"},
		{"amended zone", "site.amended", `Australia/Lord_Howe`, `Mars`, "data.zone", "Mars", "an IANA time zone"},
		{"time of day", "site.opened", `"05:30"`, `"5:30"`, "data.policy.sheet_at", "5:30", "hh:mm"},
		{"24 o'clock", "site.opened", `"05:30"`, `"24:00"`, "data.policy.sheet_at", "24:00", "hh:mm"},
		{"portland with slag", "mix.approved", `"blended"`, `"portland"`, "data.binder", "portland", "blended"},
		{"portland with a little slag", "mix.approved", `"blended","slag_percent":30,"ash_percent":5`, `"portland","slag_percent":0.5`, "data.binder", "portland", "blended"},
		{"portland alone", "mix.approved", `"blended","slag_percent":30,"ash_percent":5`, `"portland"`, "", "", ""},
		{"more than all of the binder", "mix.approved", `"slag_percent":30,"ash_percent":5`, `"slag_percent":60,"ash_percent":41`, "data.ash_percent", "41", "at most 100 %"},
		{"relation's member", "mix.approved", `"k_per_d":0.35`, `"k_per_d":0`, "data.relation.k_per_d", "0", "0.01..5 1/d"},
		{"relation without a member", "mix.approved", `"k_per_d":0.35,`, ``, "data.relation.k_per_d", "", "0.01..5 1/d"},

		{"two forms of reading", "temperature.read", `"series"`, `"celsius":5,"series"`, "data.celsius", "", "exactly one of"},
		{"series backwards", "temperature.read", `08:05:00Z`, `07:05:00Z`, "data.series.1.at", "2026-01-12T07:05:00Z", "after the reading before"},
		{"series over 48 h", "temperature.read", `2026-01-12T08:05`, `2026-03-12T08:05`, "data.series", "over 48 h", "within 48 h"},
		{"reading too hot", "temperature.read", `14.25`, `100.5`, "data.series.0.celsius", "100.5", "-50..100 °C"},
		{"reading without time", "temperature.read", `{"at":"2026-01-12T08:00:00Z",`, `{`, "data.series.0.at", "", anyTime},
		{"min alone", "temperature.read", `"series"`, `"min_c":5,"series"`, "data.min_c", "", "from, to, min_c and max_c together"},
		{"forecast backwards", "weather.forecast", `"2026-01-12T08:00:00Z"`, `"2026-01-12T06:00:00Z"`, "data.hours.1.at", "2026-01-12T06:00:00Z", "within 6 h"},

		{"last without number", "device.reported", `"last":41`, `"last":-1`, "data.last", "-1", "a whole number, 0 or more"},
		{"fraction of a number", "device.reported", `"last":41`, `"last":41.5`, "data.last", "41.5", "a whole number"},
		{"number over 2^53", "device.reported", `"last":41`, `"last":9007199254740992`, "data.last", "9007199254740992", "a whole number"},
		{"gap backwards", "gap.written-off", `"to":13`, `"to":11`, "data.to", "11", "at least from, 12"},
		{"gap of over a million", "gap.written-off", `"to":13`, `"to":1000013`, "data.to", "1000013", "at most a million"},
		{"most under least", "checklist.amended", `"most":3`, `"most":0.5`, "data.most", "0.5", "at least least, 1"},
		{"hole backwards", "hole.accepted", `"to":1000`, `"to":999`, "data.to", "999", "at least from, 1000"},
		{"target without id", "record.voided", `,"id":"0195f1c0-8a5e-7cc0-9d3b-0a1b2c3d4e5f"`, ``, "data.target.id", "", "1 to 64 printable"},
		{"target's source", "record.voided", `"target":{"source":"/site/north/device/phone-7"`, `"target":{"source":"phone-7"`, "data.target.source", "phone-7", "/site/<site>"},
		{"amended to what is none", "record.amended", `"top_m":0.6`, `"top_m":16`, "data.data.top_m", "16", "0.01..15 m"},
		{"amended without data", "record.amended", `{"from_m":0,"to_m":7.5,"top_m":0.6}`, `{}`, "data.data.from_m", "", "0..2000 m"},
		{"amended with no object", "record.amended", `{"from_m":0,"to_m":7.5,"top_m":0.6}`, `[]`, "data.data", "[]", "an object"},
		{"amended an amendment", "record.amended", `"lift.placed"`, `"record.amended"`, "data.kind", "record.amended", "not a record event"},
		{"amended a statement", "record.amended", `"lift.placed"`, `"window.stated"`, "data.kind", "window.stated", "a known kind"},
		{"amended no kind", "record.amended", `"lift.placed"`, `"lift.place"`, "data.kind", "lift.place", "a known kind"},
		{"target and message", "doubt.settled", `"target"`, `"message":5,"target"`, "data.target", "", "either target or message"},
		{"digest", "window.stated", `00abc`, `00ABC`, "data.digest", strings.Repeat("0", 57) + "...", "64 digits"},
		{"shelved for 8 h and a minute", "alert.shelved", `17:02:00Z`, `17:03:00Z`, "data.until", "2026-01-12T17:03:00Z", "at most 8 h"},
		{"no such date", "sheet.issued", `"2026-01-12"`, `"2026-02-30"`, "data.date", "2026-02-30", "yyyy-mm-dd"},
	} {
		_, err := events.Decode("", with(t, c.kind, c.old, c.new))
		if c.field == "" {
			require.NoError(t, err, c.name)
			continue
		}
		require.Error(t, err, c.name)
		refused(t, err, c.field, c.value, c.allowed)
	}
}

func TestDecodeRefusesMinimumAndMaximum(t *testing.T) {
	good := events.TemperatureRead{Place: "air", Instrument: "min-max", From: at(6, 0), To: at(18, 0), MinC: new(-4.0), MaxC: new(3.0)}
	e := sample("temperature.read")
	e.Data = &good
	require.NoError(t, e.Check())
	for _, c := range []struct {
		change         func(d *events.TemperatureRead)
		field, allowed string
	}{
		{func(d *events.TemperatureRead) { d.MaxC = new(-4.5) }, "data.max_c", "at least min_c, -4 °C"},
		{func(d *events.TemperatureRead) { d.To = d.From }, "data.to", "after from"},
		{func(d *events.TemperatureRead) { d.To = d.From.Add(73 * time.Hour) }, "data.to", "within 72 h"},
		{func(d *events.TemperatureRead) { d.To = time.Time{} }, "data.min_c", "together"},
	} {
		bad := good
		c.change(&bad)
		e.Data = &bad
		var ref *events.Refusal
		require.ErrorAs(t, e.Check(), &ref)
		require.Equal(t, c.field, ref.Field)
		require.Contains(t, ref.Allowed, c.allowed)
	}
}

func TestDecodeRefusesWhatIsNoEvent(t *testing.T) {
	body := sampleBody("lift.placed")
	for _, c := range []struct {
		name                  string
		body                  []byte
		field, value, allowed string
	}{
		{"nothing", nil, "body", "", jsonOnly},
		{"null", []byte("null"), "body", "null", "a CloudEvents 1.0 JSON object"},
		{"list", []byte("[1,2]"), "body", "[1,2]", "a CloudEvents 1.0 JSON object"},
		{"text", []byte(`"x"`), "body", "x", "a CloudEvents 1.0 JSON object"},
		{"zeros", make([]byte, 100), "body", strings.Repeat("\x00", 57) + "...", jsonOnly},
		{"cut off", body[:len(body)-1], "body", "", jsonOnly},
		{"cut off in data", body[:bytes.Index(body, []byte(`"to_m"`))+3], "data", "", jsonOnly},
		{"two events", append(bytes.Clone(body), body...), "body", "{", jsonOnly},
		{"not UTF-8", bytes.Replace(body, []byte("l3"), []byte("l\xff"), 1), "data.load", "\uFFFD", jsonOnly},
		{"half a surrogate", bytes.Replace(body, []byte("l3"), []byte(`\ud800`), 1), "data.load", `\ud800`, jsonOnly},
		{"10 MB", append(bytes.Repeat([]byte(" "), 10<<20), body...), "body", fmt.Sprintf("%d bytes", 10<<20+len(body)), "at most 262144 bytes"},
	} {
		_, err := events.Decode("", c.body)
		require.Error(t, err, c.name)
		var ref *events.Refusal
		require.ErrorAs(t, err, &ref)
		require.Equal(t, c.field, ref.Field, "%s: %v", c.name, err)
		require.Contains(t, ref.Value, strings.TrimSuffix(c.value, "..."), c.name)
		require.Contains(t, ref.Allowed, c.allowed, c.name)
	}
}

func TestDecodeTakesABodyUpToTheGreatestSize(t *testing.T) {
	body := sampleBody("lift.placed")
	full := append(bytes.Repeat([]byte(" "), events.MaxBody-len(body)), body...)
	_, err := events.Decode("", full)
	require.NoError(t, err)
	_, err = events.Decode("", append(full, ' '))
	refused(t, err, "body", "262145 bytes", "at most 262144 bytes")
}

func TestDecodeComparesTheSubject(t *testing.T) {
	for subject, ok := range map[string]bool{
		"":                               true, // a file
		"pour.north.w1.lift.placed":      true,
		"pour.north.w2.lift.placed":      false,
		"pour.south.w1.lift.placed":      false,
		"pour.north.w1.lift.place":       false,
		"pour.north.w1.lift.placed.x":    false,
		"pour.north.w1x.lift.placed":     false,
		"pour.north._.lift.placed":       false,
		"pour.northw1.lift.placed":       false,
		"pour.north.w1lift.placed":       false,
		"x.pour.north.w1.lift.placed":    false,
		"POUR.north.w1.lift.placed":      false,
		"north.w1.lift.placed":           false,
		"pour.north.w1.pour.started":     false,
		"receipt.north.w1.lift.placed":   false,
		"pour.north..w1.lift.placed":     false,
		"pour.north.w1.lift.placed ":     false,
		strings.Repeat("pour.north", 50): false,
	} {
		_, err := events.Decode(subject, sampleBody("lift.placed"))
		if ok {
			require.NoError(t, err, subject)
			continue
		}
		var ref *events.Refusal
		require.ErrorAs(t, err, &ref, subject)
		require.Equal(t, "subject", ref.Field)
		require.Contains(t, ref.Allowed, "pour.north.w1.lift.placed")
		require.True(t, ref.Beyond)
	}
	_, err := events.Decode("pour.north._.site.opened", sampleBody("site.opened"))
	require.NoError(t, err)
}

// The subject of a device that cannot sign proves whose connection it is: what
// comes on another's is refused, even where it is well made.
func TestDecodeComparesTheDeviceOfAProbeSubject(t *testing.T) {
	for subject, ok := range map[string]bool{
		"probe.north.phone-7.w1.temperature.read":   true,
		"probe.north.phone-8.w1.temperature.read":   false,
		"probe.north.phone-7.w2.temperature.read":   false,
		"probe.north.phone-7._.temperature.read":    false,
		"probe.south.phone-7.w1.temperature.read":   false,
		"probe.north.phone-7.w1.wind.read":          false,
		"probe.north.phone-7.w1.temperature.read.x": false,
		"probe.north.w1.temperature.read":           false,
		"probe.north.phone.7.w1.temperature.read":   false,
		"probe.north.phone-7w1.temperature.read":    false,
		"probe..north.phone-7.w1.temperature.read":  false,
	} {
		_, err := events.Decode(subject, sampleBody("temperature.read"))
		if ok {
			require.NoError(t, err, subject)
			continue
		}
		refused(t, err, "subject", subject, "probe.north.phone-7.w1.temperature.read")
		var ref *events.Refusal
		require.ErrorAs(t, err, &ref)
		require.True(t, ref.Beyond, subject)
	}
	_, err := events.Decode("pour.north.phone-7.w1.temperature.read", sampleBody("temperature.read"))
	refused(t, err, "subject", "pour.north.phone-7.w1.temperature.read", "pour.north.w1.temperature.read")
	_, err = events.Decode("probe.north.phone-7._.weather.forecast", sampleBody("weather.forecast"))
	require.NoError(t, err)
}

func TestDecodeReadsNumbersInEveryWriting(t *testing.T) {
	for _, c := range []struct {
		old, new string
		sequence uint64
		offset   time.Duration
		has      bool
	}{
		{`"00000000000000000032"`, `32`, 32, -420 * time.Millisecond, true},
		{`"00000000000000000032"`, `"32"`, 32, -420 * time.Millisecond, true},
		{`"00000000000000000032"`, `"00000000009007199254740991"`[:1] + `00009007199254740991"`, 9007199254740991, -420 * time.Millisecond, true},
		{`"-420"`, `-420`, 32, -420 * time.Millisecond, true},
		{`"-420"`, `"0"`, 32, 0, true},
		{`"-420"`, `"-0"`, 32, 0, true},
		{`"-420"`, `null`, 32, 0, false},
		{`,"clockoffset":"-420"`, ``, 32, 0, false},
		{`"-420"`, `"1767225600000"`, 32, 1767225600 * time.Second, true}, // a phone that woke up in 1970
	} {
		e, err := events.Decode("", with(t, "lift.placed", c.old, c.new))
		require.NoError(t, err, c.new)
		require.Equal(t, c.sequence, e.Sequence, c.new)
		require.Equal(t, c.offset, e.ClockOffset, c.new)
		require.Equal(t, c.has, e.HasOffset, c.new)
	}
	e, err := events.Decode("", with(t, "lift.placed", `"sequence":"00000000000000000032","wallsequence":"00000000000000000031"`, `"sequence":null,"wallsequence":null`))
	require.NoError(t, err)
	require.Zero(t, e.Sequence)
	require.Zero(t, e.WallSequence)
}

func TestDecodePassesOverForeignExtensionsAndOrder(t *testing.T) {
	want := sample("lift.placed")
	body := string(with(t, "lift.placed", `"specversion"`, `"traceparent":"00-ab","nested":{"A":[1,{"B":null}]},"dataschema":"urn:x","specversion"`))
	got, err := events.Decode("", []byte(body))
	require.NoError(t, err)
	sameEvent(t, want, got)

	// Data that stands before its type.
	open := strings.Index(body, `,"data":`)
	got, err = events.Decode("", []byte(`{`+body[open+1:len(body)-1]+`,`+body[1:open]+`}`))
	require.NoError(t, err)
	sameEvent(t, want, got)
}

func TestDecodeTakesNoDataForAnEmptyObject(t *testing.T) {
	e, err := events.Decode("", []byte(`{"specversion":"1.0","id":"1","source":"/site/a/device/p","type":"earlyage.pour.started.v1","subject":"w1","time":"2026-01-12T08:00:00Z"}`))
	require.NoError(t, err)
	require.Equal(t, &events.Moment{}, e.Data)
}

func TestNewLineAndTabStayInText(t *testing.T) {
	e, err := events.Decode("", with(t, "hold.placed", "frost tonight", `frost\n\ttonight é`))
	require.NoError(t, err)
	require.Equal(t, "frost\n\ttonight é", e.Data.(*events.HoldPlaced).Reason)
}

func TestCheckRefusesWhatGoBuiltWrongly(t *testing.T) {
	for _, c := range []struct {
		name           string
		change         func(e *events.Event)
		field, allowed string
	}{
		{"nil data", func(e *events.Event) { e.Data = nil }, "data", "which is the data of lift.placed"},
		{"nil pointer as data", func(e *events.Event) { e.Data = (*events.LiftPlaced)(nil) }, "data", "which is the data of lift.placed"},
		{"data of another kind", func(e *events.Event) { e.Data = &events.Moment{} }, "data", "which is the data of lift.placed"},
		{"no kind", func(e *events.Event) { e.Kind = "" }, "type", "a known kind"},
		{"kind that is none", func(e *events.Event) { e.Kind = "lift.place" }, "type", "lift.placed?"},
		{"NaN", func(e *events.Event) { e.Data.(*events.LiftPlaced).ToM = new(math.NaN()) }, "data.to_m", "a value that JSON can hold"},
		{"infinity", func(e *events.Event) { e.Data.(*events.LiftPlaced).ToM = new(math.Inf(1)) }, "data.to_m", "a value that JSON can hold"},
		{"not UTF-8", func(e *events.Event) { e.Data.(*events.LiftPlaced).Load = "\xff" }, "data.load", "a value that JSON can hold"},
		{"no wall", func(e *events.Event) { e.Wall = "" }, "subject", "the wall"},
		{"no time", func(e *events.Event) { e.Time = time.Time{} }, "time", anyTime},
		{"year 9999", func(e *events.Event) { e.Time = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC) }, "time", anyTime},
		{"year 10000", func(e *events.Event) { e.Time = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) }, "time", anyTime},
		{"no member that is needed", func(e *events.Event) { e.Data.(*events.LiftPlaced).FromM = nil }, "data.from_m", "0..2000 m"},
	} {
		e := sample("lift.placed")
		d := *e.Data.(*events.LiftPlaced)
		e.Data = &d
		c.change(&e)
		err := e.Check()
		require.Error(t, err, c.name)
		var ref *events.Refusal
		require.ErrorAs(t, err, &ref, c.name)
		require.Equal(t, c.field, ref.Field, c.name)
		require.Contains(t, ref.Allowed, c.allowed, c.name)
	}
}

// A time that is sent is never made another by writing it anew.
func TestEncodeKeepsNanoseconds(t *testing.T) {
	e := sample("pour.started")
	e.Time = time.Date(2026, 1, 12, 8, 0, 0, 123456789, time.FixedZone("", -5*3600))
	e.Recorded = e.Time.Add(time.Second)
	body, err := e.Encode()
	require.NoError(t, err)
	got, err := events.Decode("", body)
	require.NoError(t, err)
	require.Equal(t, e.Time.UTC(), got.Time)
	require.Equal(t, e.Recorded.UTC(), got.Recorded)
}

func TestParseSourceAndSubject(t *testing.T) {
	src, err := events.ParseSource("/site/_/device/hub")
	require.NoError(t, err)
	require.Equal(t, events.Source{Site: "_", Device: "hub"}, src)
	require.Equal(t, "/site/_/device/hub", src.String())
	for _, bad := range []string{"", "/", "/site/a", "/site//device/b", "/site/a/device/", "/site/a/device/_", "site/a/device/b", "/site/a/device/b/", "/site/a/b/device/c", "/site/ä/device/b"} {
		_, err := events.ParseSource(bad)
		refused(t, err, "source", bad, "/site/<site>/device/<device>")
	}
	sub, err := events.ParseSubject("pour.north._.alert.raised")
	require.NoError(t, err)
	require.Equal(t, events.Subject{Site: "north", Kind: "alert.raised"}, sub)
	sub, err = events.ParseSubject("pour._._.mix.approved")
	require.NoError(t, err)
	require.Equal(t, events.Subject{Site: "_", Kind: "mix.approved"}, sub)
	sub, err = events.ParseSubject("probe.north.probe-3.w1.temperature.read")
	require.NoError(t, err)
	require.Equal(t, events.Subject{Site: "north", Wall: "w1", Kind: "temperature.read", Probe: "probe-3"}, sub)
	sub, err = events.ParseSubject("probe._.station-1._.weather.forecast")
	require.NoError(t, err)
	require.Equal(t, events.Subject{Site: "_", Kind: "weather.forecast", Probe: "station-1"}, sub)
	for _, bad := range []string{"probe", "probe.north.w1.wind.read", "probe.north._.w1.wind.read", "probe.north..w1.wind.read", "probe.north.P.w1.wind.read",
		"probe.north.p.w1.wind.read.x", "probe.North.p.w1.wind.read", "probe.north.p.W.wind.read", "pour.north.p.w1.wind.read", "Probe.north.p.w1.wind.read", "", "pour", "pour.north.w1.lift", "pour.north.w1.lift.placed.x", "pour.North.w1.lift.placed", "pour..w1.lift.placed", "pour.north..lift.placed", "ask.north.w1.lift.placed"} {
		_, err := events.ParseSubject(bad)
		refused(t, err, "subject", bad, "")
	}
}

func TestPeekReadsWhatItCan(t *testing.T) {
	north := events.Source{Site: "north", Device: "phone-7"}
	body := sampleBody("lift.placed")
	id := sample("lift.placed").ID
	for _, c := range []struct {
		name     string
		body     []byte
		src      events.Source
		id       string
		sequence uint64
	}{
		{"a good one", body, north, id, 32},
		{"bad data", with(t, "lift.placed", `"to_m":6.5`, `"to_m":-1`), north, id, 32},
		{"cut off after the number", body[:bytes.Index(body, []byte(`"wallsequence"`))], north, id, 32},
		{"cut off before it", body[:bytes.Index(body, []byte(`"sequence"`))+14], north, id, 0},
		{"bad id", with(t, "lift.placed", id, "a b"), north, "", 32},
		{"bad source", with(t, "lift.placed", `/site/north/device`, `/north`), events.Source{}, id, 32},
		{"number that is none", with(t, "lift.placed", `"00000000000000000032"`, `[1]`), north, id, 0},
		{"twice: the first", with(t, "lift.placed", `"data"`, `"sequence":77,"data"`), north, id, 32},
		{"no object", []byte(`[]`), events.Source{}, "", 0},
		{"nothing", nil, events.Source{}, "", 0},
	} {
		src, id, sequence := events.Peek(c.body)
		require.Equal(t, c.src, src, c.name)
		require.Equal(t, c.id, id, c.name)
		require.Equal(t, c.sequence, sequence, c.name)
	}
}
