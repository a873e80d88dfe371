package demo

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/cpu"

	"earlyage/events"
	scripts "earlyage/testdata/demo"
)

var long = flag.Bool("long", false, "compare with arm64 too, under qemu-aarch64")

// recorded gives the scripts as a recorded stream, with ids that are the same
// every time, and the moment at which they end.
func recorded(t *testing.T) ([]byte, time.Time) {
	t.Helper()
	s, err := load(scripts.Scripts)
	require.NoError(t, err)
	air, err := newClimate(s)
	require.NoError(t, err)
	m, out := newMaker(s, air), &bytes.Buffer{}
	numbers := map[deviceKey]uint64{}
	write := func(e entry, ev events.Event) events.Event {
		numbers[e.device]++
		ev.Sequence, ev.ID = numbers[e.device], fmt.Sprintf("%s-%d", e.device.device, numbers[e.device])
		body, err := ev.Encode()
		require.NoError(t, err)
		require.NoError(t, ev.Check(), "%s", body)
		out.Write(append(body, '\n'))
		return ev
	}
	for _, e := range inOrder(s.entries) {
		if !e.isEvent() {
			continue
		}
		ev, err := m.event(e)
		require.NoError(t, err)
		m.sent(e, write(e, ev))
		last := numbers[e.device]
		write(e, events.Event{Source: ev.Source, Kind: "device.reported", Time: ev.Time, Data: &events.DeviceReported{Last: last}})
	}
	return out.Bytes(), s.end
}

// The same record gives the same digits on every machine: what was built with
// and without fused multiply-add says the same of the demo's week, to the byte.
func TestSameDigitsEverywhere(t *testing.T) {
	record, end := recorded(t)
	dir := t.TempDir()
	var builds [][]string // environment, then what runs it
	if runtime.GOARCH == "amd64" {
		builds = append(builds, []string{"GOAMD64=v1"})
		if cpu.X86.HasAVX2 && cpu.X86.HasFMA && cpu.X86.HasBMI2 {
			builds = append(builds, []string{"GOAMD64=v3"})
		}
	} else {
		builds = append(builds, []string{"GOARCH=" + runtime.GOARCH})
	}
	if *long {
		builds = append(builds, []string{"GOARCH=arm64", "qemu-aarch64"})
	}
	var first []byte
	for i, b := range builds {
		program := filepath.Join(dir, fmt.Sprint("digits", i))
		build := exec.Command("go", "build", "-o", program, "./testdata/digits")
		build.Env = append(os.Environ(), b[0], "CGO_ENABLED=0")
		text, err := build.CombinedOutput()
		require.NoError(t, err, "%s", text)
		words := append(b[1:], program, end.Format(time.RFC3339))
		run := exec.Command(words[0], words[1:]...)
		run.Stdin = bytes.NewReader(record)
		out, err := run.Output()
		require.NoError(t, err, "%s", b)
		if first == nil {
			first = out
		}
		require.True(t, bytes.Equal(first, out), "built with %s and with %s", builds[0], b)
	}
	require.Contains(t, string(first), `"sum_ns"`)
	require.Equal(t, 12, strings.Count(string(first), `"criteria":[{"name"`), "walls")
	t.Logf("compared %v, %d bytes", builds, len(first))
}
