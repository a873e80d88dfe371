package calendar_test

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/notify/calendar"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// now is a moment in the first winter month.
var now = time.Date(2026, 11, 3, 20, 13, 20, 0, time.UTC)

func site(t testing.TB) notice.Site {
	zone, err := time.LoadLocation("America/Denver")
	require.NoError(t, err)
	return notice.Site{Token: "stone-draw", Name: "Stone Draw", Zone: zone, Units: "us"}
}

// parsed reads a feed with another library than the one that writes it.
func parsed(t testing.TB, feed []byte) *ical.Calendar {
	t.Helper()
	cal, err := ical.NewDecoder(bytes.NewReader(feed)).Decode()
	require.NoError(t, err, "%s", feed)
	return cal
}

func only(t testing.TB, feed []byte) ical.Event {
	t.Helper()
	events := parsed(t, feed).Events()
	require.Len(t, events, 1, "%s", feed)
	return events[0]
}

func get(t testing.TB, e ical.Event, name string) string {
	t.Helper()
	text, err := e.Props.Text(name)
	require.NoError(t, err, name)
	return text
}

func number(t testing.TB, e ical.Event) int {
	t.Helper()
	p := e.Props.Get(ical.PropSequence)
	require.NotNil(t, p)
	n, err := p.Int()
	require.NoError(t, err)
	return n
}

func TestAnEventMovesOpensShutsAndIsStripped(t *testing.T) {
	wall := calendar.Wall{
		Wall: "shop-c", State: calendar.Expected, At: now.Add(19 * time.Hour), Said: now, Sequence: 120, Governs: scheduler.Temperature,
	}
	first := only(t, calendar.Feed(site(t), []calendar.Wall{wall}, now))
	require.Equal(t, "shop-c@stone-draw.earlyage", get(t, first, ical.PropUID))
	require.Equal(t, "TENTATIVE", get(t, first, ical.PropStatus))
	require.Equal(t, "shop-c: bracing may come off, expected", get(t, first, ical.PropSummary))
	at, err := first.DateTimeStart(time.UTC)
	require.NoError(t, err)
	require.Equal(t, time.Date(2026, 11, 4, 15, 14, 0, 0, time.UTC), at, "rounded up to the minute")
	end, err := first.DateTimeEnd(time.UTC)
	require.NoError(t, err)
	require.Equal(t, at.Add(time.Hour), end)
	require.Contains(t, get(t, first, ical.PropDescription), scheduler.Caution)
	require.Contains(t, get(t, first, ical.PropDescription), "An expected time opens nothing")

	moved := wall
	moved.At, moved.Said, moved.Sequence = wall.At.Add(5*time.Hour), now.Add(time.Hour), 140
	second := only(t, calendar.Feed(site(t), []calendar.Wall{moved}, now.Add(time.Hour)))
	require.Equal(t, get(t, first, ical.PropUID), get(t, second, ical.PropUID))
	require.Greater(t, number(t, second), number(t, first))
	later, err := second.DateTimeStart(time.UTC)
	require.NoError(t, err)
	require.Equal(t, at.Add(5*time.Hour), later)
	stamp, err := second.Props.DateTime(ical.PropDateTimeStamp, time.UTC)
	require.NoError(t, err)
	require.Equal(t, now.Add(time.Hour), stamp)
	modified, err := second.Props.DateTime(ical.PropLastModified, time.UTC)
	require.NoError(t, err)
	require.Equal(t, stamp, modified)

	for _, c := range []struct{ state, status, summary string }{
		{calendar.Open, "CONFIRMED", "shop-c: bracing may come off, open since 2026-11-04 08:14 MST"},
		{calendar.Shut, "CANCELLED", "shop-c: bracing stays, no time can be given"},
		{calendar.Stripped, "CANCELLED", "shop-c: bracing is off"},
		{"of a later hub", "CANCELLED", "shop-c: bracing stays, no time can be given"},
	} {
		w := wall
		w.State, w.Sequence = c.state, 150
		e := only(t, calendar.Feed(site(t), []calendar.Wall{w}, now))
		require.Equal(t, c.status, get(t, e, ical.PropStatus), c.state)
		require.Equal(t, c.summary, get(t, e, ical.PropSummary), c.state)
		require.Equal(t, get(t, first, ical.PropUID), get(t, e, ical.PropUID), c.state)
		require.Equal(t, 150, number(t, e))
	}
}

func TestACancelledEventStaysSevenDays(t *testing.T) {
	for _, state := range []string{calendar.Stripped, calendar.Shut} {
		walls := []calendar.Wall{{Wall: "shop-a", State: state, At: now.Add(-time.Hour), Said: now, Sequence: 9}}
		require.Len(t, parsed(t, calendar.Feed(site(t), walls, now.Add(calendar.Kept-time.Second))).Events(), 1, state)
		require.NotContains(t, string(calendar.Feed(site(t), walls, now.Add(calendar.Kept))), "BEGIN:VEVENT", state)
	}
	open := []calendar.Wall{{Wall: "shop-a", State: calendar.Open, At: now, Said: now, Sequence: 9}}
	require.Len(t, parsed(t, calendar.Feed(site(t), open, now.Add(10*calendar.Kept))).Events(), 1, "an open window is no cancelled event")
}

func TestAWallWithoutATimeIsNoEvent(t *testing.T) {
	walls := []calendar.Wall{{Wall: "shop-a", State: calendar.Shut, Said: now, Sequence: 9}}
	require.NotContains(t, string(calendar.Feed(site(t), walls, now)), "BEGIN:VEVENT")
}

func TestATimeThatIsPastIsSaidToBePast(t *testing.T) {
	walls := []calendar.Wall{{Wall: "shop-a", State: calendar.Expected, At: now.Add(-time.Hour), Said: now.Add(-2 * time.Hour), Sequence: 9}}
	e := only(t, calendar.Feed(site(t), walls, now))
	require.Contains(t, get(t, e, ical.PropDescription), "This time is past, and the window is still shut.")
}

func TestTheFeedSaysWhatItIs(t *testing.T) {
	feed := calendar.Feed(site(t), nil, now)
	for _, line := range []string{
		"VERSION:2.0", "METHOD:PUBLISH", "X-WR-CALNAME:Stone Draw: bracing", "NAME:Stone Draw: bracing",
		"REFRESH-INTERVAL;VALUE=DURATION:PT15M", "X-WR-TIMEZONE:America/Denver",
	} {
		require.Contains(t, string(feed), "\r\n"+line+"\r\n")
	}
	require.NotContains(t, string(feed), "VALARM")
	crew := calendar.Calendar{Site: site(t), Name: "Crew; north, 2", Lang: "es"}.Feed([]calendar.Wall{
		{Wall: "shop-b", State: calendar.Open, At: now, Said: now, Sequence: 3},
		{Wall: "shop-a", State: calendar.Open, At: now, Said: now, Sequence: 2},
		{Wall: "shop-a", State: calendar.Stripped, At: now, Said: now, Sequence: 7},
	}, now)
	cal := parsed(t, crew)
	name, err := cal.Props.Text("X-WR-CALNAME")
	require.NoError(t, err)
	require.Equal(t, "Crew; north, 2", name)
	require.Len(t, cal.Events(), 2)
	require.Equal(t, "shop-a: desapuntalado", get(t, cal.Events()[0], ical.PropSummary), "the later word counts")
	require.Equal(t, "shop-b: se puede desapuntalar, abierto desde 2026-11-03 13:14 MST", get(t, cal.Events()[1], ical.PropSummary))
	require.Equal(t, crew, calendar.Calendar{Site: site(t), Name: "Crew; north, 2", Lang: "es"}.Feed([]calendar.Wall{
		{Wall: "shop-a", State: calendar.Stripped, At: now, Said: now, Sequence: 7},
		{Wall: "shop-b", State: calendar.Open, At: now, Said: now, Sequence: 3},
		{Wall: "shop-a", State: calendar.Open, At: now, Said: now, Sequence: 2},
	}, now), "equal input in another order gives equal bytes")
}

// On the night when the clocks go back an hour comes twice; an instant in UTC
// does not.
func TestAnInstantIsExactWhenTheClocksChange(t *testing.T) {
	at := time.Date(2026, 11, 1, 8, 30, 0, 0, time.UTC) // 01:30 for the second time
	e := only(t, calendar.Feed(site(t), []calendar.Wall{{Wall: "a", State: calendar.Open, At: at, Said: at, Sequence: 1}}, at))
	require.Equal(t, "20261101T083000Z", e.Props.Get(ical.PropDateTimeStart).Value)
	require.Contains(t, get(t, e, ical.PropSummary), "01:30 MST")
}

func TestTheNumberOfAnEventHasItsLimit(t *testing.T) {
	e := only(t, calendar.Feed(site(t), []calendar.Wall{{Wall: "a", State: calendar.Open, At: now, Said: now, Sequence: 1 << 40}}, now))
	require.Equal(t, 1<<31-1, number(t, e), "an INTEGER of RFC 5545, 3.3.8, has 32 bits")
}

// Whatever a site is called: lines end with CRLF and hold at most 75 octets, no
// character is cut in two (RFC 5545, 3.1), nothing is added to the feed, and the
// other library reads the text back.
func TestAnyTextIsFoldedAndReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		where := notice.Site{Token: "s", Name: rapid.String().Draw(t, "site"), Zone: time.UTC}
		wall := calendar.Wall{
			Wall: rapid.StringN(1, 60, -1).Draw(t, "wall"), Said: now, Sequence: 1, Governs: rapid.String().Draw(t, "governs"),
			State: rapid.SampledFrom([]string{calendar.Expected, calendar.Open, calendar.Shut, calendar.Stripped}).Draw(t, "state"),
			At:    now.Add(time.Duration(rapid.Int64Range(-1e15, 1e15).Draw(t, "at"))),
		}
		feed := calendar.Calendar{Site: where, Lang: rapid.SampledFrom([]string{"en", "es"}).Draw(t, "lang")}.Feed([]calendar.Wall{wall}, now)
		require.True(t, bytes.HasSuffix(feed, []byte("\r\n")))
		require.NotContains(t, strings.ReplaceAll(string(feed), "\r\n", ""), "\n")
		for line := range strings.SplitSeq(string(feed), "\r\n") {
			require.LessOrEqual(t, len(line), 75, line)
			require.True(t, utf8.ValidString(line), "%q", line)
		}
		cal, err := ical.NewDecoder(bytes.NewReader(feed)).Decode()
		require.NoError(t, err, "%q", feed)
		require.Len(t, cal.Children, 1)
		require.Empty(t, cal.Children[0].Children)
		location, err := cal.Events()[0].Props.Text(ical.PropLocation)
		require.NoError(t, err)
		require.NotContains(t, location, "\n")
	})
}

func TestFoldingOfLongText(t *testing.T) {
	name := strings.Repeat("Köhlerhöhe Südhang 棟 ", 12)
	where := site(t)
	where.Name = name
	feed := calendar.Feed(where, []calendar.Wall{{Wall: "shop-a", State: calendar.Open, At: now, Said: now, Sequence: 1}}, now)
	require.Equal(t, strings.TrimSpace(name), get(t, only(t, feed), ical.PropLocation))
	require.Contains(t, string(feed), "\r\n ")
}

func TestWhatIsNoTokenIsHashed(t *testing.T) {
	require.Equal(t, "shop-a@stone-draw.earlyage", calendar.UID("stone-draw", "shop-a"))
	odd := calendar.UID("stone-draw", "shop a\r\nUID:x")
	require.Regexp(t, `^[0-9a-f]{32}@earlyage$`, odd)
	require.NotEqual(t, odd, calendar.UID("stone", "draw shop a"))
}

func TestAWallIsCalledByItsName(t *testing.T) {
	wall := calendar.Wall{Wall: "shop-a", Name: "North 2", State: calendar.Expected, At: now.Add(time.Hour), Said: now}
	e := only(t, calendar.Feed(site(t), []calendar.Wall{wall}, now))
	require.Contains(t, e.Props.Get(ical.PropSummary).Value, "North 2: ")
	require.Contains(t, e.Props.Get(ical.PropUID).Value, "shop-a@", "its token goes on naming the event: a name may change")
	wall.Name = ""
	require.Contains(t, only(t, calendar.Feed(site(t), []calendar.Wall{wall}, now)).Props.Get(ical.PropSummary).Value, "shop-a: ")
}
