package notify_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// A stepped clock goes from one due moment to the next; after each, all that was
// to be told is told, and said in the stream.
func TestAnEngineIsWalkedByASteppedClock(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		clock := scheduler.NewStepped(start)
		r.cfg = r.config(clock)
		r.mail.to = firstTries(loses)
		r.begin()
		require.NoError(t, r.e.Settle(t.Context()))
		require.True(t, r.e.NextDue().IsZero() || r.e.NextDue().After(start))
		r.tape.put(raised(t, "a"))
		require.NoError(t, r.e.Settle(t.Context()))
		var told []time.Duration
		for end := start.Add(9 * time.Minute); clock.Now().Before(end); {
			n := len(r.mail.got)
			due := r.e.NextDue()
			if due.IsZero() || due.After(end) {
				due = end
			}
			clock.StepTo(due)
			require.NoError(t, r.e.Settle(t.Context()))
			if len(r.mail.got) > n {
				told = append(told, clock.Now().Sub(start))
			}
			require.Len(t, r.tape.said(t), len(r.mail.shown()))
		}
		require.Equal(t, []time.Duration{time.Second, 2*time.Minute + time.Second, 5*time.Minute + time.Second}, told)
	})
}

func TestSettleWaitsForWhatIsBeingSent(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.mail.to = firstTries(hangs)
		r.begin()
		r.tape.put(raised(t, "a"))
		began := time.Now()
		require.NoError(t, r.e.Settle(t.Context()))
		require.Equal(t, 30*time.Second, time.Since(began))
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		require.ErrorIs(t, r.e.Settle(ctx), context.Canceled)
		e := r.e
		r.end()
		require.ErrorIs(t, e.Settle(t.Context()), notify.ErrStopped)
	})
}

func TestAnAlertIsMeasured(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		wait(time.Minute)
		clock := scheduler.NewStepped(time.Now())
		r.cfg = r.config(clock)
		r.mail.to = firstTries(loses)
		r.begin()
		step := func(d time.Duration) {
			for range d / time.Second {
				wait(time.Second)
				clock.Step(time.Second)
				require.NoError(t, r.e.Settle(t.Context()))
			}
		}
		begun := time.Now()
		e := raisedEvent(t, "a", "urgent")
		e.Data.(*events.AlertRaised).Since = begun.Add(-5 * time.Second).UTC()
		r.put(sealed(hubKey, e))
		step(40 * time.Second)
		r.put(word(t, hubKey, events.DeskOf("ann"), "north", "pour.started", &events.Moment{At: start}),
			sealed(hubKey, eventBy(t, events.DeskOf("ann"), "ann", "north", "alert.shown", &events.AlertShown{Alert: "a", Kind: "load-old", State: "raised", At: begun})))
		step(20 * time.Second)
		r.put(acknowledged(t, hubKey, events.DeskOf("ann"), "ann", "a", "load-old"))
		step(time.Second)
		for range 2 { // a restart loses nothing
			m, err := r.e.Measured()
			require.NoError(t, err)
			require.Equal(t, notify.Spread{Count: 1, P50: 5 * time.Second, P99: 5 * time.Second, Max: 5 * time.Second}, m.Raised)
			require.Equal(t, time.Second, m.Told.P99)
			require.Equal(t, 40*time.Second, m.Shown.P50)
			require.Equal(t, time.Minute, m.Acknowledged.Max)
			require.Equal(t, "ann", m.Reader)
			require.Equal(t, 1, m.Most)
			hour, err := r.e.Between(begun, begun.Add(time.Hour))
			require.NoError(t, err)
			require.InDelta(t, 1.0/6, hour.Mean, 1e-9)
			none, err := r.e.Between(begun.Add(time.Hour), begun.Add(2*time.Hour))
			require.NoError(t, err)
			require.Zero(t, none.Raised.Count+none.Told.Count+none.Most)
			r.end()
			r.begin()
		}
	})
}

func TestWhatIsShownToAWatcher(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.mail.to = func(m notice.Message) int {
			if m.To.Person == "ann" {
				return loses
			}
			return takes
		}
		r.begin()
		r.put(raised(t, "a"))
		wait(3 * time.Minute)
		got := gathered(t, r.e)
		require.Equal(t, 1.0, got["earlyage_cases_open"])
		require.Equal(t, 1.0, got["earlyage_messages_undelivered"])
		require.Equal(t, 1.0, got["earlyage_reader_alerts"])
		require.Equal(t, 1.0, got["earlyage_messages_total done mail"])
		require.Greater(t, got["earlyage_messages_total again mail"], 5.0)
		require.Equal(t, 1.0, got["earlyage_alert_raised_seconds"])
		require.Equal(t, 1.0, got["earlyage_alert_told_seconds"])
		require.Zero(t, got["earlyage_alert_shown_seconds"])
		synctest.Wait()
	})
}
