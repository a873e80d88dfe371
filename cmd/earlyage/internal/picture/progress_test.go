package picture_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/cmd/earlyage/internal/picture"
)

// heldByCold is a window that the cold keeps shut past its floor.
func heldByCold() picture.Progress {
	return picture.Progress{
		Site: "Harbour Road", Name: "North house", At: at, ClockZero: at.Add(-60 * time.Hour), Governs: "temperature",
		Early: at.Add(9 * time.Hour), Likely: at.Add(13*time.Hour + 20*time.Second), Late: at.Add(22 * time.Hour),
		Rows: []picture.Criterion{
			{Name: "complete", Met: true, MetAt: at.Add(-59 * time.Hour), Part: -1, Say: "whole"},
			{Name: "floor", Met: true, MetAt: at.Add(-12 * time.Hour), Part: 1, Say: "60 of 48 h"},
			{Name: "temperature", Part: 0.65, Say: "31.2 of 48 h at 20 °C"},
			{Name: "support", Standing: true, Met: true, MetAt: at.Add(-8 * time.Hour), Part: -1, Say: "tied in"},
			{Name: "permit", Standing: true, Part: -1, Say: "none; needs a permit to strip, issued by a competent person"},
		},
	}
}

func TestProgressKeepsTheRulesAtEveryWidth(t *testing.T) {
	waiting := heldByCold()
	waiting.Rows[1] = picture.Criterion{Name: "floor", MetAt: at.Add(30 * time.Hour), Part: 0.4, Say: "18 of 48 h"}
	open := heldByCold()
	open.Open, open.Opened, open.Cured, open.Governs = true, at.Add(-time.Hour), at.Add(-2*time.Hour), ""
	for name, p := range map[string]picture.Progress{"held": heldByCold(), "waiting": waiting, "open": open, "empty": {}} {
		for _, width := range []int{1, 280, 320, 390, 599, 600, 768, 1000, 1200, 1920, 9000} {
			for _, o := range []picture.Options{{WidthPX: width}, {WidthPX: width, OnPage: true, ID: "w-1"}} {
				t.Run(fmt.Sprintf("%s-%d-%v", name, width, o.OnPage), func(t *testing.T) { checkDrawing(t, picture.DrawProgress(p, o)) })
			}
		}
	}
}

// Times to strip are rounded up, and what is not met is never said to be.
func TestProgressSaysWhatItShows(t *testing.T) {
	d := picture.DrawProgress(heldByCold(), picture.Options{})
	require.Contains(t, d.Desc, "likely Tue 3 Nov 22:43 UTC", "rounded up to the minute")
	require.Contains(t, d.Desc, "temperature: not met; 31.2 of 48 h at 20 °C.")
	require.Contains(t, d.Desc, "floor: met Mon 2 Nov 21:43 UTC")
	require.Contains(t, d.Desc, "What governs: temperature.")
	words := look(d).words()
	require.Contains(t, words, "temperature (governs)")
	require.Contains(t, words, "Do not strip a wall")
	require.NotContains(t, look(picture.DrawProgress(heldByCold(), picture.Options{OnPage: true})).words(), "Do not strip a wall")
}

func TestAnyProgressCanBeDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := picture.Progress{
			Site: anyName().Draw(t, "site"), Name: anyName().Draw(t, "name"), At: moment().Draw(t, "at"), ClockZero: moment().Draw(t, "zero"), Governs: anyName().Draw(t, "governs"),
			Open: rapid.Bool().Draw(t, "open"), Opened: moment().Draw(t, "opened"), Cured: moment().Draw(t, "cured"),
			Early: moment().Draw(t, "early"), Likely: moment().Draw(t, "likely"), Late: moment().Draw(t, "late"),
		}
		p.Rows = some(t, "rows", 10, func() picture.Criterion {
			return picture.Criterion{
				Name: anyName().Draw(t, "row"), Standing: rapid.Bool().Draw(t, "standing"), Met: rapid.Bool().Draw(t, "met"), MetAt: moment().Draw(t, "met at"),
				Part: number(-1, 2).Draw(t, "part"), Say: anyName().Draw(t, "say"),
			}
		})
		checkDrawing(t, picture.DrawProgress(p, drawOptions(t)))
	})
}
