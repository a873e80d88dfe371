package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"net/url"
	"slices"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
)

type toldCmd struct {
	reach
	Undelivered bool          `help:"Only what no channel has accepted: tried again, or failed for good."`
	Person      string        `help:"Only to this person: id, or name."`
	Alert       string        `placeholder:"ID" help:"Only of this alert, named as earlyage alerts shows it."`
	Site        string        `help:"Only of this site."`
	Since       time.Duration `placeholder:"DURATION" help:"Only of the last so long, such as 12h."`
	Measure     bool          `help:"How fast and how much was told, in place of the list; of the last 30 days, or of --since."`
	Test        string        `placeholder:"PERSON" help:"Tell this person that it is a test, by every channel that has an address."`
	JSON        bool          `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c toldCmd) Run(ctx context.Context, con console) error {
	client, err := c.client(c.Site)
	if err != nil {
		return err
	}
	if c.Test != "" {
		return c.test(ctx, con, client)
	}
	q := query("site", c.Site)
	if c.Since > 0 {
		now, err := c.now(ctx, client)
		if err != nil {
			return err
		}
		q.Set("since", now.Add(-c.Since).Format(time.RFC3339))
	}
	if c.Measure {
		return c.measure(ctx, con, client, q)
	}
	if c.Person != "" {
		who, err := person(ctx, client, c.Person)
		if err != nil {
			return err
		}
		q.Set("person", who)
	}
	if c.Alert != "" {
		id, err := c.alert(ctx, client)
		if err != nil {
			return err
		}
		q.Set("alert", id)
	}
	if c.Undelivered {
		q.Set("undelivered", "1")
	}
	var answer api.Told
	body, err := client.Get(ctx, api.PathTold, q, &answer)
	switch {
	case err != nil:
		return err
	case c.JSON:
		return line(con.Out, body)
	}
	return printTold(con.Out, answer)
}

// alert gives the id of the alert that is meant, of all that were ever raised.
func (c toldCmd) alert(ctx context.Context, client api.Client) (string, error) {
	var all api.Alerts
	if _, err := client.Get(ctx, api.PathAlerts, url.Values{"all": {"1"}}, &all); err != nil {
		return "", err
	}
	a, err := named(all, c.Alert, "none in sight", "earlyage alerts --all")
	return a.ID, err
}

// now is the time of the hub: a demo has its own.
func (c toldCmd) now(ctx context.Context, client api.Client) (time.Time, error) {
	var h api.Health
	_, err := client.Get(ctx, api.PathHealth, nil, &h)
	return h.At.Time, err
}

// printTold prints the oldest first, as a log is read.
func printTold(w io.Writer, a api.Told) error {
	page := face.Page{Sites: map[string]face.Site{}}
	for _, s := range a.Sites {
		page.Sites[s.Site] = s
	}
	lines := make([]face.ToldLine, 0, len(a.Told))
	for _, t := range slices.Backward(a.Told) {
		lines = append(lines, face.ToldLine{
			Site: t.Site, Wall: t.Wall, Person: t.Person, Name: t.Name, What: t.What, Kind: t.Kind, Text: t.Text, Channel: t.Channel,
			State: t.State, Error: t.Error, Step: t.Step, Made: t.Made, Next: t.Next, Ended: t.Ended,
		})
	}
	return page.Told(w, lines)
}

func (c toldCmd) test(ctx context.Context, con console, client api.Client) error {
	who, err := person(ctx, client, c.Test)
	if err != nil {
		return err
	}
	var answer api.Told
	if err := client.Post(ctx, api.PathToldTest, api.ToldTest{Person: who, Site: c.Site}, &answer); err != nil {
		return err
	}
	if err := printTold(con.Out, answer); err != nil {
		return err
	}
	for _, t := range answer.Told {
		if t.State == "failed" {
			return errTold
		}
	}
	return nil
}

func (c toldCmd) measure(ctx context.Context, con console, client api.Client, q url.Values) error {
	var m api.ToldMeasure
	q.Del("site")
	body, err := client.Get(ctx, api.PathToldMeasure, q, &m)
	switch {
	case err != nil:
		return err
	case c.JSON:
		return line(con.Out, body)
	}
	_, err = io.WriteString(con.Out, measureText(m))
	return err
}

func measureText(m api.ToldMeasure) string {
	var b strings.Builder
	const moment = "Mon 2 Jan 2006 15:04 UTC"
	fmt.Fprintf(&b, "From %s to %s.\n\n", m.From.UTC().Format(moment), m.To.UTC().Format(moment))
	fmt.Fprintf(&b, "%-39s %7s %11s %16s %9s\n", "", "ALERTS", "HALF WITHIN", "99 OF 100 WITHIN", "MOST")
	for _, s := range []struct {
		what string
		api.Spread
	}{
		{"from the condition to when it was known", m.Known}, {"from then to the alert", m.Raised},
		{"from the alert to the first channel", m.Told}, {"known in time: to the first channel", m.Reached},
		{"from the alert to the first page", m.Shown}, {"from the alert to its acknowledgement", m.Acknowledged},
	} {
		fmt.Fprintf(&b, "%-39s %7d %11s %16s %9s\n", s.what, s.Count, lasting(s.P50), lasting(s.P99), lasting(s.Max))
	}
	if m.Reader == "" {
		b.WriteString("\nNobody was told of anything.\n")
		return b.String()
	}
	name := m.Reader
	if m.Name != "" && m.Name != m.Reader {
		name = m.Name + " (" + m.Reader + ")"
	}
	fmt.Fprintf(&b, "\nMost within 10 minutes: %d alerts, to %s. The reader with most alerts has %.2f in 10 minutes on average.\n", m.Most, name, m.Mean)
	return b.String()
}

// lasting writes seconds as a person says them: nothing is rounded down.
func lasting(seconds float64) string {
	switch {
	case seconds < 60:
		return fmt.Sprintf("%.1f s", max(0, math.Ceil(seconds*10-1e-6))/10)
	case seconds < 3600:
		return fmt.Sprintf("%.0f min", math.Ceil(seconds/60-1e-6))
	}
	minutes := int(math.Ceil(seconds/60 - 1e-6))
	return fmt.Sprintf("%d:%02d h", minutes/60, minutes%60)
}

type ackCmd struct {
	reach
	Alert  string        `arg:"" help:"The alert's id as earlyage alerts shows it: any beginning that no other has."`
	Note   string        `help:"What was done about it."`
	NATS   string        `name:"nats" env:"EARLYAGE_NATS" placeholder:"URL" help:"As of earlyage record."`
	Device string        `env:"EARLYAGE_DEVICE" help:"Which of this machine's devices acknowledges."`
	Wait   time.Duration `default:"10s" help:"How long to wait for the hub."`
}

// Run implements the command.
func (c ackCmd) Run(ctx context.Context, con console) error {
	client, err := c.client("")
	if err != nil {
		return err
	}
	var all api.Alerts
	if _, err := client.Get(ctx, api.PathAlerts, nil, &all); err != nil {
		return err
	}
	// What is over and was not answered may be answered still.
	all.Alerts = slices.DeleteFunc(all.Alerts, func(a face.Alarm) bool { return !a.Cleared.IsZero() && !a.Acknowledged.IsZero() })
	a, err := named(all, c.Alert, "none that stands", "earlyage alerts")
	if err != nil {
		return err
	}
	values := []string{"alert=" + a.ID, "kind=" + a.Kind}
	if c.Note != "" {
		values = append(values, "note="+c.Note)
	}
	return recordCmd{
		Kind: "alert.acknowledged", Values: values, Site: a.Site, Wall: a.Wall, machine: c.machine, NATS: c.NATS, Device: c.Device, Wait: c.Wait,
	}.Run(ctx, con)
}

// mostNamed is how many alerts are named where a beginning is of several.
const mostNamed = 8

// named finds the one alert that a beginning of its id means. none and where say
// what was looked through.
func named(all api.Alerts, beginning, none, where string) (face.Alarm, error) {
	found := face.Named(all.Alerts, beginning)
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return face.Alarm{}, usagef("alert: %s begins with %q; %s lists them", none, beginning, where)
	}
	return face.Alarm{}, usagef("alert: %d begin with %q; give more of it:%s", len(found), beginning, all.Page("").Choices(found, mostNamed))
}
