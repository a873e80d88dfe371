package notify

import (
	"slices"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify/notice"
)

// known finds when the record had all that an alert may rest on. A person may enter
// hours afterwards what happened, and a forecast may come when the frost is near:
// no hub is faster than that. What came late for a
// condition is an entry on the same wall or site, of something that had begun when
// the condition did, and that was recorded after it. Entries of what began later
// cannot have made the condition, and excuse nobody.
//
// It sees entries and not the assessment: one that came late and has nothing to do
// with the alert excuses the hub too. What was recorded before this process began
// is not seen, and excuses nothing. It belongs to the reader's goroutine.
type known struct {
	entries map[notice.Place][]entry // the last of each wall, of a site itself, and of all of a site
}

type entry struct {
	recorded time.Time
	began    time.Time // zero: it speaks of what was before it, however long
}

const (
	entriesKept = 32  // of one place
	wholeSite   = "*" // the wall that stands for all of a site; no token
)

func newKnown() *known { return &known{map[notice.Place][]entry{}} }

// settings are the things whose entries change what earlier ones mean, or speak of
// what is ahead, as a forecast does.
var settings = []string{"checklist", "criterion", "device", "doubt", "gap", "hole", "mix", "record", "site", "wall", "weather"}

// note takes an entry in.
func (k *known) note(s events.Subject, m stream.Message, recorded time.Time) {
	if s.Kind.SchedulerOnly() || strings.HasPrefix(string(s.Kind), "alert.") {
		return
	}
	e, err := decode(m)
	if err != nil {
		return
	}
	x := entry{recorded: recorded}
	if thing, _, _ := strings.Cut(string(s.Kind), "."); !slices.Contains(settings, thing) {
		x.began, _ = e.Span()
	}
	for _, at := range []notice.Place{{Site: s.Site, Wall: s.Wall}, {Site: s.Site, Wall: wholeSite}} {
		list := append(k.entries[at], x)
		k.entries[at] = list[max(0, len(list)-entriesKept):]
	}
}

// since is when the condition of an alert that was raised was known: when it began,
// or later.
func (k *known) since(n notice.Notice) time.Time {
	places := []notice.Place{{Site: n.Site, Wall: n.Wall}, {Site: n.Site}}
	if n.Wall == "" {
		places = []notice.Place{{Site: n.Site, Wall: wholeSite}}
	}
	at := n.Since
	for _, p := range places {
		for _, x := range k.entries[p] {
			if !x.began.After(n.Since) && x.recorded.After(at) && !x.recorded.After(n.Recorded) {
				at = x.recorded
			}
		}
	}
	return at
}
