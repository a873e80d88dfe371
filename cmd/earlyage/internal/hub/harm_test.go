package hub_test

import (
	"fmt"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/cmd/earlyage/internal/replay"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/scheduler"
)

// mill is a hub whose clock the test steps, with a wall mill/a that may be
// stripped. What each test then does to the record must shut it.
type mill struct {
	t       *testing.T
	dir     string
	clock   *scheduler.Stepped
	hub     *hub.Hub
	nc      *nats.Conn
	numbers map[string]uint64
	said    []events.Event
	synced  bool                 // the machine says that its clock is
	tap     func(stream.Message) // sees every message before it is folded
}

// lastLift is when the last concrete of mill/a was placed; the window opened two
// days later, and the tests begin an hour after that.
var lastLift = time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)

// grown is the mill as its pour has left it. To make it takes as long as many a
// test: it is made once, and every test begins with a copy of its folder.
var grown struct {
	sync.Mutex
	dir     string // empty: not made yet; TestMain removes it
	at      time.Time
	numbers map[string]uint64
	said    []events.Event
}

func openMill(t *testing.T) *mill {
	t.Helper()
	grown.Lock()
	if grown.dir == "" {
		growMill(t)
	}
	m := &mill{t: t, dir: t.TempDir(), clock: scheduler.NewStepped(grown.at), numbers: maps.Clone(grown.numbers), said: slices.Clone(grown.said), synced: true}
	grown.Unlock()
	require.NoError(t, os.CopyFS(m.dir, os.DirFS(grown.dir)))
	m.start()
	t.Cleanup(m.stop)
	settle(t, m.hub)
	require.True(t, m.open(), "%+v", m.wall())
	return m
}

// growMill lets the pour happen, from its morning to two days after its end.
func growMill(t *testing.T) {
	t.Helper()
	m := &mill{t: t, dir: t.TempDir(), clock: scheduler.NewStepped(lastLift.Add(-3 * time.Hour)), numbers: map[string]uint64{}, synced: true}
	m.start()
	t.Cleanup(m.stop)
	pour := []string{
		"0 office p-boss site.opened - name=Mill zone=UTC", "1 office p-second record.countersigned - of=1 role=officer",
		"2 office p-boss mix.approved - mix=w30 binder=portland retarder=false", "3 office p-second record.countersigned - of=3 role=engineer",
		"10 phone p-crew wall.laid-out a length_m=12 height_m=2.4 core_mm=200 mix=w30", "11 phone p-crew brace.set a braces=b1:2,b2:6,b3:10",
		"12 phone p-crew pour.started a",
	}
	for i, ended := range []int{75, 110, 145, 180} {
		pour = append(pour, fmt.Sprintf("%d phone p-crew lift.placed a from_m=0 to_m=12 top_m=%.1f began=-25 ended=0", ended, 0.6*float64(i+1)))
	}
	pour = append(pour, "182 phone p-crew line.read a when=after points=0:0,6:1,12:0", "183 phone p-crew pour.finished a", "184 phone - device.reported - last=9")
	for _, line := range pour {
		m.say(line)
	}
	for h := range 49 {
		m.say(fmt.Sprintf("%d probe - temperature.read a place=top series=-50:21,-40:21,-30:21,-20:21,-10:21,0:21", 180+60*(h+1)))
		if h == 46 {
			m.say(fmt.Sprintf("%d office p-boss wall.tied-in a support=floor", 180+60*(h+1)))
		}
	}
	m.say("3061 phone p-crew wind.read - gust_mps=3")
	m.say("3062 office p-boss permit.issued a number=s-1 for=strip")
	settle(t, m.hub)
	require.True(t, m.open(), "%+v", m.wall())
	m.stop()
	dir, err := os.MkdirTemp("", "mill")
	require.NoError(t, err)
	require.NoError(t, os.CopyFS(dir, os.DirFS(m.dir)))
	grown.dir, grown.at, grown.numbers, grown.said = dir, m.clock.Now(), m.numbers, m.said
}

func (m *mill) start() {
	m.t.Helper()
	h, err := hub.Start(m.t.Context(), hub.Config{
		Dir: m.dir, Client: "127.0.0.1:0", HTTP: "127.0.0.1:0", Limits: wide, Demo: true, Unsigned: true, Clock: m.clock, Log: logTo(m.t),
		Synchronised: func() bool { return m.synced }, Tap: m.tap,
	})
	require.NoError(m.t, err)
	m.hub = h
	m.nc, err = nats.Connect(h.ClientURL(), nats.Timeout(patience))
	require.NoError(m.t, err)
}

func (m *mill) stop() {
	if m.hub != nil {
		m.nc.Close()
		require.NoError(m.t, m.hub.Stop())
		m.hub = nil
	}
}

// until lets the clock come to a moment, stopping wherever something is due.
func (m *mill) until(end time.Time) {
	m.t.Helper()
	for m.clock.Now().Before(end) {
		next := end
		if due := m.hub.NextDue(); !due.IsZero() && due.Before(next) {
			next = due
		}
		m.clock.StepTo(next)
		settle(m.t, m.hub)
	}
}

// later lets time pass.
func (m *mill) later(d time.Duration) {
	m.t.Helper()
	m.until(m.clock.Now().Add(d))
}

// entry makes an event: MINUTES DEVICE PERSON KIND WALL key=value...; minutes are
// of the day's beginning, and times within the data are minutes before them.
func (m *mill) entry(line string) events.Event {
	m.t.Helper()
	w := strings.Fields(line)
	var minutes int
	_, err := fmt.Sscan(w[0], &minutes)
	require.NoError(m.t, err)
	at := lastLift.Add(time.Duration(minutes-180) * time.Minute)
	e := events.Event{Source: events.Source{Site: "mill", Device: w[1]}, By: strings.TrimPrefix(w[2], "-"), Kind: events.Kind(w[3]),
		Wall: strings.TrimPrefix(w[4], "-"), Time: at, HasOffset: true}
	e.Data = m.data(e, w[5:])
	m.numbers[w[1]]++
	e.Sequence = m.numbers[w[1]]
	e.ID = fmt.Sprintf("%s-%d", w[1], e.Sequence)
	require.NoError(m.t, e.Check(), line)
	return e
}

func (m *mill) data(e events.Event, pairs []string) events.Data {
	before := func(text string) string {
		var minutes int
		_, err := fmt.Sscan(text, &minutes)
		require.NoError(m.t, err)
		return e.Time.Add(time.Duration(minutes) * time.Minute).Format(time.RFC3339)
	}
	var out []string
	for _, pair := range pairs {
		key, value, _ := strings.Cut(pair, "=")
		switch key {
		case "began", "ended", "at":
			value = before(value)
		case "of":
			out = append(out, "target.source=/site/mill/device/office", "target.id=office-"+value)
			continue
		case "series":
			for i, point := range strings.Split(value, ",") {
				at, celsius, _ := strings.Cut(point, ":")
				out = append(out, fmt.Sprintf("series.%d.at=%s", i, before(at)), fmt.Sprintf("series.%d.celsius=%s", i, celsius))
			}
			continue
		}
		out = append(out, key+"="+value)
	}
	data, err := events.FromArgs(e.Kind, out, events.Args{})
	require.NoError(m.t, err, "%v", pairs)
	return data
}

func encoded(t *testing.T, e events.Event) string {
	t.Helper()
	body, err := e.Encode()
	require.NoError(t, err)
	return string(body)
}

// say publishes an event at its own moment.
func (m *mill) say(line string) events.Event {
	m.t.Helper()
	e := m.entry(line)
	m.until(e.Time)
	m.put(e.Subject(), encoded(m.t, e), e.Time, stream.NewMsgID())
	m.said = append(m.said, e)
	return e
}

func (m *mill) put(subject, body string, recorded time.Time, msgID string) (seq uint64) {
	m.t.Helper()
	seq, _, err := stream.Publish(m.t.Context(), m.nc, stream.Post{Subject: subject, Body: []byte(body), MsgID: msgID, DemoRecorded: recorded.Format(time.RFC3339Nano)})
	require.NoError(m.t, err)
	return seq
}

// now publishes a body at the present moment and lets the hub take it in.
func (m *mill) now(subject, body string) uint64 {
	m.t.Helper()
	seq := m.put(subject, body, m.clock.Now(), stream.NewMsgID())
	settle(m.t, m.hub)
	return seq
}

// minutes is the present moment as entry wants it.
func (m *mill) minutes() int { return int(m.clock.Now().Sub(lastLift.Add(-3*time.Hour)) / time.Minute) }

func (m *mill) wall() face.Wall {
	m.t.Helper()
	return get[api.Wall](m.t, m.hub, api.WallPath("mill", "a")).Wall
}

func (m *mill) open() bool { return m.wall().Strip.Open }

// stated is what the hub last said on the stream of mill/a.
func (m *mill) stated() *events.WindowStated {
	m.t.Helper()
	js, err := jetstream.New(m.nc)
	require.NoError(m.t, err)
	s, err := js.Stream(m.t.Context(), stream.Name)
	require.NoError(m.t, err)
	raw, err := s.GetLastMsgForSubject(m.t.Context(), "pour.mill.a.window.stated")
	require.NoError(m.t, err)
	e, err := events.Decode(raw.Subject, raw.Data)
	require.NoError(m.t, err)
	return e.Data.(*events.WindowStated)
}

// standing lists the kinds of the alerts that stand.
func (m *mill) standing() (kinds []string) {
	m.t.Helper()
	for _, a := range get[api.Alerts](m.t, m.hub, api.PathAlerts).Alerts {
		if a.Cleared.IsZero() {
			kinds = append(kinds, a.Kind)
		}
	}
	slices.Sort(kinds)
	return slices.Compact(kinds)
}

// shut requires that the window is shut, that the hub said so on the stream, and why.
func (m *mill) shut(criterionName, why string) {
	m.t.Helper()
	require.False(m.t, m.open())
	require.Contains(m.t, criterion(m.t, m.wall(), criterionName).Note, why)
	require.False(m.t, m.stated().Open, "the hub's word on the stream")
}

// The same record in a file, and no server at all, gives the same answer.
func TestAFileOfTheRecordGivesTheSameAnswer(t *testing.T) {
	m := openMill(t)
	m.say(fmt.Sprintf("%d phone p-crew wall.laid-out b length_m=6 height_m=2.4 core_mm=200", m.minutes()))
	m.say(fmt.Sprintf("%d phone p-crew lift.placed b from_m=0 to_m=6 top_m=0.6 began=-20 ended=0", m.minutes()))
	m.say(fmt.Sprintf("%d office p-boss record.amended b target.source=/site/mill/device/phone target.id=phone-13 kind=lift.placed data.from_m=0 data.to_m=6 data.top_m=0.5 reason=typed", m.minutes()))
	m.later(90 * time.Minute)
	var file strings.Builder
	for _, e := range m.said {
		e.Recorded = e.Time
		fmt.Fprintln(&file, encoded(t, e))
	}
	record, err := replay.Read(strings.NewReader(file.String()), m.clock.Now())
	require.NoError(t, err)
	require.Empty(t, record.Refused)
	walls := get[api.Walls](t, m.hub, api.PathWalls).Walls
	require.Len(t, walls, 2)
	served, err := json.Marshal(walls, json.Deterministic(true))
	require.NoError(t, err)
	computed, err := json.Marshal(record.Walls(), json.Deterministic(true))
	require.NoError(t, err)
	require.JSONEq(t, string(served), string(computed))
	require.True(t, walls[0].Strip.Open)
	require.NotEmpty(t, walls[1].Joints)
}

// The same key with other bytes: the first stands, the second is refused, and
// the wall is in doubt until a named person has answered.
func TestHarmSameKeyOtherBytes(t *testing.T) {
	m := openMill(t)
	e := m.say(fmt.Sprintf("%d probe - temperature.read a place=top celsius=21", m.minutes()))
	settle(t, m.hub)
	require.True(t, m.open())
	body := strings.Replace(encoded(t, e), `"celsius":21`, `"celsius":35`, 1)
	seq := m.now(e.Subject(), body)
	m.shut(scheduler.Hold, "same key, other bytes")
	m.later(time.Minute)
	require.Contains(t, m.standing(), scheduler.AlertEventRefused)

	m.say(fmt.Sprintf("%d office p-boss doubt.settled a message=%d reason=twice", m.minutes(), seq))
	settle(t, m.hub)
	require.True(t, m.open(), "%v", criterion(t, m.wall(), scheduler.Hold))
}

// A refused event opens nothing, whatever it would have said.
func TestHarmRefusedEventOpensNothing(t *testing.T) {
	m := openMill(t)
	m.say(fmt.Sprintf("%d office p-boss hold.placed a hold=h-1 reason=look", m.minutes()))
	settle(t, m.hub)
	m.shut(scheduler.Hold, "h-1")
	released := m.entry(fmt.Sprintf("%d office p-boss hold.released a hold=h-1 reason=seen", m.minutes()))
	whole := encoded(t, released)
	for name, body := range map[string]string{
		"no person":     strings.Replace(whole, `"by":"p-boss",`, ``, 1),
		"other wall":    strings.Replace(whole, `"subject":"a"`, `"subject":"b"`, 1),
		"far ahead":     strings.Replace(whole, `"time":"2026`, `"time":"9999`, 1),
		"unknown word":  strings.Replace(whole, `"hold":`, `"open":true,"hold":`, 1),
		"the hub's own": strings.Replace(whole, `/device/office`, `/device/hub`, 1),
	} {
		require.NotEqual(t, whole, body, name)
		m.now(released.Subject(), body)
		m.shut(scheduler.Hold, "h-1")
		m.shut(scheduler.Hold, "doubt: refused")
	}
	m.say(fmt.Sprintf("%d office p-boss hold.released a hold=h-1 reason=seen", m.minutes()))
	settle(t, m.hub)
	require.False(t, m.open(), "the hold is over, the doubts stand")
	require.NotContains(t, criterion(t, m.wall(), scheduler.Hold).Note, "h-1")
}

// A stranger speaks as the hub: nothing he says is taken for the hub's word.
func TestHarmStrangerSpeaksAsTheHub(t *testing.T) {
	m := openMill(t)
	word := m.stated()
	seq := m.now("pour.mill.a.window.stated", encoded(t, events.Event{
		ID: "mine", Source: events.Source{Site: "mill", Device: "hub"}, Kind: "window.stated", Wall: "a", Time: m.clock.Now(), Data: word,
	}))
	require.False(t, m.open(), "it is a doubt")
	refused := get[api.Alerts](t, m.hub, api.PathRefused).Refused
	require.Len(t, refused, 1)
	require.Equal(t, seq, refused[0].Seq)
	require.Equal(t, "signature", refused[0].Field)
}

// Message ids that can be foreseen, or that somebody used before, suppress no
// word of the hub, and none of a device that makes its own.
func TestHarmMessageIDs(t *testing.T) {
	m := openMill(t)
	before := m.stated()
	for _, id := range []string{"office-50", "/site/mill/device/office#office-5", "/site/mill/device/hub", fmt.Sprint(before.Preceding), "hub-" + before.Digest[:32], "a", "1"} {
		m.put("pour.mill.z.pour.started", "{}", m.clock.Now(), id)
	}
	m.say(fmt.Sprintf("%d office p-boss hold.placed a hold=h-1 reason=look", m.minutes()))
	settle(t, m.hub)
	m.shut(scheduler.Hold, "h-1")
	m.say(fmt.Sprintf("%d office p-boss hold.released a hold=h-1 reason=seen", m.minutes()))
	settle(t, m.hub)
	require.False(t, m.open(), "the hold has ended the permit for good")
	m.say(fmt.Sprintf("%d office p-boss permit.issued a number=s-2 for=strip", m.minutes()))
	settle(t, m.hub)
	require.True(t, m.open())
	require.True(t, m.stated().Open)

	// The hub's words carry no id that could be used up before them.
	js, err := jetstream.New(m.nc)
	require.NoError(t, err)
	s, err := js.Stream(t.Context(), stream.Name)
	require.NoError(t, err)
	raw, err := s.GetLastMsgForSubject(t.Context(), "pour.mill.a.window.stated")
	require.NoError(t, err)
	require.Empty(t, raw.Header.Get(nats.MsgIdHdr))
}

// A hole in the stream: every window is shut and an alert raised; folding goes
// on, and a named keeper opens again.
func TestHarmHole(t *testing.T) {
	m := openMill(t)
	m.stop()
	files := map[string][]byte{}
	for _, name := range []string{"keep.db", "view.db"} {
		raw, err := os.ReadFile(filepath.Join(m.dir, name))
		require.NoError(t, err)
		files[name] = raw
	}
	m.start()
	m.put("pour.mill.z.pour.started", `"LOST-IN-THE-STORE"`, m.clock.Now(), stream.NewMsgID())
	last := m.put("pour.mill.z.pour.started", `"kept"`, m.clock.Now(), stream.NewMsgID())
	settle(t, m.hub)
	m.stop()
	// The projector's files are put back to before the two messages, and in the
	// stream's file the first of them rots.
	for name, raw := range files {
		require.NoError(t, os.WriteFile(filepath.Join(m.dir, name), raw, 0o600))
	}
	flip(t, filepath.Join(m.dir, "stream"), "LOST-IN-THE-STORE")
	m.start()
	settle(t, m.hub)

	m.shut(scheduler.Complete, fmt.Sprintf("entries %d to %d are missing from the stream", last-1, last-1))
	require.Contains(t, m.standing(), scheduler.AlertStreamHole)
	status, said := health(t, m.hub)
	require.Equal(t, http.StatusServiceUnavailable, status)
	require.Equal(t, 1, said.Holes)
	m.say(fmt.Sprintf("%d phone p-crew wall.laid-out b length_m=12 height_m=2.4 core_mm=200", m.minutes()))
	settle(t, m.hub)
	require.Equal(t, []string{"mill/a", "mill/b"}, places(get[api.Walls](t, m.hub, api.PathWalls).Walls), "folding goes on")
	m.say(fmt.Sprintf("%d phone p-crew load.batched b load=l-1 at=-120", m.minutes()))
	m.later(time.Minute)
	require.Contains(t, m.standing(), scheduler.AlertLoadOld, "alerting goes on")

	keeper := m.entry(fmt.Sprintf("%d keeper p-boss hole.accepted - from=%d to=%d reason=healed", m.minutes(), last-1, last-1))
	m.now(keeper.Subject(), encoded(t, keeper))
	require.False(t, m.open(), "a site's device speaks for its site only")
	keeper.Source.Site, keeper.ID = "_", "healed"
	m.now(keeper.Subject(), encoded(t, keeper))
	require.Empty(t, get[api.Health](t, m.hub, api.PathHealth).Holes)
}

// flip changes one byte of a stored message.
func flip(t *testing.T, dir, text string) {
	t.Helper()
	found := 0
	require.NoError(t, filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, ".blk") {
			return err
		}
		raw, err := os.ReadFile(path)
		if i := strings.Index(string(raw), text); i >= 0 {
			raw[i] ^= 1
			found++
			return os.WriteFile(path, raw, 0o600)
		}
		return err
	}))
	require.Equal(t, 1, found)
}

// While the record is not level with the stream there may be more that is not
// known yet: no answer shows an open window, and nothing is said.
func TestHarmNotLevel(t *testing.T) {
	m := openMill(t)
	m.stop()
	level := make(chan struct{})
	m.tap = func(stream.Message) { <-level }
	m.start()
	wall := get[api.Wall](t, m.hub, api.WallPath("mill", "a"))
	require.False(t, wall.Level)
	require.False(t, wall.Wall.Strip.Open)
	require.Contains(t, criterion(t, wall.Wall, scheduler.Complete).Note, "the record is not level with the stream")
	status, said := health(t, m.hub)
	require.Equal(t, http.StatusServiceUnavailable, status)
	require.NotEmpty(t, said.Problems)
	close(level)
	settle(t, m.hub)
	require.True(t, m.open())
	require.True(t, m.stated().Open, "nothing was said meanwhile")
}

// The hub's clock jumps: every window is shut at once and it is said; what
// confirms the clock opens again.
func TestHarmClockJumps(t *testing.T) {
	for _, jump := range []time.Duration{3 * time.Minute, -3 * time.Minute, 100 * time.Hour} {
		m := openMill(t)
		m.clock.Jump(jump)
		settle(t, m.hub)
		m.shut(scheduler.Complete, "clock jumped")
		status, said := health(t, m.hub)
		require.Equal(t, http.StatusServiceUnavailable, status)
		require.Len(t, said.Problems, 1)
		m.synced = false
		m.later(5 * time.Minute)
		m.shut(scheduler.Complete, "clock jumped")
		require.Contains(t, m.standing(), scheduler.AlertClockDoubtful)
		m.stop()
	}
}

// The devices' clocks say that the hub's is wrong: every window is shut, though
// a time server keeps it.
func TestHarmClockDisagrees(t *testing.T) {
	m := openMill(t)
	for i := range 3 {
		e := m.entry(fmt.Sprintf("%d phone-%d - device.reported - last=1", m.minutes(), i))
		e.ClockOffset, e.Time = 6*time.Minute, e.Time.Add(-6*time.Minute)
		m.put(e.Subject(), encoded(t, e), m.clock.Now(), stream.NewMsgID())
	}
	settle(t, m.hub)
	m.later(11 * time.Second)
	m.shut(scheduler.Complete, "over 5 minutes apart")
	m.later(3 * time.Minute)
	require.Contains(t, m.standing(), scheduler.AlertClockDoubtful)
}

// A gap in a device's numbers shuts every wall of the site that is not handed
// over, at once, and is an alert after 10 minutes; what fills it opens again.
func TestHarmGap(t *testing.T) {
	m := openMill(t)
	missing := m.entry(fmt.Sprintf("%d tablet p-crew check.answered b list=before item=plumb answer=yes", m.minutes()))
	m.say(fmt.Sprintf("%d tablet p-crew wall.laid-out b length_m=12 height_m=2.4 core_mm=200", m.minutes()))
	settle(t, m.hub)
	m.shut(scheduler.Complete, "numbers 1 of device tablet have not come")
	require.NotContains(t, m.standing(), scheduler.AlertRecordGap)
	m.later(10*time.Minute - time.Second)
	require.NotContains(t, m.standing(), scheduler.AlertRecordGap)
	m.later(time.Second)
	require.Contains(t, m.standing(), scheduler.AlertRecordGap)
	r, err := stream.AskReceipt(t.Context(), m.nc, events.Source{Site: "mill", Device: "tablet"})
	require.NoError(t, err)
	require.Zero(t, r.UpTo, "number 2 may not be forgotten while 1 is missing")

	m.now(missing.Subject(), encoded(t, missing))
	require.True(t, m.open())
	m.later(2 * time.Minute)
	require.NotContains(t, m.standing(), scheduler.AlertRecordGap)
	r, err = stream.AskReceipt(t.Context(), m.nc, events.Source{Site: "mill", Device: "tablet"})
	require.NoError(t, err)
	require.EqualValues(t, 2, r.UpTo)
}

// Two hubs on one server, and each of them started anew: nothing is said twice.
// The second begins with a copy of the first one's files, and so with its key.
func TestTwoHubsSayNothingTwice(t *testing.T) {
	s := external(t, true)
	dirs := [2]string{t.TempDir(), t.TempDir()}
	run := func(i int) *hub.Hub {
		h, err := hub.Start(t.Context(), hub.Config{
			Dir: dirs[i], NATS: s.ClientURL(), Monitor: "http://" + s.MonitorAddr().String(), HTTP: "127.0.0.1:0", Unsigned: true, Log: logTo(t),
			Synchronised: func() bool { return true },
		})
		require.NoError(t, err)
		return h
	}
	nc, err := nats.Connect(s.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	say := func(id, kind string, data map[string]any) {
		publish(t, nc, "pour.mill.a."+kind, foreign(t, id, "/site/mill/device/planner", kind, "a", "p-1", data))
	}
	one := run(0)
	say("laid", "wall.laid-out", map[string]any{"length_m": 6, "height_m": 2.4, "core_mm": 150})
	settle(t, one)
	require.NoError(t, one.Stop())
	keep, err := os.ReadFile(filepath.Join(dirs[0], "keep.db"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dirs[1], "keep.db"), keep, 0o600))

	one, two := run(0), run(1)
	for i := range 8 {
		say(fmt.Sprint("lift-", i), "lift.placed", map[string]any{"from_m": 0, "to_m": 6, "top_m": 0.2 * float64(i+1)})
		publish(t, nc, "pour.mill.a.joint.felt", []byte("{"))
		say(fmt.Sprint("hold-", i), "hold.placed", map[string]any{"hold": fmt.Sprint("h-", i), "reason": "look"})
		if i == 4 {
			require.NoError(t, two.Stop())
			two = run(1)
		}
		settle(t, one)
		settle(t, two)
	}
	for _, h := range []*hub.Hub{one, two} {
		require.Len(t, get[api.Alerts](t, h, api.PathRefused).Refused, 8, "neither takes the other for a stranger")
		out, err := h.Alerts("", true)
		require.NoError(t, err)
		raised, kinds := map[string]bool{}, map[string]int{}
		for _, a := range out.Alerts {
			require.False(t, raised[a.Kind+" "+a.Cause], "%s of %s was raised twice", a.Kind, a.Cause)
			raised[a.Kind+" "+a.Cause] = true
			kinds[a.Kind]++
		}
		require.Equal(t, 1, kinds[scheduler.AlertEventRefused], "refused alike they are one")
		require.NoError(t, h.Stop())
	}
}
