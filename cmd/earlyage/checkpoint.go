package main

import (
	"context"
	"fmt"
	"math"
	"net/url"
	"strconv"

	"earlyage/cmd/earlyage/internal/api"
)

type checkpointCmd struct {
	reach
}

// Help is shown below the usage.
func (checkpointCmd) Help() string {
	return "The checkpoint goes to the standard output, as it was signed, so that it can be kept in a file for earlyage verify --checkpoint; " +
		"the verifier key, for earlyage verify --key, goes beside it to the standard error. Keep both out of the hub's reach."
}

// Run implements the command.
func (c checkpointCmd) Run(ctx context.Context, con console) error {
	client, err := c.client("")
	if err != nil {
		return err
	}
	note, err := client.File(ctx, api.PathCheckpoint, nil)
	if err != nil {
		return err
	}
	var known api.Checkpoints // of none that is kept: only the key is asked for
	if _, err := client.Get(ctx, api.PathCheckpoints, url.Values{"after": {strconv.Itoa(math.MaxInt64 - 1)}}, &known); err != nil {
		return err
	}
	if _, err := con.Out.Write(note); err != nil {
		return fmt.Errorf("write: %w", err)
	}
	_, err = fmt.Fprintf(con.Err, "Verifier key: %s\n", known.Key)
	return err
}
