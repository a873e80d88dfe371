package main

import (
	"context"
	"fmt"

	"earlyage/cmd/earlyage/internal/api"
)

type inviteCmd struct {
	reach
	Person  string `arg:"" optional:"" help:"The person's id, or name."`
	Site    string `required:"" help:"The site that the device joins; _ for the whole company."`
	Page    bool   `help:"To the hub's pages, with a passkey and no device."`
	Station bool   `help:"A station that belongs to nobody, such as a logger: it signs what it measures. Name no person."`
	QRPNG   string `name:"qr-png" placeholder:"FILE" help:"Write the code for a camera as a picture too, to a new file."`
	NoQR    bool   `name:"no-qr" help:"Draw no code for a camera."`
	JSON    bool   `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c inviteCmd) Run(ctx context.Context, con console) error {
	ask, err := c.wanted()
	if err != nil {
		return err
	}
	client, err := c.client(c.Site)
	if err != nil {
		return err
	}
	if ask.Person != "" {
		if ask.Person, err = person(ctx, client, ask.Person); err != nil {
			return err
		}
	}
	var ticket api.Ticket
	if err := client.Post(ctx, api.PathInvitations, ask, &ticket); err != nil {
		return err
	}
	if c.QRPNG != "" {
		if err := saveQR(c.QRPNG, ticket.Link); err != nil {
			return err
		}
	}
	if c.JSON {
		return writeJSON(con.Out, ticket)
	}
	if !c.NoQR {
		if err := writeQR(con.Out, ticket.Link); err != nil {
			return err
		}
	}
	return c.tell(con, ask, ticket)
}

func (c inviteCmd) wanted() (api.NewInvitation, error) {
	ask := api.NewInvitation{Person: c.Person, Site: c.Site, Sort: "phone"}
	switch {
	case c.Page && c.Station:
		return ask, usagef("invite: --page or --station, not both")
	case c.Station && c.Person != "":
		return ask, usagef("invite: a station belongs to nobody; name no person with --station")
	case !c.Station && c.Person == "":
		return ask, usagef("invite: say whom: earlyage invite PERSON --site %s; earlyage people list shows who there is", c.Site)
	case c.Page:
		ask.Sort = "page"
	case c.Station:
		ask.Sort = "station"
	}
	return ask, nil
}

func (c inviteCmd) tell(con console, ask api.NewInvitation, t api.Ticket) error {
	whom := ask.Person
	if ask.Sort == "station" {
		whom = "a station"
	}
	_, err := fmt.Fprintf(con.Out, "Invitation of %s to %s\n  link   %s\n  code   %s\n  until  %s, once\n", whom, siteWord(ask.Site), t.Link, t.Code, t.Until.Local().Format("15:04 MST Mon 2 Jan"))
	if err != nil {
		return err
	}
	if ask.Sort == "page" {
		_, err = fmt.Fprintln(con.Out, "Open the link in the browser that is to be used.")
		return err
	}
	_, err = fmt.Fprint(con.Out, "On the machine that joins: earlyage join -, and paste the link.\n")
	return err
}
