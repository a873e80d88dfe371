package face

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
)

// Alarm is an alert as the record has it: raised, acknowledged, shelved, cleared.
type Alarm struct {
	ID             string `json:"id"`
	Site           string `json:"site"`
	Wall           string `json:"wall"` // empty: the whole site
	Kind           string `json:"kind"`
	Cause          string `json:"cause"`
	Priority       string `json:"priority"`
	Since          Time   `json:"since"`
	Text           string `json:"text"`
	Acknowledged   Time   `json:"acknowledged"`
	AcknowledgedBy string `json:"acknowledged_by"`
	ShelvedUntil   Time   `json:"shelved_until"`
	Cleared        Time   `json:"cleared"`
}

// Place names what the alert is about: a wall, or a whole site.
func (a Alarm) Place() string {
	switch {
	case a.Wall != "":
		return a.Site + "/" + a.Wall
	case a.Site == "_":
		return "all sites"
	default:
		return a.Site
	}
}

// RefusedRow is a message of the stream that could not be accepted.
type RefusedRow struct {
	Seq      uint64 `json:"seq"`
	Recorded Time   `json:"recorded"`
	Subject  string `json:"subject"`
	Site     string `json:"site"`
	Wall     string `json:"wall"`
	ID       string `json:"id"`
	Field    string `json:"field"`
	Reason   string `json:"reason"`
}

// Alarms writes the alerts that stand, then what was refused.
func (p Page) Alarms(out io.Writer, at Time, alarms []Alarm, refused []RefusedRow) error {
	w := bufio.NewWriter(out)
	if len(alarms) == 0 {
		fmt.Fprintln(w, "No alert stands.")
	} else {
		t := newTable("PRIORITY", "WHERE", "ALERT", "SINCE", "WHAT")
		for _, a := range alarms {
			t.add(a.Priority, a.Place(), a.Kind+answered(a, at), Past(a.Since.Time, p.zone(a.Site)), a.Text)
		}
		if err := t.write(w); err != nil {
			return err
		}
	}
	if len(refused) > 0 {
		fmt.Fprintln(w)
		t := newTable("REFUSED", "RECORDED", "SUBJECT", "FIELD", "REASON")
		for _, r := range refused {
			t.add(strconv.FormatUint(r.Seq, 10), Past(r.Recorded.Time, p.zone(r.Site)), r.Subject, r.Field, r.Reason)
		}
		if err := t.write(w); err != nil {
			return err
		}
	}
	return w.Flush()
}

// answered says what people did about an alert.
func answered(a Alarm, at Time) string {
	switch {
	case a.ShelvedUntil.After(at.Time):
		return ", shelved"
	case !a.Acknowledged.IsZero():
		return ", acknowledged"
	default:
		return ""
	}
}

// AlarmLine writes one alert as it is raised or cleared, in one line.
func (p Page) AlarmLine(a Alarm) string {
	zone := p.zone(a.Site)
	if !a.Cleared.IsZero() {
		return oneLine(fmt.Sprintf("%s  %s  cleared  %s", Past(a.Cleared.Time, zone), a.Place(), a.Kind))
	}
	return oneLine(fmt.Sprintf("%s  %s  %s alert  %s: %s", Past(a.Since.Time, zone), a.Place(), a.Priority, a.Kind, a.Text))
}

// Refused writes the lines of a file that could not be accepted.
func (p Page) Refused(out io.Writer, refused []Refused) error {
	if len(refused) == 0 {
		return nil
	}
	w := bufio.NewWriter(out)
	fmt.Fprintln(w)
	t := newTable("REFUSED LINE", "ID", "FIELD", "REASON")
	for _, r := range refused {
		t.add(strconv.Itoa(r.Line), r.ID, r.Field, r.Reason)
	}
	if err := t.write(w); err != nil {
		return err
	}
	return w.Flush()
}
