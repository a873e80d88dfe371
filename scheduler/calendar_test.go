package scheduler_test

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/robfig/cron/v3"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/scheduler"
)

func calendar(t require.TestingT, zone, at string) scheduler.Calendar {
	c, err := scheduler.NewCalendar(zone, at)
	require.NoError(t, err, "%s %s", zone, at)
	return c
}

func instant(t require.TestingT, s string) time.Time {
	at, err := time.Parse(time.RFC3339, s)
	require.NoError(t, err)
	return at.UTC()
}

// The changes are those of the IANA time zone database.
func TestCalendarOnDaysOfChangingClocks(t *testing.T) {
	for _, c := range []struct{ name, zone, at, date, due string }{
		{"ordinary", "America/New_York", "06:00", "2026-01-15", "2026-01-15T06:00:00-05:00"},
		{"spring, after the change", "America/New_York", "06:00", "2026-03-08", "2026-03-08T06:00:00-04:00"},
		{"spring, a time that does not exist", "America/New_York", "02:30", "2026-03-08", "2026-03-08T03:00:00-04:00"},
		{"autumn, a time that exists twice", "America/New_York", "01:30", "2026-11-01", "2026-11-01T01:30:00-04:00"},
		{"autumn, after the change", "America/New_York", "06:00", "2026-11-01", "2026-11-01T06:00:00-05:00"},
		{"the day without a midnight", "America/Sao_Paulo", "00:00", "2018-11-04", "2018-11-04T01:00:00-02:00"},
		{"the same day in the morning", "America/Sao_Paulo", "06:00", "2018-11-04", "2018-11-04T06:00:00-02:00"},
		{"the evening that comes twice", "America/Sao_Paulo", "23:30", "2018-02-17", "2018-02-17T23:30:00-02:00"},
		{"the day after it", "America/Sao_Paulo", "00:00", "2018-02-18", "2018-02-18T00:00:00-03:00"},
		{"half an hour, a time that does not exist", "Australia/Lord_Howe", "02:15", "2026-10-04", "2026-10-04T02:30:00+11:00"},
		{"half an hour, a full hour after the change", "Australia/Lord_Howe", "06:00", "2026-10-04", "2026-10-04T06:00:00+11:00"},
		{"half an hour back, a time that exists twice", "Australia/Lord_Howe", "01:45", "2026-04-05", "2026-04-05T01:45:00+11:00"},
		{"half an hour back, a full hour after the change", "Australia/Lord_Howe", "06:00", "2026-04-05", "2026-04-05T06:00:00+10:30"},
	} {
		cal := calendar(t, c.zone, c.at)
		want := scheduler.Due{Date: c.date, At: instant(t, c.due)}
		require.Equal(t, want, cal.Next(want.At.Add(-time.Second)), c.name)
		require.Equal(t, want, cal.Last(want.At), c.name)
		require.NotEqual(t, c.date, cal.Next(want.At).Date, "%s: not twice", c.name)
		require.NotEqual(t, c.date, cal.Last(want.At.Add(-time.Nanosecond)).Date, c.name)
	}
}

// The reason for the calendar's own rule, and the proof that these tests can
// fail: the library alone gives a wrong number of mornings.
func TestTheLibraryAloneLosesAndDoublesDays(t *testing.T) {
	for _, c := range []struct {
		zone, at, from, to string
		want               int
	}{
		{"America/New_York", "30 2", "2026-03-07T12:00:00-05:00", "2026-03-08T12:00:00-04:00", 0},
		{"America/New_York", "30 1", "2026-10-31T12:00:00-04:00", "2026-11-01T12:00:00-05:00", 2},
		{"Australia/Lord_Howe", "0 6", "2026-10-03T12:00:00+10:30", "2026-10-04T12:00:00+11:00", 0},
	} {
		sched, err := cron.ParseStandard("CRON_TZ=" + c.zone + " " + c.at + " * * *")
		require.NoError(t, err)
		n, to := 0, instant(t, c.to)
		for at := sched.Next(instant(t, c.from)); !at.After(to); at = sched.Next(at) {
			n++
		}
		require.Equal(t, c.want, n, "%s %s", c.zone, c.at)
	}
}

func TestCalendarLeavesOutADayThatTheZoneLeftOut(t *testing.T) {
	cal := calendar(t, "Pacific/Apia", "06:00") // 2011-12-29 was followed by the 31st
	due := cal.Next(instant(t, "2011-12-29T12:00:00-10:00"))
	require.Equal(t, scheduler.Due{Date: "2011-12-31", At: instant(t, "2011-12-31T06:00:00+14:00")}, due)
	require.Equal(t, "2011-12-29", cal.Last(due.At.Add(-time.Second)).Date)
}

// Every local day of any year has one due instant, in order, on that day or at
// the change of clocks that left its time out.
func TestCalendarHasOneDueInstantForEachLocalDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		zone := rapid.SampledFrom([]string{
			"America/New_York", "America/Sao_Paulo", "Australia/Lord_Howe", "Europe/Berlin", "America/Havana",
			"Atlantic/Azores", "Africa/Casablanca", "Asia/Kolkata", "America/St_Johns", "Pacific/Chatham", "UTC",
		}).Draw(t, "zone")
		at := time.Date(2000, 1, 1, 0, rapid.IntRange(0, 24*60-1).Draw(t, "minute"), 0, 0, time.UTC).Format("15:04")
		year := rapid.IntRange(2005, 2030).Draw(t, "year")
		cal, loc := calendar(t, zone, at), location(t, zone)
		day := time.Date(year, 1, 1, 12, 0, 0, 0, time.UTC)
		due := cal.Next(time.Date(year, 1, 1, 0, 0, 0, 0, loc).Add(-time.Second))
		for range 366 {
			require.Equal(t, day.Format(time.DateOnly), due.Date)
			local := due.At.In(loc)
			if local.Format("2006-01-02 15:04") != due.Date+" "+at {
				_, before := due.At.Add(-time.Second).In(loc).Zone()
				_, after := local.Zone()
				require.Greater(t, after, before, "%s %s: %v is no forward change of the clocks", zone, at, local)
			}
			next := cal.Next(due.At)
			require.True(t, next.At.After(due.At))
			require.Equal(t, due, cal.Last(next.At.Add(-time.Second)))
			due, day = next, day.AddDate(0, 0, 1)
		}
	})
}

func location(t require.TestingT, zone string) *time.Location {
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	return loc
}

func TestCalendarRefusesWhatItCannotRead(t *testing.T) {
	for _, c := range [][2]string{
		{"", "06:00"}, {"Local", "06:00"}, {"TZ=UTC", "06:00"}, {"UTC 0", "06:00"}, {"America/Nowhere", "06:00"},
		{"../../etc/passwd", "06:00"}, {"UTC", ""}, {"UTC", "6:00"}, {"UTC", "24:00"}, {"UTC", "06:60"}, {"UTC", "06:00 "},
	} {
		_, err := scheduler.NewCalendar(c[0], c[1])
		require.ErrorIs(t, err, scheduler.ErrCalendar, "%q %q", c[0], c[1])
	}
}

func FuzzCalendar(f *testing.F) {
	f.Add("America/New_York", "02:30")
	f.Add("TZ=", "06:00")
	f.Add("CRON_TZ=UTC", "0 6")
	now := time.Date(2026, 3, 8, 6, 30, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, zone, at string) {
		cal, err := scheduler.NewCalendar(zone, at)
		if err != nil {
			require.ErrorIs(t, err, scheduler.ErrCalendar)
			return
		}
		next, last := cal.Next(now), cal.Last(now)
		require.True(t, next.At.After(now) && !last.At.After(now) && strings.Compare(last.Date, next.Date) < 0, "%s %s", zone, at)
	})
}
