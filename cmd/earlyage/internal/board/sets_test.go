package board_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

func brace(name string, s scheduler.Strip) scheduler.BraceWindow {
	b := scheduler.BraceWindow{Name: name, State: scheduler.BraceStanding, Strip: s}
	if s.Open {
		b.Strip.Criteria = []scheduler.Criterion{{Name: scheduler.Floor, Met: true}}
		return b
	}
	b.Strip.Criteria = []scheduler.Criterion{{Name: scheduler.Floor}}
	return b
}

func sets(closed bool, list ...scheduler.BraceWindow) []board.Set {
	w := wall.New("s", "w")
	w.Holding.Geometry.Closed = closed
	a := scheduler.Assessment{Site: "s", Wall: "w", At: morning, State: scheduler.StateCuring, Braces: list}
	a.Strip.Expected = scheduler.Expected{Early: minutes(900), Likely: minutes(900), Late: minutes(900)} // the wall's last
	return board.Make(board.Input{At: morning, Walls: []board.Wall{{Assessment: a, State: w}}}).Sets
}

func expected(early, likely, late int) scheduler.Strip {
	return scheduler.Strip{Expected: scheduler.Expected{Early: minutes(early), Likely: minutes(likely), Late: minutes(late)}}
}

// Each brace comes free with its own window and not before those beside it; not
// with the wall's last.
func TestBracesByTheirOwnWindows(t *testing.T) {
	open := scheduler.Strip{Open: true}
	free := brace("b1", open)
	free.MayStrip = true
	got := sets(false, free, brace("b2", open), brace("b3", expected(10, 20, 30)), brace("b4", expected(5, 25, 40)), brace("b5", scheduler.Strip{CuredAt: minutes(-5), Governs: scheduler.Support}))
	at := func(n int) face.Time { return face.Time{Time: minutes(n)} }
	require.Equal(t, []board.Set{
		{Site: "s", Wall: "w", Name: "w", N: 1, Braces: []string{"b1"}, Free: true, CountOn: 1},
		{Site: "s", Wall: "w", Name: "w", N: 1, Braces: []string{"b2"}, Early: at(10), Likely: at(20), Late: at(30), CountOn: 2},
		{Site: "s", Wall: "w", Name: "w", N: 1, Braces: []string{"b3"}, Early: at(10), Likely: at(25), Late: at(40), CountOn: 3},
		{Site: "s", Wall: "w", Name: "w", N: 2, Braces: []string{"b4", "b5"}, Waits: scheduler.Support},
	}, got)

	// On a closed wall the last stands beside the first.
	got = sets(true, brace("b1", open), brace("b2", open), brace("b3", open), brace("b4", expected(1, 2, 3)))
	require.Len(t, got, 2)
	require.Equal(t, []string{"b1", "b3", "b4"}, got[0].Braces)
	require.Equal(t, []string{"b2"}, got[1].Braces)
	require.False(t, got[1].Free, "the assessment does not say that it may go")

	// A permit that is missing for one holds up that one alone; a late time that is
	// not known is not counted on.
	cured := brace("b1", scheduler.Strip{CuredAt: minutes(-9), Governs: scheduler.Permit})
	cured.Strip.Criteria = []scheduler.Criterion{{Name: scheduler.Permit}}
	unsure := brace("b2", expected(1, 2, 3))
	unsure.Strip.Expected.Late = scheduler.Expected{}.Late
	got = sets(false, cured, brace("b2", open), brace("b3", open), unsure)
	require.Equal(t, scheduler.Permit, got[len(got)-1].Waits)
	for _, s := range got {
		require.Zero(t, s.CountOn, "%+v", s)
	}
}

// However the windows are, no brace is said to be free that may not go, none before
// its own window, and each is in one set.
func TestNoBraceIsFreeTooEarly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var list []scheduler.BraceWindow
		own := map[string]scheduler.BraceWindow{}
		for i := range rapid.IntRange(0, 8).Draw(t, "braces") {
			s := expected(i, rapid.IntRange(1, 50).Draw(t, "likely"), rapid.IntRange(50, 90).Draw(t, "late"))
			switch rapid.IntRange(0, 3).Draw(t, "window") {
			case 0:
				s = scheduler.Strip{Open: true}
			case 1:
				s = scheduler.Strip{Governs: scheduler.Hold}
			}
			b := brace(fmt.Sprint("b", i), s)
			b.MayStrip = s.Open && rapid.Bool().Draw(t, "may")
			list, own[b.Name] = append(list, b), b
		}
		seen := 0
		for _, s := range sets(rapid.Bool().Draw(t, "closed"), list...) {
			require.Len(t, s.Braces, s.N)
			seen += s.N
			for _, name := range s.Braces {
				b := own[name]
				require.Equal(t, b.MayStrip, s.Free, name)
				if s.Free || s.Waits != "" {
					continue
				}
				require.False(t, s.Late.Before(b.Strip.Expected.Late) || s.Likely.Before(b.Strip.Expected.Likely), name)
				require.NotEqual(t, scheduler.Hold, b.Strip.Governs, name)
			}
		}
		require.Len(t, list, seen)
	})
}
