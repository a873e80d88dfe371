package board

import (
	"cmp"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/scheduler"
)

// What people did about an alert.
const (
	Acknowledged = "acknowledged"
	Shelved      = "shelved"
)

// Alert is one that stands.
type Alert struct {
	ID           string    `json:"id"`
	Site         string    `json:"site"`
	Wall         string    `json:"wall"` // empty: the whole site, or the company
	WallName     string    `json:"wall_name"`
	Kind         string    `json:"kind"`
	Priority     string    `json:"priority"`
	Since        face.Time `json:"since"`
	Respond      face.Time `json:"respond"` // until when somebody has to have acted
	Text         string    `json:"text"`
	Answered     string    `json:"answered"` // acknowledged, shelved, or empty
	By           string    `json:"by"`       // who acknowledged it
	At           face.Time `json:"at"`       // when
	ShelvedUntil face.Time `json:"shelved_until"`
}

// alerts lists what stands: first what nobody has answered, the most pressing
// first, then what is acknowledged, then what is shelved.
func alerts(in Input) []Alert {
	names := map[scheduler.Ref]string{}
	for _, w := range in.Walls {
		if w.State != nil {
			names[scheduler.Ref{Site: w.Assessment.Site, Wall: w.Assessment.Wall}] = w.State.Holding.Name
		}
	}
	out := make([]Alert, 0, len(in.Alarms))
	for _, a := range in.Alarms {
		if a.Cleared.IsZero() {
			out = append(out, alertOf(a, names, in.At))
		}
	}
	slices.SortFunc(out, func(x, y Alert) int {
		return cmp.Or(cmp.Compare(answerOrder(x.Answered), answerOrder(y.Answered)), cmp.Compare(priority(x.Priority), priority(y.Priority)),
			x.Respond.Compare(y.Respond.Time), cmp.Compare(x.Site, y.Site), cmp.Compare(x.Wall, y.Wall), cmp.Compare(x.Kind, y.Kind), cmp.Compare(x.ID, y.ID))
	})
	return out
}

func alertOf(a face.Alarm, names map[scheduler.Ref]string, at time.Time) Alert {
	out := Alert{
		ID: a.ID, Site: a.Site, Wall: a.Wall, WallName: cmp.Or(names[scheduler.Ref{Site: a.Site, Wall: a.Wall}], a.Wall), Kind: a.Kind, Priority: a.Priority,
		Since: a.Since, Respond: face.Time{Time: a.Since.Add(scheduler.AlertKinds[a.Kind].Respond)}, Text: a.Text,
	}
	switch {
	case a.ShelvedUntil.After(at):
		out.Answered, out.ShelvedUntil = Shelved, a.ShelvedUntil
	case !a.Acknowledged.IsZero():
		out.Answered, out.By, out.At = Acknowledged, a.AcknowledgedBy, a.Acknowledged
	}
	return out
}

func answerOrder(answered string) int {
	return slices.Index([]string{"", Acknowledged, Shelved}, answered)
}

// priority gives the place of a priority, the most pressing first; one that is
// not known comes first.
func priority(p string) int {
	return slices.Index([]string{scheduler.Urgent, scheduler.High, scheduler.Medium, scheduler.Low}, p)
}
