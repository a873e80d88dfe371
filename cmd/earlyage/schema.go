package main

import (
	"errors"
	"fmt"
	"text/tabwriter"

	"earlyage/events"
)

type schemaCmd struct {
	Kind string `arg:"" optional:"" help:"Kind of event, thing.what, such as lift.placed."`
	List bool   `help:"Every kind, with what it means."`

	Roles bool `help:"Who may record what: every kind by role."`

	Members bool `help:"For people: the members of the kind's data, in the words that record takes."`
}

// Run implements the command.
func (c schemaCmd) Run(con console) error {
	if c.List && c.Roles || (c.List || c.Roles) == (c.Kind != "") {
		return usagef("schema: name a kind, or --list, or --roles")
	}
	if c.Roles {
		return listRoles(con.Out)
	}
	if c.List {
		return listKinds(con)
	}
	if c.Members && events.Kind(c.Kind).Known() {
		_, err := fmt.Fprint(con.Out, events.Help(events.Kind(c.Kind)))
		return err
	}
	text, err := events.Schema(events.Kind(c.Kind))
	if err != nil {
		return err
	}
	return line(con.Out, text)
}

func listKinds(con console) error {
	w := tabwriter.NewWriter(con.Out, 0, 8, 2, ' ', 0)
	var failed error
	for _, k := range events.Kinds() {
		_, err := fmt.Fprintf(w, "%s\t%s\t%s\n", k, about(k), k.Doc())
		failed = errors.Join(failed, err)
	}
	return errors.Join(failed, w.Flush())
}

func about(k events.Kind) string {
	switch {
	case k.SchedulerOnly():
		return "hub"
	case k.SiteWide():
		return "site"
	case k.WallOnly():
		return "wall"
	default:
		return "site, wall"
	}
}
