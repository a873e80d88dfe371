package replay_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/replay"
	"earlyage/events"
)

var morning = time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)

// entry is one line; more adds or replaces attributes.
func entry(id string, number int, kind, wall string, at time.Time, data string, more ...string) string {
	return fmt.Sprintf(`{"specversion":"1.0","id":%q,"source":"/site/mill/device/phone","type":"earlyage.%s.v1","subject":%q,"time":%q,"sequence":"%020d",%s"data":%s}`,
		id, kind, wall, at.Format(time.RFC3339), number, strings.Join(append(more, ""), ","), data)
}

func laidOut(id string, number int, wall string) string {
	return entry(id, number, "wall.laid-out", wall, morning, `{"length_m":6,"height_m":2.4,"core_mm":150}`)
}

func read(t *testing.T, at time.Time, lines ...string) *replay.Record {
	t.Helper()
	r, err := replay.Read(strings.NewReader(strings.Join(lines, "\n")), at)
	require.NoError(t, err)
	return r
}

func hold(t *testing.T, w face.Wall) face.Criterion {
	t.Helper()
	for _, c := range w.Strip.Criteria {
		if c.Name == "hold" {
			return c
		}
	}
	require.FailNow(t, "no criterion hold")
	return face.Criterion{}
}

// A bad line stops nothing, is listed, and is a doubt on the wall that it names.
func TestRefused(t *testing.T) {
	noon := morning.Add(4 * time.Hour)
	huge := entry("huge", 9, "pour.started", "b", morning, `{"note":"`+strings.Repeat("x", 10<<20)+`"}`)
	for name, c := range map[string]struct {
		line string
		want face.Refused
	}{
		"no JSON":             {"not an event", face.Refused{Line: 2, Field: "body"}},
		"10 MB":               {huge, face.Refused{Line: 2, ID: "huge", Field: "body"}},
		"year 9999":           {entry("late", 2, "pour.started", "b", morning, `{"at":"9999-01-01T00:00:00Z"}`), face.Refused{Line: 2, ID: "late", Field: "data.at"}},
		"no number":           {entry("nan", 2, "lift.placed", "b", morning, `{"from_m":NaN}`), face.Refused{Line: 2, ID: "nan", Field: "data.from_m"}},
		"null wall":           {strings.Replace(laidOut("null", 2, "b"), `"subject":"b"`, `"subject":null`, 1), face.Refused{Line: 2, ID: "null", Field: "subject"}},
		"other bytes":         {entry("a1", 7, "wall.laid-out", "b", morning, `{"length_m":7,"height_m":2.4,"core_mm":150}`), face.Refused{Line: 2, ID: "a1", Field: "id"}},
		"number of another":   {entry("b1", 1, "pour.started", "b", morning, `{}`), face.Refused{Line: 2, ID: "b1", Field: "sequence"}},
		"out of range":        {entry("deep", 2, "lift.placed", "b", morning, `{"from_m":0,"to_m":6,"top_m":99}`), face.Refused{Line: 2, ID: "deep", Field: "data.top_m"}},
		"somebody's own kind": {entry("own", 2, "wall.painted", "b", morning, `{}`), face.Refused{Line: 2, ID: "own", Field: "type"}},
	} {
		r := read(t, noon, laidOut("a1", 1, "a"), c.line, laidOut("b9", 10, "b"))
		require.Len(t, r.Refused, 1, name)
		require.NotEmpty(t, r.Refused[0].Reason, name)
		r.Refused[0].Reason = ""
		require.Equal(t, c.want, r.Refused[0], name)
		walls := r.Walls()
		require.Len(t, walls, 2, name)
		if name != "other bytes" { // they are a doubt on the wall of the first too
			require.Equal(t, "none", hold(t, walls[0]).Have, "%s: the other wall", name)
		}
		if c.want.ID != "" && c.want.ID != "null" {
			require.NotEqual(t, "none", hold(t, walls[1]).Have, "%s: a doubt on the wall", name)
		}
	}
}

// What was recorded after the moment is not known at it.
func TestAsOf(t *testing.T) {
	lines := []string{
		laidOut("a1", 1, "a"),
		entry("a2", 2, "hold.placed", "a", morning.Add(time.Hour), `{"hold":"h","reason":"look"}`, `"by":"p-1"`, `"recordedtime":"2026-06-01T11:00:00Z"`),
	}
	require.Equal(t, "none", hold(t, read(t, morning.Add(2*time.Hour), lines...).Walls()[0]).Have, "made at 9, recorded at 11")
	later := read(t, morning.Add(3*time.Hour), lines...)
	require.Contains(t, hold(t, later.Walls()[0]).Note, "look")
	require.Zero(t, later.Later)
	require.Equal(t, 1, read(t, morning.Add(2*time.Hour), lines...).Later)
}

// The same line twice is once; the hub's own words are passed over.
func TestRepeatedAndHub(t *testing.T) {
	noon := morning.Add(4 * time.Hour)
	lift := entry("a2", 2, "lift.placed", "a", morning, `{"from_m":0,"to_m":6,"top_m":0.6}`)
	said := strings.ReplaceAll(entry("hub-1", 1, "alert.cleared", "a", morning, `{"alert":"x","kind":"frozen","cause":"c","at":"2026-06-01T08:00:00Z","rules":"r"}`), "device/phone", "device/hub")
	once := read(t, noon, laidOut("a1", 1, "a"), lift)
	twice := read(t, noon, laidOut("a1", 1, "a"), lift, said, "", "  ", lift)
	require.Empty(t, twice.Refused)
	require.Equal(t, text(t, once), text(t, twice))
}

// A company-wide event counts on every site, whichever came first.
func TestCompanyWide(t *testing.T) {
	noon := morning.Add(4 * time.Hour)
	mix := `{"specversion":"1.0","id":"m1","source":"/site/_/device/office","type":"earlyage.mix.approved.v1","time":"2026-06-01T07:00:00Z","by":"p-1","sequence":"1","data":{"mix":"w30","binder":"portland","retarder":false}}`
	signed := `{"specversion":"1.0","id":"m2","source":"/site/_/device/office","type":"earlyage.record.countersigned.v1","time":"2026-06-01T07:05:00Z","by":"p-2","sequence":"2","data":{"target":{"source":"/site/_/device/office","id":"m1"},"role":"officer"}}`
	wall := entry("a1", 1, "wall.laid-out", "a", morning, `{"length_m":6,"height_m":2.4,"core_mm":150,"mix":"w30"}`)
	before := read(t, noon, mix, signed, wall)
	after := read(t, noon, wall, mix, signed)
	require.Equal(t, text(t, before), text(t, after))
	require.Contains(t, text(t, before), "equivalent age suffices", "the mix is known")
	require.NotContains(t, text(t, read(t, noon, wall)), "equivalent age suffices")
}

func text(t *testing.T, r *replay.Record) string {
	t.Helper()
	b, err := json.Marshal(face.Report{At: face.Time{Time: r.At}, Walls: r.Walls(), Refused: r.Refused}, json.Deterministic(true))
	require.NoError(t, err)
	return string(b)
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(laidOut("a1", 1, "a") + "\nnot an event\n{\n\n\x00"))
	f.Fuzz(func(t *testing.T, file []byte) {
		r, err := replay.Read(strings.NewReader(string(file)), morning.Add(time.Hour))
		require.NoError(t, err)
		for _, w := range r.Walls() {
			require.True(t, events.IsToken(w.Site) && events.IsToken(w.Wall))
			require.False(t, w.Strip.Open, "nothing opens within an hour")
		}
	})
}
