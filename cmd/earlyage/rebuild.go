package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/projector"
)

type rebuildCmd struct {
	Data  string `default:"data" type:"path" help:"The hub's folder. The hub must not be running."`
	Check bool   `help:"Compare only: change nothing. The exit status is 1 when anything differs."`
	From  string `default:"keep" enum:"keep,stream" placeholder:"keep|stream" help:"What to build from: the kept bytes, or the stream, which is compared with them."`
}

// Run implements the command.
func (c rebuildCmd) Run(ctx context.Context, con console) error {
	if _, err := os.Stat(c.Data); err != nil {
		return usageError{fmt.Errorf("rebuild: %w", err)}
	}
	bar := newBar(con.Err)
	report, err := hub.Rebuild(ctx, c.Data, c.From == "stream", !c.Check, bar.show)
	bar.end()
	if err != nil && !errors.Is(err, projector.ErrRecordsDiffer) {
		return err
	}
	return errors.Join(err, tellReport(con.Out, report, c.Check))
}

func tellReport(w io.Writer, r projector.Report, checkOnly bool) error {
	rate := float64(r.Events) / max(r.Took.Seconds(), 1e-3)
	fmt.Fprintf(w, "Folded %d events from the %s through %d in %s, %.0f a second.\n",
		r.Events, r.From, r.Through, r.Took.Round(time.Millisecond), rate)
	switch {
	case !r.Compared:
		fmt.Fprintln(w, "There was no view of this version to compare with.")
	case r.Equal:
		fmt.Fprintf(w, "The view that was there is the same: %x.\n", r.After)
	default:
		fmt.Fprintf(w, "The view that was there differs: %x, now %x.\n", r.Before, r.After)
		for _, d := range r.Differences {
			fmt.Fprintf(w, "  %s\n", d)
		}
		if r.More > 0 {
			fmt.Fprintf(w, "  and %d more\n", r.More)
		}
	}
	for _, d := range r.RecordsDiffer {
		fmt.Fprintf(w, "Stream and kept bytes differ: %s.\n", d)
	}
	for _, d := range r.LogDiffers {
		fmt.Fprintf(w, "The record is not whole: %s.\n", d)
	}
	if r.Swapped {
		fmt.Fprintln(w, "The new view is in its place.")
	}
	if len(r.LogDiffers) > 0 {
		return errors.New("rebuild: the kept messages are not those that were hashed when they came in")
	}
	if checkOnly && r.Compared && !r.Equal {
		return errors.New("rebuild --check: the view is not what the record gives")
	}
	return nil
}

// bar shows progress on a terminal, and nothing elsewhere.
type bar struct {
	w     io.Writer
	now   func() time.Time
	last  time.Time
	began time.Time
	shown bool
}

const barWidth = 40

func newBar(w io.Writer) *bar {
	if isTerminal(w) {
		return &bar{w: w, now: time.Now, began: time.Now()}
	}
	return &bar{}
}

func (b *bar) show(done, total uint64) {
	if b.w == nil || total == 0 {
		return
	}
	now := b.now()
	if now.Sub(b.last) < 100*time.Millisecond && done < total {
		return
	}
	b.last, b.shown = now, true
	full := int(min(done, total) * barWidth / total)
	rate := float64(done) / max(now.Sub(b.began).Seconds(), 1e-3)
	fmt.Fprintf(b.w, "\r[%s%s] %d of %d, %.0f a second ", strings.Repeat("#", full), strings.Repeat(".", barWidth-full), done, total, rate)
}

func (b *bar) end() {
	if b.shown {
		fmt.Fprintln(b.w)
	}
}
