package events

import (
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/nats-io/nkeys"
)

// textForm is a form of text. pattern is the same as fits, as far as a regular
// expression can say it, in the syntax that ECMA-262 and RE2 share.
type textForm struct {
	fits    func(s string) bool
	pattern string
	allowed string
	beyond  bool // fits says more than pattern
}

const tokenAllowed = "a-z, 0-9 and -, 1 to 40 characters"

var (
	zoneName = regexp.MustCompile(`^[A-Za-z0-9_+/-]{1,60}$`)
	userKey  = regexp.MustCompile(`^U[A-Z2-7]{55}$`)
	kindName = regexp.MustCompile(`^[a-z]{2,30}\.[a-z-]{2,30}$`)
)

func isUserKey(s string) bool { return userKey.MatchString(s) && nkeys.IsValidPublicUserKey(s) }

var textForms = map[string]textForm{
	"token":      {fits: isToken, pattern: `^[a-z0-9-]{1,40}$`, allowed: tokenAllowed},
	"id":         {fits: isID, pattern: `^[!-~]{1,64}$`, allowed: "1 to 64 printable ASCII characters without space, best a UUIDv7"},
	"source":     {fits: isSource, pattern: `^/site/(_|[a-z0-9-]{1,40})/device/[a-z0-9-]{1,40}$`, allowed: "/site/<site>/device/<device>, each of " + tokenAllowed},
	"subject":    {fits: isSite, pattern: `^(_|[a-z0-9-]{1,40})$`, allowed: "a wall: " + tokenAllowed + "; or _ for the whole site"},
	"hex64":      {fits: isHex64, pattern: `^[0-9a-f]{64}$`, allowed: "64 digits of 0-9 and a-f"},
	"nkey":       {fits: isUserKey, pattern: userKey.String(), allowed: "the public NATS user key of 56 characters that begins with U", beyond: true},
	"kind":       {fits: kindName.MatchString, pattern: kindName.String(), allowed: "a kind, <thing>.<what>"},
	"hh:mm":      {fits: layout("15:04"), pattern: `^([01][0-9]|2[0-3]):[0-5][0-9]$`, allowed: "a time of day, hh:mm, 00:00 to 23:59"},
	"yyyy-mm-dd": {fits: layout("2006-01-02"), pattern: `^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$`, allowed: "a date, yyyy-mm-dd", beyond: true},
	"zone":       {fits: isZone, pattern: zoneName.String(), allowed: "an IANA time zone, such as America/New_York", beyond: true},
}

// plainText keeps out the control characters that could forge a line of a log
// or drive a terminal. New line and tab stay.
const plainText = `^[^\x00-\x08\x0b-\x1f\x7f-\x9f]*$`

func isPlain(s string) bool {
	for _, c := range s {
		if c < ' ' && c != '\n' && c != '\t' || c >= 0x7f && c <= 0x9f {
			return false
		}
	}
	return true
}

func (r *rule) checkText(s string) *Refusal {
	if r.words != nil {
		if slices.Contains(r.words, s) {
			return nil
		}
		return refuse("", clip(s), r.allowed())
	}
	if n := utf8.RuneCountInString(s); n < r.minLen || n > r.maxLen {
		return refuse("", clip(s), r.allowed())
	}
	if r.form == "" {
		if !isPlain(s) {
			return refuse("", clip(s), r.allowed())
		}
		return nil
	}
	form := textForms[r.form]
	if !form.fits(s) {
		err := refuse("", clip(s), r.allowed())
		err.Beyond = form.beyond
		return err
	}
	return nil
}

func layout(of string) func(string) bool {
	return func(s string) bool {
		_, err := time.Parse(of, s)
		return err == nil && len(s) == len(of)
	}
}

func isToken(s string) bool {
	if len(s) == 0 || len(s) > 40 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

func isSite(s string) bool { return s == "_" || isToken(s) }

func isID(s string) bool {
	if len(s) == 0 || len(s) > 64 {
		return false
	}
	for i := range len(s) {
		if s[i] <= ' ' || s[i] > '~' {
			return false
		}
	}
	return true
}

func isHex64(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}

func isSource(s string) bool {
	_, ok := cutSource(s)
	return ok
}

func cutSource(s string) (Source, bool) {
	rest, site := strings.CutPrefix(s, "/site/")
	name, device, found := strings.Cut(rest, "/device/")
	return Source{Site: name, Device: device}, site && found && isSite(name) && isToken(device)
}

// zones remembers the names that the time zone database knows. It cannot grow
// past that database.
var zones sync.Map

func isZone(name string) bool {
	if _, ok := zones.Load(name); ok {
		return true
	}
	if name == "Local" || !zoneName.MatchString(name) {
		return false
	}
	if _, err := time.LoadLocation(name); err != nil {
		return false
	}
	zones.Store(name, true)
	return true
}
