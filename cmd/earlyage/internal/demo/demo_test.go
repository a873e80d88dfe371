package demo

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/cmd/earlyage/internal/hub"
	scripts "earlyage/testdata/demo"
)

var update = flag.Bool("update", false, "write the golden files")

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// The demo's end is the same every time: the alerts that stand, what the cold
// holds, the walls. Everything that the demo is there to show is in it.
func TestDemo(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	var out bytes.Buffer
	require.NoError(t, Run(t.Context(), Config{Scripts: scripts.Scripts, Dir: dir, Out: &out}))
	said, end, found := strings.Cut(out.String(), "(--all shows them).\n")
	require.True(t, found, "%s", said)
	golden(t, "end.txt", end)

	for _, want := range []string{
		"stone-draw           phone-s2 has a signal again and sends what it kept, all of it twice",
		"stone-draw/shop-a    ALERT urgent, joint-closing: ",
		"alder-court/north-2  ALERT urgent, strip-early: ",
		"alder-court/north-2  ALERT high, strip-unpermitted: ",
		"alder-court/east-1   ALERT medium, brace-overdue: ",
		"tverrbakken/wall-3   ALERT urgent, frozen: ",
		"stone-draw/shop-d    ALERT high, window-later: ",
		"alder-court          morning sheet: ",
		"alder-court/north-1  may strip since Wed 4 Nov 10:40 EST",
		"tverrbakken/wall-1   may strip since Sat 7 Nov 08:00 CET",
	} {
		require.Contains(t, said, want)
	}

	mark, ok, err := hub.ReadMark(dir)
	require.NoError(t, err)
	require.True(t, ok, "serve goes on with it")
	require.Equal(t, "2026-11-09T20:20:00Z", mark.At.Format("2006-01-02T15:04:05Z07:00"))
	for _, fromStream := range []bool{false, true} {
		report, err := hub.Rebuild(t.Context(), dir, fromStream, false, nil)
		require.NoError(t, err)
		require.True(t, report.Compared && report.Equal, "from stream %t: %v", fromStream, report.Differences)
		require.Empty(t, report.RecordsDiffer)
	}
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "%s (-update writes it)", path)
}

// A script that makes no sense is refused with its line.
func TestScriptErrors(t *testing.T) {
	const head = "site mill Europe/Oslo\ndevice phone outbox\nend 2026-11-09@12:00\n"
	for text, want := range map[string]string{
		"device phone outbox":                                   "before the site",
		"site mill Atlantis":                                    "Atlantis",
		"site mill Europe/Oslo":                                 "no end",
		head + "2026-11-02 07:00 radio site.opened -":           "unknown device",
		head + "2026-11-02 07:00 phone":                         "too few words",
		head + "2026-11-02 99:00 phone site.opened -":           "99:00",
		head + "2026-11-02 07:00 phone site.opened - nonsense":  "no key=value",
		head + "concrete a 2026-11-02@07:00 fresh=warm":         "fresh",
		head + "probe phone top a 2026-11-02@07:00":             "too few words",
		head + "paint a red":                                    "unknown line",
		head + "2026-11-02 07:00 phone hold.placed a at=@25:00": "25:00",
	} {
		_, err := load(fstest.MapFS{"mill.txt": {Data: []byte(text)}})
		require.ErrorContains(t, err, want, "%s", text)
	}
	_, err := load(fstest.MapFS{})
	require.ErrorContains(t, err, "no file")
}

// An entry that the hub would refuse stops the demo with its place.
func TestWrongEntry(t *testing.T) {
	files := fstest.MapFS{"mill.txt": {Data: []byte("site mill Europe/Oslo\ndevice phone outbox\n2026-11-02 07:00 phone lift.placed a from_m=0 to_m=6 top_m=99\nend 2026-11-09@12:00\n")}}
	err := Run(t.Context(), Config{Scripts: files, Dir: t.TempDir(), Out: &bytes.Buffer{}})
	require.ErrorContains(t, err, "2026-11-02 07:00 mill/phone lift.placed")
	require.ErrorContains(t, err, "0.01..15 m")
}
