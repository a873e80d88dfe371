package events

import "strings"

// Subject is a parsed NATS subject pour.<site>.<wall>.<thing>.<what>.
type Subject struct {
	Site string // "_": the whole company
	Wall string // empty: the whole site
	Kind Kind
}

// ParseSubject reads the subject of a message on the stream. The kind need not
// be a known one. The error is a *Refusal.
func ParseSubject(s string) (Subject, error) {
	part := strings.Split(s, ".")
	if len(part) != 5 || part[0] != "pour" {
		return Subject{}, refuse("subject", clip(s), "pour.<site>.<wall>.<thing>.<what>")
	}
	sub := Subject{Site: part[1], Wall: part[2], Kind: Kind(part[3] + "." + part[4])}
	if !isSite(sub.Site) || !isSite(sub.Wall) {
		return Subject{}, refuse("subject", clip(s), "site and wall of "+tokenAllowed+", or _")
	}
	if sub.Wall == "_" {
		sub.Wall = ""
	}
	return sub, nil
}

// IsToken reports whether s can name a site, a wall, a device or a person:
// a-z, 0-9 and -, 1 to 40 characters.
func IsToken(s string) bool { return isToken(s) }
