package events_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares got with a file under testdata, which -update writes.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o777))
		require.NoError(t, os.WriteFile(path, got, 0o666))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	wanted := strings.Split(string(want), "\n")
	for i, line := range strings.Split(string(got), "\n") {
		require.Less(t, i, len(wanted), "%s ends before %q", path, line)
		require.Equal(t, wanted[i], line, "%s, line %d; go test ./events -update writes it", path, i+1)
	}
	require.Len(t, got, len(want), path)
}

// The bytes of an event are for ever: what stands in a record must be written
// and read the same by every later version.
func TestGoldenEvents(t *testing.T) {
	var all bytes.Buffer
	for _, kind := range events.Kinds() {
		all.Write(sampleBody(kind))
		all.WriteByte('\n')
	}
	golden(t, "events.ndjson", all.Bytes())
}

func TestGoldenEventsAreRead(t *testing.T) {
	file, err := os.ReadFile(filepath.Join("testdata", "events.ndjson"))
	require.NoError(t, err)
	lines := bytes.Split(bytes.TrimSpace(file), []byte("\n"))
	require.Len(t, lines, len(events.Kinds()))
	for i, kind := range events.Kinds() {
		want := sample(kind)
		got, err := events.Decode(want.Subject(), lines[i])
		require.NoError(t, err, kind)
		sameEvent(t, want, got)
	}
}

// sameEvent compares events that need not hold the same unexported members.
func sameEvent(t require.TestingT, want, got events.Event) {
	if h, ok := t.(interface{ Helper() }); ok {
		h.Helper()
	}
	wantData, err := events.EncodeData(want.Data)
	require.NoError(t, err)
	gotData, err := events.EncodeData(got.Data)
	require.NoError(t, err)
	require.Equal(t, string(wantData), string(gotData))
	require.IsType(t, want.Data, got.Data)
	want.Data, got.Data = nil, nil
	require.Equal(t, want, got)
}

func TestEveryKindHasDocSampleSchemaAndHelp(t *testing.T) {
	require.Len(t, sampleData, len(events.Kinds()), "samples of kinds that are none")
	var help bytes.Buffer
	for _, kind := range events.Kinds() {
		require.Contains(t, sampleData, kind)
		require.NoError(t, sample(kind).Check(), kind)
		require.NotEmpty(t, kind.Doc(), kind)
		require.True(t, kind.Known())
		_, err := events.Schema(kind)
		require.NoError(t, err, kind)
		text := events.Help(kind)
		help.WriteString(text)
		help.WriteString("\n\n")
	}
	golden(t, "vocabulary.txt", help.Bytes())
}

func TestHelpOfNoKindNamesTheNearest(t *testing.T) {
	require.Equal(t, "lift.place: not a known kind: lift.placed?\n", events.Help("lift.place"))
	require.Equal(t, "zzz: not a known kind\n", events.Help("zzz"))
}

// All times are UTC after Decode, whatever offset they were written with, so
// that equal instants are equal values on every machine.
func TestDecodeTurnsTimesToUTC(t *testing.T) {
	for _, kind := range events.Kinds() {
		want := sample(kind)
		body := string(sampleBody(kind))
		for _, hour := range []string{"18:03", "09:00", "08:00", "07:51", "21:00"} {
			clock, err := time.Parse("15:04", hour)
			require.NoError(t, err)
			shifted := clock.Add(5*time.Hour + 45*time.Minute).Format("15:04")
			if shifted > hour { // the same day
				body = strings.ReplaceAll(body, "2026-01-12T"+hour+":00Z", "2026-01-12T"+shifted+":00+05:45")
			}
		}
		got, err := events.Decode("", []byte(body))
		require.NoError(t, err, kind)
		sameEvent(t, want, got)
	}
}

func TestSpan(t *testing.T) {
	e := sample("lift.placed")
	for _, c := range []struct {
		name                 string
		began, ended         time.Time
		wantBegan, wantEnded time.Time
	}{
		{"both", at(7, 0), at(7, 30), at(7, 0), at(7, 30)},
		{"no beginning", time.Time{}, at(7, 30), at(7, 30), at(7, 30)},
		{"no end", at(7, 0), time.Time{}, at(7, 0), at(7, 0)},
		{"neither: when it was entered", time.Time{}, time.Time{}, e.Time, e.Time},
	} {
		e.Data = &events.LiftPlaced{Began: c.began, Ended: c.ended}
		began, ended := e.Span()
		require.Equal(t, c.wantBegan, began, c.name)
		require.Equal(t, c.wantEnded, ended, c.name)
	}
	for kind, want := range map[events.Kind][2]time.Time{
		"temperature.read": {at(8, 0), at(8, 5)},
		"alert.raised":     {at(9, 0), at(9, 0)},
		"weather.forecast": {at(6, 0), at(6, 0)},
		"record.voided":    {at(18, 3), at(18, 3)},
	} {
		began, ended := sample(kind).Span()
		require.Equal(t, want, [2]time.Time{began, ended}, kind)
	}
}
