package paper_test

import (
	"bytes"
	"cmp"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode/utf16"

	"codeberg.org/go-fonts/liberation/liberationmonoregular"
	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"github.com/ledongthuc/pdf"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// sheet is one page as another program finds it.
type sheet struct {
	wide, high float64
	runs       []run
	stream     string
}

// run is a text that was printed in one go.
type run struct {
	x, y, size float64
	font, say  string
}

// written lists the texts of a page. Their operators stand between BT and ET, as
// "BT /F1 9.00 Tf ET" and "BT 42.00 700.00 Td (in UTF-16, with escapes) Tj ET".
func written(t testing.TB, stream string, called func(font string) string) (out []run) {
	t.Helper()
	at := run{}
	for {
		_, rest, more := strings.Cut(stream, "BT ")
		if !more {
			return out
		}
		if font, ok := strings.CutPrefix(rest, "/"); ok {
			name, size, _ := strings.Cut(font, " ")
			size, stream, more = strings.Cut(size, " Tf ET")
			require.True(t, more, "a font that is set")
			at.font, at.size = called(name), number(t, size)
			continue
		}
		place, text, opened := strings.Cut(rest, " Td (")
		x, y, two := strings.Cut(place, " ")
		require.True(t, opened && two, "%.40q", rest)
		end := closing(text)
		require.True(t, strings.HasPrefix(text[end:], ") Tj ET"), "a text that ends")
		at.x, at.y, at.say = number(t, x), number(t, y), utf16Text(text[:end])
		out, stream = append(out, at), text[end:]
	}
}

// closing is where the bracket stands that ends a text.
func closing(s string) int {
	for i := 0; i < len(s); i++ {
		switch s[i] {
		case '\\':
			i++
		case ')':
			return i
		}
	}
	return len(s)
}

// read finds the pages and inflates them with a reader that is not ours. The texts are
// read here: they stand in UTF-16, and the reader knows no more than 256 characters
// of a font whose codes are those.
func read(t testing.TB, raw []byte) (out []sheet) {
	t.Helper()
	r, err := pdf.NewReader(bytes.NewReader(raw), int64(len(raw)))
	require.NoError(t, err)
	called := map[string]string{} // fonts, by their name in the document
	for i := range r.NumPage() {
		p := r.Page(i + 1)
		box := p.V.Key("MediaBox")
		if box.IsNull() {
			box = p.V.Key("Parent").Key("MediaBox")
		}
		stream, err := io.ReadAll(p.V.Key("Contents").Reader())
		require.NoError(t, err)
		s := sheet{wide: box.Index(2).Float64(), high: box.Index(3).Float64(), stream: string(stream)}
		s.runs = written(t, s.stream, func(font string) string {
			if called[font] == "" {
				called[font] = p.Font(font).BaseFont()
			}
			return called[font]
		})
		out = append(out, s)
	}
	return out
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return x
}

var escapes = strings.NewReplacer(`\\`, `\`, `\(`, `(`, `\)`, `)`, `\r`, "\r")

func utf16Text(s string) string {
	s = escapes.Replace(s)
	var codes []uint16
	for i := 0; i+1 < len(s); i += 2 {
		codes = append(codes, uint16(s[i])<<8|uint16(s[i+1]))
	}
	return string(utf16.Decode(codes))
}

// text is all that stands on a page, without spaces and breaks: those depend on
// where a line was wrapped.
func (s sheet) text() string {
	var b strings.Builder
	for _, x := range s.runs {
		b.WriteString(x.say)
	}
	return tight(b.String())
}

func tight(s string) string { return strings.Join(strings.Fields(s), "") }

func allText(pages []sheet) string {
	var b strings.Builder
	for _, p := range pages {
		b.WriteString(p.text())
	}
	return b.String()
}

var fonts = sync.OnceValue(func() map[string]*sfnt.Font {
	out := map[string]*sfnt.Font{}
	for name, raw := range map[string][]byte{"utf8sans": liberationsansregular.TTF, "utf8sansB": liberationsansbold.TTF, "utf8mono": liberationmonoregular.TTF} {
		f, err := sfnt.Parse(raw)
		if err != nil {
			panic(err)
		}
		out[name] = f
	}
	return out
})

// glyph is a character of a font.
type glyph struct {
	font string
	char rune
}

var advances = map[glyph]float64{} // of 1,000 to the em; tests run one after the other

// wide is the width of a text in points, by the font's own tables.
func (r run) wide(t testing.TB) (sum float64) {
	t.Helper()
	for _, c := range r.say {
		w, ok := advances[glyph{r.font, c}]
		if !ok {
			f := fonts()[r.font]
			require.NotNil(t, f, r.font)
			var b sfnt.Buffer
			i, err := f.GlyphIndex(&b, c)
			require.NoError(t, err)
			advance, err := f.GlyphAdvance(&b, i, fixed.I(1000), font.HintingNone)
			require.NoError(t, err)
			w = float64(advance) / 64
			advances[glyph{r.font, c}] = w
		}
		sum += w / 1000 * r.size
	}
	return sum
}

// within asks that no text leaves the page's margins, and that no two on one line
// touch. What a picture sets narrower than the font is has tests of its own.
func within(t testing.TB, what string, pages []sheet) {
	t.Helper()
	for n, p := range pages {
		if strings.Contains(p.stream, " Tz") {
			continue
		}
		lines := map[float64][]run{}
		for _, r := range p.runs {
			inside := r.x >= 41 && r.x+r.wide(t) <= p.wide-41 && r.y > 40 && r.y < p.high-35
			require.True(t, inside, "%s, page %d, at %.1f, %.1f: %q", what, n+1, r.x, r.y, r.say)
			lines[r.y] = append(lines[r.y], r)
		}
		for _, l := range lines {
			slices.SortFunc(l, func(a, b run) int { return cmp.Compare(a.x, b.x) })
			for i := 1; i < len(l); i++ {
				apart := l[i-1].x+l[i-1].wide(t) <= l[i].x+0.1
				require.True(t, apart, "%s, page %d: %q touches %q", what, n+1, l[i-1].say, l[i].say)
			}
		}
	}
}
