package paper_test

import (
	"bytes"
	"encoding/xml"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/paper"
	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/cmd/earlyage/internal/words"
)

// painted finds the operators that paint a path (ISO 32000-1, table 60).
var painted = regexp.MustCompile(`(?m)^(S|s|f|F|f\*|B|B\*|b|b\*)$`)

func TestAPictureOnPaperIsThatOnThePage(t *testing.T) {
	n := 0
	for ref, in := range theWeek(t).papers {
		for _, part := range in.Page.Report(in.Words, named).Parts {
			if part.Draw == nil {
				continue
			}
			d := part.Draw(picture.Options{WidthPX: 760, Zone: time.UTC})
			var out bytes.Buffer
			require.NoError(t, paper.Drawing(&out, d, paper.A4))
			pages := read(t, out.Bytes())
			require.Len(t, pages, 1)
			paths, texts := ofSVG(t, d.SVG())
			require.Equal(t, paths, len(painted.FindAllString(pages[0].stream, -1)), "%v %s", ref, part.ID)
			require.Equal(t, tight(strings.Join(texts, "")), pages[0].text(), "%v %s", ref, part.ID)
			n++
		}
	}
	require.Greater(t, n, 12)
}

// ofSVG counts the figures of a picture and lists its texts.
func ofSVG(t *testing.T, svg picture.SVG) (paths int, texts []string) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	in := ""
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return paths, texts
		}
		require.NoError(t, err)
		switch x := tok.(type) {
		case xml.StartElement:
			if in = x.Name.Local; in == "path" {
				paths++
			}
		case xml.EndElement:
			in = ""
		case xml.CharData:
			if in == "text" {
				texts = append(texts, string(x))
			}
		}
	}
}

func TestWhatTheFontsLack(t *testing.T) {
	for _, lang := range words.Languages() {
		for _, prefix := range []string{"paper.", "wall.", "board.", "state.", "kind.", "criterion.", "alert.", "role.", "check.", "common."} {
			for key, text := range words.Of(lang).Under(prefix) {
				require.Equal(t, text, paper.Clean(text), "%s %s%s", lang, prefix, key)
			}
		}
	}
	for in, out := range map[string]string{
		"20 °C, m², 1.62 m³, ≥ 3 – 5, é å ñ ø": "20 °C, m², 1.62 m³, ≥ 3 – 5, é å ñ ø",
		"e\u0301":          "é",
		"brick \U0001F9F1": "brick U+1F9F1",
		"a\x00b\tc":        "aU+0000b c",
		"\u202egnp":        "U+202Egnp",
	} {
		require.Equal(t, out, paper.Clean(in))
	}
}
