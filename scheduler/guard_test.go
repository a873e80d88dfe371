package scheduler_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler"
)

var guardStart = time.Date(2026, 1, 15, 6, 0, 0, 0, time.UTC)

// clockAfter is an honest clock after so much time, with what else the guard sees.
func clockAfter(d time.Duration, synchronised bool, offsets ...scheduler.Offset) scheduler.ClockFacts {
	return scheduler.ClockFacts{Wall: guardStart.Add(d), Elapsed: d, Synchronised: synchronised, Offsets: offsets}
}

func heard(after, by time.Duration) scheduler.Offset {
	return scheduler.Offset{Heard: guardStart.Add(after), By: by}
}

func TestGuardDoubtsUntilSomethingConfirmsTheClock(t *testing.T) {
	for name, confirm := range map[string]scheduler.ClockFacts{
		"time server": clockAfter(time.Minute, true),
		"device":      clockAfter(time.Minute, false, heard(30*time.Second, -4*time.Minute)),
	} {
		var g scheduler.Guard
		g.Look(clockAfter(0, false))
		require.Equal(t, []string{"nothing has confirmed the hub's clock since it started"}, g.Doubts(), name)
		g.Look(confirm)
		require.Empty(t, g.Doubts(), name)
	}
}

func TestGuardDoesNotTakeAnOldWordForAConfirmation(t *testing.T) {
	var g scheduler.Guard
	g.Look(clockAfter(0, false, heard(-time.Minute, 0)))
	require.NotEmpty(t, g.Doubts(), "heard before the start")
	g.Look(clockAfter(2*time.Hour, false, heard(30*time.Minute, 0)))
	require.NotEmpty(t, g.Doubts(), "heard over an hour ago")
	g.Look(clockAfter(2*time.Hour, false, heard(3*time.Hour, 0)))
	require.NotEmpty(t, g.Doubts(), "heard in the future")
	g.Look(clockAfter(2*time.Hour, false, heard(2*time.Hour, 0)))
	require.Empty(t, g.Doubts())
}

func TestGuardDoubtsAJumpUntilItIsConfirmed(t *testing.T) {
	for _, jump := range []time.Duration{2*time.Minute + time.Second, -2*time.Minute - time.Second, 9 * time.Hour} {
		var g scheduler.Guard
		g.Look(clockAfter(0, true))
		require.Empty(t, g.Doubts())
		later := func(d time.Duration, synchronised bool) scheduler.ClockFacts {
			f := clockAfter(d, synchronised)
			f.Wall = f.Wall.Add(jump)
			return f
		}
		g.Look(later(time.Hour, true))
		require.Equal(t, []string{"the hub's clock jumped by over 2 minutes and nothing has confirmed it since"}, g.Doubts(),
			"%v: the jump is seen even where the time server itself made it", jump)
		g.Look(later(time.Hour+59*time.Second, true))
		require.NotEmpty(t, g.Doubts(), "%v: and stands for a minute", jump)
		g.Look(later(5*time.Hour, false))
		require.NotEmpty(t, g.Doubts(), "%v: time alone confirms nothing", jump)
		g.Look(later(6*time.Hour, true))
		require.Empty(t, g.Doubts(), "%v", jump)
	}
}

// After a jump back the words from before it seem to come later, when the clock
// has caught up with them. They confirm nothing.
func TestGuardTakesNoWordFromBeforeAJumpBack(t *testing.T) {
	before := heard(59*time.Minute, 0)
	var g scheduler.Guard
	g.Look(clockAfter(0, false))
	g.Look(clockAfter(time.Hour, false, before))
	require.Empty(t, g.Doubts())
	back := func(d time.Duration, offsets ...scheduler.Offset) scheduler.ClockFacts {
		f := clockAfter(time.Hour+d, false, offsets...)
		f.Wall = f.Wall.Add(-30 * time.Minute)
		return f
	}
	require.True(t, g.Jumps(back(0)))
	for minutes := range 60 {
		g.Look(back(time.Duration(minutes)*time.Minute, before))
		require.NotEmpty(t, g.Doubts(), "%d minutes after the jump", minutes)
	}
	g.Look(back(time.Hour, heard(89*time.Minute, 0)))
	require.Empty(t, g.Doubts(), "a word since the jump")
}

// A hub that starts with a clock that is behind, and is still reading old words.
func TestGuardTakesNoWordThatTheRecordIsStillReading(t *testing.T) {
	read := heard(10*time.Minute, 0) // by the stream's clock, before the hub was stopped
	var g scheduler.Guard
	f := clockAfter(0, false)
	f.CatchingUp = true
	g.Look(f)
	f = clockAfter(time.Minute, false, read)
	f.CatchingUp = true
	g.Look(f)
	g.Look(clockAfter(11*time.Minute, false, read))
	require.NotEmpty(t, g.Doubts())
	g.Look(clockAfter(12*time.Minute, false, heard(12*time.Minute, 0)))
	require.Empty(t, g.Doubts())
}

func TestGuardBearsSmallCorrections(t *testing.T) {
	var g scheduler.Guard
	g.Look(clockAfter(0, true))
	f := clockAfter(time.Hour, false)
	f.Wall = f.Wall.Add(2 * time.Minute)
	g.Look(f)
	require.Empty(t, g.Doubts())
}

// A clock set wrong in small steps is caught when they add up.
func TestGuardAddsSmallStepsUp(t *testing.T) {
	var g scheduler.Guard
	g.Look(clockAfter(0, true))
	for i := range 3 {
		f := clockAfter(time.Duration(i)*time.Hour, true)
		f.Wall = f.Wall.Add(time.Duration(i) * 61 * time.Second)
		g.Look(f)
	}
	require.NotEmpty(t, g.Doubts())
}

func TestGuardDoubtsAClockThatItsDevicesContradict(t *testing.T) {
	far, near := 5*time.Minute+time.Second, 5*time.Minute
	for _, c := range []struct {
		name  string
		by    []time.Duration
		doubt bool
	}{
		{"one device, near", []time.Duration{near}, false},
		{"one device, far", []time.Duration{far}, true},
		{"behind", []time.Duration{-far}, true},
		{"one of three is wrong", []time.Duration{0, 9 * time.Hour, time.Second}, false},
		{"two of three are far", []time.Duration{far, 0, far}, true},
		{"an even number: the worse of the middle", []time.Duration{0, far}, true},
		{"an even number, behind", []time.Duration{0, -far}, true},
	} {
		var g scheduler.Guard
		g.Look(clockAfter(0, true))
		var offsets []scheduler.Offset
		for _, by := range c.by {
			offsets = append(offsets, heard(time.Minute, by))
		}
		g.Look(clockAfter(2*time.Minute, true, offsets...))
		if !c.doubt {
			require.Empty(t, g.Doubts(), c.name)
			continue
		}
		require.Equal(t, []string{"the hub's clock and its devices' clocks are over 5 minutes apart"}, g.Doubts(), c.name)
		g.Look(clockAfter(3*time.Minute, false))
		require.NotEmpty(t, g.Doubts(), "%s: silence confirms nothing", c.name)
		g.Look(clockAfter(4*time.Minute, true))
		require.Empty(t, g.Doubts(), c.name)
	}
}
