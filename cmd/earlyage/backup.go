package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
)

type backupCmd struct {
	reach
	Dir string `arg:"" type:"path" help:"Where the copy goes: a folder that is not there yet, on the hub's machine."`
}

// Help is shown below the usage.
func (backupCmd) Help() string {
	return "The hub goes on meanwhile. The copy holds everything: the stream, the record, the hub's key, people's names. " +
		"Keep it where only those come who may speak as the hub. A hub that is not running is copied as a folder."
}

// Run implements the command.
func (c backupCmd) Run(ctx context.Context, con console) error {
	client, err := c.client("")
	if err != nil {
		return err
	}
	var done api.BackedUp
	if err := client.PostLong(ctx, api.PathBackup, api.BackupInto{Dir: c.Dir}, &done); err != nil {
		return err
	}
	_, err = fmt.Fprintf(con.Out, "Backed up to %s: %d messages, %.1f MB, as of %s.\n", c.Dir, done.Through, float64(done.Bytes)/1e6, done.Made.UTC().Format("2 Jan 2006 15:04 UTC"))
	return err
}

type restoreCmd struct {
	Backup string `arg:"" type:"existingdir" help:"The copy, as earlyage backup made it."`
	Data   string `required:"" type:"path" placeholder:"DIR" help:"Where the hub's folder is made: it is not there yet."`
}

// Help is shown below the usage.
func (restoreCmd) Help() string {
	return "Every message of the copy is compared with its stream and with the hashes and checkpoints of its record before the folder is put in place. " +
		"What devices recorded since the copy they send again: an outbox keeps 30 days."
}

// Run implements the command.
func (c restoreCmd) Run(ctx context.Context, con console) error {
	if _, err := os.Lstat(c.Data); err == nil {
		return usageError{fmt.Errorf("restore: something is at %s already", c.Data)}
	}
	if _, err := os.Stat(filepath.Dir(c.Data)); err != nil {
		return usageError{fmt.Errorf("restore: %w", err)}
	}
	b, r, err := hub.Restore(ctx, c.Backup, c.Data, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(con.Out, "Restored to %s as of %s: %d messages, each compared with the stream, the hashes and the checkpoints, in %s.\n",
		c.Data, b.Made.UTC().Format("2 Jan 2006 15:04 UTC"), r.Through, r.Took.Round(time.Millisecond))
	return err
}
