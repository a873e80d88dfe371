package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events/stream"
)

type rotateCmd struct {
	machine
	Site   string `help:"The site, where this machine has joined several."`
	Device string `help:"The device, where this machine has several."`
}

// Run implements the command.
func (c rotateCmd) Run(ctx context.Context, con console) error {
	ring, err := c.ring()
	if err != nil {
		return err
	}
	list, err := ring.all(c.Site)
	if err != nil {
		return err
	}
	list = slices.DeleteFunc(list, func(j *joined) bool { return c.Device != "" && j.Source.Device != c.Device })
	switch {
	case len(list) == 0:
		return fmt.Errorf("rotate: this machine has joined no hub%s: %s", onSite(c.Site), howToJoin(c.Site))
	case len(list) > 1:
		return usagef("rotate: this machine has several devices; say which with --site and --device: earlyage whoami lists them")
	}
	j := list[0]
	if err := j.rotate(ctx); err != nil {
		return fmt.Errorf("rotate the key of %s/%s: %w", j.Source.Site, j.Source.Device, err)
	}
	public, err := j.Public()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(con.Out, "%s/%s has a new key, %s; the old one has ended\n", j.Source.Site, j.Source.Device, public)
	return err
}

// rotate gives the device a new key. The new one is on the disk before the hub
// hears of it; a crash, or an answer that is lost, leaves both, and the next
// rotate finds out which of them holds.
func (j *joined) rotate(ctx context.Context) error {
	file := filepath.Join(j.dir, nextFile)
	fresh, err := stream.LoadIdentity(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if fresh, err = stream.NewIdentity(j.Source, j.Person); err != nil {
			return err
		}
		if err := fresh.Save(file); err != nil {
			return err
		}
	case err != nil:
		return err
	default:
		if probe := (&joined{Identity: fresh, dir: j.dir, told: j.told}); probe.refresh(ctx) == nil {
			return j.adopt(fresh, file)
		}
	}
	if err := j.postRotation(ctx, fresh); err != nil {
		return err
	}
	return j.adopt(fresh, file)
}

// adopt puts the new key in the place of the old one.
func (j *joined) adopt(fresh stream.Identity, file string) error {
	j.Identity = fresh
	if err := j.Save(filepath.Join(j.dir, identityFile)); err != nil {
		return err
	}
	if err := os.Remove(file); err != nil {
		return fmt.Errorf("take the new key's first file away: %w", err)
	}
	return nil
}

// postRotation asks for it as the device, on the word of both keys.
func (j *joined) postRotation(ctx context.Context, fresh stream.Identity) error {
	ask := api.Rotation{}
	var err error
	if ask.Key, err = fresh.Public(); err != nil {
		return err
	}
	text := roster.RotateProof(j.Source, ask.Key)
	if ask.Old, err = prove(j.Identity, text); err != nil {
		return err
	}
	if ask.New, err = prove(fresh, text); err != nil {
		return err
	}
	client, err := api.Dial(api.Where{URL: j.told.Hub, Identity: &j.Identity})
	if err != nil {
		return err
	}
	return client.Post(ctx, api.DevicePath(j.Source)+"/rotate", ask, nil)
}
