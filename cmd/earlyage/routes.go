package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/notify/routes"
)

type routesCmd struct {
	Check routesCheckCmd `cmd:"" help:"Read a route file and say every mistake with its line."`
	Show  routesShowCmd  `cmd:"" help:"Who would be told of an alert, rung by rung."`
}

type routesCheckCmd struct {
	reach
	File string `arg:"" type:"path" help:"The file."`
	Form bool   `help:"Ask no hub: judge the form alone."`
}

// Run implements the command.
func (c routesCheckCmd) Run(ctx context.Context, con console) error {
	text, err := os.ReadFile(c.File)
	if err != nil {
		return fmt.Errorf("read route file: %w", err)
	}
	name := filepath.Base(c.File)
	mistakes, asked, err := c.mistakes(ctx, name, text)
	if err != nil {
		return err
	}
	if len(mistakes) > 0 {
		list := make([]error, len(mistakes))
		for i, m := range mistakes {
			list[i] = &routes.Error{File: name, Line: m.Line, Field: m.Field, Reason: m.Reason}
		}
		return errors.Join(list...)
	}
	good := name + " is good"
	if !asked {
		good += " in its form. No hub was asked whether those whom it names are there: give --data or --hub"
	}
	_, err = fmt.Fprintln(con.Out, good)
	return err
}

// mistakes asks the hub; where none was named and none answers here, it judges the
// form alone.
func (c routesCheckCmd) mistakes(ctx context.Context, name string, text []byte) (list []api.RoutesMistake, asked bool, err error) {
	if !c.Form {
		client, err := c.client("")
		var answer api.RoutesChecked
		if err == nil {
			err = client.Post(ctx, api.PathRoutesCheck, api.RoutesCheck{Name: name, Text: string(text)}, &answer)
		}
		if err == nil || c.Data != "" || c.Hub != "" || c.As != "" {
			return answer.Mistakes, true, err
		}
	}
	_, err = routes.Parse(name, text, nil, nil)
	for _, e := range routes.Errors(err) {
		list = append(list, api.RoutesMistake{Line: e.Line, Field: e.Field, Reason: e.Reason})
	}
	return list, false, nil
}

type routesShowCmd struct {
	reach
	Site string `required:"" help:"On this site; _ is what concerns the whole company."`
	Kind string `help:"Only this kind of alert, such as joint-closing."`
	At   string `placeholder:"TIME" help:"At this moment, such as 2026-03-07T22:30:00-05:00; default now."`
	JSON bool   `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c routesShowCmd) Run(ctx context.Context, con console) error {
	client, err := c.client(c.Site)
	if err != nil {
		return err
	}
	query := url.Values{"site": {c.Site}}
	for name, value := range map[string]string{"kind": c.Kind, "at": c.At} {
		if value != "" {
			query.Set(name, value)
		}
	}
	var answer api.Routes
	body, err := client.Get(ctx, api.PathRoutes, query, &answer)
	if err != nil {
		return err
	}
	if c.JSON {
		return line(con.Out, body)
	}
	_, err = io.WriteString(con.Out, routesText(answer))
	return err
}

// routesText says who would be told; kinds that are told alike stand together.
func routesText(a api.Routes) string {
	var b strings.Builder
	source := "No route file is in force: all is by default."
	if a.File != "" {
		source = "By " + a.File + "."
	}
	fmt.Fprintf(&b, "On %s at %s. %s\n", siteWordOf(a.Site), a.At.Format(time.RFC3339), source)
	if a.Refused != "" {
		fmt.Fprintf(&b, "What that file holds now is not in force:\n%s\n", a.Refused)
	}
	var order []string
	kinds := map[string][]string{}
	for _, t := range a.Told {
		text := toldText(t)
		if kinds[text] == nil {
			order = append(order, text)
		}
		kinds[text] = append(kinds[text], t.Kind)
	}
	for _, text := range order {
		fmt.Fprintf(&b, "\n%s\n%s", strings.Join(kinds[text], ", "), text)
	}
	return b.String()
}

func siteWordOf(site string) string {
	if site == everySite {
		return "the whole company"
	}
	return site
}

func toldText(t routes.Told) string {
	var b strings.Builder
	fmt.Fprintf(&b, "  %s\n", paceText(t.Priority))
	if t.Route != "" {
		fmt.Fprintf(&b, "  by route %q, line %d\n", t.Route, t.Line)
	}
	if len(t.Rungs) == 0 {
		b.WriteString("  nobody works there: nobody is told\n")
	}
	for i, g := range t.Rungs {
		when := "at once"
		if i > 0 {
			when = "after " + minutes(g.AfterS)
		}
		for _, w := range g.Whom {
			fmt.Fprintf(&b, "  %-13s %s\n", when, whomText(w))
			when = ""
		}
	}
	return b.String()
}

// paceText says how long an alert is told on.
func paceText(priority string) string {
	switch priority {
	case "urgent":
		return "urgent: told on until somebody acknowledges it"
	case "high":
		return "high: told on until it has reached somebody"
	}
	return priority + ": told once"
}

func minutes(s int64) string {
	if s%60 == 0 {
		return fmt.Sprintf("%d min", s/60)
	}
	return fmt.Sprintf("%d s", s)
}

func whomText(w routes.ToldWhom) string {
	text := w.Person
	if w.Name != "" {
		text = w.Name + " (" + w.Person + ")"
	}
	if len(w.Roles) > 0 {
		text += ", " + strings.Join(w.Roles, " and ")
	}
	if len(w.Channels) == 0 {
		return text + ": nothing reaches them; earlyage people set, or earlyage invite"
	}
	text += ": " + strings.Join(w.Channels, ", ")
	if !w.Quiet.IsZero() {
		text += "; withheld until " + w.Quiet.Format(time.RFC3339)
	}
	return text
}
