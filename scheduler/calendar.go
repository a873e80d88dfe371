package scheduler

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// DefaultSheetAt is the local time of the morning sheet where a site sets none.
const DefaultSheetAt = "06:00"

// ErrCalendar is wrapped by every refusal of a zone or a time of day.
var ErrCalendar = errors.New("not a calendar")

// Calendar holds what is done once a local day in a site's own zone.
//
// The cron library finds the local dates and times, on plain local time without
// a zone: with one it skips a time that does not exist on a day of changing
// clocks, rings twice for one that exists twice, and loses every full hour of a
// day whose clocks change by half an hour. What instant a local time is, is
// found here: one that does not exist is due when the clocks change, of one that
// exists twice the first counts. So each local day has one due instant.
type Calendar struct {
	zone  *time.Location
	daily cron.Schedule
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
	return calendarIn(loc, at)
}

func calendarIn(zone *time.Location, at string) (Calendar, error) {
	t, err := time.Parse("15:04", at)
	if err != nil || len(at) != len("15:04") {
		return Calendar{}, fmt.Errorf("time of day %q, allowed 00:00 to 23:59: %w", at, ErrCalendar)
	}
	daily, err := cron.ParseStandard(fmt.Sprintf("%d %d * * *", t.Minute(), t.Hour()))
	if err != nil {
		return Calendar{}, fmt.Errorf("time of day %q: %w: %w", at, ErrCalendar, err)
	}
	return Calendar{zone: zone, daily: daily}, nil
}

// Due is one thing to be done on a local day.
type Due struct {
	Date string    // the local date, yyyy-mm-dd
	At   time.Time // the instant, UTC
}

// Next is the first due instant after t.
func (c Calendar) Next(t time.Time) Due {
	for naive := c.naive(t).AddDate(0, 0, -2); ; {
		naive = c.daily.Next(naive)
		if due, ok := c.on(naive); ok && due.At.After(t) {
			return due
		}
	}
}

// Last is the last due instant at or before t.
func (c Calendar) Last(t time.Time) Due {
	var last Due
	for naive := c.naive(t).AddDate(0, 0, -4); ; {
		naive = c.daily.Next(naive)
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
