package picture

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Widths of the characters from space to tilde in thousandths of the size of
// the text. Each is the widest of three fonts that a page or a paper may fall
// back on: Atkinson Hyperlegible Next, DejaVu Sans and Liberation Sans.
var plainWidths = [95]uint16{
	318, 401, 460, 838, 637, 951, 780, 275, 391, 391, 500, 838, 318, 362, 318, 387,
	648, 637, 637, 637, 637, 637, 637, 637, 637, 637, 337, 337, 838, 838, 838, 557,
	1016, 685, 687, 723, 771, 667, 611, 778, 752, 392, 512, 667, 558, 863, 749, 788,
	667, 788, 723, 667, 611, 732, 685, 989, 686, 667, 686, 391, 387, 391, 838, 557,
	500, 613, 635, 550, 635, 616, 353, 635, 634, 278, 278, 580, 278, 975, 634, 612,
	635, 635, 412, 521, 393, 634, 592, 818, 592, 592, 525, 637, 337, 637, 838,
}

var boldWidths = [95]uint16{
	349, 457, 521, 838, 696, 1002, 873, 307, 458, 458, 523, 838, 380, 416, 380, 440,
	696, 696, 696, 696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 611,
	1000, 774, 763, 734, 831, 684, 684, 821, 837, 424, 561, 775, 638, 996, 837, 851,
	733, 851, 771, 721, 683, 813, 774, 1104, 771, 725, 726, 458, 440, 458, 838, 557,
	500, 675, 716, 593, 716, 679, 436, 716, 712, 343, 343, 666, 343, 1042, 712, 688,
	716, 716, 494, 596, 479, 712, 652, 924, 646, 652, 583, 712, 366, 712, 838,
}

// The few others that the pictures' own words use, regular and bold.
var otherWidths = map[rune][2]uint16{'°': {500, 500}, '·': {334, 380}, '–': {557, 557}, '…': {1000, 1000}}

// Widths for characters of which nothing is known. A text that has one is set
// to the width that comes out, so that it cannot run out of its place.
const (
	otherLatin = 800
	otherAny   = 1050
)

// measure is how wide a text is at most, in pixels. known is false where it has
// characters whose width is a guess.
func measure(say string, size float64, bold bool) (width float64, known bool) {
	table := &plainWidths
	which := 0
	if bold {
		table, which = &boldWidths, 1
	}
	sum, known := 0, true
	for _, r := range say {
		switch w, listed := otherWidths[r]; {
		case r >= ' ' && r <= '~':
			sum += int(table[r-' '])
		case listed:
			sum += int(w[which])
		case r < 0x250:
			sum, known = sum+otherLatin, false
		default:
			sum, known = sum+otherAny, false
		}
	}
	return float64(sum) * size / 1000, known
}

func wide(say string, size float64, bold bool) float64 {
	w, _ := measure(say, size, bold)
	return w
}

// plain makes a name fit to be written in one line: controls and formatting
// characters, which could turn the text round, and what XML does not allow are
// taken out, runs of spaces become one.
func plain(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == utf8.RuneError:
			return '?'
		case unicode.IsSpace(r):
			return ' '
		case unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs), r == 0xfffe, r == 0xffff, !unicode.IsGraphic(r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
	return strings.Join(strings.Fields(s), " ")
}

// fit shortens a text with an ellipsis until it is at most room wide. Nothing
// is returned if not even one character fits.
func fit(say string, size float64, bold bool, room float64) string {
	if wide(say, size, bold) <= room {
		return say
	}
	runes := []rune(say)
	lo, hi := 0, len(runes) // the most runes that fit with the ellipsis
	for lo < hi {
		mid := (lo + hi + 1) / 2
		if wide(strings.TrimRight(string(runes[:mid]), " ")+"…", size, bold) <= room {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	if lo == 0 {
		return ""
	}
	return strings.TrimRight(string(runes[:lo]), " ") + "…"
}

// wrap breaks a text into lines at most room wide; a word that is wider than
// that is shortened.
func wrap(say string, size float64, bold bool, room float64) []string {
	var out []string
	line := ""
	for word := range strings.FieldsSeq(say) {
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		switch {
		case wide(longer, size, bold) <= room:
			line = longer
			continue
		case line != "":
			out = append(out, line)
		}
		line = fit(word, size, bold, room)
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}
