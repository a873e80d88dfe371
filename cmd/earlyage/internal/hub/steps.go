package hub

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"
)

// steps are the parts of a hub that run, in the order in which they were
// started. They are stopped in the reverse order under one timeout.
type steps struct {
	log  *slog.Logger
	list []step
}

type step struct {
	name string
	stop func(context.Context) error
}

// started notes a part that runs, and how to stop it.
func (s *steps) started(name string, stop func(context.Context) error) {
	s.log.Info("started", "part", name)
	s.list = append(s.list, step{name, stop})
}

// stop stops every part, the last first. Each is tried, also after a failure or
// when the time is up; the errors are joined.
func (s *steps) stop(timeout time.Duration) error {
	ctx, cancel := context.WithTimeout(context.Background(), timeout)
	defer cancel()
	var failed []error
	for len(s.list) > 0 {
		last := s.list[len(s.list)-1]
		s.list = s.list[:len(s.list)-1]
		if err := last.stop(ctx); err != nil {
			failed = append(failed, fmt.Errorf("stop %s: %w", last.name, err))
			continue
		}
		s.log.Info("stopped", "part", last.name)
	}
	return errors.Join(failed...)
}

// worker runs a function until it is stopped, and says when it ended by itself.
type worker struct {
	cancel context.CancelFunc
	done   chan struct{}
	err    error // after done
}

// work starts run. ended is told when run returns before it was stopped.
func work(name string, run func(context.Context) error, ended chan<- error) *worker {
	ctx, cancel := context.WithCancel(context.Background())
	w := &worker{cancel: cancel, done: make(chan struct{})}
	go func() {
		defer close(w.done)
		w.err = run(ctx)
		if ctx.Err() != nil && errors.Is(w.err, context.Canceled) {
			w.err = nil
		}
		if ctx.Err() == nil {
			ended <- fmt.Errorf("%s ended: %w", name, cmpError(w.err, errEnded))
		}
	}()
	return w
}

var errEnded = errors.New("without being stopped")

func cmpError(err, otherwise error) error {
	if err != nil {
		return err
	}
	return otherwise
}

// stop asks the worker to end and waits for it.
func (w *worker) stop(ctx context.Context) error {
	w.cancel()
	select {
	case <-w.done:
		return w.err
	case <-ctx.Done():
		return ctx.Err()
	}
}
