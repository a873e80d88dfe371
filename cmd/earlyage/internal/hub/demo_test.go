package hub_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events/stream"
	"earlyage/scheduler"
)

var demoMorning = time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)

// post publishes a message that is refused, so that its recorded time is shown.
func post(t *testing.T, nc *nats.Conn, wall string, recorded time.Time, body string) {
	t.Helper()
	p := stream.Post{Subject: "pour.mill." + wall + ".pour.started", Body: []byte(body), MsgID: stream.NewMsgID()}
	if !recorded.IsZero() {
		p.DemoRecorded = recorded.Format(time.RFC3339Nano)
	}
	_, _, err := stream.Publish(t.Context(), nc, p)
	require.NoError(t, err)
}

func recordedTimes(t *testing.T, h *hub.Hub) map[string]time.Time {
	t.Helper()
	out := map[string]time.Time{}
	for _, r := range get[api.Alerts](t, h, api.PathRefused).Refused {
		out[r.Wall] = r.Recorded.Time
	}
	return out
}

// In a demo's store an invented recorded time counts; a message without one
// takes its own time, but none before the message that went before it. Read
// again from the stream it is the same.
func TestInventedTimes(t *testing.T) {
	dir, clock := t.TempDir(), scheduler.NewStepped(demoMorning.Add(3*time.Hour))
	run := func(c *hub.Config) { c.Dir, c.Demo, c.Unsigned, c.Clock = dir, true, true, clock }
	h, err := hub.Start(t.Context(), demoConfig(t, run))
	require.NoError(t, err)
	nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	at := func(hours int) string { return demoMorning.Add(time.Duration(hours) * time.Hour).Format(time.RFC3339) }
	post(t, nc, "a", demoMorning.Add(time.Hour), `no event`)
	publish(t, nc, "pour.mill._.wind.read", entered("x1", at(0), 0))
	post(t, nc, "b", time.Time{}, `no event`)
	publish(t, nc, "pour.mill._.wind.read", entered("x2", at(7), -5*time.Hour))
	post(t, nc, "c", time.Time{}, `no event`)
	settle(t, h)
	want := map[string]time.Time{
		"a": demoMorning.Add(time.Hour), "b": demoMorning.Add(time.Hour), "c": demoMorning.Add(2 * time.Hour),
	}
	require.Equal(t, want, recordedTimes(t, h))
	require.NoError(t, h.Stop())

	h, err = hub.Start(t.Context(), demoConfig(t, run))
	require.NoError(t, err)
	nc, err = nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	post(t, nc, "e", time.Time{}, `no time`)
	settle(t, h)
	want["e"] = demoMorning.Add(2 * time.Hour)
	require.Equal(t, want, recordedTimes(t, h), "after a restart the last time is known again")
	require.NoError(t, h.Stop())

	require.NoError(t, hub.WriteMark(dir, hub.Mark{At: clock.Now()}))
	for _, fromStream := range []bool{false, true} {
		report, err := hub.Rebuild(t.Context(), dir, fromStream, false, nil)
		require.NoError(t, err)
		require.True(t, report.Compared && report.Equal, "%v", report.Differences)
	}
}

// entered is an event by a clock that is off. The hub has nothing to say of it.
func entered(id, at string, offset time.Duration) []byte {
	return fmt.Appendf(nil, `{"specversion":"1.0","id":%q,"source":"/site/mill/device/p","type":"earlyage.wind.read.v1","time":%q,"clockoffset":"%d","data":{"gust_mps":3}}`,
		id, at, offset.Milliseconds())
}

func demoConfig(t *testing.T, change func(*hub.Config)) hub.Config {
	c := hub.Config{Client: "127.0.0.1:0", HTTP: "127.0.0.1:0", Limits: wide, Synchronised: func() bool { return true }, Log: logTo(t)}
	change(&c)
	return c
}

// Elsewhere a header decides nothing.
func TestInventedTimesCountInNoOtherStore(t *testing.T) {
	h := start(t, nil)
	nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	began := time.Now().Add(-time.Minute)
	post(t, nc, "a", demoMorning, `{}`)
	settle(t, h)
	require.True(t, recordedTimes(t, h)["a"].After(began))
}

// What a demo left is served on the demo's clock, from where it was left or, if
// that was not noted, from what was recorded last.
func TestDemoGoesOn(t *testing.T) {
	dir := t.TempDir()
	clock := scheduler.NewStepped(demoMorning)
	h, err := hub.Start(t.Context(), demoConfig(t, func(c *hub.Config) { c.Dir, c.Demo, c.Unsigned, c.Clock = dir, true, true, clock }))
	require.NoError(t, err)
	nc, err := nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	post(t, nc, "a", demoMorning.Add(time.Hour), `{}`)
	settle(t, h)
	require.NoError(t, h.Stop())
	require.NoError(t, hub.WriteMark(dir, hub.Mark{At: demoMorning}))

	h, err = hub.Start(t.Context(), demoConfig(t, func(c *hub.Config) { c.Dir = dir }))
	require.NoError(t, err)
	out := get[api.Walls](t, h, api.PathWalls)
	require.True(t, out.Demo)
	require.WithinRange(t, out.At.Time, demoMorning.Add(time.Hour), demoMorning.Add(time.Hour+5*time.Minute))
	require.NoError(t, h.Stop())
	mark, ok, err := hub.ReadMark(dir)
	require.NoError(t, err)
	require.True(t, ok)
	require.False(t, mark.At.Before(demoMorning.Add(time.Hour)), "where it was left is noted")
}
