package scheduler

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// Local times of the sheets.
const (
	// DefaultSheetAt is the morning sheet's where a site sets none.
	DefaultSheetAt = "06:00"
	// DefaultEveningAt is the evening sheet's: before the crews leave. Where the
	// day begins at noon or later it follows 6 hours after the morning sheet.
	DefaultEveningAt = "16:30"
)

// ErrCalendar is wrapped by every refusal of a zone or a time of day.
var ErrCalendar = errors.New("not a calendar")

// Calendar holds what is done once a local day, or once a week, in a site's own zone.
//
// The cron library finds the local dates and times, on plain local time without
// a zone: with one it skips a time that does not exist on a day of changing
// clocks, rings twice for one that exists twice, and loses every full hour of a
// day whose clocks change by half an hour. What instant a local time is, is
// found here: one that does not exist is due when the clocks change, of one that
// exists twice the first counts. So each local day, or each Monday, has one due
// instant. A day that a zone left out has none; none left out a Monday (the IANA
// time zone database, from memory).
type Calendar struct {
	zone *time.Location
	when cron.Schedule
	back int // days to go back to be sure to meet a due instant
}

// NewCalendar checks a zone (IANA name) and a time of day (hh:mm) and returns
// the calendar of what is due daily at that time.
func NewCalendar(zone, at string) (Calendar, error) {
	if zone == "" || zone == "Local" || strings.ContainsAny(zone, " \t\r\n=") {
		return Calendar{}, fmt.Errorf("zone %q: %w", zone, ErrCalendar)
	}
	loc, err := time.LoadLocation(zone)
	if err != nil {
		return Calendar{}, fmt.Errorf("zone %q: %w: %w", zone, ErrCalendar, err)
	}
	return calendarIn(loc, at, false)
}

// calendarIn gives the calendar of every day, or of the Mondays.
func calendarIn(zone *time.Location, at string, mondays bool) (Calendar, error) {
	t, err := time.Parse("15:04", at)
	if err != nil || len(at) != len("15:04") {
		return Calendar{}, fmt.Errorf("time of day %q, allowed 00:00 to 23:59: %w", at, ErrCalendar)
	}
	days, back := "*", 4
	if mondays {
		days, back = "1", 11
	}
	when, err := cron.ParseStandard(fmt.Sprintf("%d %d * * %s", t.Minute(), t.Hour(), days))
	if err != nil {
		return Calendar{}, fmt.Errorf("time of day %q: %w: %w", at, ErrCalendar, err)
	}
	return Calendar{zone: zone, when: when, back: back}, nil
}

// Due is one thing to be done on a local day, or in a week.
type Due struct {
	Date string    // the local date, yyyy-mm-dd; of a week its Monday's
	At   time.Time // the instant, UTC
}

// Next is the first due instant after t.
func (c Calendar) Next(t time.Time) Due {
	for naive := c.naive(t).AddDate(0, 0, -2); ; {
		naive = c.when.Next(naive)
		if due, ok := c.on(naive); ok && due.At.After(t) {
			return due
		}
	}
}

// Last is the last due instant at or before t.
func (c Calendar) Last(t time.Time) Due {
	var last Due
	for naive := c.naive(t).AddDate(0, 0, -c.back); ; {
		naive = c.when.Next(naive)
		due, ok := c.on(naive)
		if ok && due.At.After(t) {
			return last
		}
		if ok {
			last = due
		}
	}
}

// naive is the local time written as if it were UTC.
func (c Calendar) naive(t time.Time) time.Time {
	l := t.In(c.zone)
	return time.Date(l.Year(), l.Month(), l.Day(), l.Hour(), l.Minute(), l.Second(), 0, time.UTC)
}

// on gives the due instant of a naive local time, or false where the zone left
// out the whole day.
func (c Calendar) on(naive time.Time) (Due, bool) {
	midnight := naive.Truncate(24 * time.Hour)
	begins := c.instant(midnight).In(c.zone)
	if begins.Day() != midnight.Day() {
		return Due{}, false
	}
	return Due{Date: naive.Format(time.DateOnly), At: c.instant(naive).UTC()}, true
}

// instant is the first instant at which the zone's clocks show a naive local
// time; where they never do, the instant at which they pass over it.
func (c Calendar) instant(naive time.Time) time.Time {
	from := naive.Add(-30 * time.Hour).In(c.zone) // before it in every zone
	for {
		_, offset := from.Zone()
		_, end := from.ZoneBounds()
		t := naive.Add(-time.Duration(offset) * time.Second)
		switch {
		case t.Before(from):
			return from // the clocks went past it when this offset began
		case end.IsZero() || t.Before(end):
			return t
		}
		from = end
	}
}
