package main

import (
	"context"
	"fmt"
	"time"

	"earlyage/cmd/earlyage/internal/api"
)

type calendarCmd struct {
	Add  calendarAddCmd  `cmd:"" help:"Make a feed and show its address, once."`
	List calendarListCmd `cmd:"" help:"Which feeds there are."`
	End  calendarEndCmd  `cmd:"" help:"End a feed: its address leads nowhere from then on."`
}

type calendarAddCmd struct {
	reach
	Site string `arg:"" help:"Of this site."`
	Crew string `placeholder:"PERSON" help:"Only of the walls on which this person has recorded: id, or name."`
}

// Run implements the command.
func (c calendarAddCmd) Run(ctx context.Context, con console) error {
	client, err := c.client(c.Site)
	if err != nil {
		return err
	}
	in := api.NewCalendar{Site: c.Site}
	if c.Crew != "" {
		if in.Person, err = person(ctx, client, c.Crew); err != nil {
			return err
		}
	}
	var made api.Calendar
	if err := client.Post(ctx, api.PathCalendars, in, &made); err != nil {
		return err
	}
	_, err = fmt.Fprintf(con.Out, "calendar %s of %s\n  address  %s\nWhoever knows the address may read it. earlyage calendar end %s takes it back.\n", made.ID, calendarOf(made), made.URL, made.ID)
	return err
}

func calendarOf(c api.Calendar) string {
	if c.Person == "" {
		return c.Site
	}
	return c.Site + ", the walls of " + c.Person
}

type calendarListCmd struct{ reach }

// Run implements the command.
func (c calendarListCmd) Run(ctx context.Context, con console) error {
	client, err := c.client("")
	if err != nil {
		return err
	}
	var all api.Calendars
	if _, err := client.Get(ctx, api.PathCalendars, nil, &all); err != nil {
		return err
	}
	for _, one := range all.Calendars {
		by := "who runs the hub"
		if one.By != "" {
			by = one.By
		}
		if _, err := fmt.Fprintf(con.Out, "%s  %s  by %s, %s\n", one.ID, calendarOf(one), by, one.Made.Format(time.RFC3339)); err != nil {
			return err
		}
	}
	return nil
}

type calendarEndCmd struct {
	reach
	ID string `arg:"" help:"Of the feed; earlyage calendar list shows it."`
}

// Run implements the command.
func (c calendarEndCmd) Run(ctx context.Context, con console) error {
	client, err := c.client("")
	if err != nil {
		return err
	}
	if err := client.Delete(ctx, api.PathCalendars+"/"+c.ID); err != nil {
		return err
	}
	_, err = fmt.Fprintf(con.Out, "ended calendar %s\n", c.ID)
	return err
}
