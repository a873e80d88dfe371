package stream

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"time"

	"github.com/nats-io/nats.go"
)

// ErrNotAllowed is wrapped by Publish, PublishOne and PublishBatch when the server
// denies the subject to this connection. Trying again on this connection is of no
// use: what it may do is settled when it comes.
var ErrNotAllowed = errors.New("not allowed to publish")

// deniedEvery is how often a publication that waits for its answer looks whether
// the server has denied it: the server gives a denial no address, so that it does
// not come as the answer.
const deniedEvery = 20 * time.Millisecond

var deniedSubject = regexp.MustCompile(`Publish to "(\S+)"`)

// unlessDenied runs do and ends it when the server denies one of the subjects. It
// returns do's error, or one that wraps ErrNotAllowed.
//
// A connection keeps only its last error. Where several goroutines are denied at
// the same moment, one may miss its own: its publication ends without an answer
// and learns of it when it tries again.
func unlessDenied(ctx context.Context, nc *nats.Conn, subjects map[string]bool, do func(context.Context) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	before := nc.LastError()
	done := make(chan error, 1)
	go func() { done <- do(ctx) }()
	look := time.NewTicker(deniedEvery)
	defer look.Stop()
	for {
		select {
		case err := <-done:
			if denied := newDenial(nc, before, subjects); err != nil && denied != nil {
				return denied
			}
			return err
		case <-look.C:
			if denied := newDenial(nc, before, subjects); denied != nil {
				cancel(denied)
				if err := <-done; err == nil { // it had its answer already: another's denial
					return nil
				}
				return denied
			}
		}
	}
}

// newDenial returns what a connection says of one of the subjects, if it has not
// said it before.
func newDenial(nc *nats.Conn, before error, subjects map[string]bool) error {
	said := nc.LastError()
	if !errors.Is(said, nats.ErrPermissionViolation) || errors.Is(before, nats.ErrPermissionViolation) && said == before {
		return nil
	}
	word := deniedSubject.FindStringSubmatch(said.Error())
	if word == nil || !subjects[word[1]] {
		return nil
	}
	return fmt.Errorf("%w on %s: %w", ErrNotAllowed, word[1], said)
}
