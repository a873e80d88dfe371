package stream_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

// A device that has nothing new says so again when its last word is half a day
// old: another device may have recorded the finish since. One whose entries may
// all be forgotten is silent.
func TestAnOldReportIsMadeAgain(t *testing.T) {
	hub := runHub(t)
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	d := configDevice(t, stream.OutboxConfig{Dir: t.TempDir(), Now: func() time.Time { return now }})
	d.fill(3)
	reports := func() (last []uint64) {
		t.Helper()
		require.NoError(t, d.Drain(testContext(t), hub.hub))
		require.NoError(t, hub.level())
		for _, m := range readAll(t, hub.st) {
			e, err := events.Decode(m.Subject, m.Body)
			require.NoError(t, err)
			if r, ok := e.Data.(*events.DeviceReported); ok {
				last = append(last, r.Last)
			}
		}
		return last
	}
	require.Equal(t, []uint64{3}, reports())
	now = now.Add(12*time.Hour - time.Second)
	require.Equal(t, []uint64{3}, reports())
	now = now.Add(time.Second)
	require.Equal(t, []uint64{3, 4}, reports(), "its own report before is the last number")
	require.Equal(t, []uint64{3, 4}, reports(), "once")
	now = now.Add(29 * 24 * time.Hour)
	require.Equal(t, []uint64{3, 4, 5}, reports())
	now = now.Add(24 * time.Hour)
	require.Equal(t, []uint64{3, 4, 5}, reports(), "what it sent may be forgotten: it has nothing to speak of")
	hub.requireAll(phone, 6)
}
