package routes

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"sync"
	"time"
)

// Config says which file is watched.
type Config struct {
	Path    string          // of the route file; empty: there is none, and the default is in force
	Dir     Directory       // who there is; needed where there is a file
	Sites   func() []string // which sites there are; needed where there is a file
	Every   time.Duration   // between two looks; default 2 s
	Log     *slog.Logger    // default none
	Changed func(Status)    // called after another file is in force, or was refused, or a refusal is over; default none
}

// Status is which file is in force, and why the newest is not.
type Status struct {
	File    *File // in force
	Refused error // why what the file holds now is not in force; nil: it is
}

// Watcher keeps the newest good version of a route file in force. Safe for any
// number of goroutines.
type Watcher struct {
	cfg Config

	look sync.Mutex // one look at a time
	seen []byte     // what is in force; owned by look

	mu     sync.Mutex
	status Status
}

// Open looks at the file for the first time. What cannot be read or is refused
// leaves the default in force: a mistake in a file keeps no alert from being told.
func Open(c Config) *Watcher {
	if c.Every <= 0 {
		c.Every = 2 * time.Second
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	w := &Watcher{cfg: c, status: Status{File: Default()}}
	w.Look()
	return w
}

// Status returns which file is in force.
func (w *Watcher) Status() Status {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.status
}

// Run looks again and again until ctx ends, and then returns nil.
func (w *Watcher) Run(ctx context.Context) error {
	again := time.NewTicker(w.cfg.Every)
	defer again.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-again.C:
			w.Look()
		}
	}
}

// Look reads the file now. A good one is in force from then on; of a bad one each
// mistake is logged, once, and it is tried again at the next look, since it may
// name somebody who is about to be added.
func (w *Watcher) Look() {
	if w.cfg.Path == "" {
		return
	}
	w.look.Lock()
	defer w.look.Unlock()
	before := w.Status()
	data, err := readFile(w.cfg.Path)
	if err == nil && w.seen != nil && bytes.Equal(data, w.seen) {
		if before.Refused == nil {
			return
		}
		w.set(Status{File: before.File})
		w.cfg.Log.Info("route file is again the one in force", "file", w.cfg.Path)
		return
	}
	var f *File
	if err == nil {
		f, err = Parse(w.cfg.Path, data, w.cfg.Dir, w.cfg.Sites())
	}
	if err != nil {
		w.refuse(before, err)
		return
	}
	w.seen = data
	w.cfg.Log.Info("route file in force", "file", w.cfg.Path, "routes", len(f.Routes))
	w.set(Status{File: f})
}

// refuse leaves the file that is in force.
func (w *Watcher) refuse(before Status, err error) {
	if before.Refused != nil && before.Refused.Error() == err.Error() {
		return
	}
	for _, e := range Errors(err) {
		w.cfg.Log.Error("route file refused", "file", e.File, "line", e.Line, "field", e.Field, "reason", e.Reason)
	}
	inForce := "the one before"
	if w.seen == nil {
		inForce = "the default"
	}
	w.cfg.Log.Error("route file is not in force", "in_force", inForce, "err", err.Error())
	w.set(Status{File: before.File, Refused: err})
}

func (w *Watcher) set(s Status) {
	w.mu.Lock()
	w.status = s
	w.mu.Unlock()
	if w.cfg.Changed != nil {
		w.cfg.Changed(s)
	}
}

// readFile reads no more of a file than Parse takes.
func readFile(path string) (data []byte, err error) {
	f, err := os.Open(path) // #nosec G304 -- the path is the configuration's
	if err != nil {
		return nil, fmt.Errorf("read route file: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if data, err = io.ReadAll(io.LimitReader(f, maxFile+1)); err != nil {
		return nil, fmt.Errorf("read route file %s: %w", path, err)
	}
	return data, nil
}
