package paper

import (
	"fmt"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationmonoregular"
	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/norm"
)

// cut is a font and its style.
type cut struct{ family, style string }

var (
	plain = cut{"sans", ""}
	bold  = cut{"sans", "B"}
	mono  = cut{"mono", ""}
)

// fontFiles are the built-in fonts, under the SIL Open Font License.
var fontFiles = map[cut][]byte{plain: liberationsansregular.TTF, bold: liberationsansbold.TTF, mono: liberationmonoregular.TTF}

// printable lists the characters that all fonts have.
var printable = sync.OnceValue(func() map[rune]bool {
	out := map[rune]bool{}
	var fonts []*sfnt.Font
	for _, raw := range fontFiles {
		f, err := sfnt.Parse(raw)
		if err != nil {
			panic(fmt.Sprintf("paper: a built-in font: %v", err))
		}
		fonts = append(fonts, f)
	}
	var b sfnt.Buffer
	for r := rune(0x20); r < 0xFFFF; r++ {
		has := true
		for _, f := range fonts {
			if i, err := f.GlyphIndex(&b, r); err != nil || i == 0 {
				has = false
				break
			}
		}
		if has {
			out[r] = true
		}
	}
	return out
})

// noBreak is a space at which no line ends.
const noBreak = '\u00a0'

// clean writes a text with the characters that the fonts have, composed; a line
// break stays, any other is a space or its code.
func clean(s string) string {
	has := printable()
	var b strings.Builder
	for _, r := range norm.NFC.String(s) {
		switch {
		case r == '\n' || has[r] && (unicode.IsPrint(r) || r == noBreak):
			b.WriteRune(r)
		case r == '\t' || r == '\r' || r == '\u202F' || r == '\u2009':
			b.WriteByte(' ')
		default:
			fmt.Fprintf(&b, "U+%04X", r)
		}
	}
	return b.String()
}
