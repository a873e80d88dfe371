package text

import (
	"strconv"
	"time"
)

// A clock writes times in a site's zone and a reader's language, as seen now.
type clock struct {
	catalogue
	zone *time.Location
	now  time.Time
}

// minute writes a moment, rounded down to the minute, with the zone, and with
// the date where it is not today's.
func (c clock) minute(t time.Time) string {
	t = t.Truncate(time.Minute).In(c.zone)
	now := c.now.In(c.zone)
	switch {
	case t.Year() != now.Year():
		return c.date(t) + t.Format(" 15:04 MST")
	case t.YearDay() != now.YearDay():
		return c.day(t) + t.Format(" 15:04 MST")
	default:
		return t.Format("15:04 MST")
	}
}

// minuteUp is the same, rounded up: a time to strip is never given too early.
func (c clock) minuteUp(t time.Time) string {
	if m := t.Truncate(time.Minute); m.Before(t) {
		t = m.Add(time.Minute)
	}
	return c.day(t.In(c.zone)) + t.In(c.zone).Format(" 15:04 MST")
}

// day writes a date without its year: "Tue 3 Nov".
func (c clock) day(t time.Time) string {
	return c.texts["day."+strconv.Itoa(int(t.Weekday()))] + " " + strconv.Itoa(t.Day()) + " " + c.texts["month."+strconv.Itoa(int(t.Month()))]
}

func (c clock) date(t time.Time) string { return c.day(t) + " " + strconv.Itoa(t.Year()) }

// span writes a length of time, rounded down: minutes up to two hours, then
// hours, then days. Less than nothing is nothing.
func (c clock) span(d time.Duration) string {
	d = max(d, 0)
	switch {
	case d < 2*time.Hour:
		return c.say("span.min", "n", strconv.Itoa(int(d/time.Minute)))
	case d < 48*time.Hour:
		return c.say("span.h", "n", strconv.Itoa(int(d/time.Hour)))
	default:
		return c.say("span.d", "n", strconv.Itoa(int(d/(24*time.Hour))))
	}
}

// until writes a deadline, and how long there is to it as it is written; one
// that is past is said to be past.
func (c clock) until(t time.Time) string {
	shown := t.Truncate(time.Minute)
	if t.After(c.now) {
		return c.say("when.until", "at", c.minute(t), "span", c.span(shown.Sub(c.now)))
	}
	return c.say("when.past", "at", c.minute(t), "span", c.span(c.now.Sub(shown)))
}

// since writes since when something is so, and how long that is.
func (c clock) since(t time.Time) string {
	return c.say("when.since", "at", c.minute(t), "span", c.span(c.now.Sub(t.Truncate(time.Minute))))
}
