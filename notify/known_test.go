package notify_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify"
	"earlyage/scheduler"
)

// What was entered late is held against whoever entered it, and not the hub; what
// was known when it began is held against the hub.
func TestLateEntriesAreMeasuredApart(t *testing.T) {
	moment := func(t *testing.T, wall string, began time.Time) events.Event {
		return eventBy(t, "phone-1", "ann", wall, "pour.started", &events.Moment{At: began})
	}
	for _, c := range []struct {
		name         string
		entry        func(t *testing.T, since time.Time) events.Event
		known, owing time.Duration // of an alert 3 s after the entry, whose condition began 2 h before it
	}{
		{"of that time", func(t *testing.T, since time.Time) events.Event { return moment(t, "north", since) }, 2 * time.Hour, 3 * time.Second},
		{"of earlier", func(t *testing.T, since time.Time) events.Event { return moment(t, "north", since.Add(-time.Hour)) }, 2 * time.Hour, 3 * time.Second},
		{"of later", func(t *testing.T, since time.Time) events.Event { return moment(t, "north", since.Add(1)) }, 0, 2*time.Hour + 3*time.Second},
		{"of another wall", func(t *testing.T, since time.Time) events.Event { return moment(t, "south", since) }, 0, 2*time.Hour + 3*time.Second},
		{"a void", func(t *testing.T, since time.Time) events.Event {
			e := eventBy(t, "phone-1", "ann", "north", "record.voided", &events.RecordVoided{Target: events.Target{Source: "/site/mill/device/phone-1", ID: "x"}, Reason: "wrong"})
			e.Time = since.Add(2 * time.Hour)
			return e
		}, 2 * time.Hour, 3 * time.Second},
		{"the hub's own word", func(t *testing.T, since time.Time) events.Event {
			return eventBy(t, "hub", "", "north", "alert.cleared", &events.AlertCleared{Alert: "z", Kind: "load-old", Cause: "z", At: since, Rules: "rules-1"})
		}, 0, 2*time.Hour + 3*time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			bubble(t, func(t *testing.T, r *rig) {
				clock := scheduler.NewReal(nil)
				r.cfg = r.config(clock)
				wait(24 * time.Hour)
				r.begin()
				since := time.Now().UTC()
				wait(2 * time.Hour)
				r.put(sealed(hubKey, c.entry(t, since)))
				wait(3 * time.Second)
				e := raisedEvent(t, "a", "urgent")
				e.Data.(*events.AlertRaised).Since = since
				r.put(sealed(hubKey, e))
				wait(time.Minute)
				m, err := r.e.Measured()
				require.NoError(t, err)
				require.Equal(t, c.known, m.Known.Max)
				require.Equal(t, c.owing, m.Raised.Max)
				require.Equal(t, 1, m.Told.Count)
				got := gathered(t, r.e)
				require.Equal(t, 1.0, got["earlyage_alert_known_seconds"])
				require.Equal(t, float64(m.Reached.Count), got["earlyage_alert_reached_seconds"])
				if c.known > 0 {
					require.Zero(t, m.Reached.Count, "it was not known in time")
				} else {
					require.Equal(t, c.owing, m.Reached.Max, "from the condition to the first channel")
				}
			})
		})
	}
}

// A kind that is held back on purpose for a while is not late for that.
func TestADelayOnPurposeIsNoneOfTheHubs(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.cfg.Delay = func(kind string) time.Duration { return map[string]time.Duration{"load-old": 2 * time.Minute}[kind] }
		wait(time.Hour)
		r.begin()
		e := raisedEvent(t, "a", "urgent")
		e.Data.(*events.AlertRaised).Since = time.Now().UTC().Add(-125 * time.Second)
		r.put(sealed(hubKey, e))
		wait(time.Second)
		for range 2 {
			m, err := r.e.Measured()
			require.NoError(t, err)
			five := notify.Spread{Count: 1, P50: 5 * time.Second, P99: 5 * time.Second, Max: 5 * time.Second}
			require.Equal(t, five, m.Raised)
			require.Equal(t, five, m.Reached)
			require.Zero(t, m.Known.Max)
			r.end()
			r.begin()
		}
	})
}
