package notify

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"time"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify/notice"
)

// A Judge says whether a person's word counts.
type Judge interface {
	// Holds reports whether the record has taken the message in. It waits until the
	// record has come so far; after an error it is asked again.
	Holds(ctx context.Context, seq uint64) (bool, error)
}

// told lists the kinds of events that say something of telling; the value is
// whether the hub alone says them.
var toldOf = map[events.Kind]bool{
	"alert.raised": true, "alert.cleared": true, "sheet.issued": true,
	"alert.acknowledged": false, "alert.shelved": false, "alert.unshelved": false, "alert.shown": false,
	"alert.out-of-service": false, "alert.in-service": false, "record.voided": false,
}

// errUnjudged: whether a person's word counts is not known yet.
var errUnjudged = errors.New("not judged yet")

// hearing reads words of the stream.
type hearing struct {
	key   ed25519.PublicKey
	demo  bool
	judge Judge // nil: of people's words those alone count that the hub signed for a desk
	known *known
}

// read reads a message; ok is false if it is none of an alert's life, or does
// not count. An error means that it is not known yet.
func (h hearing) read(ctx context.Context, m stream.Message) (n notice.Notice, ok bool, err error) {
	subject, err := events.ParseSubject(m.Subject)
	if err != nil {
		return n, false, nil
	}
	h.known.note(subject, m, h.recorded(m))
	hubOnly, ours := toldOf[subject.Kind]
	if !ours {
		return n, false, nil
	}
	signed := stream.Verify(h.key, m.Signature, m.Body)
	if !signed && (hubOnly || h.judge == nil) {
		return n, false, nil
	}
	e, err := decode(m)
	if err != nil || hubOnly != (e.Source.Device == events.HubDevice) {
		return n, false, nil
	}
	if !hubOnly {
		if ok, err := h.counts(ctx, e, m.Seq, signed); err != nil || !ok {
			return n, false, err
		}
	}
	n, ok = noticeOf(e)
	n.Seq, n.Recorded = m.Seq, h.recorded(m)
	if n.State == notice.Raised {
		n.Known = h.known.since(n)
	}
	return n, ok, nil
}

func (h hearing) recorded(m stream.Message) time.Time {
	if h.demo {
		if t, err := time.Parse(time.RFC3339Nano, m.DemoRecorded); err == nil {
			return t.UTC()
		}
	}
	return m.Recorded
}

// decode reads an event. A decoder that panics is a defect, but one message must
// not stop the telling of all others.
func decode(m stream.Message) (e events.Event, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("decode message %d: %v", m.Seq, p)
		}
	}()
	return events.Decode(m.Subject, m.Body)
}

// counts judges what a person said. An answer that does not count must not end
// the telling.
func (h hearing) counts(ctx context.Context, e events.Event, seq uint64, signed bool) (bool, error) {
	if h.judge == nil {
		person, desk := events.DeskPerson(e.Source.Device)
		return signed && desk && person == e.By, nil
	}
	ok, err := h.judge.Holds(ctx, seq)
	if err != nil {
		return false, fmt.Errorf("message %d: %w: %w", seq, errUnjudged, err)
	}
	return ok, nil
}

// noticeOf is what an event says, but for where it stands in the stream.
func noticeOf(e events.Event) (n notice.Notice, ok bool) {
	n = notice.Notice{Site: e.Source.Site, Wall: e.Wall, By: e.By}
	if !toldOf[e.Kind] {
		n.Key = e.Key()
	}
	switch d := e.Data.(type) {
	case *events.AlertRaised:
		n.State, n.Alert, n.Kind, n.Cause = notice.Raised, d.Alert, d.Kind, d.Cause
		n.Priority, n.Since, n.Text, n.About = d.Priority, d.Since, d.Text, d.About
	case *events.AlertCleared:
		n.State, n.Alert, n.Kind, n.Cause, n.At = notice.Cleared, d.Alert, d.Kind, d.Cause, d.At
	case *events.SheetIssued:
		n.State, n.At, n.Issued = notice.Sheet, d.At, d
	case *events.AlertAcknowledged:
		n.State, n.Alert, n.Kind, n.At, n.Text = notice.Acknowledged, d.Alert, d.Kind, orTime(d.At, e.Time), d.Note
	case *events.AlertShelved:
		n.State, n.Alert, n.Kind, n.At, n.Until, n.Text = notice.Shelved, d.Alert, d.Kind, d.At, d.Until, d.Reason
	case *events.AlertUnshelved:
		n.State, n.Alert, n.Kind, n.At, n.Text = notice.Unshelved, d.Alert, d.Kind, orTime(d.At, e.Time), d.Reason
	case *events.AlertShown:
		n.State, n.Alert, n.Kind, n.At, n.Message, n.Of = notice.Shown, d.Alert, d.Kind, d.At, d.Message, d.State
	case *events.AlertOutOfService:
		n.State, n.Kind, n.Cause, n.At, n.Until, n.Text = notice.OutOfService, d.Kind, d.Cause, d.At, d.Until, d.Reason
	case *events.AlertInService:
		n.State, n.Kind, n.Cause, n.At, n.Text = notice.InService, d.Kind, d.Cause, orTime(d.At, e.Time), d.Reason
	case *events.RecordVoided:
		n.State, n.Target, n.At, n.Text = notice.Voided, d.Target.Key(), e.Time, d.Reason
	default:
		return notice.Notice{}, false
	}
	return n, true
}

func orTime(t, other time.Time) time.Time {
	if t.IsZero() {
		return other
	}
	return t
}
