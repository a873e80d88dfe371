package calendar

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"slices"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// States of a wall in a feed.
const (
	Expected = "expected" // the window is shut, and a time is expected
	Open     = "open"     // the window is open
	Shut     = "shut"     // the window is shut, and no time can be given
	Stripped = "stripped" // the bracing is off
)

// Kept is how long a cancelled event stays in a feed, so that every reader has
// seen it.
const Kept = 7 * 24 * time.Hour

// refresh is how often a reader is asked to look again (RFC 5545, DURATION).
const refresh = "PT15M"

// Wall is what a feed says of one wall.
type Wall struct {
	Wall     string
	Name     string // for people; empty: there is none
	State    string
	At       time.Time // expected: the expected time; open: since when; otherwise the time that was said last
	Said     time.Time // when that was said which this comes from
	Sequence uint64    // how many words on the wall came before it: it only grows
	Governs  string    // the criterion that governs; empty: not known
}

// A Calendar is a feed: of a site, or of the walls that a crew works on.
type Calendar struct {
	Site notice.Site
	Name string // for people; empty: the site's
	Lang string // en, es; empty: en
}

// Feed writes the calendar of a site in English.
func Feed(site notice.Site, walls []Wall, now time.Time) []byte {
	return Calendar{Site: site}.Feed(walls, now)
}

// Feed writes the calendar of some walls of the site. Of a wall that is given
// twice the later word counts. A wall of which no time was ever said is left out.
func (c Calendar) Feed(walls []Wall, now time.Time) []byte {
	w := wordsOf(c.Lang)
	cal := ics.NewCalendar()
	cal.SetProductId("-//earlyage//calendar 1//" + w.code)
	cal.SetMethod(ics.MethodPublish)
	name := cmp.Or(text.Clean(c.Name), w.fill(w.calendar, c.siteName()))
	cal.SetName(name)
	cal.SetXWRCalName(name)
	cal.SetRefreshInterval(refresh) // with VALUE=DURATION in its name
	cal.SetXPublishedTTL(refresh)
	if zone := c.zone().String(); strings.Contains(zone, "/") {
		cal.SetXWRTimezone(zone)
	}
	for _, wall := range latest(walls) {
		if shows(wall, now) {
			cal.AddVEvent(c.event(w, wall, now))
		}
	}
	return []byte(cal.Serialize(ics.WithNewLineWindows))
}

func (c Calendar) zone() *time.Location {
	if c.Site.Zone == nil {
		return time.UTC
	}
	return c.Site.Zone
}

func (c Calendar) siteName() string {
	return cmp.Or(text.Clean(c.Site.Name), text.Clean(c.Site.Token))
}

// latest gives each wall once, in the order of their names.
func latest(walls []Wall) []Wall {
	sorted := slices.SortedStableFunc(slices.Values(walls), func(a, b Wall) int {
		return cmp.Or(cmp.Compare(a.Wall, b.Wall), cmp.Compare(b.Sequence, a.Sequence))
	})
	return slices.CompactFunc(sorted, func(a, b Wall) bool { return a.Wall == b.Wall })
}

func shows(w Wall, now time.Time) bool {
	switch {
	case w.At.IsZero():
		return false
	case w.State == Expected || w.State == Open:
		return true
	}
	return now.Before(w.Said.Add(Kept))
}

func (c Calendar) event(w words, wall Wall, now time.Time) *ics.VEvent {
	e := ics.NewEvent(UID(c.Site.Token, wall.Wall))
	e.SetSequence(int(min(wall.Sequence, math.MaxInt32))) // an INTEGER has 32 bits
	e.SetDtStampTime(wall.Said)
	e.SetModifiedAt(wall.Said)
	e.SetStartAt(minuteUp(wall.At))
	e.SetProperty(ics.ComponentPropertyDuration, "PT1H")
	e.SetTimeTransparency(ics.TransparencyTransparent)
	e.SetStatus(statuses[wall.State])
	say := w.states[wall.State]
	if say == "" { // of a later hub: no word to give
		e.SetStatus(ics.ObjectStatusCancelled)
		say = w.states[Shut]
	}
	since := minuteUp(wall.At).In(c.zone()).Format("2006-01-02 15:04 MST")
	e.SetSummary(cmp.Or(text.Clean(wall.Name), text.Clean(wall.Wall)) + ": " + w.fill(say, since))
	e.SetLocation(c.siteName())
	e.SetDescription(c.description(w, wall, now))
	return e
}

var statuses = map[string]ics.ObjectStatus{
	Expected: ics.ObjectStatusTentative,
	Open:     ics.ObjectStatusConfirmed,
	Shut:     ics.ObjectStatusCancelled,
	Stripped: ics.ObjectStatusCancelled,
}

func (c Calendar) description(w words, wall Wall, now time.Time) string {
	var lines []string
	if wall.Governs != "" && (wall.State == Expected || wall.State == Shut) {
		lines = append(lines, w.fill(w.governs, text.Criterion(c.Lang, wall.Governs)))
	}
	if wall.State == Expected {
		lines = append(lines, w.opensNothing)
		if !now.Before(wall.At) {
			lines = append(lines, w.gone)
		}
	}
	return strings.Join(append(lines, text.Caution(c.Lang)), "\n")
}

// UID names the event of a wall: the same in every feed and for ever.
func UID(site, wall string) string {
	if !events.IsToken(site) || !events.IsToken(wall) {
		sum := sha256.Sum256([]byte(site + "\x00" + wall))
		return hex.EncodeToString(sum[:16]) + "@earlyage"
	}
	return wall + "@" + site + ".earlyage"
}

// minuteUp rounds up: a time to strip is never given too early.
func minuteUp(t time.Time) time.Time {
	if m := t.Truncate(time.Minute); m.Before(t) {
		return m.Add(time.Minute)
	}
	return t
}
