package text_test

import (
	"encoding/xml"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// Whatever the texts are, nothing panics, the first line is one line, the short
// form is short, and the page is whole and holds no markup but its own.
func TestHostileText(t *testing.T) {
	hostile := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{
		"a\r\nBcc: x@example.com", "<script>alert(1)</script>", "\u202egnp.exe", "\u2066x\u2069", "a\u2028b\u2029c", "\x00\x1b[31m", `"><img src=x onerror=y>`,
		"javascript:alert(1)", "\xff\xfe", "{first}{at}{n}", strings.Repeat("long ", 100), "\u200b", "\ufeff", "{{.}}",
	}))
	pages := map[string]int{}
	for _, lang := range []string{"en", "es"} {
		pages[lang] = len(elements(t, text.Alert(raised("strip-early"), facts(t, lang, "si")).HTML))
	}
	rapid.Check(t, func(r *rapid.T) {
		x := func(name string) string { return hostile.Draw(r, name) }
		n := notice.Notice{
			State: rapid.SampledFrom([]string{notice.Raised, notice.Cleared, notice.Shelved, "odd"}).Draw(r, "state"), Alert: x("alert"), Cause: x("cause"),
			Kind: rapid.SampledFrom(append(events.AlertKinds(), x("kind"))).Draw(r, "of"), Site: x("site"), Wall: x("wall"), Priority: x("priority"),
			Since: now.Add(time.Duration(rapid.Int64().Draw(r, "since"))), By: x("by"), Text: x("text"), Seq: 1,
			About: &events.About{
				FromM: m(rapid.Float64().Draw(r, "from")), ToM: m(rapid.Float64().Draw(r, "to")), Braces: rapid.SliceOfN(hostile, 0, 9).Draw(r, "braces"),
				Load: x("load"), Device: x("device"), Measure: x("measure"), Have: m(rapid.Float64().Draw(r, "have")), Limit: m(1), ClearM: m(rapid.Float64().Draw(r, "clear")),
			},
			Issued: &events.SheetIssued{Sheet: x("sheet"), Date: x("date"), At: now, Walls: []events.SheetWall{
				{Wall: x("w"), What: rapid.SampledFrom([]string{"overdue", "waiting", "odd"}).Draw(r, "what"), Text: x("said"), Frost: x("frost"), At: now, Braces: 3},
			}},
		}
		f := text.Facts{
			Now: now, Site: notice.Site{Token: n.Site, Name: x("name")}, Walls: map[notice.Place]string{{Site: n.Site, Wall: n.Wall}: x("wallname")}, Link: x("link"), Told: []string{x("told")}, Next: x("next"), NextAt: now,
			Reader: notice.Reader{Lang: rapid.SampledFrom([]string{"en", "es", "xx"}).Draw(r, "lang"), Units: x("units")},
		}
		for _, msg := range []notice.Message{text.Alert(n, f), text.Summary([]notice.Notice{n, n, n}, f), text.Summary(nil, f), text.Sheet(n, f), text.Test(f)} {
			for _, line := range []string{msg.First, msg.Short} {
				require.True(r, utf8.ValidString(line))
				for _, c := range line {
					require.True(r, unicode.IsGraphic(c) && (c == ' ' || !unicode.IsSpace(c)), "%q in %q", c, line)
				}
			}
			require.Less(r, utf8.RuneCountInString(msg.Short), 160, msg.Short)
			first, _, _ := strings.Cut(msg.Plain, "\n")
			require.Equal(r, msg.First, first)
			for _, c := range msg.Plain {
				require.True(r, c == '\n' || unicode.IsGraphic(c), "%q", c)
			}
			for _, e := range elements(r, msg.HTML) {
				require.Contains(r, []string{"html", "head", "meta", "title", "body", "h1", "h2", "p", "b", "ol", "ul", "li", "a"}, e)
			}
			require.NotContains(r, strings.ToLower(msg.HTML), "<script")
			require.NotContains(r, msg.HTML, `href="javascript`)
		}
	})
	require.Equal(t, pages["en"], pages["es"])
}

type failer interface {
	require.TestingT
	Helper()
}

// meta is the one element that the page leaves open, as HTML asks for.
var meta = regexp.MustCompile(`(<meta [^>]*)>`)

// elements reads a page strictly as XML, apart from the elements that HTML leaves
// open, and then as a browser does: both must find the same elements.
func elements(t failer, page string) []string {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(meta.ReplaceAllString(page, "$1/>")))
	d.Entity = xml.HTMLEntity
	var strict []string
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err, page)
		if e, ok := token.(xml.StartElement); ok {
			strict = append(strict, e.Name.Local)
		}
	}
	root, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	var lenient []string
	for n := range root.Descendants() {
		if n.Type == html.ElementNode {
			lenient = append(lenient, n.Data)
		}
	}
	require.Equal(t, strict, lenient, page)
	return strict
}

func TestAPageLoadsNothing(t *testing.T) {
	page := text.Alert(raised("strip-early"), facts(t, "en", "si")).HTML
	root, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	var links []string
	for n := range root.Descendants() {
		for _, a := range n.Attr {
			require.NotContains(t, []string{"src", "srcset", "background", "poster"}, a.Key)
			require.NotContains(t, a.Val, "url(")
			if a.Key == "href" {
				links = append(links, a.Val)
			}
		}
	}
	require.Equal(t, []string{"https://hub.example/wall/stone-draw/shop-a"}, links)
	require.Contains(t, page, `<html lang="en">`)
	require.Contains(t, page, `content="width=device-width, initial-scale=1"`)
	require.NotRegexp(t, `font(-size)?:\s*(1[0-5]|[0-9])px`, page)
	require.NotRegexp(t, `(^|[;"])width:`, page)
}
