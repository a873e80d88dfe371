package scheduler_test

import (
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/scheduler"
)

func rang(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

func TestRealClockWaitsUntilTheInstant(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := scheduler.NewReal(nil)
		begin := clock.Now()
		done := clock.Until(begin.Add(90 * time.Minute))
		time.Sleep(90*time.Minute - time.Nanosecond)
		synctest.Wait()
		require.False(t, rang(done))
		time.Sleep(time.Nanosecond)
		synctest.Wait()
		require.True(t, rang(done))
		require.Equal(t, 90*time.Minute, clock.Elapsed())
		require.True(t, rang(clock.Until(begin)), "an instant that has passed is due at once")
	})
}

// A timer that only counted the time left would ring three hours late.
func TestRealClockSeesAJumpWithinASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var jump atomic.Int64
		clock := scheduler.NewReal(func() time.Time { return time.Now().Add(time.Duration(jump.Load())) })
		begin := clock.Now()
		done := clock.Until(begin.Add(3 * time.Hour))
		time.Sleep(time.Minute)
		jump.Store(int64(4 * time.Hour))
		time.Sleep(time.Second)
		synctest.Wait()
		require.True(t, rang(done))
		require.Equal(t, time.Minute+time.Second, clock.Elapsed(), "the steady clock did not jump")
	})
}

// And one that counted it before a step back would ring an hour early.
func TestRealClockWaitsLongerWhenTheWallClockStepsBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var jump atomic.Int64
		clock := scheduler.NewReal(func() time.Time { return time.Now().Add(time.Duration(jump.Load())) })
		done := clock.Until(clock.Now().Add(3 * time.Hour))
		time.Sleep(time.Minute)
		jump.Store(int64(-time.Hour))
		time.Sleep(3 * time.Hour)
		synctest.Wait()
		require.False(t, rang(done))
		time.Sleep(time.Hour)
		synctest.Wait()
		require.True(t, rang(done))
	})
}

func TestSteppedClockMovesOnlyWhenTold(t *testing.T) {
	begin := time.Date(2026, 1, 15, 6, 0, 0, 0, time.FixedZone("", 3600))
	clock := scheduler.NewStepped(begin)
	require.Equal(t, time.UTC, clock.Now().Location())
	require.True(t, clock.Now().Equal(begin))
	first, second := clock.Until(begin.Add(time.Hour)), clock.Until(begin.Add(2*time.Hour))
	clock.Step(time.Hour)
	require.True(t, rang(first))
	require.False(t, rang(second))
	clock.Jump(-30 * time.Minute)
	require.Equal(t, time.Hour, clock.Elapsed())
	clock.StepTo(begin.Add(2 * time.Hour))
	require.True(t, rang(second))
	require.Equal(t, 2*time.Hour+30*time.Minute, clock.Elapsed())
	clock.StepTo(begin)
	require.True(t, clock.Now().Equal(begin.Add(2*time.Hour)), "a step to the past does nothing")
	require.Panics(t, func() { clock.Step(-time.Second) })
}
