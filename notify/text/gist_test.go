package text_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// The feet and pounds are by NIST SP 811, appendix B.8 (from memory: 1 ft = 0.3048 m,
// 1 psi = 6.894757 kPa): 8 m is 26.25 ft, 12 m 39.37 ft, 1.31 m 4.298 ft, 1.2 m
// 3.937 ft, 3.9 m 12.795 ft; a stretch is rounded outwards, a limit down.
func TestGist(t *testing.T) {
	for _, v := range []struct{ kind, lang, units, want string }{
		{"rise-fast", "en", "us", "More concrete was placed here within 60 minutes than the site allows. Place: 26.2 to 39.4 ft; Height: 4.3 ft; Limit: 3.9 ft"},
		{"rise-fast", "es", "si", "Aquí se vertió en 60 minutos más hormigón del que la obra admite. Sitio: 8.0 a 12.0 m; Altura: 1.31 m; Límite: 1.20 m"},
		{"wind-high", "en", "us", "A gust over the site's limit was measured, and only its braces hold the wall or its empty form. Gust: 41.2 mph; Limit: 33.5 mph; Stay out to: 12.8 ft"},
		{"line-due", "en", "si", "Forty-five minutes after the last concrete nobody has read the string line. Until: 13:10 MST"},
		{"stream-gap", "es", "us", ""}, // no numbers
	} {
		require.Equal(t, v.want, text.Gist(raised(v.kind), facts(t, v.lang, v.units)), "%s %s %s", v.kind, v.lang, v.units)
	}
	later := raised("rise-fast")
	later.Kind = "of-a-later-hub"
	require.Empty(t, text.Gist(later, facts(t, "en", "us")))
	require.Equal(t, "the wall's height + 4 ft", text.InUnits("the wall's height + 1.2 m", "us"))
	require.Equal(t, "the wall's height + 1.2 m", text.InUnits("the wall's height + 1.2 m", "si"))
	require.Equal(t, "En el registro: Rose 1.31 m.", text.InRecord("es", "Rose\n1.31 m."))
}

// What a page shows for hours says nothing of the moment at which it was written.
func TestGistHoldsStill(t *testing.T) {
	f, g := facts(t, "en", "us"), facts(t, "en", "us")
	g.Now = now.Add(2 * time.Hour)
	for _, kind := range events.AlertKinds() {
		require.Equal(t, text.Gist(raised(kind), f), text.Gist(raised(kind), g), kind)
	}
	n := notice.Notice{Kind: "record-gap", About: &events.About{Device: "a\r\n\u202eb"}}
	require.Equal(t, 1, strings.Count(text.Gist(n, f), "Device: a b"))
}
