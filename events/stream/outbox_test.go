package stream_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

func started(wall string) events.Event {
	return events.Event{Kind: "pour.started", Wall: wall, Data: &events.Moment{}}
}

func TestAddStamps(t *testing.T) {
	now := time.Date(2026, 5, 4, 8, 0, 0, 123456789, time.FixedZone("", 3600))
	d := configDevice(t, stream.OutboxConfig{Dir: t.TempDir(), Now: func() time.Time { return now }})
	var got []events.Event
	for _, wall := range []string{"w1", "w2", "w1", "w1", "w2"} {
		e, err := d.Add(started(wall))
		require.NoError(t, err)
		got = append(got, e)
	}
	site, err := d.Add(events.Event{Kind: "wind.read", Time: now.Add(-time.Hour), Data: &events.WindRead{GustMPS: ptr(4.0)}})
	require.NoError(t, err)
	got = append(got, site)
	for i, before := range []uint64{0, 0, 1, 3, 2, 0} {
		id, err := uuid.Parse(got[i].ID)
		require.NoError(t, err)
		require.EqualValues(t, 7, id.Version())
		require.EqualValues(t, i+1, got[i].Sequence)
		require.Equal(t, before, got[i].WallSequence, "event %d", i+1)
		require.Equal(t, phone, got[i].Source)
		require.False(t, got[i].HasOffset, "never in contact")
	}
	require.Equal(t, now.UTC().Truncate(time.Millisecond), got[0].Time)
	require.Equal(t, now.Add(-time.Hour).UTC(), site.Time, "a time that is given stays")
	require.Equal(t, stream.OutboxStatus{Waiting: 6, Last: 6}, d.status())
}

func ptr[T any](v T) *T { return &v }

func TestAddRefuses(t *testing.T) {
	d := newDevice(t)
	numbered, named, other := started("w"), started("w"), started("w")
	numbered.Sequence, named.ID, other.Source = 3, "x", events.Source{Site: "a", Device: "phone-2"}
	for want, e := range map[string]events.Event{
		"the outbox's to give":            numbered,
		"id, sequence":                    named,
		"source /site/a/device/phone-2":   other,
		"subject: nothing":                {Kind: "pour.started", Data: &events.Moment{}},
		"data.length_m: ":                 {Kind: "wall.laid-out", Wall: "w", Data: &events.WallLaidOut{}},
		"only the hub says":               {Kind: "alert.raised", Wall: "w", Data: &events.AlertRaised{}},
		"makes device.reported by itself": {Kind: "device.reported", Data: &events.DeviceReported{Last: 1}},
		"by: nothing":                     {Kind: "hold.placed", Wall: "w", Data: &events.HoldPlaced{Hold: "h1", Reason: "x"}},
	} {
		_, err := d.Add(e)
		require.ErrorContains(t, err, want)
	}
	_, err := d.AddAll([]events.Event{started("w"), started("w"), {Kind: "pour.started", Data: &events.Moment{}}})
	var refusal *events.Refusal
	require.ErrorAs(t, err, &refusal)
	require.ErrorContains(t, err, "event 3: subject: nothing")
	require.Equal(t, stream.OutboxStatus{}, d.status(), "something was kept")
	none, err := d.AddAll(nil)
	require.NoError(t, err)
	require.Empty(t, none)
}

func TestOpenRefusesAnotherDevicesFolder(t *testing.T) {
	d := newDevice(t)
	d.fill(1)
	_, err := stream.OpenOutbox(d.dir, events.Source{Site: "a", Device: "phone-2"})
	require.ErrorContains(t, err, `is of "/site/a/device/phone-1", not of "/site/a/device/phone-2"`)
	_, err = stream.OpenOutbox("", phone)
	require.ErrorContains(t, err, "Dir is empty")
	_, err = stream.OpenOutbox(t.TempDir(), events.Source{Site: "A"})
	require.ErrorContains(t, err, "source")
}

func TestOutboxIsReadAgain(t *testing.T) {
	d := newDevice(t)
	d.fill(5)
	require.NoError(t, d.Close())
	again := openDevice(t, d.dir)
	require.Equal(t, stream.OutboxStatus{Waiting: 5, Last: 5}, again.status())
	e, err := again.Add(started("w1"))
	require.NoError(t, err)
	require.EqualValues(t, 6, e.Sequence)
	require.EqualValues(t, 4, e.WallSequence)
}

const outboxChild = "STREAM_TEST_OUTBOX_CHILD"

// addUntilTold is a process that adds events to a folder.
func outboxChildMain(dir string) int {
	o, err := stream.OpenOutbox(dir, phone)
	for i := 0; i < 40 && err == nil; i++ {
		_, err = o.Add(started("w1"))
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// Several processes and goroutines add to one folder at a time: every number is
// given once, and each event names the one before it on the wall.
func TestAddFromSeveralProcesses(t *testing.T) {
	d := newDevice(t)
	var children []*exec.Cmd
	for range 3 {
		child := exec.Command(os.Args[0], "-test.run=^$")
		child.Env = append(os.Environ(), outboxChild+"="+d.dir)
		child.Stderr = os.Stderr
		require.NoError(t, child.Start())
		children = append(children, child)
	}
	other := openDevice(t, d.dir)
	done := make(chan error, 2)
	for _, o := range []*device{d, other} {
		go func() {
			var err error
			for i := 0; i < 40 && err == nil; i++ {
				_, err = o.Add(started("w1"))
			}
			done <- err
		}()
	}
	require.NoError(t, <-done)
	require.NoError(t, <-done)
	for _, child := range children {
		require.NoError(t, child.Wait())
	}
	require.Equal(t, stream.OutboxStatus{Waiting: 200, Last: 200}, d.status())
	hub := runHub(t)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	hub.requireOnce(phone, 201)
	for i, m := range readAll(t, hub.st)[:200] {
		e, err := events.Decode(m.Subject, m.Body)
		require.NoError(t, err)
		require.EqualValues(t, i, e.WallSequence)
	}
}

func logOf(dir string) string { return filepath.Join(dir, "outbox.log") }

// The last line is cut at every byte: what stands before it is untouched, the
// cut is said, and the next event takes the number that was never given out.
func TestTornTailIsCut(t *testing.T) {
	d := newDevice(t)
	d.fill(3)
	before, err := os.ReadFile(logOf(d.dir))
	require.NoError(t, err)
	d.fill(1)
	after, err := os.ReadFile(logOf(d.dir))
	require.NoError(t, err)
	require.NoError(t, d.Close())
	for n := len(before) + 1; n < len(after); n++ {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(logOf(dir), after[:n], 0o600))
		torn, err := stream.OpenOutbox(dir, phone)
		require.NoError(t, err)
		s, err := torn.Status()
		require.NoError(t, err)
		require.Equal(t, 3, s.Waiting, "cut at %d", n)
		require.Len(t, s.Damage, 1)
		require.Contains(t, s.Damage[0], fmt.Sprintf("at %d: a half-written tail of %d bytes was cut off", len(before), n-len(before)))
		e, err := torn.Add(started("w9"))
		require.NoError(t, err)
		require.EqualValues(t, 4, e.Sequence)
		require.NoError(t, torn.Close())
		whole, err := stream.OpenOutbox(dir, phone)
		require.NoError(t, err)
		s, err = whole.Status()
		require.NoError(t, err)
		require.Equal(t, stream.OutboxStatus{Waiting: 4, Last: 4}, s)
		require.NoError(t, whole.Close())
	}
}

// A process dies in the middle of an append while another has the folder open.
func TestTornTailOfAnotherProcess(t *testing.T) {
	d := newDevice(t)
	d.fill(2)
	f, err := os.OpenFile(logOf(d.dir), os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteString("0badc0de event 3 0 pour.a")
	require.NoError(t, err)
	require.NoError(t, f.Close())
	e, err := d.Add(started("w1"))
	require.NoError(t, err)
	require.EqualValues(t, 3, e.Sequence)
	require.Len(t, d.status().Damage, 1)
}

// A line in the middle that cannot be read is said; the lines after it count,
// and its number is not given again.
func TestDamagedLineInTheMiddle(t *testing.T) {
	d := newDevice(t)
	d.fill(5)
	require.NoError(t, d.Close())
	raw, err := os.ReadFile(logOf(d.dir))
	require.NoError(t, err)
	at := bytes.Index(raw, []byte("entry 2"))
	raw[at] ^= 1
	require.NoError(t, os.WriteFile(logOf(d.dir), raw, 0o600))
	d = openDevice(t, d.dir)
	s := d.status()
	require.Equal(t, 4, s.Waiting)
	require.EqualValues(t, 5, s.Last)
	require.Len(t, s.Damage, 1)
	require.Contains(t, s.Damage[0], "bytes cannot be read")

	hub := runHub(t)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.Equal(t, map[uint64]int{1: 1, 2: 1, 4: 1, 5: 1, 6: 1}, numbersOf(t, readAll(t, hub.st), phone), "the gap shows")
}

// A line that rots while the outbox is open is found when it is to be sent; the
// others are sent.
func TestLineRotsUnderUs(t *testing.T) {
	d := newDevice(t)
	d.fill(5)
	raw, err := os.ReadFile(logOf(d.dir))
	require.NoError(t, err)
	f, err := os.OpenFile(logOf(d.dir), os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteAt([]byte("X"), int64(bytes.Index(raw, []byte("entry 1"))))
	require.NoError(t, err)
	require.NoError(t, f.Close())
	hub := runHub(t)
	require.NoError(t, d.Drain(testContext(t), hub.hub))
	require.Equal(t, map[uint64]int{1: 1, 3: 1, 4: 1, 5: 1, 6: 1}, numbersOf(t, readAll(t, hub.st), phone))
	require.Contains(t, strings.Join(d.status().Damage, " "), "the event with number 2 cannot be read any more")
}

func FuzzOutboxLog(f *testing.F) {
	dir := f.TempDir()
	o, err := stream.OpenOutbox(dir, phone)
	require.NoError(f, err)
	_, err = o.AddAll([]events.Event{started("w1"), started("w2")})
	require.NoError(f, err)
	require.NoError(f, o.Close())
	raw, err := os.ReadFile(logOf(dir))
	require.NoError(f, err)
	f.Add(raw)
	f.Add([]byte(nil))
	for _, text := range []string{
		"outbox 1 /site/a/device/phone-1", "event", "event 1 0 pour.a.w.pour.started - {}", "event 18446744073709551615 0 pour.a.w.pour.started - {}",
		"send s 1-2", "send s 2-1", "acked 1-3 2 5", "acked 1 9 5", "again 1", "held 1,2 7", `aside 1 "x"`, "aside 1 x", `receipt {"upto":3}`,
		"receipt {", "mark 7", "wall w 3", "wall w", "reported 3", "drop 1", "", "what is this",
	} {
		f.Add(append(bytes.Clone(raw), stream.LogLine(text)...))
	}
	f.Fuzz(func(t *testing.T, log []byte) {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(logOf(dir), log, 0o600))
		o, err := stream.OpenOutbox(dir, phone)
		if err != nil {
			require.ErrorContains(t, err, "is of")
			return
		}
		before, err := o.Status()
		require.NoError(t, err)
		if before.Last > 1<<62 {
			require.NoError(t, o.Close())
			return
		}
		e, err := o.Add(started("w1"))
		require.NoError(t, err)
		require.Greater(t, e.Sequence, before.Last)
		require.NoError(t, o.Close())
		o, err = stream.OpenOutbox(dir, phone)
		require.NoError(t, err)
		after, err := o.Status()
		require.NoError(t, err)
		require.Equal(t, before.Waiting+1, after.Waiting)
		require.Equal(t, e.Sequence, after.Last)
		require.NoError(t, o.Close())
	})
}
