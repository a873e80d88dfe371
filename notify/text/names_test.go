package text_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// Where names are known, no message says a token: in no language, of no kind, of
// no word on it.
func TestPlacesAreCalledByTheirNames(t *testing.T) {
	says := func(msg notice.Message, want string) {
		t.Helper()
		require.Contains(t, msg.First, want)
		require.Contains(t, msg.Short, want)
		for _, said := range []string{msg.First, msg.Short, strings.ReplaceAll(msg.Plain, msg.Link, ""), strings.ReplaceAll(msg.HTML, msg.Link, "")} {
			require.NotContains(t, said, "stone-draw")
			require.NotContains(t, said, "shop-")
		}
	}
	for _, lang := range []string{"en", "es"} {
		f := called(facts(t, lang, "si"))
		var flood []notice.Notice
		for _, kind := range events.AlertKinds() {
			for _, state := range []string{notice.Raised, notice.Cleared, notice.Acknowledged, notice.Shelved, notice.Unshelved} {
				n := raised(kind)
				n.State, n.At = state, now
				says(text.Alert(n, f), "Alder Court, North 2")
				flood = append(flood, n)
			}
			n := raised(kind) // of the whole site, as of a device or of the hub's own
			n.Wall = ""
			says(text.Alert(n, f), "Alder Court, ")
			flood = append(flood, n)
		}
		m := text.Summary(flood, f)
		says(m, "Alder Court, North 2")
		require.Contains(t, m.Plain, "Alder Court: North 2")
		require.Contains(t, text.Test(f).First, "Alder Court")
		require.Contains(t, text.Sheet(issued(events.WeeklySheet), f).Plain, "North 2")
	}
}

func TestAPlaceWithoutANameIsCalledByItsToken(t *testing.T) {
	n, f := raised("joint-closing"), called(facts(t, "en", "si"))
	n.Wall = "shop-z"
	require.Contains(t, text.Alert(n, f).First, "Alder Court, shop-z")
	f.Walls = nil
	f.Site.Name = ""
	require.Contains(t, text.Alert(n, f).First, "stone-draw, shop-z")
	n.Wall, f.Site = "", notice.Site{Token: "_", Name: "_"}
	n.Site = "_"
	require.Contains(t, text.Alert(n, f).First, "all sites")
}

// A summary over several sites knows the walls of each.
func TestOneNameOnTwoSitesIsNotMixedUp(t *testing.T) {
	f := called(facts(t, "en", "si"))
	f.Sites = map[string]notice.Site{"mill-lane": {Token: "mill-lane", Name: "Mill Lane"}}
	f.Walls[notice.Place{Site: "mill-lane", Wall: "shop-a"}] = "Weir wall"
	here, there := raised("load-old"), raised("probe-silent")
	there.Site = "mill-lane"
	m := text.Summary([]notice.Notice{here, there}, f)
	require.Contains(t, m.Plain, "Alder Court: North 2")
	require.Contains(t, m.Plain, "Mill Lane: Weir wall")
}
