package picture_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/picture"
)

var update = flag.Bool("update", false, "write the golden pictures again")

var drawings = []struct {
	name string
	draw func(picture.Options) *picture.Drawing
}{
	{"perimeter", func(o picture.Options) *picture.Drawing { return picture.DrawUnrolled(perimeter(), o) }},
	{"cured", func(o picture.Options) *picture.Drawing { return picture.DrawUnrolled(cured(), o) }},
	{"planned", func(o picture.Options) *picture.Drawing { return picture.DrawUnrolled(planned(), o) }},
	{"long", func(o picture.Options) *picture.Drawing { return picture.DrawUnrolled(long(), o) }},
	{"empty", func(o picture.Options) *picture.Drawing { return picture.DrawUnrolled(picture.Wall{}, o) }},
	{"pour", func(o picture.Options) *picture.Drawing { return picture.DrawTimeline(pour(), o) }},
	{"curves", func(o picture.Options) *picture.Drawing { return picture.DrawCurves(curing(), o) }},
	{"bracing", func(o picture.Options) *picture.Drawing { return picture.DrawBracing(register(), o) }},
}

// Each picture at both widths, as it was looked at and found good.
func TestGolden(t *testing.T) {
	for _, d := range drawings {
		for _, width := range []int{390, 1200} {
			name := fmt.Sprintf("%s-%d", d.name, width)
			t.Run(name, func(t *testing.T) {
				got := d.draw(picture.Options{WidthPX: width}).SVG()
				file := filepath.Join("testdata", name+".svg")
				if *update {
					require.NoError(t, os.WriteFile(file, got, 0o644))
				}
				want, err := os.ReadFile(file)
				require.NoError(t, err)
				require.Equal(t, string(want), got.String(), "run with -update, and look at it")
			})
		}
	}
}

func TestEveryPictureKeepsTheRulesAtEveryWidth(t *testing.T) {
	new, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	for _, d := range drawings {
		for _, width := range []int{1, 280, 320, 390, 599, 600, 768, 1000, 1200, 1920, 9000} {
			for _, o := range []picture.Options{{WidthPX: width}, {WidthPX: width, US: true, OnPage: true, Zone: new, ID: "w-1"}} {
				t.Run(fmt.Sprintf("%s-%d-us=%v", d.name, width, o.US), func(t *testing.T) { checkDrawing(t, d.draw(o)) })
			}
		}
	}
}

func TestEqualInputGivesEqualBytes(t *testing.T) {
	for _, d := range drawings {
		first := d.draw(picture.Options{WidthPX: 700}).SVG()
		for range 5 {
			require.Equal(t, first, d.draw(picture.Options{WidthPX: 700}).SVG(), d.name)
		}
	}
}

// The model that is drawn belongs to its owner.
func TestDrawingChangesNothing(t *testing.T) {
	w, p, c, r := perimeter(), pour(), curing(), register()
	picture.Unrolled(w, picture.Options{})
	picture.Timeline(p, picture.Options{})
	picture.Curves(c, picture.Options{})
	picture.Bracing(r, picture.Options{})
	require.Equal(t, perimeter(), w)
	require.Equal(t, pour(), p)
	require.Equal(t, fmt.Sprint(curing()), fmt.Sprint(c)) // NaN is no equal of itself
	require.Equal(t, register(), r)
}

// Every state stands in the picture as a word, for those who see no colour.
func TestEveryStateIsSaidInWords(t *testing.T) {
	for _, width := range []int{390, 1200} {
		o := picture.Options{WidthPX: width}
		said := look(picture.DrawUnrolled(perimeter(), o)).words()
		for _, want := range []string{
			"2 h 12 min left", "past limit by 8 min", "closing, 12 min left", "room for 0.25 m now", "full lift from 10:26", "no room now",
			"open front, past limit", "open front, closing", "open front, live", "nothing placed", "bulkhead", "BH1", "C3", "W4", "D1", "P1",
		} {
			require.Contains(t, said, want)
		}
		drawing := picture.DrawUnrolled(cured(), o)
		said = look(drawing).words()
		for _, want := range []string{"held: 2 braces, B5, B6", "disturbed: 1 brace, B7", "standing: 1 brace, B4", "may strip: 2 braces, B2, B3", "stripped: 1 brace, B1", "planned: 1 brace, B8"} {
			require.Contains(t, said, want)
		}
		for _, want := range []string{"J1: cold joint, not treated", "J2: cold joint, treated", "J3: cold joint, not treated, upright at 12.00 m", "covered after 2 h 52 min, limit 2 h 30 min"} {
			require.Contains(t, drawing.Desc, want)
		}
	}
}

func TestDescriptionSaysWhatIsSeen(t *testing.T) {
	d := picture.DrawUnrolled(perimeter(), picture.Options{})
	for _, want := range []string{
		"as of Tue 3 Nov 09:42 UTC: 40.00 m along", "Concrete stands 0.60 to 1.80 m high, 0.0 to 1.9 h old.",
		"Open front, 26.00 to 32.00 m along, 0.60 m high: past limit by 8 min.", "Open front, end face at 26.00 m, 0.60 to 1.20 m high: 2 h 04 min left.",
		"W1: opening, 6.00 to 7.80 m along, sill 0.90 m, head 2.10 m.", "4 corners: C1 at 0.00 m, C2 at 12.00 m, C3 at 20.00 m and C4 at 32.00 m.",
		"Standing: 22 braces, B1 to B22.",
	} {
		require.Contains(t, d.Desc, want)
	}
	require.Contains(t, picture.DrawTimeline(pour(), picture.Options{}).Desc, "0.60 m at 06:46 (open past its limit of 08:56)")
	require.Contains(t, picture.DrawBracing(register(), picture.Options{}).Desc, "B3 at 4.30 m: stripped early, Tue 3 Nov 00:42")
	require.Contains(t, picture.DrawCurves(curing(), picture.Options{}).Desc, "The age is 25 h of 48 h needed.")
}

// A picture that says that something may be stripped carries the caution.
func TestTheCautionStandsWhereAStripTimeIsShown(t *testing.T) {
	const caution = "competent person"
	plain := func(d *picture.Drawing) string { return flat(look(d).words()) }
	require.Contains(t, plain(picture.DrawUnrolled(cured(), picture.Options{})), caution)
	require.NotContains(t, plain(picture.DrawUnrolled(cured(), picture.Options{OnPage: true})), caution)
	require.NotContains(t, plain(picture.DrawUnrolled(perimeter(), picture.Options{})), caution)
	require.Contains(t, plain(picture.DrawCurves(curing(), picture.Options{})), caution)
	require.Contains(t, plain(picture.DrawBracing(register(), picture.Options{WidthPX: 390})), caution)
	may := planned()
	may.State = "may strip"
	require.Contains(t, plain(picture.DrawUnrolled(may, picture.Options{})), caution)
}

func TestAWallIsDividedAtItsCorners(t *testing.T) {
	require.Equal(t, []float64{40}, perimeter().Rows(1100))
	require.Equal(t, []float64{20, 40}, perimeter().Rows(600))
	require.Equal(t, []float64{12, 20, 32, 40}, perimeter().Rows(290))
	w := picture.Wall{LengthM: 20, FormTopM: 3, Openings: []picture.Opening{opening("W1", 9.5, 11, 1, 2)}}
	require.Equal(t, []float64{9.4, 20}, w.Rows(300), "not through an opening")
	w.LengthM = 3000
	require.Len(t, w.Rows(300), 12, "no more rows than that")
}

func TestAWallWithoutLayoutSaysSo(t *testing.T) {
	d := picture.DrawUnrolled(picture.Wall{Name: "east-2"}, picture.Options{WidthPX: 390})
	require.Contains(t, d.Desc, "not laid out")
	require.Equal(t, "Wall east-2", d.Title)
	checkDrawing(t, d)
}

// What has no room above the wall is not lost: the key says it.
func TestNothingIsLostForWantOfRoom(t *testing.T) {
	w := long()
	w.LengthM = 66
	w.Fronts = nil
	for i := range 40 {
		w.Fronts = append(w.Fronts, picture.Front{FromM: 10 + float64(i)*0.1, ToM: 10.1 + float64(i)*0.1, TopM: 1, State: picture.FrontClosing, MinutesLeft: float64(i)})
	}
	d := picture.DrawUnrolled(w, picture.Options{WidthPX: 390})
	said := flat(look(d).words())
	require.Contains(t, said, "more open fronts have no label here for want of room.")
	require.Contains(t, said, "closing, under 1 min left")
	require.Contains(t, d.Desc, "closing, 39 min left")
	checkDrawing(t, d)
}

// The fonts of pages and papers are cut down to the characters that are used; one
// that is not in them would vanish in silence.
func TestWordsUseOnlyFewCharacters(t *testing.T) {
	for _, d := range drawings {
		for _, us := range []bool{false, true} {
			for _, r := range look(d.draw(picture.Options{US: us})).words() {
				plain := r == '\n' || ' ' <= r && r <= '~'
				require.True(t, plain || strings.ContainsRune("°–…", r), "%q in %s", r, d.name)
			}
		}
	}
}

// Openings are left out of open fronts and of joints: there is nothing to cover.
func TestNoSurfaceRunsThroughAnOpening(t *testing.T) {
	w := planned()
	w.Fronts = []picture.Front{{FromM: 0, ToM: 7.3, TopM: 1.5, State: picture.FrontLive, MinutesLeft: 40}}
	count := func(w picture.Wall) int {
		n := 0
		for _, f := range look(picture.DrawUnrolled(w, picture.Options{})).figures {
			if f.style.Fill == picture.PlacingBlue && f.reach.X1-f.reach.X0 > 100 {
				n++
			}
		}
		return n
	}
	require.Equal(t, 2, count(w), "from 0 to 2 m, and from 2.5 m on")
	w.Fronts[0].TopM = 1 // at the sill
	require.Equal(t, 1, count(w))
}
