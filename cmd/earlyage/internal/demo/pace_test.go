package demo

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// At a speed of 3,600 an hour of the demo takes a second, whatever the hub's own
// work took of it; without a speed nothing is waited for.
func TestPace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		from := time.Date(2026, 11, 2, 6, 0, 0, 0, time.UTC)
		for speed, want := range map[float64]time.Duration{3600: time.Second, 1: time.Hour, 0: 0} {
			p := &play{cfg: Config{Speed: speed}, began: time.Now(), from: from}
			began := time.Now()
			time.Sleep(want / 4) // the hub's work
			require.NoError(t, p.pace(t.Context(), from.Add(time.Hour)))
			require.Equal(t, want, time.Since(began), "speed %v", speed)
			require.NoError(t, p.pace(t.Context(), from.Add(time.Minute)), "a moment that is past")
			require.Equal(t, want, time.Since(began), "speed %v", speed)
		}
		p := &play{cfg: Config{Speed: 1}, began: time.Now(), from: from}
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(time.Minute, cancel)
		require.ErrorIs(t, p.pace(ctx, from.Add(time.Hour)), context.Canceled)
		require.Error(t, p.pace(ctx, from), "asked to stop before it waits")
	})
}

// How long a thing took is written as people do, and never shorter than it was.
func TestLasting(t *testing.T) {
	for d, want := range map[time.Duration]string{
		-time.Second: "0 s", 0: "0 s", time.Microsecond: "1 ms", 250 * time.Millisecond: "250 ms", time.Second: "1 s", 1001 * time.Millisecond: "2 s",
		59 * time.Second: "59 s", 59*time.Second + 1: "1 min", 60 * time.Second: "1 min", 61 * time.Second: "2 min", 59 * time.Minute: "59 min", 59*time.Minute + 1: "1 h",
		time.Hour: "1 h", 17*time.Hour + 46*time.Minute: "17 h 46 min", 17*time.Hour + 46*time.Minute + 1: "17 h 47 min", 24 * time.Hour: "24 h",
	} {
		require.Equal(t, want, lasting(d), "%s", d)
	}
}
