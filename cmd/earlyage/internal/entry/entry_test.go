package entry_test

import (
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/entry"
	"earlyage/events"
)

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
}

// A device of one's own speaks for nobody else, and a station for nobody at all.
func TestOwn(t *testing.T) {
	line := `{"type":"pour.finished","subject":"a","by":"p-2","data":{}}`
	for by, want := range map[string]bool{"p-2": true, "p-1": false, "": false} {
		list, err := entry.Reader{By: by, Own: true}.Lines(strings.NewReader(line))
		if want {
			require.NoError(t, err, by)
			require.Equal(t, "p-2", list[0].By)
			continue
		}
		var refused *events.Refusal
		require.ErrorAs(t, err, &refused, by)
		require.Equal(t, "by", refused.Field)
		require.Equal(t, "p-2", refused.Value)
	}
}
