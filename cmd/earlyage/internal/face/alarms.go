package face

import (
	"bufio"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/notify/text"
	"earlyage/projector/wall"
)

// Alarm is an alert as the record has it, with the whole of its life.
type Alarm struct {
	ID             string `json:"id"`
	Site           string `json:"site"`
	Wall           string `json:"wall"` // empty: the whole site
	Kind           string `json:"kind"`
	Cause          string `json:"cause"`
	Priority       string `json:"priority"`
	State          string `json:"state,omitzero"` // of IEC 62682, in its words
	Since          Time   `json:"since"`
	Raised         Time   `json:"raised,omitzero"` // when the stream had it
	Text           string `json:"text"`
	Acknowledged   Time   `json:"acknowledged"`
	AcknowledgedBy string `json:"acknowledged_by"`
	Note           string `json:"note,omitzero"` // of who acknowledged it
	ShelvedFrom    Time   `json:"shelved_from,omitzero"`
	ShelvedUntil   Time   `json:"shelved_until"`
	ShelvedBy      string `json:"shelved_by,omitzero"`
	ShelvedReason  string `json:"shelved_reason,omitzero"`
	Unshelved      Time   `json:"unshelved,omitzero"` // before its time
	UnshelvedBy    string `json:"unshelved_by,omitzero"`
	Rest           *Rest  `json:"out_of_service,omitzero"`
	Cleared        Time   `json:"cleared"`

	TakenBack []TakenBack   `json:"taken_back,omitempty"` // answers that were voided, in order
	About     *events.About `json:"about,omitzero"`       // the text as numbers
	Shown     []Shown       `json:"shown,omitempty"`
	ShownMore int           `json:"shown_more,omitzero"` // not listed
	Told      []Told        `json:"told,omitempty"`      // in order
	ToldMore  int           `json:"told_more,omitzero"`  // earlier, not listed
}

// Rest says why an alert is told to nobody.
type Rest struct {
	Cause  string `json:"cause,omitzero"` // empty: the kind whatever its cause
	From   Time   `json:"from"`
	Until  Time   `json:"until"`
	By     string `json:"by"`
	Reason string `json:"reason"`
}

// Shown says whose page showed an alert.
type Shown struct {
	Person string `json:"person"`
	Device string `json:"device"`
	State  string `json:"state"`
	At     Time   `json:"at"`
}

// Told is what came of telling one person by one channel.
type Told struct {
	Message string `json:"message"`
	What    string `json:"what"`
	Person  string `json:"person,omitzero"`
	Channel string `json:"channel"`
	Step    int64  `json:"step"`
	Why     string `json:"why,omitzero"`
	Outcome string `json:"outcome"`
	Tries   int64  `json:"tries,omitzero"`
	Text    string `json:"text"`
	Error   string `json:"error,omitzero"`
	At      Time   `json:"at"`
}

// AlarmOf gives an alert as it stands at a moment. rests are those of its wall and
// of its site, and more is what else it was told by: in messages of the whole site.
func AlarmOf(site, place string, a wall.Alarm, at time.Time, rests []wall.Rest, more []wall.Telling) Alarm {
	now := at.UnixMilli()
	rest, rested := wall.Resting(rests, a.Kind, a.Cause, now)
	out := Alarm{
		ID: a.ID, Site: site, Wall: place, Kind: a.Kind, Cause: a.Cause, Priority: a.Priority, Text: a.Text,
		State: a.StateAt(now, func(string, string, int64) bool { return rested }),
		Since: moment(a.Since), Raised: moment(a.Raised), Cleared: moment(a.ClearedAt),
		Acknowledged: moment(a.Acknowledged), AcknowledgedBy: a.AcknowledgedBy, Note: a.AcknowledgedNote,
		ShelvedFrom: moment(a.ShelvedFrom), ShelvedUntil: moment(a.ShelvedUntil), ShelvedBy: a.ShelvedBy, ShelvedReason: a.ShelvedReason,
		Unshelved: moment(a.Unshelved), UnshelvedBy: a.UnshelvedBy,
		TakenBack: takenBack(a.TakenBack), About: a.About, ShownMore: a.ShownMore, ToldMore: a.ToldMore,
	}
	if out.State == wall.StateOutOfService {
		out.Rest = &Rest{rest.Cause, moment(rest.From), moment(rest.Until), rest.By, rest.Reason}
	}
	for _, x := range a.Shown {
		out.Shown = append(out.Shown, Shown{x.By, x.Device, x.State, moment(x.At)})
	}
	told := slices.SortedStableFunc(slices.Values(slices.Concat(a.Told, more)), func(x, y wall.Telling) int { return cmp.Compare(x.Seq, y.Seq) })
	for _, y := range told {
		out.Told = append(out.Told, Told{y.Message, y.What, y.Person, y.Channel, y.Step, y.Why, y.Outcome, y.Tries, y.Text, y.Error, moment(y.At)})
	}
	return out
}

// moment reads Unix milliseconds; 0 is no moment.
func moment(ms int64) Time {
	if ms == 0 {
		return Time{}
	}
	return Time{time.UnixMilli(ms).UTC()}
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

// Alarms writes the alerts, then what was refused. Each is named by a beginning of
// its id that no other of them has.
func (p Page) Alarms(out io.Writer, alarms []Alarm, refused []RefusedRow) error {
	w := bufio.NewWriter(out)
	if len(alarms) == 0 {
		fmt.Fprintln(w, "No alert stands.")
	} else if err := p.alarmList(w, alarms); err != nil {
		return err
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

// alarmList writes a line for each alert, and under it what it says, who answered
// and who was told. What is long stands there, so that no line is.
func (p Page) alarmList(w io.Writer, alarms []Alarm) error {
	t, open := newTable("ID", "PRIORITY", "WHERE", "ALERT", "SINCE", "STATE"), false
	ids := handles(alarms)
	for i, a := range alarms {
		open = open || a.Acknowledged.IsZero()
		t.add(ids[i], a.Priority, a.Place(), a.Kind, Past(a.Since.Time, p.zone(a.Site)), a.State)
	}
	var lines bytes.Buffer
	if err := t.write(&lines); err != nil {
		return err
	}
	indent, n := strings.Repeat(" ", len(ids[0])+2), -1
	for line := range strings.Lines(lines.String()) {
		if _, err := io.WriteString(w, line); err != nil {
			return fmt.Errorf("write alerts: %w", err)
		}
		if n++; n == 0 {
			continue
		}
		for _, line := range p.under(alarms[n-1]) {
			if err := wrapped(w, line, indent, width); err != nil {
				return err
			}
		}
	}
	if !open {
		return nil
	}
	_, err := fmt.Fprintln(w, "\nTo answer one: earlyage ack ID")
	return err
}

// under says what an alert says, then who brought it where it is and why, which
// answers were taken back, then who was told.
func (p Page) under(a Alarm) []string {
	say, record := p.says(a)
	out := []string{say}
	if record != "" {
		out = append(out, text.InRecord("en", record))
	}
	if why := p.because(a); why != "" {
		out = append(out, why)
	}
	for _, y := range a.TakenBack {
		out = append(out, fmt.Sprintf("answer of %s %s taken back by %s %s: %s", p.person(y.By), Past(y.At.Time, p.zone(a.Site)), p.person(y.VoidBy), Past(y.VoidAt.Time, p.zone(a.Site)), y.Reason))
	}
	if whom := p.told(a); whom != "" {
		out = append(out, "told: "+whom)
	}
	return out
}

// says gives what an alert says in the units that are shown.
func (p Page) says(a Alarm) (say, record string) {
	s := p.Sites[a.Site]
	s.Units = p.system(a.Site).String()
	return Says("en", s, a.Since.Time, a.Kind, a.Text, a.About)
}

const idPrefix = "alert-"

// shortID is the shortest beginning of an id that is shown: of 128 random bits so
// many that two alerts rarely share it.
const shortID = 6

// Handle is a beginning of an alert's id, without what every id begins with.
func Handle(id string) string { return handle(id, shortID) }

func handle(id string, length int) string {
	short := strings.TrimPrefix(id, idPrefix)
	return short[:min(len(short), length)]
}

// handles gives each alert the beginning of its id, all of one length: the shortest
// by which no two of them are the same.
func handles(alarms []Alarm) []string {
	for length := shortID; ; length++ {
		out, seen, whole := make([]string, len(alarms)), map[string]bool{}, true
		for i, a := range alarms {
			out[i] = handle(a.ID, length)
			seen[out[i]] = true
			whole = whole && len(out[i]) < length
		}
		if len(seen) == len(alarms) || whole {
			return out
		}
	}
}

// Named lists the alerts whose id is a word, or begins with it.
func Named(alarms []Alarm, word string) (list []Alarm) {
	for _, a := range alarms {
		if word != "" && (strings.HasPrefix(a.ID, word) || strings.HasPrefix(a.ID, idPrefix+word)) {
			list = append(list, a)
		}
	}
	return list
}

// Choices names alerts in a line each, most of them at most, with what tells them
// apart.
func (p Page) Choices(alarms []Alarm, most int) string {
	var out strings.Builder
	for i, id := range handles(alarms)[:min(len(alarms), most)] {
		a := alarms[i]
		fmt.Fprintf(&out, "\n  %s  %s since %s", id, oneLine(a.Kind+" "+a.Place()), Past(a.Since.Time, p.zone(a.Site)))
	}
	if more := len(alarms) - most; more > 0 {
		fmt.Fprintf(&out, "\n  and %d more", more)
	}
	return out.String()
}

// because says who brought an alert into its state, until when, and the reason that
// was given.
func (p Page) because(a Alarm) string {
	aside := func(until Time, by, reason string) string {
		return fmt.Sprintf("%s until %s by %s: %s", a.State, Past(until.Time, p.zone(a.Site)), p.person(by), reason)
	}
	switch {
	case a.State == wall.StateOutOfService && a.Rest != nil:
		return aside(a.Rest.Until, a.Rest.By, a.Rest.Reason)
	case a.State == wall.StateShelved:
		return aside(a.ShelvedUntil, a.ShelvedBy, a.ShelvedReason)
	case a.Acknowledged.IsZero():
		return ""
	}
	by := fmt.Sprintf("acknowledged %s by %s", Past(a.Acknowledged.Time, p.zone(a.Site)), p.person(a.AcknowledgedBy))
	if a.Note != "" {
		by += ": " + a.Note
	}
	return by
}

// person is the name of a person, where it is known.
func (p Page) person(id string) string { return cmp.Or(p.Names[id], id, "a person not named") }

// told names whom a channel took a message for, each once, then for whom none
// did. What is only withheld is neither.
func (p Page) told(a Alarm) string {
	var reached, failed []string
	inOrder := slices.SortedStableFunc(slices.Values(a.Told), func(x, y Told) int { return cmp.Or(x.At.Compare(y.At.Time), cmp.Compare(x.Person, y.Person)) })
	for _, x := range inOrder {
		list := &failed
		switch x.Outcome {
		case "accepted":
			list = &reached
		case "withheld":
			continue
		}
		if id := cmp.Or(x.Person, x.Channel); !slices.Contains(*list, id) {
			*list = append(*list, id)
		}
	}
	failed = slices.DeleteFunc(failed, func(id string) bool { return slices.Contains(reached, id) })
	var out []string
	if len(reached) > 0 {
		out = append(out, p.few(reached))
	}
	if len(failed) > 0 {
		out = append(out, "not "+p.few(failed))
	}
	return strings.Join(out, "; ")
}

// few lists people, three at most.
func (p Page) few(ids []string) string {
	var names []string
	for _, id := range ids[:min(len(ids), 3)] {
		names = append(names, p.person(id))
	}
	if more := len(ids) - len(names); more > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(names, ", "), more)
	}
	return strings.Join(names, ", ")
}

// AlarmLine writes one alert as it is raised or cleared, in one line.
func (p Page) AlarmLine(a Alarm) string {
	zone := p.zone(a.Site)
	if !a.Cleared.IsZero() {
		return oneLine(fmt.Sprintf("%s  %s  cleared  %s", Past(a.Cleared.Time, zone), a.Place(), a.Kind))
	}
	say, _ := p.says(a)
	return oneLine(fmt.Sprintf("%s  %s  %s alert %s  %s: %s", Past(a.Since.Time, zone), a.Place(), a.Priority, Handle(a.ID), a.Kind, say))
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
