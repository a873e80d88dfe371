package wallpage

import (
	"slices"
	"strings"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	telling "earlyage/notify/text"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// alarmState words the state of an alert, with its mark.
func (t tongue) alarmState(a face.Alarm) cell {
	mark := "off"
	switch a.State {
	case wall.StateUnacknowledged, wall.StateLatchedUnacknowledged:
		mark = "hold"
		if a.Priority == scheduler.Medium || a.Priority == scheduler.Low {
			mark = "watch"
		}
	case wall.StateReturned:
		mark = "watch"
	case wall.StateShelved, wall.StateOutOfService:
		mark = "nolink"
	case wall.StateNormal:
		return cell{Text: t.T("wall.alert.cleared"), Mark: mark}
	}
	state := t.own("alarm."+strings.ReplaceAll(a.State, " ", "-"), a.State)
	return cell{Text: t.T("board.alert.state", "state", state, "priority", t.T("board.priority."+a.Priority)), Mark: mark}
}

// answered says who answered an alert, or put it aside, until when and why.
func (t tongue) answered(a face.Alarm) string {
	aside := func(what, by, why string) string {
		return t.T("wall.alert.why", "what", what, "who", t.someone(by), "why", why)
	}
	out := []string{t.by(a.Acknowledged, a.AcknowledgedBy)}
	if a.Note != "" {
		out = append(out, a.Note)
	}
	switch {
	case a.State == wall.StateShelved:
		out = append(out, aside(t.T("wall.alert.shelved", "when", t.down(a.ShelvedUntil)), a.ShelvedBy, a.ShelvedReason))
	case a.State == wall.StateOutOfService && a.Rest != nil:
		out = append(out, aside(t.T("wall.alert.rests", "when", t.down(a.Rest.Until)), a.Rest.By, a.Rest.Reason))
	}
	back := t.takenBack(a)
	if len(back) > 0 && a.Acknowledged.IsZero() {
		out = append(out, t.T("paper.alert.unanswered"))
	}
	out = append(out, back...)
	return strings.Join(slices.DeleteFunc(out, func(s string) bool { return s == "" }), "; ")
}

// takenBack says which answers were taken back, and why.
func (t tongue) takenBack(a face.Alarm) (out []string) {
	for _, y := range a.TakenBack {
		out = append(out, t.T("board.answered.taken-back", "who", t.someone(y.By), "when", t.down(y.At), "by", t.someone(y.VoidBy), "at", t.down(y.VoidAt), "why", y.Reason))
	}
	return out
}

// alertSays gives what an alert says in the units and the language of the page, and
// what the record says, where that is not the same.
func (t tongue) alertSays(kind, words string, about *events.About) (say, record string) {
	s := t.site
	s.Units = t.units.String()
	return face.Says(t.Lang(), s, t.at, kind, words, about)
}

// alertText is the same in one text.
func (t tongue) alertText(kind, words string, about *events.About) string {
	say, record := t.alertSays(kind, words, about)
	if record != "" {
		say += ". " + telling.InRecord(t.Lang(), record)
	}
	return say
}

// told says who was told, by which channel, what came of it, and whose page showed
// it.
func (t tongue) told(a face.Alarm) string {
	var out []string
	for _, x := range a.Told {
		out = append(out, t.T("wall.told.one", "who", t.someone(x.Person), "channel", t.own("board.channel."+x.Channel, x.Channel), "when", t.down(x.At),
			"outcome", t.own("board.outcome."+x.Outcome, x.Outcome)))
	}
	for _, x := range a.Shown {
		out = append(out, t.T("wall.told.shown", "who", t.someone(x.Person), "when", t.down(x.At)))
	}
	if n := a.ToldMore + a.ShownMore; n > 0 {
		out = append(out, t.T("wall.more", "n", n))
	}
	return strings.Join(out, "; ")
}

// someone names a person, or nobody in particular.
func (t tongue) someone(person string) string {
	if person == "" {
		return t.T("board.told.anybody")
	}
	return t.person(person)
}
