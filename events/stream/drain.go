package stream

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"

	"earlyage/events"
)

// batchBytes is the greatest size of the bodies of one atomic batch; the server
// holds a batch back until it is whole.
const batchBytes = 4 << 20

// link is what an outbox needs of a hub. Every call tries once. After an error
// it may have been carried out or not.
type link interface {
	Ask(ctx context.Context) (Receipt, error)
	Batch(ctx context.Context, posts []Post) (last uint64, err error)
	One(ctx context.Context, p Post) (seq uint64, err error)
}

type natsLink struct {
	nc   *nats.Conn
	src  events.Source
	wait time.Duration
}

func (l natsLink) Ask(ctx context.Context) (Receipt, error) {
	ctx, cancel := context.WithTimeout(ctx, l.wait)
	defer cancel()
	return AskReceipt(ctx, l.nc, l.src)
}

func (l natsLink) Batch(ctx context.Context, posts []Post) (uint64, error) {
	ctx, cancel := context.WithTimeout(ctx, l.wait)
	defer cancel()
	return PublishBatch(ctx, l.nc, posts)
}

func (l natsLink) One(ctx context.Context, p Post) (uint64, error) {
	seq, _, err := publishTried(ctx, l.nc, p, l.wait)
	return seq, err
}

// Drain asks the hub for its receipt and publishes what the hub does not have,
// in the order of the numbers, in atomic batches, and one by one where a batch
// holds something that the stream has already. When all is acknowledged, and
// something is new since the last time or that was 12 hours ago, it makes and
// publishes device.reported.
//
// After an error everything that is not acknowledged waits for the next Drain.
// An event that the server will not take does not stop the others, and one that
// the device may not say any more is set aside at once, without an error: see
// SetAside and Retry. Its number is missing at the hub until it is said, which
// keeps every window of the site shut. Without a hub that answers (the server alone does) Drain publishes all the same, unless
// this folder has never had a receipt: then it ends with ErrNoReceipt, since
// numbers that an earlier folder of this device has used would collide.
//
// A crash at any step loses nothing and doubles nothing; what it leaves stands
// at each step.
func (o *Outbox) Drain(ctx context.Context, nc *nats.Conn) error {
	return o.drain(ctx, natsLink{nc, o.cfg.Source, o.cfg.Wait})
}

func (o *Outbox) drain(ctx context.Context, l link) (err error) {
	unlock, err := o.lockDrain(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	if err := o.ask(ctx, l); err != nil {
		return err
	}
	var failed []error
	skip := map[uint64]bool{}
	for {
		s, err := o.plan(skip)
		if err != nil {
			return errors.Join(append(failed, err)...)
		}
		if s == nil {
			break
		}
		// A crash here leaves the publication in the log and nothing published. The
		// next Drain publishes it under the same message ids.
		if err := o.step("planned"); err != nil {
			return err
		}
		stuck, err := o.ship(ctx, l, s)
		if err != nil {
			return errors.Join(append(failed, err)...)
		}
		for number, err := range stuck {
			skip[number] = true
			failed = append(failed, fmt.Errorf("outbox number %d: %w", number, err))
		}
	}
	return errors.Join(append(failed, o.forget())...)
}

// tear notes that an event's line was readable once and is not now.
func (o *Outbox) tear(en *entry) {
	en.torn = true
	o.log.damage = append(o.log.damage, fmt.Sprintf("outbox.log at %d: the event with number %d cannot be read any more", en.off, en.number))
}

// shipment is one publication: a batch, or what is left of one.
type shipment struct {
	numbers []uint64
	posts   []Post
}

// plan chooses what to publish next and writes that down. It returns nil when
// nothing is left.
func (o *Outbox) plan(skip map[uint64]bool) (s *shipment, err error) {
	err = o.locked(func() error {
		if s, err = o.next(skip); err != nil || s != nil {
			return err
		}
		report := o.book.due(o.cfg.Now().UnixMilli(), o.cfg.Now().Add(-o.cfg.Keep).UnixMilli())
		if report == nil || len(skip) > 0 {
			return nil
		}
		// A crash before this is on the disk leaves an outbox that is empty and has
		// not said so; the next Drain says it.
		if _, err := o.add([]events.Event{{Kind: reportKind, Data: report}}); err != nil {
			return err
		}
		s, err = o.next(skip)
		return err
	})
	return s, err
}

// next takes the events with the lowest numbers that wait. Those of an earlier
// publication are kept together as they were, under its ids.
func (o *Outbox) next(skip map[uint64]bool) (*shipment, error) {
	s, secret, size := &shipment{}, "", 0
	for _, en := range o.book.entries {
		if !o.book.waiting(en) || skip[en.number] {
			continue
		}
		if len(s.numbers) > 0 && (en.secret != secret || len(s.numbers) == MaxBatch || size+en.size > batchBytes) {
			break
		}
		p, ok := o.stored(en)
		if !ok {
			o.tear(en)
			continue
		}
		secret = en.secret
		size += en.size
		s.numbers, s.posts = append(s.numbers, en.number), append(s.posts, p)
	}
	if len(s.numbers) == 0 {
		return nil, nil
	}
	if secret == "" {
		secret = NewMsgID()
		// On the disk before the first byte goes out: a retry after a crash, or after
		// a lost acknowledgement, has the same ids. A crash in here has sent nothing.
		if err := o.write("send " + secret + " " + formatRuns(s.numbers)); err != nil {
			return nil, err
		}
	}
	for i := range s.posts {
		s.posts[i].MsgID = msgID(secret, s.numbers[i])
		o.sign(&s.posts[i])
		if o.cfg.Demo {
			s.posts[i].DemoRecorded = o.cfg.Now().UTC().Format(time.RFC3339Nano)
		}
	}
	return s, nil
}

// ship publishes and notes the acknowledgements. It returns an error that ends
// the Drain, and by number those that the server will not take.
func (o *Outbox) ship(ctx context.Context, l link, s *shipment) (stuck map[uint64]error, err error) {
	if len(s.posts) > 1 {
		last, err := l.Batch(ctx, s.posts)
		if err == nil {
			// A crash here leaves events that are in the stream and not marked. The next
			// Drain sees them in the receipt, or publishes them again under the same
			// ids, and the stream answers that it has them.
			if err := o.step("published"); err != nil {
				return nil, err
			}
			return nil, o.acked("acked " + formatRuns(s.numbers) + " " + strconv.FormatUint(last, 10))
		}
		if !errors.Is(err, ErrDuplicateInBatch) && !errors.Is(err, errNoBatch) && worthRetry(err) {
			return nil, fmt.Errorf("drain outbox %s: %w", o.cfg.Dir, err)
		}
	}
	return o.shipSingly(ctx, l, s)
}

func (o *Outbox) shipSingly(ctx context.Context, l link, s *shipment) (stuck map[uint64]error, err error) {
	var texts []string
	stuck = map[uint64]error{}
	for i, p := range s.posts {
		seq, oneErr := l.One(ctx, p)
		if oneErr == nil {
			texts = append(texts, fmt.Sprintf("acked %d %d", s.numbers[i], seq))
			// A crash here leaves this one and those before it unmarked: as above.
			oneErr = o.step("published one")
			if oneErr != nil {
				return nil, oneErr
			}
			continue
		}
		if errors.Is(oneErr, ErrNotAllowed) {
			if err := o.deny(s.numbers[i], p.Subject); err != nil {
				return nil, errors.Join(err, o.acked(texts...))
			}
			continue
		}
		if worthRetry(oneErr) {
			err = fmt.Errorf("drain outbox %s: %w", o.cfg.Dir, oneErr)
			break
		}
		stuck[s.numbers[i]] = oneErr
	}
	return stuck, errors.Join(err, o.acked(texts...))
}

// deny sets an event aside that the server does not let the device say: the role
// of its person has changed since it was entered. It must not keep back what
// comes after it.
func (o *Outbox) deny(number uint64, subject string) error {
	what := subject
	if s, err := events.ParseSubject(subject); err == nil {
		what = string(s.Kind)
	}
	reason := fmt.Sprintf("not allowed to record %s on this site now", what)
	o.cfg.Log.Warn("server does not let the device say an event, it is set aside", "number", number, "reason", reason)
	// A crash before this is on the disk leaves it waiting; the next Drain comes here again.
	err := o.locked(func() error {
		return o.write(fmt.Sprintf("denied %d %d %s", number, o.cfg.Now().UnixMilli(), strconv.Quote(reason)))
	})
	if err != nil {
		return err
	}
	return o.step("denied")
}

// acked writes acknowledgements down.
func (o *Outbox) acked(texts ...string) error {
	if len(texts) == 0 {
		return nil
	}
	err := o.locked(func() error {
		at := " " + strconv.FormatInt(o.cfg.Now().UnixMilli(), 10)
		for i := range texts {
			texts[i] += at
		}
		return o.write(texts...)
	})
	if err != nil {
		return err
	}
	// A crash here leaves everything as it is: acknowledged, without a receipt.
	return o.step("acked")
}
