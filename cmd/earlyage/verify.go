package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"earlyage/cmd/earlyage/internal/bundle"
)

type verifyCmd struct {
	Bundle     string   `arg:"" type:"existingfile" help:"The bundle, as earlyage register --bundle writes it."`
	Key        string   `placeholder:"KEY" help:"The hub's key as it is known from elsewhere: it is printed on every paper and in every mail that bears a checkpoint."`
	Checkpoint []string `type:"existingfile" placeholder:"FILE" help:"A checkpoint that lay outside the hub's reach, from a mail or an older bundle. May be given several times."`
}

// Help is shown below the usage.
func (verifyCmd) Help() string {
	return "No hub is asked. Every signature and every proof is checked, every statement of the hub about the wall is " +
		"computed anew from what was known when it was made, and what holds is said in plain words. The exit status is 1 when anything does not hold."
}

var errNotWhole = errors.New("verify: not all of it holds")

// Run implements the command.
func (c verifyCmd) Run(ctx context.Context, con console) error {
	o := bundle.Options{Key: c.Key}
	for _, name := range c.Checkpoint {
		raw, err := os.ReadFile(name)
		if err != nil {
			return fmt.Errorf("verify: %w", err)
		}
		o.Checkpoints = append(o.Checkpoints, raw)
	}
	f, err := os.Open(c.Bundle)
	if err != nil {
		return fmt.Errorf("verify: %w", err)
	}
	defer f.Close()
	r, err := bundle.Verify(ctx, f, o)
	if errors.Is(err, bundle.ErrNoBundle) {
		return usageError{fmt.Errorf("verify %s: %w: its first line is not that of one. Either it is another file, or it was packed or changed on its way: have it sent again", c.Bundle, err)}
	}
	if err != nil {
		return fmt.Errorf("verify %s: %w", c.Bundle, err)
	}
	if err := tellVerified(con.Out, r); err != nil {
		return err
	}
	if !r.Holds() {
		return errNotWhole
	}
	return nil
}

// tellVerified writes what holds and what does not, what does not first.
func tellVerified(w io.Writer, r bundle.Report) (err error) {
	say := func(format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(w, format, args...)
		}
	}
	say("The record of wall %s/%s, put together %s", r.Head.Site, r.Head.Wall, r.Head.Made.UTC().Format("2 Jan 2006 15:04 UTC"))
	if r.Head.Demo {
		say(", of a demo: its times are invented")
	}
	say(".\n\n")
	for _, holds := range []bool{false, true} {
		for _, f := range r.Findings {
			if f.Holds == holds {
				say("%-14s  %s.\n", map[bool]string{true: "holds", false: "DOES NOT HOLD"}[holds], f.What)
			}
		}
	}
	for _, what := range r.NotShown {
		say("%-14s  %s.\n", "is not shown", what)
	}
	if r.Holds() {
		say("\nAll that was checked holds: %d messages, %d of them refused; %d statements, each as the hub made it.\n", r.Messages, r.Refused, r.Statements)
	} else {
		say("\nThis is not the record as the hub kept it, or not all of it could be shown. Rely on nothing in it.\n")
	}
	say("That the record is whole says what was entered, when and by whom; it does not say that what was entered was so.\n")
	return err
}
