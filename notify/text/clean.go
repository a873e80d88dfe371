package text

import (
	"net/url"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Clean makes one line of a text that came from outside: runs of white space
// become one space; control characters, invisible ones and those that turn the
// direction of writing go; invalid bytes go.
func Clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case r == utf8.RuneError || !unicode.IsGraphic(r):
			return -1
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

// cleanAll cleans a list, and leaves out what is empty then.
func cleanAll(list []string) []string {
	var out []string
	for _, s := range list {
		if s = Clean(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// clip cuts a text to at most so many runes, and shows that it did.
func clip(s string, most int) string {
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	if most <= len("..") {
		return ""
	}
	return strings.TrimRight(string([]rune(s)[:most-len("..")]), " -.,") + ".."
}

// plainer replaces characters that cost a short message half of its length:
// they are not in the 7-bit alphabet of GSM 03.38.
var plainer = strings.NewReplacer("°", "", "…", "..", "×", "x", "–", "-", "—", "-", "−", "-", "’", "'", "‘", "'", "“", `"`, "”", `"`, "²", "2", "³", "3")

// webLink returns a link that may be opened, or "".
func webLink(s string) string {
	u, err := url.Parse(s)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || Clean(s) != s || strings.ContainsAny(s, " \"<>") {
		return ""
	}
	return s
}
