package stream

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/synadia-io/orbit.go/jetstreamext"
)

// MaxBatch is the greatest number of messages in one atomic batch.
const MaxBatch = 1000

// DemoRecordedHeader carries an invented recorded time, RFC 3339 with
// nanoseconds. It is honoured only by a store that was made for a demonstration.
const DemoRecordedHeader = "Earlyage-Demo-Recorded"

// ErrDuplicateInBatch is wrapped by PublishBatch when the stream knows a message
// id of the batch already: nothing of the batch is stored, and the messages must
// be published one by one.
var ErrDuplicateInBatch = errors.New("atomic batch holds a message that the stream has already")

// errNoBatch is wrapped when the server cannot take this batch at all, whatever
// is in it, or not now: it holds no more than 50 unfinished batches, and a device
// that finishes none of its own must not keep the others waiting. Nothing of the
// batch is stored.
var errNoBatch = errors.New("server takes no such atomic batch")

const (
	publishTry   = 5 * time.Second        // how long one try waits for its acknowledgement
	publishPause = 100 * time.Millisecond // before the first retry, then doubled
	publishMost  = 5 * time.Second        // greatest pause
)

// Post is one message to be published.
type Post struct {
	Subject   string
	Body      []byte
	Signature string // value of SignatureHeader; empty: not signed

	// MsgID is what the stream's duplicate window knows the message by. Empty:
	// a retry may be stored twice. It must be unpredictable (NewMsgID), made for
	// this publication and reused only on its retry: whoever can guess it can
	// publish rubbish under it first, and this message is then answered as a
	// duplicate and not stored.
	MsgID string

	DemoRecorded string // value of DemoRecordedHeader; empty: none
}

func (p Post) msg() *nats.Msg {
	m := &nats.Msg{Subject: p.Subject, Data: p.Body, Header: nats.Header{}}
	if p.MsgID != "" {
		m.Header[jetstream.MsgIDHeader] = []string{p.MsgID}
	}
	if p.Signature != "" {
		m.Header[SignatureHeader] = []string{p.Signature}
	}
	if p.DemoRecorded != "" {
		m.Header[DemoRecordedHeader] = []string{p.DemoRecorded}
	}
	return m
}

// NewMsgID returns an unpredictable message id of at least 128 random bits.
func NewMsgID() string { return rand.Text() }

// PublishOne publishes one body under a message id of its own and waits for the
// acknowledgement that it is on the disk. While ctx lasts it tries again, with
// the same id; what the server has looked at and refused, or denies to this
// connection (ErrNotAllowed), ends it at once. dup says that an earlier try was
// stored and only its acknowledgement lost. After an error the message may be
// stored or not.
func PublishOne(ctx context.Context, nc *nats.Conn, subject string, body []byte, signature string) (seq uint64, dup bool, err error) {
	return Publish(ctx, nc, Post{Subject: subject, Body: body, Signature: signature, MsgID: NewMsgID()})
}

// Publish is PublishOne for a whole Post.
func Publish(ctx context.Context, nc *nats.Conn, p Post) (seq uint64, dup bool, err error) {
	var before error // why the try before the last one failed: the last one's reason is often just that ctx ended
	for pause := publishPause; ; pause = min(2*pause, publishMost) {
		seq, dup, err = publishTried(ctx, nc, p, publishTry)
		if err == nil || !worthRetry(err) {
			return seq, dup, err
		}
		if ctx.Err() == nil {
			before = err
			select {
			case <-ctx.Done():
			case <-time.After(pause):
				continue
			}
		}
		return 0, false, errors.Join(fmt.Errorf("publish %s: %w", p.Subject, ctx.Err()), before)
	}
}

// publishTried tries once, for at most wait.
func publishTried(ctx context.Context, nc *nats.Conn, p Post, wait time.Duration) (seq uint64, dup bool, err error) {
	js, err := jetstream.New(nc)
	if err != nil {
		return 0, false, fmt.Errorf("publish %s: %w", p.Subject, err)
	}
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	var ack *jetstream.PubAck
	err = unlessDenied(ctx, nc, map[string]bool{p.Subject: true}, func(ctx context.Context) (err error) {
		// The library's own retry is switched off: it tries again only where nobody
		// listens, and this package's loop does so too.
		ack, err = js.PublishMsg(ctx, p.msg(), jetstream.WithRetryAttempts(0))
		return err
	})
	if err != nil {
		return 0, false, fmt.Errorf("publish %s: %w", p.Subject, err)
	}
	return ack.Sequence, ack.Duplicate, nil
}

// worthRetry tells a message that never got through from one that the server
// has looked at and refused.
func worthRetry(err error) bool {
	var api *jetstream.APIError
	if errors.As(err, &api) {
		return api.Code >= 500 || api.Code == 429
	}
	return !errors.Is(err, nats.ErrMaxPayload) && !errors.Is(err, nats.ErrConnectionClosed) &&
		!errors.Is(err, nats.ErrBadSubject) && !errors.Is(err, ErrNotAllowed) &&
		!errors.Is(err, nats.ErrHeadersNotSupported)
}

// PublishBatch publishes 1 to MaxBatch messages that are stored all or none, one
// after the other, and waits for the acknowledgement that all are on the disk.
// last is the sequence of the last one. It tries once: after a lost
// acknowledgement the batch is stored or not, and publishing it again under the
// same message ids ends with ErrDuplicateInBatch if it was. If the server denies
// a subject of it, nothing is stored and the error wraps ErrNotAllowed.
func PublishBatch(ctx context.Context, nc *nats.Conn, posts []Post) (last uint64, err error) {
	if len(posts) == 0 || len(posts) > MaxBatch {
		return 0, fmt.Errorf("publish batch: %d messages, allowed 1 to %d", len(posts), MaxBatch)
	}
	js, err := jetstream.New(nc)
	if err != nil {
		return 0, fmt.Errorf("publish batch: %w", err)
	}
	msgs, subjects := make([]*nats.Msg, len(posts)), map[string]bool{}
	for i, p := range posts {
		msgs[i], subjects[p.Subject] = p.msg(), true
	}
	if _, ok := ctx.Deadline(); !ok {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, 2*publishTry)
		defer cancel()
	}
	var ack *jetstreamext.BatchAck
	err = unlessDenied(ctx, nc, subjects, func(ctx context.Context) (err error) {
		// The first message's answer is not waited for: the library waits for it
		// whether ctx ends or not. The last one's says the same.
		ack, err = jetstreamext.PublishMsgBatch(ctx, js, msgs, jetstreamext.BatchFlowControl{})
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("publish batch of %d: %w", len(posts), batchError(err))
	}
	return ack.Sequence, nil
}

// batchError sorts the server's refusals. Code 10201 (a duplicate inside the
// batch) was measured with server 2.15: the whole batch is refused.
func batchError(err error) error {
	var api *jetstream.APIError
	if !errors.As(err, &api) {
		return err
	}
	switch api.ErrorCode {
	case jetstreamext.JSErrCodeBatchPublishDuplicateMsgID:
		return fmt.Errorf("%w: %w", ErrDuplicateInBatch, err)
	case jetstreamext.JSErrCodeAtomicPublishTooManyInflight, jetstreamext.JSErrCodeBatchPublishTooManyInflight,
		jetstreamext.JSErrCodeBatchPublishNotEnabled, jetstreamext.JSErrCodeBatchPublishUnsupportedHeader,
		jetstreamext.JSErrCodeBatchPublishExceedsLimit, jetstreamext.JSErrCodeBatchPublishInvalidID,
		jetstreamext.JSErrCodeBatchPublishMissingSeq, jetstreamext.JSErrCodeBatchPublishIncomplete:
		return fmt.Errorf("%w: %w", errNoBatch, err)
	}
	return err
}
