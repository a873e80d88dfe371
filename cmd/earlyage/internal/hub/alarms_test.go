package hub_test

import (
	"fmt"
	"net/http"
	"slices"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// listedAlarm finds an alert of a kind in the list that the hub answers with.
func (m *mill) listedAlarm(kind string) (face.Alarm, bool) {
	m.t.Helper()
	list := get[api.Alerts](m.t, m.hub, api.PathAlerts).Alerts
	require.True(m.t, slices.IsSortedFunc(list, func(a, b face.Alarm) int { return order(a) - order(b) }), "what is over comes last")
	i := slices.IndexFunc(list, func(a face.Alarm) bool { return a.Kind == kind })
	if i < 0 {
		return face.Alarm{}, false
	}
	return list[i], true
}

// everRaised lists the alerts with those that are over.
func (m *mill) everRaised() []face.Alarm {
	m.t.Helper()
	resp, body := m.ask(api.PathAlerts+"?all=1", "")
	require.Equal(m.t, http.StatusOK, resp.StatusCode)
	var out api.Alerts
	require.NoError(m.t, json.Unmarshal(body, &out))
	return out.Alerts
}

func order(a face.Alarm) int {
	if a.Cleared.IsZero() {
		return 0
	}
	return 1
}

// then says something a minute from now.
func (m *mill) then(line string, args ...any) {
	m.t.Helper()
	m.say(fmt.Sprintf("%d "+line, append([]any{m.minutes() + 1}, args...)...))
	settle(m.t, m.hub)
}

const closing = scheduler.AlertJointClosing

// closingJoint pours a lift on another wall, and waits until its joint is closing.
func (m *mill) closingJoint() face.Alarm {
	m.t.Helper()
	m.then("phone p-crew wall.laid-out b length_m=12 height_m=2.4 core_mm=200 mix=w30")
	m.then("phone p-crew pour.started b")
	m.then("phone p-crew lift.placed b from_m=0 to_m=12 top_m=0.6 began=-1 ended=0")
	for range 200 {
		if a, found := m.listedAlarm(closing); found {
			return a
		}
		m.later(5 * time.Minute)
	}
	require.Fail(m.t, "its joint must close")
	return face.Alarm{}
}

// placeOn places on the joint, and waits until its alert is cleared.
func (m *mill) placeOn() {
	m.t.Helper()
	m.then("phone p-crew lift.placed b from_m=0 to_m=12 top_m=1.2 began=-1 ended=0")
	for range 20 {
		if m.later(time.Minute); !slices.Contains(m.standing(), closing) {
			return
		}
	}
	require.NotContains(m.t, m.standing(), closing)
}

// An alert is followed through the answers: raised, shelved and unshelved, gone
// without an answer, and answered at last.
func TestTheLifeOfAnAlertInTheAnswers(t *testing.T) {
	m := openMill(t)
	a := m.closingJoint()
	require.Equal(t, wall.StateUnacknowledged, a.State)
	require.False(t, a.Raised.IsZero())

	now := m.clock.Now()
	e := m.entry(fmt.Sprintf("%d phone p-crew alert.shelved b alert=%s kind=%s at=0 until=%s reason=truck", m.minutes()+1, a.ID, closing, now.Add(2*time.Hour).Format(time.RFC3339)))
	m.until(e.Time)
	m.now(e.Subject(), encoded(t, e))
	a, _ = m.listedAlarm(closing)
	require.Equal(t, wall.StateShelved, a.State)
	require.Equal(t, []string{"p-crew", "truck"}, []string{a.ShelvedBy, a.ShelvedReason})
	require.WithinDuration(t, now.Add(2*time.Hour), a.ShelvedUntil.Time, time.Second)

	m.then("phone p-crew alert.unshelved b alert=%s kind=%s", a.ID, closing)
	m.then("phone p-crew alert.shown b alert=%s kind=%s state=raised at=0", a.ID, closing)
	a, _ = m.listedAlarm(closing)
	require.Equal(t, wall.StateUnacknowledged, a.State)
	require.Equal(t, "p-crew", a.UnshelvedBy)
	require.Len(t, a.Shown, 1)
	require.Equal(t, []string{"p-crew", "phone", "raised"}, []string{a.Shown[0].Person, a.Shown[0].Device, a.Shown[0].State})

	m.placeOn()
	path := api.WallPath("mill", "b")
	onWall := get[api.Wall](t, m.hub, path).Alarms
	i := slices.IndexFunc(onWall, func(x face.Alarm) bool { return x.ID == a.ID })
	require.GreaterOrEqual(t, i, 0, "the wall's answer has it too")
	require.Equal(t, wall.StateReturned, onWall[i].State)
	a, _ = m.listedAlarm(closing)
	require.Equal(t, wall.StateReturned, a.State, "nobody answered it")

	m.then("phone p-crew alert.acknowledged b alert=%s kind=%s note=placed", a.ID, closing)
	byID := func(list []face.Alarm) int {
		return slices.IndexFunc(list, func(x face.Alarm) bool { return x.ID == a.ID })
	}
	require.Negative(t, byID(get[api.Alerts](t, m.hub, api.PathAlerts).Alerts), "answered, it is over")
	all := m.everRaised()
	require.Equal(t, wall.StateNormal, all[byID(all)].State)
	require.Equal(t, []string{"p-crew", "placed"}, []string{all[byID(all)].AcknowledgedBy, all[byID(all)].Note})
}

// What is over and was not answered is listed for a day.
func TestWhatNobodyAnsweredIsListedForADay(t *testing.T) {
	m := openMill(t)
	id := m.closingJoint().ID
	m.placeOn()
	find := func(list []face.Alarm) (face.Alarm, bool) {
		i := slices.IndexFunc(list, func(a face.Alarm) bool { return a.ID == id })
		if i < 0 {
			return face.Alarm{}, false
		}
		return list[i], true
	}
	a, found := find(get[api.Alerts](t, m.hub, api.PathAlerts).Alerts)
	require.True(t, found)
	require.Equal(t, wall.StateReturned, a.State)
	m.until(a.Cleared.Add(24*time.Hour - time.Minute))
	_, found = find(get[api.Alerts](t, m.hub, api.PathAlerts).Alerts)
	require.True(t, found)
	m.until(a.Cleared.Add(24 * time.Hour))
	_, found = find(get[api.Alerts](t, m.hub, api.PathAlerts).Alerts)
	require.False(t, found)
	a, found = find(m.everRaised())
	require.True(t, found)
	require.Equal(t, wall.StateReturned, a.State, "it is not forgotten")
}
