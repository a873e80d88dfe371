package board

import (
	"cmp"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// What became of an alert that waits for nobody's answer.
const (
	Acknowledged = "acknowledged"
	Returned     = "returned" // it ended, and nobody has acknowledged it
	Shelved      = "shelved"
	Rested       = "out-of-service"
)

// Alert is one that stands, or ended of late and was not acknowledged.
type Alert struct {
	ID       string       `json:"id"`
	Site     string       `json:"site"`
	Wall     string       `json:"wall"` // empty: the whole site, or the company
	WallName string       `json:"wall_name"`
	Kind     string       `json:"kind"`
	Cause    string       `json:"cause"`
	Priority string       `json:"priority"`
	State    string       `json:"state"` // of IEC 62682, in its words
	Since    face.Time    `json:"since"`
	Respond  face.Time    `json:"respond"`  // until when somebody has to have acted
	Text     string       `json:"text"`     // in the record
	Answered string       `json:"answered"` // acknowledged, returned, shelved, out-of-service, or empty
	By       string       `json:"by"`       // who acknowledged it, shelved it or took it out of service
	At       face.Time    `json:"at"`       // when it was acknowledged
	Until    face.Time    `json:"until"`    // of shelved and out of service
	Why      string       `json:"why"`      // their reason, or what is being done
	Cleared  face.Time    `json:"cleared"`
	Told     []face.Told  `json:"told"`
	ToldMore int          `json:"told_more"` // earlier, not listed
	Shown    []face.Shown `json:"shown"`
	More     int          `json:"shown_more"` // not listed

	TakenBack []face.TakenBack `json:"taken_back"`     // answers that were voided, in order
	About     *events.About    `json:"about,omitzero"` // the text as numbers
}

// Rest is a kind of alert that is out of service on a wall or a site.
type Rest struct {
	Site     string    `json:"site"`
	Wall     string    `json:"wall"` // empty: the whole site, or the company
	WallName string    `json:"wall_name"`
	Kind     string    `json:"kind"`
	Cause    string    `json:"cause"` // empty: every one
	Until    face.Time `json:"until"`
	By       string    `json:"by"`
	Reason   string    `json:"reason"`
}

// alerts lists what is open: first what nobody has answered, the most pressing
// first, then what ended unanswered, what is acknowledged, what is put aside.
func alerts(in Input) []Alert {
	names := wallNames(in)
	out := make([]Alert, 0, len(in.Alarms))
	for _, a := range in.Alarms {
		if a.State != wall.StateNormal {
			out = append(out, alertOf(a, names))
		}
	}
	slices.SortFunc(out, func(x, y Alert) int {
		return cmp.Or(cmp.Compare(answerOrder(x.Answered), answerOrder(y.Answered)), cmp.Compare(priority(x.Priority), priority(y.Priority)),
			x.Respond.Compare(y.Respond.Time), cmp.Compare(x.Site, y.Site), cmp.Compare(x.Wall, y.Wall), cmp.Compare(x.Kind, y.Kind), cmp.Compare(x.ID, y.ID))
	})
	return out
}

func wallNames(in Input) map[scheduler.Ref]string {
	names := map[scheduler.Ref]string{}
	for _, w := range in.Walls {
		if w.State != nil {
			names[scheduler.Ref{Site: w.Assessment.Site, Wall: w.Assessment.Wall}] = w.State.Holding.Name
		}
	}
	return names
}

// answers are what became of an alert, by its state; the others wait.
var answers = map[string]string{
	wall.StateAcknowledged: Acknowledged, wall.StateLatchedAcknowledged: Acknowledged, wall.StateReturned: Returned,
	wall.StateShelved: Shelved, wall.StateOutOfService: Rested,
}

func alertOf(a face.Alarm, names map[scheduler.Ref]string) Alert {
	out := Alert{
		ID: a.ID, Site: a.Site, Wall: a.Wall, WallName: cmp.Or(names[scheduler.Ref{Site: a.Site, Wall: a.Wall}], a.Wall), Kind: a.Kind, Cause: a.Cause, Priority: a.Priority,
		State: cmp.Or(a.State, wall.StateUnacknowledged), Since: a.Since, Respond: face.Time{Time: a.Since.Add(scheduler.AlertKinds[a.Kind].Respond)}, Text: a.Text,
		Answered: answers[a.State], At: a.Acknowledged, Cleared: a.Cleared, Told: append([]face.Told{}, a.Told...), ToldMore: a.ToldMore,
		Shown: append([]face.Shown{}, a.Shown...), More: a.ShownMore, TakenBack: append([]face.TakenBack{}, a.TakenBack...), About: a.About,
	}
	switch out.Answered {
	case Acknowledged:
		out.By, out.Why = a.AcknowledgedBy, a.Note
	case Shelved:
		out.By, out.Until, out.Why = a.ShelvedBy, a.ShelvedUntil, a.ShelvedReason
	case Rested:
		if a.Rest != nil {
			out.By, out.Until, out.Why = a.Rest.By, a.Rest.Until, a.Rest.Reason
		}
	}
	return out
}

func answerOrder(answered string) int {
	return slices.Index([]string{"", Returned, Acknowledged, Shelved, Rested}, answered)
}

// priority gives the place of a priority, the most pressing first; one that is
// not known comes first.
func priority(p string) int {
	return slices.Index([]string{scheduler.Urgent, scheduler.High, scheduler.Medium, scheduler.Low}, p)
}

// restsOf lists what is out of service at the picture's moment, by site and wall.
func restsOf(in Input) []Rest {
	names, out := wallNames(in), []Rest{}
	take := func(site, place string, rests []wall.Rest) {
		for _, r := range rests {
			if now := in.At.UnixMilli(); r.From <= now && now < r.Until {
				out = append(out, Rest{site, place, cmp.Or(names[scheduler.Ref{Site: site, Wall: place}], place), r.Kind, r.Cause, face.Time{Time: time.UnixMilli(r.Until).UTC()}, r.By, r.Reason})
			}
		}
	}
	sites := []*site.State{in.Company}
	for _, s := range in.Sites {
		sites = append(sites, s.State)
	}
	for _, s := range sites {
		if s != nil {
			take(s.Site, "", s.Rests())
		}
	}
	for _, w := range in.Walls {
		if w.State != nil {
			take(w.Assessment.Site, w.Assessment.Wall, w.State.Rests())
		}
	}
	slices.SortFunc(out, func(x, y Rest) int {
		return cmp.Or(cmp.Compare(x.Site, y.Site), cmp.Compare(x.Wall, y.Wall), cmp.Compare(x.Kind, y.Kind), cmp.Compare(x.Cause, y.Cause))
	})
	return out
}
