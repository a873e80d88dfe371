package routes

import (
	"time"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// Told is who would be told of one kind of alert, rung by rung.
type Told struct {
	Kind     string     `json:"kind"`
	Priority string     `json:"priority,omitzero"`
	Route    string     `json:"route,omitzero"` // of the file; empty: by default
	Line     int        `json:"line,omitzero"`  // of the route in the file
	Rungs    []ToldRung `json:"rungs"`
}

// ToldRung is who would be told together.
type ToldRung struct {
	AfterS int64      `json:"after_s"` // seconds since the alert was raised
	Why    string     `json:"why"`
	Whom   []ToldWhom `json:"whom"`
}

// ToldWhom is one who would be told. Without channels nothing reaches them.
type ToldWhom struct {
	Person   string    `json:"person"`
	Name     string    `json:"name,omitzero"`
	Roles    []string  `json:"roles,omitzero"`
	Channels []string  `json:"channels"`
	Quiet    time.Time `json:"quiet_until,omitzero"` // what can wait is withheld until then
}

// slower is by how much longer each step takes of what is high and not urgent, as
// the desk has it.
const slower = 3

// Explain says who would be told of an alert at a moment while nobody answers it;
// of the notice its kind, site and priority count. What is high climbs three times
// as slowly as what is urgent; what is medium or low does not climb.
func Explain(r *Rota, n notice.Notice, at time.Time) Told {
	list, route := r.ladder(n, at)
	pace := time.Duration(1)
	switch n.Priority {
	case desk.High:
		pace = slower
	case desk.Medium, desk.Low:
		list = list[:min(1, len(list))]
	}
	out := Told{Kind: n.Kind, Priority: n.Priority, Rungs: []ToldRung{}}
	if route >= 0 {
		out.Route, out.Line = r.file.Routes[route].Name, r.file.Routes[route].Line
	}
	names := map[string]notice.Reader{}
	for _, reader := range append(r.dir.People(n.Site), r.Hooks()...) {
		names[reader.Person] = reader
	}
	for _, g := range list {
		rung := ToldRung{AfterS: int64(g.After * pace / time.Second), Why: g.Why}
		for _, c := range g.Choices {
			rung.Whom = append(rung.Whom, r.whom(c, names[c.Person], n, at))
		}
		out.Rungs = append(out.Rungs, rung)
	}
	return out
}

func (r *Rota) whom(c desk.Choice, reader notice.Reader, n notice.Notice, at time.Time) ToldWhom {
	w := ToldWhom{Person: c.Person, Name: reader.Name, Channels: append([]string{}, c.Channels...)}
	for _, role := range reader.Roles {
		w.Roles = append(w.Roles, string(role))
	}
	if desk.CanWait(n.Kind, n.Priority) {
		w.Quiet = r.Quiet(n, c.Person, at)
	}
	return w
}
