package board_test

import (
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

var rewrite = flag.Bool("rewrite", false, "write the golden files anew: read the difference before it is committed")

// golden compares a value with a file of testdata.
func golden(t *testing.T, name string, v any) {
	t.Helper()
	got, err := json.Marshal(v, json.Deterministic(true), jsontext.WithIndent("  "))
	require.NoError(t, err)
	got = append(got, '\n')
	path := filepath.Join("testdata", name)
	if *rewrite {
		require.NoError(t, os.WriteFile(path, got, 0o600))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), name)
}

// The morning as a board, however the picture's parts are ordered.
func TestMorning(t *testing.T) {
	in := readRecord(t, "testdata/morning.txt").input(morning)
	b := board.Make(in)
	golden(t, "morning.json", b)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		rng.Shuffle(len(in.Walls), func(i, j int) { in.Walls[i], in.Walls[j] = in.Walls[j], in.Walls[i] })
		rng.Shuffle(len(in.Alarms), func(i, j int) { in.Alarms[i], in.Alarms[j] = in.Alarms[j], in.Alarms[i] })
		rng.Shuffle(len(in.Sites), func(i, j int) { in.Sites[i], in.Sites[j] = in.Sites[j], in.Sites[i] })
		require.Equal(t, b, board.Make(in))
	}
}

// drawBoard draws any board: rows with whatever may be due, in any order.
func drawBoard(t *rapid.T) board.Input {
	moment := rapid.Custom(func(t *rapid.T) time.Time {
		if rapid.IntRange(0, 3).Draw(t, "known") == 0 {
			return time.Time{}
		}
		return morning.Add(time.Duration(rapid.IntRange(-3000, 3000).Draw(t, "minutes")) * time.Minute)
	})
	in := board.Input{At: morning, Level: true}
	states := []string{scheduler.StatePlanned, scheduler.StatePlacing, scheduler.StateCuring, scheduler.StateMayStrip, scheduler.StateStripped, scheduler.StateHandedOver}
	kinds := slices.Sorted(maps.Keys(scheduler.AlertKinds))
	for i := range rapid.IntRange(0, 12).Draw(t, "walls") {
		a := scheduler.Assessment{Site: rapid.SampledFrom([]string{"a", "b"}).Draw(t, "site"), Wall: fmt.Sprint("w", i), At: morning, State: rapid.SampledFrom(states).Draw(t, "state")}
		a.Strip.Open = a.State == scheduler.StateMayStrip
		a.Strip.Earliest, a.Strip.CuredAt, a.Strip.Expected.Likely, a.Strip.Expected.Late = moment.Draw(t, "earliest"), moment.Draw(t, "cured"), moment.Draw(t, "likely"), moment.Draw(t, "late")
		for range rapid.IntRange(0, 2).Draw(t, "joints") {
			a.Joints = append(a.Joints, scheduler.Joint{State: rapid.SampledFrom([]string{scheduler.JointLive, scheduler.JointClosing, scheduler.JointPastLimit, scheduler.JointCold}).Draw(t, "joint"), Deadline: moment.Draw(t, "deadline")})
		}
		for j := range rapid.IntRange(0, 3).Draw(t, "loads") {
			a.Loads = append(a.Loads, scheduler.Load{Name: fmt.Sprint("l", j), State: rapid.SampledFrom([]string{scheduler.LoadOrdered, scheduler.LoadOnTheRoad, scheduler.LoadArrived, scheduler.LoadDischarged}).Draw(t, "load"), Batched: moment.Draw(t, "batched"), Expected: moment.Draw(t, "expected")})
		}
		a.Take.BalanceAt = moment.Draw(t, "balance")
		for range rapid.IntRange(0, 3).Draw(t, "braces") {
			a.Braces = append(a.Braces, scheduler.BraceWindow{State: rapid.SampledFrom([]string{scheduler.BraceStanding, scheduler.BraceMayStrip, scheduler.BraceStripped}).Draw(t, "brace")})
		}
		in.Walls = append(in.Walls, board.Wall{Assessment: a})
		for j := range rapid.IntRange(0, 2).Draw(t, "alerts") {
			kind := rapid.SampledFrom(kinds).Draw(t, "kind")
			y := face.Alarm{ID: fmt.Sprint(i, "-", j), Site: a.Site, Wall: a.Wall, Kind: kind, Priority: scheduler.AlertKinds[kind].Priority, Since: face.Time{Time: moment.Draw(t, "since")}}
			y.Acknowledged = face.Time{Time: moment.Draw(t, "acknowledged")}
			y.State = rapid.SampledFrom([]string{"", wall.StateUnacknowledged, wall.StateAcknowledged, wall.StateReturned, wall.StateLatchedUnacknowledged, wall.StateShelved, wall.StateOutOfService}).Draw(t, "standing")
			in.Alarms = append(in.Alarms, y)
		}
	}
	return in
}

// A joint that closes or is past its limit comes before forms and people, those
// before other joints, then loads, then windows. In each rank what happens to the
// wall comes before answers, what can be met before what is long over, and the
// earlier before the later; a time that is not known comes last. The order does not
// hang on the order in which the walls came.
func TestOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawBoard(t)
		b := board.Make(in)
		for i, r := range b.Walls {
			for j := 1; j < len(r.Due); j++ {
				inOrder(t, r.Due[j-1], r.Due[j])
			}
			if i > 0 {
				inOrder(t, first(b.Walls[i-1]), first(r))
			}
		}
		shuffled := board.Input{At: in.At, Level: true, Walls: rapid.Permutation(in.Walls).Draw(t, "walls"), Alarms: rapid.Permutation(in.Alarms).Draw(t, "alarms")}
		require.Equal(t, b, board.Make(shuffled))
	})
}

func inOrder(t *rapid.T, x, y board.Due) {
	class := func(d board.Due) int {
		n := 4 * d.Rank
		if d.Kind == board.DueAlert {
			n += 2
		}
		if d.Kind == board.DueJoint && d.Name == scheduler.JointPastLimit || d.Kind != board.DueJoint && !d.At.IsZero() && morning.Sub(d.At.Time) >= 24*time.Hour {
			n++
		}
		return n
	}
	require.LessOrEqual(t, class(x), class(y), "%v before %v", x, y)
	if class(x) == class(y) && !y.At.IsZero() {
		require.False(t, x.At.IsZero() || x.At.After(y.At.Time), "%v before %v", x, y)
	}
}

func first(r board.Row) board.Due {
	if len(r.Due) == 0 {
		return board.Due{Rank: board.RankNothing}
	}
	return r.Due[0]
}

// Braces are counted on only where they are free or surely known to be.
func TestWhatTheNextWallCountsOn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sum := map[string]int{}
		for _, s := range board.Make(drawBoard(t)).Sets {
			require.Positive(t, s.N)
			if s.Free || !s.Late.IsZero() {
				sum[s.Site] += s.N
				require.Equal(t, sum[s.Site], s.CountOn, "%+v", s)
				continue
			}
			require.Zero(t, s.CountOn, "%+v", s)
		}
	})
}

// A joint that closes in ten minutes stands before one past its limit, that before
// forms and people however long they have waited, then comes a joint that is open
// for hours yet, then a load that is late, then a window that opens at once, and
// last an answer that is days late.
func TestJointsBeforeLoadsBeforeWindows(t *testing.T) {
	at := func(minutes int) time.Time { return morning.Add(time.Duration(minutes) * time.Minute) }
	wall := func(name, state string, change func(a *scheduler.Assessment)) board.Wall {
		a := scheduler.Assessment{Site: "s", Wall: name, At: morning, State: state}
		change(&a)
		return board.Wall{Assessment: a}
	}
	b := board.Make(board.Input{At: morning, Walls: []board.Wall{
		wall("planned", scheduler.StatePlanned, func(*scheduler.Assessment) {}),
		wall("window", scheduler.StateCuring, func(a *scheduler.Assessment) { a.Strip.Earliest = at(1) }),
		wall("load", scheduler.StatePlacing, func(a *scheduler.Assessment) {
			a.Loads = []scheduler.Load{{Name: "l", State: scheduler.LoadOnTheRoad, Expected: at(-20)}}
		}),
		wall("joint", scheduler.StatePlacing, func(a *scheduler.Assessment) {
			a.Joints = []scheduler.Joint{{State: scheduler.JointLive, Deadline: at(140)}}
		}),
		wall("past", scheduler.StatePlacing, func(a *scheduler.Assessment) {
			a.Joints = []scheduler.Joint{{State: scheduler.JointPastLimit, Deadline: at(-5)}}
		}),
		wall("closing", scheduler.StatePlacing, func(a *scheduler.Assessment) {
			a.Joints = []scheduler.Joint{{State: scheduler.JointPastLimit, Deadline: at(-50)}, {State: scheduler.JointClosing, Deadline: at(10)}}
		}),
		wall("early", scheduler.StateStripped, func(*scheduler.Assessment) {}),
		wall("old", scheduler.StateStripped, func(*scheduler.Assessment) {}),
		wall("disturbed", scheduler.StateCuring, func(a *scheduler.Assessment) { a.Strip.Earliest = at(2) }),
		wall("gone", scheduler.StateHandedOver, func(*scheduler.Assessment) {}),
	}, Alarms: []face.Alarm{
		{ID: "x", Site: "s", Wall: "disturbed", Kind: scheduler.AlertBraceDisturbed, Priority: scheduler.Urgent, Since: face.Time{Time: at(-10)}},
		{ID: "y", Site: "s", Wall: "early", Kind: scheduler.AlertStripEarly, Priority: scheduler.Urgent, Since: face.Time{Time: at(-8000)}},
		{ID: "z", Site: "s", Wall: "old", Kind: scheduler.AlertFrozen, Priority: scheduler.Urgent, Since: face.Time{Time: at(-8000)}},
		{ID: "v", Site: "s", Wall: "closing", Kind: scheduler.AlertStopMisplaced, Priority: scheduler.High, Since: face.Time{Time: at(-120)}},
	}})
	var order []string
	for _, r := range b.Walls {
		order = append(order, r.Wall)
	}
	require.Equal(t, []string{"closing", "past", "disturbed", "early", "joint", "load", "window", "old", "planned"}, order)
}

// What is out of sight is nowhere on a narrowed board.
func TestNarrow(t *testing.T) {
	in := readRecord(t, "testdata/morning.txt").input(morning)
	in.Alarms = append(in.Alarms, face.Alarm{ID: "hub", Site: scheduler.Company, Kind: scheduler.AlertStreamHole})
	b := board.Make(in).Narrow(board.Sight{Sites: []string{"tverrbakken"}}.Sees)
	body, err := json.Marshal(b)
	require.NoError(t, err)
	for _, hidden := range []string{"alder-court", "stone-draw", "west-1", "shop-", "stream-hole"} {
		require.NotContains(t, string(body), hidden)
	}
	require.Len(t, b.Walls, 2)
	require.Len(t, board.Make(in).Narrow(board.Sight{All: true}.Sees).Alerts, len(in.Alarms))
}

func TestMayAnswer(t *testing.T) {
	crew := board.Sight{Sites: []string{"a", "b"}, Roles: map[string][]events.Role{"a": {events.Crew}, "b": {events.Officer}}}
	require.True(t, crew.MayAnswer("a", scheduler.AlertJointClosing))
	require.False(t, crew.MayAnswer("b", scheduler.AlertJointClosing))
	require.False(t, crew.MayAnswer("a", scheduler.AlertStripEarly))
	require.True(t, crew.MayAnswer("b", scheduler.AlertStripEarly))
	require.False(t, crew.MayAnswer("a", "no-such-alert"))
	everywhere := board.Sight{All: true, Roles: map[string][]events.Role{"_": {events.Dispatcher}}}
	require.True(t, everywhere.MayAnswer("a", scheduler.AlertJointAtRisk))
	require.False(t, everywhere.MayAnswer("a", scheduler.AlertStripEarly), "whoever sees every wall does not close that matter")
}
