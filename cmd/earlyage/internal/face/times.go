package face

import (
	"fmt"
	"time"
)

// Time is a moment in JSON: RFC 3339 in UTC, to the second, a part of a second
// rounded up; null where it is not known.
type Time struct{ time.Time }

// MarshalJSON implements json.Marshaler.
func (t Time) MarshalJSON() ([]byte, error) {
	if t.IsZero() {
		return []byte("null"), nil
	}
	return []byte(`"` + up(t.Time, time.Second).UTC().Format(time.RFC3339) + `"`), nil
}

// UnmarshalJSON implements json.Unmarshaler.
func (t *Time) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*t = Time{}
		return nil
	}
	at, err := time.Parse(`"`+time.RFC3339+`"`, string(b))
	if err != nil {
		return fmt.Errorf("read time: %w", err)
	}
	t.Time = at.UTC()
	return nil
}

func up(t time.Time, step time.Duration) time.Time {
	down := t.Truncate(step)
	if down.Equal(t) {
		return t
	}
	return down.Add(step)
}

// Strip writes a time to strip in the site's zone, rounded up to the minute:
// "Wed 4 Nov 10:12 EST".
func Strip(t time.Time, zone *time.Location) string {
	return up(t, time.Minute).In(zone).Format("Mon 2 Jan 15:04 MST")
}

// stripYear is Strip with the year, for paper.
func stripYear(t time.Time, zone *time.Location) string {
	return up(t, time.Minute).In(zone).Format("Mon 2 Jan 2006 15:04 MST")
}

// Past writes a moment that has been, rounded down to the minute.
func Past(t time.Time, zone *time.Location) string {
	return t.Truncate(time.Minute).In(zone).Format("Mon 2 Jan 15:04 MST")
}
