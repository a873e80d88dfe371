package main

import (
	"context"
	"net/url"
	"strings"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
)

type timelineCmd struct {
	asking
	Wall string `arg:"" placeholder:"SITE/WALL" help:"Which wall."`
	AsOf string `name:"as-of" placeholder:"TIME" help:"What was known and stated then: a moment such as 2026-06-01T09:00:00Z, or 2026-06-01T11:00 in the time of the site."`
	Kind string `placeholder:"KIND" help:"Only this kind of message, such as lift.placed, or all of lift; ! is what was changed, doubted or refused."`
	Find string `placeholder:"TEXT" help:"Only what has this text in it, or in what became of it."`
}

// Help is shown below the usage.
func (timelineCmd) Help() string {
	return "In the order in which the messages became known. Nothing is left out: what was amended, withdrawn or refused stands with its reason. " +
		"Readings of one device stand together unless --kind temperature.read asks for them."
}

// Run implements the command.
func (c timelineCmd) Run(ctx context.Context, con console) error {
	site, path, err := wallPath(c.Wall)
	if err != nil {
		return err
	}
	q := url.Values{}
	for key, value := range map[string]string{"as-of": c.AsOf, "kind": c.Kind, "q": c.Find, "units": c.Units, "words": "1"} {
		if value != "" {
			q.Set(key, value)
		}
	}
	if c.JSON {
		q.Del("words")
	}
	return ask(ctx, c.asking, con, site, path+"/"+api.WallTimeline, q, func(a api.Messages) error {
		if a.AsOf.IsZero() {
			doubts(con.Out, a.Head)
		}
		entries := make([]face.Entry, 0, len(a.Messages))
		for _, m := range a.Messages {
			entries = append(entries, *m.Words)
		}
		return a.Page(c.Units).Timeline(con.Out, a.Says, entries)
	})
}

// wallPath reads SITE/WALL and gives the wall's path.
func wallPath(text string) (site, path string, err error) {
	site, wall, ok := strings.Cut(text, "/")
	if !ok || !events.IsToken(site) || !events.IsToken(wall) {
		return "", "", usagef("wall %q: allowed: SITE/WALL, each of a-z, 0-9 and -, 1 to 40 characters", text)
	}
	return site, api.WallPath(site, wall), nil
}
