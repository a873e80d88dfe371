package board_test

import (
	"fmt"
	"html"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/scheduler"
)

// minutes is a moment some minutes after the morning's.
func minutes(n int) time.Time { return morning.Add(time.Duration(n) * time.Minute) }

// within is half a minute later, so that a page counts so many minutes for a while.
func within(n int) time.Time { return minutes(n).Add(30 * time.Second) }

var tags = regexp.MustCompile(`<[^>]*>`)

// cellsOf reads the words of one row, or of the strip over the board, by name.
func cellsOf(t testing.TB, page, id string) map[string]string {
	t.Helper()
	_, part, ok := strings.Cut(page, `id="`+id+`"`)
	require.True(t, ok, id)
	part, _, _ = strings.Cut(part, map[bool]string{true: "</p>", false: "</li>"}[id == "first"])
	out := map[string]string{}
	for _, m := range regexp.MustCompile(`(?s)data-c="([^"]+)"[^>]*>(.*?)</(?:span|a)>`).FindAllStringSubmatch(part, -1) {
		if text := html.UnescapeString(tags.ReplaceAllString(m[2], "")); text != "" {
			out[m[1]] = text
		}
	}
	return out
}

// placing is a wall of a site in Denver that is being placed.
func placing(name string, joints ...scheduler.Joint) board.Wall {
	return board.Wall{Assessment: scheduler.Assessment{Site: "stone-draw", Wall: name, At: morning, State: scheduler.StatePlacing, Joints: joints}}
}

func stoneDraw() board.Site {
	return board.Site{Site: face.Site{Site: "stone-draw", Name: "Stone Draw", Zone: "America/Denver", Units: "us"}}
}

func joint(state string, from, to, top float64, deadline int) scheduler.Joint {
	return scheduler.Joint{State: state, FromM: from, ToM: to, TopM: top, Placed: within(deadline - 150), Deadline: within(deadline), LimitMin: 150}
}

// What is due next on a wall that is being placed is the next joint to close, or
// since when one is past its limit; never the time to answer an alert.
func TestDueNextWhilePlacing(t *testing.T) {
	past, near := joint(scheduler.JointPastLimit, 20, 32, 1.2, -5), joint(scheduler.JointClosing, 20, 26, 1.2, 14)
	far := joint(scheduler.JointLive, 0, 20, 0.6, 100)
	truck := scheduler.Load{Name: "s-9", State: scheduler.LoadOrdered, Expected: within(30)}
	for _, c := range []struct {
		name              string
		wall              board.Wall
		left, clock, what string
		where             string // beside the oldest joint
	}{
		{"closing before past", placing("w", past, far, near), "14 min", "08:34 MST", "joint closing, 65.6 to 85.3 ft at 3.94 ft", "65.6 to 105.0 ft at 3.94 ft"},
		{"past its limit before one open for long", placing("w", past, far), "since 08:15 MST", "", "joint past its limit, 65.6 to 105.0 ft at 3.94 ft", ""},
		{"open for long", placing("w", far), "1 h 40", "10:00 MST", "joint closes, 0.0 to 65.6 ft at 1.97 ft", ""},
		{"no joint", func() board.Wall {
			w := placing("w")
			w.Assessment.Loads = []scheduler.Load{truck}
			return w
		}(), "30 min", "08:50 MST", "load s-9 comes", ""},
		{"nothing", placing("w"), "since Fri 08:40 MST", "", "to answer: Form moved", ""},
	} {
		in := board.Input{At: morning, Level: true, Sites: []board.Site{stoneDraw()}, Walls: []board.Wall{c.wall}}
		for i, kind := range []string{scheduler.AlertStopMisplaced, scheduler.AlertFormMoved} {
			in.Alarms = append(in.Alarms, face.Alarm{ID: fmt.Sprint(i), Site: "stone-draw", Wall: "w", Kind: kind, Priority: scheduler.AlertKinds[kind].Priority, Since: face.Time{Time: minutes(-3*1440 + 10)}})
		}
		row := cellsOf(t, serve(t, in, nil).get(t, "/board").Body.String(), "w.stone-draw.w")
		require.Equal(t, []string{c.left, c.clock, c.what, c.where}, []string{row["left"], row["clock"], row["what"], row["where"]}, c.name)
		require.Equal(t, "Form moved +1", row["alerts"], c.name)
	}
}

// Over a day no page counts days and hours: it says since when, or when.
func TestNoDaysAreCounted(t *testing.T) {
	in := many(readRecord(t, "testdata/morning.txt").input(morning), 12)
	for i, kind := range []string{scheduler.AlertStripEarly, scheduler.AlertFrozen, scheduler.AlertBraceOverdue, scheduler.AlertStopMisplaced} {
		a := in.Walls[i].Assessment
		in.Alarms = append(in.Alarms, face.Alarm{ID: kind, Site: a.Site, Wall: a.Wall, Kind: kind, Priority: scheduler.AlertKinds[kind].Priority, Since: face.Time{Time: minutes(-6 * 1440)}})
	}
	s := serve(t, in, nil)
	for _, page := range []string{"/board", "/alerts"} {
		text := tags.ReplaceAllString(s.get(t, page).Body.String(), " ")
		require.NotRegexp(t, `\d d \d`, text, page)
		require.NotRegexp(t, `\b(2[5-9]|[3-9]\d|\d{3,}) h \d\d`, text, page)
	}
	require.Contains(t, s.get(t, "/alerts").Body.String(), "over since Tue 10:25 EST")
	require.Contains(t, s.get(t, "/alerts?lang=es").Body.String(), "de más desde mar 10:25 EST")
}

// The strip over the board names the joint that closes first of all that are in
// sight.
func TestWhatClosesFirst(t *testing.T) {
	in := board.Input{At: morning, Level: true, Sites: []board.Site{stoneDraw()}}
	s := serve(t, in, nil)
	strip := func() map[string]string { return cellsOf(t, s.get(t, "/board").Body.String(), "first") }
	require.Equal(t, map[string]string{"first-say": "No joint is open."}, strip())

	walls := []board.Wall{
		placing("a", joint(scheduler.JointPastLimit, 0, 10, 0.6, -30), joint(scheduler.JointLive, 10, 20, 0.6, 90)),
		placing("b", joint(scheduler.JointClosing, 20, 26, 1.2, 14)), placing("c", joint(scheduler.JointPastLimit, 0, 5, 0.6, -90)),
	}
	for _, c := range []struct {
		walls []board.Wall
		want  map[string]string
	}{
		{walls, map[string]string{"first-say": "Closes first:", "first-wall": "Stone Draw, b, 65.6 to 85.3 ft at 3.94 ft, 08:34 MST", "first-left": "14 min"}},
		{walls[:1], map[string]string{"first-say": "Closes first:", "first-wall": "Stone Draw, a, 32.8 to 65.6 ft at 1.97 ft, 09:50 MST", "first-left": "90 min"}},
		{walls[2:], map[string]string{"first-say": "Past its limit:", "first-wall": "Stone Draw, c, 0.0 to 16.4 ft at 1.97 ft, since 06:50 MST"}},
	} {
		s = serve(t, board.Input{At: morning, Level: true, Sites: in.Sites, Walls: c.walls}, nil)
		require.Equal(t, c.want, strip())
	}
	s = serve(t, board.Input{At: morning, Level: true, Sites: in.Sites, Walls: walls}, nil)
	s.sight = board.Sight{Sites: []string{"elsewhere"}}
	require.Equal(t, map[string]string{"first-say": "No joint is open."}, strip(), "what is out of sight is not named")
}
