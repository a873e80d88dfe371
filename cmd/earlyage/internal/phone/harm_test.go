package phone_test

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/events"
)

var long = flag.Bool("long", false, "break links that are full of entries; kill a tab ten times")

// setOptions changes the engine's options from the next load on.
func setOptions(tab *browser.Tab, options string) {
	browser.Ask[string](tab, `localStorage.setItem("options", JSON.stringify({...JSON.parse(localStorage.getItem("options")), `+options+`})); ""`)
	reload(tab)
}

func reload(tab *browser.Tab) {
	browser.Ask[string](tab, `(window.gone = true, "")`)
	tab.Reload()
	tab.Until(`!window.gone && window.engine`)
}

// keepShell waits until the page itself is on the phone.
func keepShell(t *testing.T, tab *browser.Tab) {
	t.Helper()
	setOptions(tab, `shell: true`)
	tab.Until(`navigator.serviceWorker.ready.then(() => window.ready = true), window.ready`)
	reload(tab)
	require.True(t, browser.Ask[bool](tab, `!!navigator.serviceWorker.controller`))
}

// start begins to pour and does not wait.
func start(tab *browser.Tab, wall string, n, from int) {
	browser.Ask[string](tab, fmt.Sprintf(`(window.done = false, pour(%q, %d, %d).then(() => window.done = true), "")`, wall, n, from))
}

func TestALinkThatBreaksAtEveryStep(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, device := c.joined(suite.Browser(t), events.Crew)
	u, err := url.Parse(c.origin)
	require.NoError(t, err)
	k := newLeaky(t, u.Host)
	setOptions(tab, fmt.Sprintf(`nats: "ws://%s/nats", wait: 500, pause: [20, 60]`, k.listener.Addr()))
	// A link that is deaf in the middle of what is sent is waited for by all that is
	// under way on it: the fewer entries wait, the sooner it is given up.
	n, most := 16, 12
	if *long {
		n, most = 200, 60
	}
	start(tab, "w1", n, 0)
	tab.Until(`done`)
	for k.breaks() { // what goes over the link is what breaks it
		if left := browser.Ask[int](tab, `engine.state.waiting`); left > most {
			tab.Until(fmt.Sprintf(`engine.state.waiting < %d`, left))
			continue
		}
		pour(tab, "w1", 6, n)
		n += 6
	}
	tab.Until(emptied)
	c.whole(device, named(n, 0)...)
	t.Logf("%d entries over %d links that broke", n, len(faults()))
}

func TestReloadWithoutANetwork(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, device := c.joined(suite.Browser(t), events.Crew)
	keepShell(t, tab)
	pour(tab, "w1", 2, 0)
	tab.Until(emptied)
	require.Equal(t, 1, browser.Ask[int](tab, `engine.ask("w1").then(s => s.walls.length)`))
	require.Equal(t, "unknown", browser.Ask[string](tab, `code(engine.ask("w9"))`))

	c.relay.Cut(true)
	tab.Until(`engine.state.link === "down"`)
	pour(tab, "w1", 3, 2)
	reload(tab)
	require.Equal(t, 3, browser.Ask[int](tab, `engine.state.waiting`))
	require.Equal(t, device, browser.Ask[string](tab, `engine.state.joined.device`))
	require.True(t, browser.Ask[bool](tab, `engine.state.sheet.asked > 0 && engine.state.sheetAge >= 60000`), "a sheet of an earlier page is never new")
	require.Equal(t, "no-link", browser.Ask[string](tab, `code(engine.ask("w1"))`))
	pour(tab, "w1", 2, 5)
	c.relay.Cut(false)
	tab.Until(emptied)
	c.whole(device, named(7, 0)...)

	// Deaf one way and the other: the phone notices by itself.
	for i, deaf := range [][2]bool{{true, false}, {false, true}} {
		c.relay.Deaf(deaf[0], deaf[1])
		pour(tab, "w1", 1, 7+i)
		tab.Until(`engine.state.link === "down"`)
		c.relay.Deaf(false, false)
		tab.Until(emptied)
	}
	c.whole(device, named(9, 0)...)
	require.Empty(t, browser.Ask[[]string](tab, `caches.keys().then(async all => (await Promise.all(all.map(async n => (await (await caches.open(n)).keys()).map(r => new URL(r.url).pathname)))).flat().filter(p => p.startsWith("/api") || p === "/nats"))`))
}

func TestTwoTabsRecordAtOnce(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	b := suite.Browser(t)
	one, device := c.joined(b, events.Crew)
	two := one.Beside("second")
	allow(two)
	two.Open(c.origin + "/phone")
	two.Until(`window.engine`)
	two.Until(`engine.state.link === "up"`)
	start(one, "w1", 60, 0)
	start(two, "w1", 60, 100)
	one.Until(`done`)
	two.Until(`done`)
	one.Until(emptied)
	two.Until(emptied)
	given := append(browser.Ask[[]int](one, `recorded`), browser.Ask[[]int](two, `recorded`)...)
	slices.Sort(given)
	require.Len(t, slices.Compact(given), 120, "no number is given twice")
	var got []string
	for i, e := range c.of(device) {
		require.EqualValues(t, i+1, e.Sequence)
		if r, ok := e.Data.(*events.TemperatureRead); ok {
			got = append(got, r.Probe)
		}
	}
	require.ElementsMatch(t, append(named(60, 0), named(60, 100)...), got)

	// The tab with the link closes: the other takes over.
	one.Open("about:blank")
	pour(two, "w1", 2, 200)
	two.Until(emptied)
	require.Equal(t, "up", browser.Ask[string](two, `engine.state.link`))
}

func TestATabIsKilledWhileItRecords(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	b := suite.Browser(t)
	tab, device := c.joined(b, events.Crew)
	other := tab.Beside("after")
	allow(other)
	from, times := 0, 2 // once for each of the two tabs
	if *long {
		times = 10
	}
	for range times {
		start(tab, "w1", 5000, from)
		tab.Until(`recorded.length >= 40`)
		known := browser.Ask[int](tab, `recorded.length`)
		kill(t, tab)
		other.Open(c.origin + "/phone")
		other.Until(`window.engine`)
		other.Until(emptied)
		var got []string
		for i, e := range c.of(device) {
			require.EqualValues(t, i+1, e.Sequence)
			if r, ok := e.Data.(*events.TemperatureRead); ok {
				got = append(got, r.Probe)
			}
		}
		require.GreaterOrEqual(t, len(got), from+known, "what the page was told is recorded")
		require.Equal(t, named(len(got), 0), got)
		from = len(got)
		tab, other = other, other.Beside("after")
		allow(other)
	}
}

// A browser may put a tab in the background to sleep, with the lock in its hand.
func TestATabThatSleepsIsRelieved(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	asleep, device := c.joined(suite.Browser(t), events.Crew)
	awake := asleep.Beside("awake")
	allow(awake)
	awake.Open(c.origin + "/phone")
	awake.Until(`window.engine`)
	asleep.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, page.SetWebLifecycleState, page.SetWebLifecycleStateParams{State: page.SetWebLifecycleStateStateFrozen})
		return err
	}))
	pour(awake, "w1", 3, 0)
	awake.Until(emptied)
	c.whole(device, named(3, 0)...)
}

// kill ends the process of a tab.
func kill(t *testing.T, tab *browser.Tab) {
	t.Helper()
	ctx, cancel := context.WithTimeout(tab.Context(), 2*time.Second)
	defer cancel()
	err := chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, page.Crash, cdp.Empty{})
		return err
	}))
	require.Error(t, err, "a tab that crashed answers nothing")
}

// quota sets how many bytes the page may store; negative: as before.
func (c *company) quota(tab *browser.Tab, bytes int) {
	tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		q := storage.OverrideQuotaForOriginParams{Origin: c.origin}
		if bytes >= 0 {
			q.QuotaSize = new(float64(bytes))
		}
		_, err := chromedp.Call(ctx, storage.OverrideQuotaForOrigin, q)
		return err
	}))
}

func TestTheStorageIsFull(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab := c.tab(suite.Browser(t))
	tab.Expect("Quota")
	c.quota(tab, 8<<20) // before the first write: the browser looks at it seldom
	c.load(tab)
	device := c.enter(tab, events.Crew)
	lose := func() {
		c.relay.Cut(true)
		tab.Until(`engine.state.link === "down"`)
	}
	stuff := func() { browser.Ask[string](tab, `stuff().then(() => "")`) }
	full := func() {
		c.t.Helper()
		require.Equal(t, "full", browser.Ask[string](tab, `code(engine.record("w1", "pour.started", {}))`))
		tab.Until(`engine.state.troubles.includes("full")`)
	}
	lose()
	pour(tab, "w1", 40, 0)
	stuff()
	full()
	require.Equal(t, 40, browser.Ask[int](tab, `engine.state.waiting`))
	// There is room yet to send what was recorded.
	c.relay.Cut(false)
	tab.Until(`engine.state.waiting === 0 && engine.state.outbox.every(e => e.fate === "folded")`)
	c.whole(device, named(40, 0)...)

	// Not even that: nothing is lost, also when the page is opened anew, and it goes
	// on when there is room.
	c.quota(tab, 12<<20)
	pour(tab, "w1", 1, 40)
	tab.Until(emptied)
	require.False(t, browser.Ask[bool](tab, `engine.state.troubles.includes("full")`))
	lose()
	pour(tab, "w1", 40, 41)
	stuff()
	full()
	stuff()
	c.relay.Cut(false)
	reload(tab)
	full()
	require.Positive(t, browser.Ask[int](tab, `engine.state.waiting`))
	c.quota(tab, -1)
	tab.Until(emptied)
	pour(tab, "w1", 1, 81)
	tab.Until(emptied)
	c.whole(device, named(82, 0)...)
}

const (
	hour = 3_600_000 // ms
	slow = 60_000    // ms that a busy machine may take for a question
)

func TestTheClockIsChanged(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, device := c.joined(suite.Browser(t), events.Crew)
	keepShell(t, tab)
	pour(tab, "w1", 1, 0)
	tab.Until(emptied)
	lose := func() {
		c.relay.Cut(true)
		tab.Until(`engine.state.link === "down"`)
	}
	find := func() {
		c.relay.Cut(false)
		tab.Until(emptied)
	}
	move := func(ms int) { browser.Ask[string](tab, fmt.Sprintf(`(moveClock(%d), "")`, ms)) }
	lose()
	move(-2 * hour)
	pour(tab, "w1", 1, 1)
	require.InDelta(t, time.Now().UnixMilli(), browser.Ask[float64](tab, `engine.now()`), slow)
	reload(tab)
	pour(tab, "w1", 1, 2)
	find()
	lose()
	move(24 * hour)
	pour(tab, "w1", 1, 3)
	find()
	pour(tab, "w1", 1, 4)
	tab.Until(emptied)
	lose()
	move(-5 * hour)
	reload(tab)
	tab.Until(`engine.state.troubles.includes("clock") && engine.state.offsetMs === null`)
	pour(tab, "w1", 1, 5)
	reload(tab)
	pour(tab, "w1", 1, 6)
	find()
	tab.Until(`!engine.state.troubles.includes("clock")`)
	pour(tab, "w1", 1, 7)
	tab.Until(emptied)
	c.whole(device, named(8, 0)...)

	want := []any{0, 2 * hour, 2 * hour, 2 * hour, -22 * hour, nil, nil, -17 * hour}
	for _, e := range c.of(device) {
		if e.Kind == "device.reported" {
			continue
		}
		if want[0] == nil {
			require.False(t, e.HasOffset, "number %d: nobody knows how far the clock was put back", e.Sequence)
		} else {
			require.True(t, e.HasOffset, "number %d", e.Sequence)
			require.InDelta(t, want[0], e.ClockOffset.Milliseconds(), slow, "number %d", e.Sequence)
		}
		want = want[1:]
	}
}

func TestAHubThatWasPutBack(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, device := c.joined(suite.Browser(t), events.Crew)
	pour(tab, "w1", 5, 0)
	tab.Until(emptied)
	c.stop()
	tab.Until(`engine.state.link === "down"`)
	was, copied := maps.Clone(c.stored), filepath.Join(t.TempDir(), "copy")
	require.NoError(t, os.CopyFS(copied, os.DirFS(c.cfg.Dir)))
	c.start()
	tab.Until(`engine.state.link === "up"`)
	pour(tab, "w1", 5, 5)
	tab.Until(emptied)
	c.whole(device, named(10, 0)...)

	c.stop()
	c.cfg.Dir, c.cfg.Socket, c.stored = copied, "", was
	c.start()
	tab.Until(`engine.state.link === "up"`)
	pour(tab, "w1", 1, 10)
	tab.Until(emptied)
	c.whole(device, named(11, 0)...)
}

func TestARefusedEntryIsSetAside(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, _ := c.joined(suite.Browser(t), events.Crew)
	pour(tab, "w1", 1, 0)
	number := browser.Ask[int](tab, `engine.record("w1", "temperature.read", {place: "moon", celsius: 4})`)
	pour(tab, "w1", 3, 1)
	tab.Until(emptied)
	require.Equal(t, []string{fmt.Sprint(number)}, browser.Ask[[]string](tab, `engine.state.outbox.filter(e => e.fate === "aside").map(e => String(e.number))`))
	require.Contains(t, browser.Ask[string](tab, `engine.state.outbox.find(e => e.fate === "aside").reason`), "place")
	tab.Until(`alerts.some(a => JSON.stringify(a).includes("event-refused"))`)
	reload(tab)
	require.Equal(t, "aside", browser.Ask[string](tab, fmt.Sprintf(`engine.state.outbox.find(e => e.number === %d).fate`, number)))
}

func TestARevokedPhoneKeepsEverything(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	b := suite.Browser(t)
	tab := c.open(b)
	tab.Expect("401")
	code, person := c.invite(events.Foreman)
	device := browser.Ask[string](tab, fmt.Sprintf(`engine.join(%q).then(j => j.device)`, code))
	pour(tab, "w1", 1, 0)
	tab.Until(emptied)
	c.relay.Cut(true)
	tab.Until(`engine.state.link === "down"`)
	pour(tab, "w1", 2, 1)
	require.NoError(t, c.local.Post(t.Context(), api.PathDevices+"/"+yard+"/"+device+"/revoke", api.Revocation{Reason: "lost in the form"}, nil))
	c.relay.Cut(false)
	tab.Until(`engine.state.troubles.includes("not-admitted")`)
	pour(tab, "w1", 1, 3)
	reload(tab)
	tab.Until(`engine.state.troubles.includes("not-admitted")`)
	require.Equal(t, 3, browser.Ask[int](tab, `engine.state.waiting`))

	second := browser.Ask[string](tab, fmt.Sprintf(`engine.join(%q).then(j => j.device)`, c.again(person)))
	require.NotEqual(t, device, second)
	pour(tab, "w1", 1, 4)
	tab.Until(emptied)
	c.whole(second, "r-4")
	require.Equal(t, []string{"r-1", "r-2", "r-3"}, browser.Ask[[]string](tab, `engine.earlier().then(l => l[0].outbox.filter(e => e.fate === "waiting").map(e => e.data.probe))`))
}

func TestARoleIsLostWhileThePhoneIsAway(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab := c.open(suite.Browser(t))
	code, person := c.invite(events.Foreman)
	browser.Ask[string](tab, fmt.Sprintf(`engine.join(%q).then(j => j.device)`, code))
	tab.Until(`engine.state.link === "up"`)
	c.relay.Cut(true)
	tab.Until(`engine.state.link === "down"`)
	browser.Ask[int](tab, `engine.record("w1", "wall.amended", {name: "North wall", reason: "measured again"})`)
	pour(tab, "w1", 2, 0)
	require.NoError(t, c.local.Post(t.Context(), api.PathPeople+"/"+person+"/roles", api.Appointment{Site: yard, Roles: []events.Role{events.Crew}}, nil))
	c.relay.Cut(false)
	tab.Until(`engine.state.joined.roles.join() === "crew"`)
	tab.Until(`engine.state.waiting === 1 && engine.state.outbox.some(e => e.fate === "waiting" && e.reason)`)
	require.Equal(t, "wall.amended: this phone may not say it", browser.Ask[string](tab, `engine.state.outbox.filter(e => e.fate === "waiting").map(e => e.kind + ": " + e.reason).join()`))
	require.False(t, browser.Ask[bool](tab, `engine.mayRecord("wall.amended")`))
}

func TestAnAnswerToJoinIsLost(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab := c.open(suite.Browser(t))
	tab.Expect("404")
	require.Equal(t, "code", browser.Ask[string](tab, `code(engine.join("00000-00000-00000-00000-000000"))`))
	code, person := c.invite(events.Crew)
	c.losing.Store(true)
	require.Equal(t, "no-link", browser.Ask[string](tab, fmt.Sprintf(`code(engine.join(%q))`, code)))
	c.losing.Store(false)
	reload(tab)
	tab.Until(`engine.state.joined`)
	var all api.Devices
	_, err := c.local.Get(t.Context(), api.PathDevices, nil, &all)
	require.NoError(t, err)
	require.Len(t, all.Devices, 1)
	require.Equal(t, person, browser.Ask[string](tab, `engine.state.joined.person`))
}
