package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
)

// asking is what every command that reads a hub takes.
type asking struct {
	reach
	JSON  bool   `name:"json" help:"The hub's answer as JSON."`
	Units string `default:"" enum:",si,us" placeholder:"si|us" help:"Units shown; without it what each site has set."`
}

// ask gets a path and shows it: as it came, or by a page. site says whose device
// asks, where this machine has several.
func ask[T any](ctx context.Context, a asking, con console, site, path string, query url.Values, show func(T) error) error {
	var answer T
	client, err := a.client(site)
	if err != nil {
		return err
	}
	body, err := client.Get(ctx, path, query, &answer)
	if err != nil {
		return err
	}
	if a.JSON {
		return line(con.Out, body)
	}
	return show(answer)
}

func line(w io.Writer, body []byte) error {
	if _, err := w.Write(append(body[:len(body):len(body)], '\n')); err != nil {
		return fmt.Errorf("write: %w", err)
	}
	return nil
}

// doubts says what shuts every window, above a table.
func doubts(w io.Writer, h api.Head) {
	if h.Demo {
		fmt.Fprintf(w, "This hub runs on the clock of a demo: %s.\n\n", h.At.UTC().Format("Mon 2 Jan 2006 15:04 MST"))
	}
	for _, d := range h.Doubts {
		fmt.Fprintf(w, "Every window is shut: %s.\n\n", d)
	}
}

type wallsCmd struct {
	asking
	Site string `help:"Only this site."`
}

// Run implements the command.
func (c wallsCmd) Run(ctx context.Context, con console) error {
	return ask(ctx, c.asking, con, c.Site, api.PathWalls, query("site", c.Site), func(a api.Walls) error {
		doubts(con.Out, a.Head)
		return a.Page(c.Units).Walls(con.Out, a.At.Time, a.Walls)
	})
}

func query(key, value string) url.Values {
	q := url.Values{}
	if value != "" {
		q.Set(key, value)
	}
	return q
}

type wallCmd struct {
	asking
	Wall  string `arg:"" placeholder:"SITE/WALL" help:"Which wall."`
	Sheet bool   `help:"The calculation sheet: every criterion with its inputs and its sums by the hour."`

	SVG      string `name:"svg" placeholder:"FILE" help:"Draw the wall unrolled: layers by age, joints, openings, braces."`
	Timeline string `placeholder:"FILE" help:"Draw the pour: height against time."`
	Bracing  string `placeholder:"FILE" help:"Draw the bracing: each brace from set to stripped."`
	Width    int    `default:"1200" help:"Width of a drawing in pixels, 280 to 4000."`
}

// Run implements the command.
func (c wallCmd) Run(ctx context.Context, con console) error {
	site, path, err := wallPath(c.Wall)
	if err != nil {
		return err
	}
	drawn, err := c.draw(ctx, con, site, path)
	if drawn || err != nil {
		return err
	}
	q := url.Values{}
	if c.Sheet {
		q.Set("sheet", "1")
	}
	return ask(ctx, c.asking, con, site, path, q, func(a api.Wall) error {
		doubts(con.Out, a.Head)
		if a.Sheet != nil {
			return a.Page(c.Units).Sheet(con.Out, a.At.Time, a.Wall, *a.Sheet)
		}
		return a.Page(c.Units).Wall(con.Out, a.At.Time, a.Wall)
	})
}

// draw writes the pictures that are asked for, and reports whether any was.
func (c wallCmd) draw(ctx context.Context, con console, site, path string) (drawn bool, err error) {
	q := url.Values{"width": {strconv.Itoa(c.Width)}}
	if c.Units != "" {
		q.Set("units", c.Units)
	}
	for _, d := range []struct{ name, file string }{{api.Unrolled, c.SVG}, {api.Timeline, c.Timeline}, {api.Bracing, c.Bracing}} {
		if d.file == "" {
			continue
		}
		client, err := c.client(site)
		if err != nil {
			return true, err
		}
		svg, err := client.Picture(ctx, path+"/"+d.name, q)
		if err != nil {
			return true, err
		}
		if err := os.WriteFile(d.file, svg, 0o644); err != nil {
			return true, fmt.Errorf("write drawing: %w", err)
		}
		fmt.Fprintln(con.Out, "drawn", d.file)
		drawn = true
	}
	return drawn, nil
}

type alertsCmd struct {
	asking
	Site string `help:"Only this site."`
	All  bool   `help:"All that were ever raised."`
}

// Run implements the command.
func (c alertsCmd) Run(ctx context.Context, con console) error {
	q := query("site", c.Site)
	if c.All {
		q.Set("all", "1")
	}
	return ask(ctx, c.asking, con, c.Site, api.PathAlerts, q, func(a api.Alerts) error {
		page := a.Page(c.Units)
		client, err := c.client(c.Site)
		if err != nil {
			return err
		}
		if page.Names, err = called(ctx, client); err != nil {
			return err
		}
		return page.Alarms(con.Out, a.Alerts, a.Refused)
	})
}

// called gives the names of the people in sight by id; none to who may not ask.
func called(ctx context.Context, client api.Client) (map[string]string, error) {
	var all api.People
	_, err := client.Get(ctx, api.PathPeople, nil, &all)
	if errors.Is(err, api.ErrNotAllowed) || errors.Is(err, api.ErrSignIn) {
		return nil, nil
	}
	out := map[string]string{}
	for _, p := range all.People {
		out[p.Person] = p.Name
	}
	return out, err
}

type watchCmd struct {
	asking
	For time.Duration `placeholder:"DURATION" help:"End after this time; without it at an interrupt."`
}

// Run implements the command.
func (c watchCmd) Run(ctx context.Context, con console) error {
	if c.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, c.For)
		defer cancel()
	}
	client, err := c.client("")
	if err != nil {
		return err
	}
	first := true
	return client.Watch(ctx, func(ch api.Changed, body []byte) error {
		if c.JSON {
			return line(con.Out, body)
		}
		if first {
			doubts(con.Out, ch.Head)
			if err := face.Caution(con.Out); err != nil {
				return err
			}
			first = false
		}
		page := ch.Page(c.Units)
		for _, w := range ch.Walls {
			fmt.Fprintln(con.Out, page.WallLine(ch.At.Time, w))
		}
		for _, a := range append(ch.Raised, ch.Cleared...) {
			fmt.Fprintln(con.Out, page.AlarmLine(a))
		}
		return nil
	})
}

type healthCmd struct {
	reach
	JSON bool `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c healthCmd) Run(ctx context.Context, con console) error {
	client, err := c.stranger()
	if err != nil {
		return err
	}
	var h api.Health
	body, err := client.Get(ctx, api.PathHealth, nil, &h)
	if err != nil {
		return err
	}
	switch {
	case c.JSON:
		err = line(con.Out, body)
	case h.OK:
		_, err = fmt.Fprintf(con.Out, "The hub is well: the record is folded through %d, level with the stream.\n", h.Through)
		if h.Undelivered > 0 {
			_, err = fmt.Fprintf(con.Out, "Messages that nobody has had: %d; earlyage told --undelivered lists them.\n", h.Undelivered)
		}
	default:
		for _, p := range h.Problems {
			fmt.Fprintln(con.Out, p)
		}
	}
	if err == nil && !h.OK {
		return errTold
	}
	return err
}
