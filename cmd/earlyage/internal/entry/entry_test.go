package entry_test

import (
<<<<<<< Updated upstream
	"path/filepath"
	"strings"
	"sync"
=======
	"errors"
	"strings"
>>>>>>> Stashed changes
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/entry"
	"earlyage/events"
)

<<<<<<< Updated upstream
// A value with a unit is read into the member's own unit; one of another
// dimension, or that reads in two ways, is refused.
func TestQuantities(t *testing.T) {
	lift := func(top string) (*events.LiftPlaced, error) {
		e, err := entry.Reader{Wall: "a"}.Args("lift.placed", []string{"from_m=0", "to_m=40 ft", "top_m=" + top})
		d, _ := e.Data.(*events.LiftPlaced)
		return d, err
	}
	for text, want := range map[string]float64{"0.6": 0.6, "4ft": 1.2192, "2 ft 6 in": 0.762, "60 cm": 0.6} {
		d, err := lift(text)
		require.NoError(t, err, text)
		require.Equal(t, want, *d.TopM, text)
		require.Equal(t, 12.192, *d.ToM)
	}
	for _, text := range []string{"4 lb", "1,2 m", "two feet", "60 ft"} {
		_, err := lift(text)
		var refused *events.Refusal
		require.ErrorAs(t, err, &refused, text)
		require.Equal(t, "top_m", refused.Field, text)
	}
	e, err := entry.Reader{}.Args("wind.read", []string{"gust_mps=20 mph"})
	require.NoError(t, err)
	require.Equal(t, 8.9408, *e.Data.(*events.WindRead).GustMPS)
	e, err = entry.Reader{}.Args("temperature.read", []string{"place=top", "celsius=50 F"})
	require.NoError(t, err)
	require.Equal(t, 10.0, *e.Data.(*events.TemperatureRead).Celsius)
}

// A local time is read in the zone that is given, and in none other.
func TestLocalTimes(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	require.NoError(t, err)
	e, err := entry.Reader{Zone: oslo}.Args("pour.finished", []string{"at=2026-06-01T08:00"})
	require.NoError(t, err)
	require.Equal(t, time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC), e.Data.(*events.Moment).At)
	_, err = entry.Reader{}.Args("pour.finished", []string{"at=2026-06-01T08:00"})
	require.ErrorContains(t, err, "at: ")
}

func TestLines(t *testing.T) {
	r := entry.Reader{By: "p-1"}
	list, err := r.Lines(strings.NewReader("\n" + `{"type":"earlyage.pour.started.v1","subject":"a","time":"2026-06-01T08:00:00+02:00"}` + "\n" +
		`{"type":"pour.finished","subject":"a","by":"p-2","data":{"note":"done"}}`))
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.Equal(t, "p-1", list[0].By)
	require.Equal(t, time.Date(2026, 6, 1, 6, 0, 0, 0, time.UTC), list[0].Time)
	require.Equal(t, "p-2", list[1].By)
	require.Equal(t, events.Kind("pour.finished"), list[1].Kind)

	for text, want := range map[string]string{
		"": "file: nothing; allowed: an event to a line",
		`{"type":"pour.finished","subject":"a","data":{},"colour":"red"}`: "line 1: body: ",
		`{"type":"pour.finshed","subject":"a","data":{}}`:                 `line 1: type: "pour.finshed"`,
		`{"type":"pour.finished","sequence":"7","data":{}}`:               "line 1: sequence: ",
		`{"type":"pour.finished","data":{"when":"now"}}`:                  "line 1: data.when: ",
		strings.Repeat("x", 3*events.MaxBody):                             "line 1: body: ",
	} {
		_, err := r.Lines(strings.NewReader(text))
		var refused *events.Refusal
		require.ErrorAs(t, err, &refused, "%.40s", text)
		require.ErrorContains(t, err, want)
	}
}

// Whoever asks first names the device; everybody else gets the same name.
func TestDeviceName(t *testing.T) {
	root := filepath.Join(t.TempDir(), "outbox")
	names, failed := make([]string, 8), make([]error, 8)
	var all sync.WaitGroup
	for i := range names {
		all.Go(func() { names[i], failed[i] = entry.DeviceName(root) })
	}
	all.Wait()
	for i := range names {
		require.NoError(t, failed[i])
		require.Equal(t, names[0], names[i])
	}
	require.True(t, events.IsToken(names[0]), names[0])
	other, err := entry.DeviceName(filepath.Join(t.TempDir(), "outbox"))
	require.NoError(t, err)
	require.NotEqual(t, names[0], other)
=======
// A length may be written with its unit, and is then exact to a micrometre.
func TestArgsTakeUnits(t *testing.T) {
	for text, metres := range map[string]float64{"1.2": 1.2, "4ft": 1.2192, "48in": 1.2192, "1200mm": 1.2} {
		e, err := entry.Reader{Wall: "a", By: "p-1"}.Args("lift.placed", []string{"from_m=0", "to_m=6", "top_m=" + text})
		require.NoError(t, err, text)
		require.Equal(t, metres, *e.Data.(*events.LiftPlaced).TopM, text)
		require.Equal(t, "a", e.Wall)
		require.Equal(t, "p-1", e.By)
	}
	for _, text := range []string{"4 furlongs", "4°C", "ft", "NaN", "1e999"} {
		_, err := entry.Reader{Wall: "a"}.Args("lift.placed", []string{"from_m=0", "to_m=6", "top_m=" + text})
		var refused *events.Refusal
		require.ErrorAs(t, err, &refused, text)
		require.Equal(t, "top_m", refused.Field)
	}
}

func TestLinesAreTakenWholeOrNotAtAll(t *testing.T) {
	good := `{"type":"earlyage.pour.started.v1","subject":"a","data":{}}`
	list, err := entry.Reader{By: "p-1"}.Lines(strings.NewReader(good + "\n\n" + good))
	require.NoError(t, err)
	require.Len(t, list, 2)
	for text, field := range map[string]string{
		"":            "file",
		"[]":          "body",
		good + "x":    "body",
		`{"typo":1}`:  "body",
		`{"type":""}`: "type",
		good + "\n" + strings.Replace(good, "{}", `{"at":"soon"}`, 1):       "data.at",
		good + "\n" + strings.Repeat(" ", 2*events.MaxBody) + "x":           "body",
		good + "\n" + strings.Replace(good, `"data"`, `"id":"x","data"`, 1): "id",
	} {
		list, err := entry.Reader{}.Lines(strings.NewReader(text))
		var refused *events.Refusal
		require.ErrorAs(t, err, &refused, "%.80q", text)
		require.Equal(t, field, refused.Field, "%.80q", text)
		require.Nil(t, list)
	}
}

// FuzzLines reads a file, which may be anything: events that can be stamped and
// sent, or a refusal that names a field.
func FuzzLines(f *testing.F) {
	f.Add(`{"type":"earlyage.pour.started.v1","subject":"a","data":{}}`)
	f.Add(`{"type":"earlyage.lift.placed.v1","subject":"a","by":"p-2","time":"2026-01-12T08:03:00+01:00","data":{"from_m":0,"to_m":6,"top_m":0.6}}`)
	f.Add(`{"specversion":"0.3","type":"earlyage.pour.started.v1","subject":"a","data":{}}`)
	f.Add("\n{\n")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := entry.Reader{By: "p-1", Zone: time.UTC}.Lines(strings.NewReader(text))
		if err != nil {
			var refused *events.Refusal
			require.True(t, errors.As(err, &refused), "%v", err)
			require.NotEmpty(t, refused.Field)
			return
		}
		for i, e := range list {
			e.ID, e.Source, e.Sequence = "x", events.Source{Site: "mill", Device: "phone"}, uint64(i+1)
			if e.Time.IsZero() {
				e.Time = time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)
			}
			if e.Check() != nil {
				continue // the outbox refuses it
			}
			body, err := e.Encode()
			require.NoError(t, err)
			_, err = events.Decode(e.Subject(), body)
			require.NoError(t, err, "%s", body)
		}
	})
>>>>>>> Stashed changes
}
