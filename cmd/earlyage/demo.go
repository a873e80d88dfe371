package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"

	"earlyage/cmd/earlyage/internal/demo"
	"earlyage/cmd/earlyage/internal/hub"
	scripts "earlyage/testdata/demo"
)

type demoCmd struct {
	Speed   float64 `placeholder:"N" help:"Demo seconds to a second; without it as fast as it goes, under a minute. With --serve of the live part; default 1."`
	Serve   bool    `help:"Go on live from the scripts' last afternoon, with the hub's pages open, until interrupted."`
	HTTP    string  `name:"http" default:"127.0.0.1:8480" placeholder:"HOST:PORT" help:"With --serve: where the hub answers."`
	Keep    string  `type:"path" placeholder:"DIR" help:"Keep the data in this folder, which must be new or empty; serve goes on with it."`
	Units   string  `default:"" enum:",si,us" placeholder:"si|us" help:"Units shown; without it what each site has set."`
	All     bool    `help:"Every statement, also those that only move an expected time."`
	Verbose bool    `short:"v" help:"The hub's log, on the standard error."`
}

// Run implements the command.
func (c demoCmd) Run(ctx context.Context, con console) (err error) {
	if c.Speed < 0 {
		return usagef("speed: %g; allowed: more than 0", c.Speed)
	}
	if c.Serve && !demo.OnlyHere(c.HTTP) {
		return usagef("http: %q; allowed: an address of this machine alone, such as 127.0.0.1:8480, since whoever reaches a demo may come in", c.HTTP)
	}
	dir := c.Keep
	if dir == "" {
		if dir, err = os.MkdirTemp("", "earlyage-demo-"); err != nil {
			return fmt.Errorf("demo: %w", err)
		}
		defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	} else if left, err := os.ReadDir(dir); err == nil && len(left) > 0 {
		return usagef("keep: %q; allowed: a folder that is new or empty", dir)
	}
	log := slog.New(slog.DiscardHandler)
	if c.Verbose {
		log = logger(con.Err, "text", false)
	}
	cfg := demo.Config{Scripts: scripts.Scripts, Dir: dir, Speed: c.Speed, Live: c.Serve, Units: c.Units, All: c.All, Out: con.Out, Log: log}
	if c.Serve {
		cfg.HTTP = c.HTTP
	}
	if err := demo.Run(ctx, cfg); err != nil {
		return err
	}
	if c.Keep != "" {
		mark, _, err := hub.ReadMark(dir)
		if err != nil {
			return err
		}
		fmt.Fprintf(con.Out, "\nThe data are in %s. earlyage serve --data %s goes on with them, on the demo's clock, from %s.\n",
			dir, dir, mark.At.UTC().Format("Mon 2 Jan 2006 15:04 MST"))
	}
	return nil
}
