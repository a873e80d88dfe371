package routes

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

var dayNames = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"} // by time.Weekday

const wholeDay = 24 * 60

// parseClock reads HH:MM, 00:00 to 24:00.
func parseClock(s string) (Clock, bool) {
	h, m, ok := strings.Cut(s, ":")
	if !ok || len(h) != 2 || len(m) != 2 {
		return 0, false
	}
	hours, err1 := strconv.ParseUint(h, 10, 8)
	minutes, err2 := strconv.ParseUint(m, 10, 8)
	at := Clock(hours*60 + minutes) // #nosec G115 -- two numbers under 256
	return at, err1 == nil && err2 == nil && minutes < 60 && at <= wholeDay
}

// String writes it as it is read.
func (c Clock) String() string { return fmt.Sprintf("%02d:%02d", int(c)/60, int(c)%60) }

// parseDays reads a day or a range of days: mon, fri-mon.
func parseDays(s string) (list []time.Weekday, ok bool) {
	first, last, ranged := strings.Cut(s, "-")
	a := slices.Index(dayNames, first)
	b := a
	if ranged {
		b = slices.Index(dayNames, last)
	}
	if a < 0 || b < 0 {
		return nil, false
	}
	for d := a; ; d = (d + 1) % 7 {
		list = append(list, time.Weekday(d))
		if d == b {
			return list, true
		}
	}
}

// String writes it as it is read.
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day) }

func dateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

func (d Date) add(days int) Date {
	return dateOf(time.Date(d.Year, d.Month, d.Day+days, 12, 0, 0, 0, time.UTC))
}

func (d Date) weekday() time.Weekday {
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC).Weekday()
}

// edge is the moment of a local time. A time that the clock passes over is the
// moment at which it is put forward; of one that it shows twice late says which.
func edge(d Date, c Clock, zone *time.Location, late bool) time.Time {
	wall := time.Date(d.Year, d.Month, d.Day, 0, int(c), 0, 0, time.UTC)
	_, before := wall.Add(-24 * time.Hour).In(zone).Zone()
	_, after := wall.Add(24 * time.Hour).In(zone).Zone()
	first := wall.Add(-time.Duration(max(before, after)) * time.Second)
	last := wall.Add(-time.Duration(min(before, after)) * time.Second)
	shows := func(t time.Time) bool {
		_, offset := t.In(zone).Zone()
		return t.Add(time.Duration(offset) * time.Second).Equal(wall)
	}
	switch {
	case shows(first) && !(late && shows(last)):
		return first
	case shows(last):
		return last
	}
	if gap, _ := last.In(zone).ZoneBounds(); !gap.IsZero() && gap.After(wall.Add(-48*time.Hour)) {
		return gap.UTC()
	}
	return last
}

// on reports whether the hours begin on a local date.
func (h Hours) on(d Date) bool {
	if len(h.Dates) > 0 {
		return slices.Contains(h.Dates, d)
	}
	return len(h.Days) == 0 || slices.Contains(h.Days, d.weekday())
}

// span is when the hours that begin on a date begin and end.
func (h Hours) span(d Date, zone *time.Location) (from, to time.Time) {
	if h.Whole {
		return edge(d, 0, zone, false), edge(d.add(1), 0, zone, false)
	}
	end := d
	if h.To <= h.From {
		end = d.add(1)
	}
	return edge(d, h.From, zone, false), edge(end, h.To, zone, true)
}

// hold reports whether it is such an hour, and until when it is.
func (h Hours) hold(at time.Time, zone *time.Location) (until time.Time, ok bool) {
	if h.Whole && len(h.Days) == 0 && len(h.Dates) == 0 {
		return at.AddDate(0, 0, 1), true
	}
	today := dateOf(at.In(zone))
	for _, d := range []Date{today.add(-1), today} {
		if !h.on(d) {
			continue
		}
		if from, to := h.span(d, zone); !at.Before(from) && at.Before(to) && to.After(until) {
			until, ok = to, true
		}
	}
	return until, ok
}

// hours reads days, dates, from and to of a table.
func (t table) hours() (h Hours) {
	for _, w := range t.words("days") {
		days, ok := parseDays(w.text)
		if !ok {
			t.refuse(w.line, w.field, "%q; allowed: mon, tue, wed, thu, fri, sat, sun, or a range such as mon-fri", clip(w.text))
		}
		for _, d := range days {
			if !slices.Contains(h.Days, d) {
				h.Days = append(h.Days, d)
			}
		}
	}
	for _, w := range t.words("dates") {
		d, err := time.Parse(time.DateOnly, w.text)
		if err != nil {
			t.refuse(w.line, w.field, "%q; allowed: a date such as 2026-03-07", clip(w.text))
			continue
		}
		h.Dates = append(h.Dates, dateOf(d))
	}
	if t.members["days"] != nil && t.members["dates"] != nil {
		t.refuse(t.lineOf("dates"), t.at("dates"), "beside days; allowed is one of them")
	}
	h.From, h.To, h.Whole = t.ends()
	return h
}

// ends reads from and to; whole: neither is given.
func (t table) ends() (from, to Clock, whole bool) {
	if t.members["from"] == nil && t.members["to"] == nil {
		return 0, 0, true
	}
	read := func(member string) (Clock, bool) {
		w, ok := t.word(member, true, 100)
		if !ok {
			return 0, false
		}
		c, ok := parseClock(w.text)
		if !ok {
			t.refuse(w.line, w.field, "%q; allowed: a local time of day from 00:00 to 24:00", clip(w.text))
		}
		return c, ok
	}
	from, ok1 := read("from")
	to, ok2 := read("to")
	if ok1 && from == wholeDay {
		t.refuse(t.lineOf("from"), t.at("from"), "24:00 is an end; say 00:00")
	} else if ok1 && ok2 && from == to {
		t.refuse(t.lineOf("to"), t.at("to"), "the same as from; leave both out for the whole day")
	}
	return from, to, false
}
