package scheduler_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/scheduler"
)

func TestEveryAlertKindIsWholeInTheTable(t *testing.T) {
	want := []string{
		"backfill-early", "brace-disturbed", "brace-overdue", "brace-spacing", "checks-open", "clock-doubtful", "event-refused", "face-early", "form-moved",
		"frost-ahead", "frozen", "joint-at-risk", "joint-closing", "joint-cold", "line-due", "line-late", "line-out",
		"load-old", "load-slump", "load-temperature", "not-vibrated", "opening-uneven", "pressure-high", "probe-silent", "record-gap", "rise-fast",
		"sill-unfilled", "stop-misplaced", "stream-hole", "stream-short", "strip-early", "strip-unpermitted", "wind-high", "window-later",
	}
	require.Equal(t, want, scheduler.AlertKindNames())
	require.Equal(t, want, events.AlertKinds(), "who acts first on each kind, and who may answer it")
	for name, kind := range scheduler.AlertKinds {
		require.True(t, events.IsToken(name), name)
		v := reflect.ValueOf(kind)
		for i := range v.NumField() {
			if v.Field(i).Kind() == reflect.String {
				require.NotEmpty(t, strings.TrimSpace(v.Field(i).String()), "%s: %s", name, v.Type().Field(i).Name)
			}
		}
		require.Contains(t, []string{scheduler.Urgent, scheduler.High, scheduler.Medium, scheduler.Low}, kind.Priority, name)
		require.Contains(t, []string{"crew", "foreman", "dispatcher", "safety officer", "engineer", "keeper"}, kind.Who, name)
		require.Greater(t, kind.Respond, time.Duration(0), name)
		require.GreaterOrEqual(t, kind.OnDelay, time.Duration(0), name)
		require.Equal(t, kind.Latch, kind.OffDelay == 0, "%s: a latched kind is never cleared, every other one waits a little", name)
	}
}

func TestWhatLatchesIsWhatCannotBeUndone(t *testing.T) {
	var latched []string
	for _, name := range scheduler.AlertKindNames() {
		if scheduler.AlertKinds[name].Latch {
			latched = append(latched, name)
		}
	}
	require.Equal(t, []string{"face-early", "frozen", "joint-cold", "strip-early", "strip-unpermitted"}, latched)
}

// The more pressing an alert is, the less time there is to answer it.
func TestAnUrgentAlertAsksForAnAnswerWithinTheHour(t *testing.T) {
	limit := map[string]time.Duration{
		scheduler.Urgent: time.Hour, scheduler.High: 4 * time.Hour, scheduler.Medium: 24 * time.Hour, scheduler.Low: 7 * 24 * time.Hour,
	}
	for name, kind := range scheduler.AlertKinds {
		require.LessOrEqual(t, kind.Respond, limit[kind.Priority], name)
	}
}

// A moved window is seen by comparison with the last statement, once: it cannot wait.
func TestAMovedWindowIsToldAtOnce(t *testing.T) {
	require.Zero(t, scheduler.AlertKinds[scheduler.AlertWindowLater].OnDelay)
}
