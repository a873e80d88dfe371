package scheduler_test

import (
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

func TestEveryAlertKindIsWholeInTheTable(t *testing.T) {
	require.Equal(t, events.AlertKinds(), scheduler.AlertKindNames(), "who acts first on each kind, and what it is, are of one list")
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
		require.LessOrEqual(t, utf8.RuneCountInString(kind.Do), 60, "%s: it has to go into a short message", name)
		require.True(t, strings.HasPrefix(kind.Deadband, "none: ") || strings.ContainsAny(kind.Deadband, "0123456789"), "%s: a deadband has its number, or says why there is none", name)
		require.Equal(t, kind.Once, kind.OffDelay == 0, "%s: what tells of a deed ends with its answer, every other one waits a little", name)
		require.False(t, kind.Once && !kind.Latch, "%s: what ends with its answer waits for it", name)
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

// Whoever reads an early strip is not sent under the wall: nobody braces it
// again before an engineer has said so.
func TestAnEarlyStripKeepsPeopleOut(t *testing.T) {
	for _, name := range []string{scheduler.AlertStripEarly, scheduler.AlertFaceEarly} {
		kind := scheduler.AlertKinds[name]
		require.Contains(t, kind.Action, "the wall's height + 1.2 m", name)
		require.Contains(t, kind.Action, "all the engineer", name)
		require.Contains(t, kind.Action, "race again only on their word", name)
		require.NotContains(t, strings.ToLower(kind.Action), "put the braces back", name)
	}
	require.Contains(t, scheduler.AlertKinds[scheduler.AlertStripEarly].Do, "only on their word")
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

// What is urgent is told at once; nothing hangs about for hours once it is over,
// and nothing but an answered deed goes within the same minute.
func TestDelaysAreSensible(t *testing.T) {
	for name, kind := range scheduler.AlertKinds {
		if kind.Priority == scheduler.Urgent {
			require.Zero(t, kind.OnDelay, name)
		}
		require.LessOrEqual(t, kind.OnDelay, kind.Respond/4, "%s: the delay eats the time there is to act", name)
		require.LessOrEqual(t, kind.OffDelay, 30*time.Minute, name)
		if !kind.Once {
			require.GreaterOrEqual(t, kind.OffDelay, time.Minute, name)
		}
	}
}

// A statement carries the digest of the fold that it rests on: whoever raises the
// version of the fold raises that of the rules, or what was stated before reads as
// if it had been altered.
func TestTheFoldIsOfTheRules(t *testing.T) {
	require.Equal(t, map[string]int{"earlyage-rules-2": 5}[scheduler.Rules], wall.FoldVersion)
}
