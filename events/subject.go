package events

import "strings"

// Subject is a parsed NATS subject: pour.<site>.<wall>.<thing>.<what>, or the
// intake for devices that cannot sign, probe.<site>.<device>.<wall>.<thing>.<what>.
// Only that device's own credentials may publish to the latter, so that the
// subject itself proves whose connection it came by.
type Subject struct {
	Site  string // "_": the whole company
	Wall  string // empty: the whole site
	Kind  Kind
	Probe string // the device whose connection it came by; empty: pour.*
}

const subjectAllowed = "pour.<site>.<wall>.<thing>.<what>, or probe.<site>.<device>.<wall>.<thing>.<what>"

// ParseSubject reads the subject of a message on the stream. The kind need not
// be a known one. The error is a *Refusal.
func ParseSubject(s string) (Subject, error) {
	part := strings.Split(s, ".")
	var sub Subject
	switch {
	case len(part) == 5 && part[0] == "pour":
		sub = Subject{Site: part[1], Wall: part[2], Kind: Kind(part[3] + "." + part[4])}
	case len(part) == 6 && part[0] == "probe":
		sub = Subject{Site: part[1], Probe: part[2], Wall: part[3], Kind: Kind(part[4] + "." + part[5])}
		if !isToken(sub.Probe) {
			return Subject{}, refuse("subject", clip(s), "device of "+tokenAllowed)
		}
	default:
		return Subject{}, refuse("subject", clip(s), subjectAllowed)
	}
	if !isSite(sub.Site) || !isSite(sub.Wall) {
		return Subject{}, refuse("subject", clip(s), "site and wall of "+tokenAllowed+", or _")
	}
	if sub.Wall == "_" {
		sub.Wall = ""
	}
	return sub, nil
}

// ProbeSubject returns the NATS subject that a device which cannot sign
// publishes the event to.
func ProbeSubject(e Event) string {
	return "probe." + e.Source.Site + "." + e.Source.Device + "." + e.place() + "." + string(e.Kind)
}

// place is the event's wall as a token of a subject.
func (e *Event) place() string {
	if e.Wall == "" {
		return "_"
	}
	return e.Wall
}

// isOn reports whether subject is one that the event may come on, without
// making that string.
func (e *Event) isOn(subject string) bool {
	rest, ok := strings.CutPrefix(subject, "pour.")
	if !ok {
		if rest, ok = strings.CutPrefix(subject, "probe."); !ok {
			return false
		}
		return onTokens(rest, string(e.Kind), e.Source.Site, e.Source.Device, e.place())
	}
	return onTokens(rest, string(e.Kind), e.Source.Site, e.place())
}

// onTokens reports whether s is the tokens and then last, with points between.
func onTokens(s, last string, tokens ...string) bool {
	for _, want := range tokens {
		rest, ok := strings.CutPrefix(s, want)
		if !ok || !strings.HasPrefix(rest, ".") {
			return false
		}
		s = rest[1:]
	}
	return s == last
}

// IsToken reports whether s can name a site, a wall, a device or a person:
// a-z, 0-9 and -, 1 to 40 characters.
func IsToken(s string) bool { return isToken(s) }
