package bundle

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/merkle"
)

// Options say what a bundle is compared with from outside.
type Options struct {
	// Key is the verifier key of the hub as it is known from elsewhere, such as
	// from a paper. Empty: the bundle's own is taken, and that is said.
	Key string
	// Checkpoints are signed checkpoints that lay outside the hub's reach: from a
	// mail, a paper, another bundle.
	Checkpoints [][]byte
	// Dir is for the folder that the messages are folded in; default the system's.
	Dir string
}

// Finding is one thing that was checked.
type Finding struct {
	Holds bool
	What  string // in plain words
}

// Report is what was found.
type Report struct {
	Head        Head
	Last        merkle.Checkpoint // the last checkpoint; zero if there is none to believe
	Messages    int
	Refused     int // messages that the record holds and does not count
	Statements  int // statements of the hub about the wall
	Recomputed  int // of them, those that were computed anew to the same digits
	Findings    []Finding
	NotShown    []string // what the file cannot show by itself, in plain words
	KeyFromFile bool     // the key was not known from elsewhere
}

// Holds reports whether all that was checked holds.
func (r *Report) Holds() bool {
	return !slices.ContainsFunc(r.Findings, func(f Finding) bool { return !f.Holds })
}

func (r *Report) holds(format string, args ...any) {
	r.Findings = append(r.Findings, Finding{true, fmt.Sprintf(format, args...)})
}

func (r *Report) notShown(format string, args ...any) {
	r.NotShown = append(r.NotShown, fmt.Sprintf(format, args...))
}

func (r *Report) fails(format string, args ...any) {
	r.Findings = append(r.Findings, Finding{false, fmt.Sprintf(format, args...)})
}

// Verify checks a bundle: its form, the seal, every checkpoint, every message's
// place in the log, the messages' signatures and the right of each to count, and
// every statement of the hub about the wall, computed anew from the messages
// that were known then. It needs no hub. An error means that the file could not
// be read at all; whatever is wrong with it stands in the report.
func Verify(ctx context.Context, r io.Reader, o Options) (Report, error) {
	report, f, key, err := check(r, o)
	switch {
	case err != nil:
		return Report{}, err
	case !f.proven:
		report.fails("The statements were not computed anew: the messages are not proven")
		return report, nil
	}
	if err := report.statements(ctx, &f, key, o.Dir); err != nil {
		return Report{}, err
	}
	if len(o.Checkpoints) == 0 {
		report.notShown("Whoever has the hub's key can make a whole record anew and sign it. What they cannot change is a checkpoint that somebody else keeps: give one with --checkpoint")
	}
	return report, nil
}

// Check does what Verify does, but for the statements: it folds nothing.
func Check(r io.Reader, o Options) (Report, error) {
	report, _, _, err := check(r, o)
	return report, err
}

func check(r io.Reader, o Options) (report Report, f file, key string, err error) {
	f, faults, err := read(r)
	if err != nil {
		return report, f, "", err
	}
	report = Report{Head: f.head, Messages: len(f.entries)}
	for _, fault := range faults {
		report.fails("%s", fault.Error())
	}
	if f.more > 0 {
		report.fails("And so %s", count(f.more, "more line", "more lines"))
	}
	key = report.key(&f, o)
	report.seal(&f, key)
	last := report.checkpoints(&f, key)
	report.outside(&f, key, o)
	f.proven = report.messages(&f, last) && last.Size > 0 && len(faults) == 0 && f.head.Wall != ""
	return report, f, key, nil
}

// key finds by which key the signatures are checked.
func (r *Report) key(f *file, o Options) string {
	key := o.Key
	if key == "" {
		key, r.KeyFromFile = f.head.Key, true
	}
	switch _, err := merkle.PublicKey(key); {
	case err != nil:
		r.fails("The key is none: %v", err)
	case f.head.Bundle != Version:
		r.fails("line 1: the form is %d, this program reads %d", f.head.Bundle, Version)
	case key != f.head.Key:
		r.fails("line 1: the bundle is of another hub: its key is %s", f.head.Key)
	case r.KeyFromFile:
		r.holds("The hub's key is the one in the bundle itself: %s. Compare it with a paper or a mail of that hub", key)
	default:
		r.holds("The bundle is of the hub whose key was given")
	}
	return key
}

func (r *Report) seal(f *file, key string) {
	if f.sealAt == 0 {
		r.fails("The seal is missing: the end of the file was cut off")
		return
	}
	text, err := merkle.Open([]byte(f.seal), key)
	switch {
	case err != nil:
		r.fails("line %d: the hub did not sign the seal: %v", f.sealAt, err)
	case text != sealText(f.sum, f.sealAt-1):
		r.fails("line %d: the seal is of another file: something before it was changed, added or taken out%s", f.sealAt, sealedLines(text, f.sealAt-1))
	default:
		r.holds("The hub sealed this file as it is, %s", minute(f.head.Made))
	}
}

// sealedLines says how many lines were sealed, where that is not how many there are.
func sealedLines(text string, have int) string {
	var sum string
	var n int
	if _, err := fmt.Sscanf(text, sealTitle+"\n%s\n%d lines\n", &sum, &n); err != nil || n == have {
		return ""
	}
	return fmt.Sprintf("; it was put on %d lines, and here are %d", n, have)
}

// checkpoints checks the signature of each, and that the last goes on from it.
func (r *Report) checkpoints(f *file, key string) merkle.Checkpoint {
	last, err := f.last(key)
	if err != nil {
		r.fails("The last checkpoint cannot be believed: %v", err)
		return merkle.Checkpoint{}
	}
	before, bad, back := merkle.Checkpoint{Size: -1}, 0, 0
	for _, p := range f.points {
		c, err := merkle.OpenCheckpoint([]byte(p.Checkpoint), key)
		wrong := ""
		switch {
		case err != nil:
			wrong = fmt.Sprintf("the hub did not sign this checkpoint: %v", err)
		case c.Size <= before.Size || c.Through < before.Through:
			wrong = "the checkpoints are not in their order"
		case c.Size == last.Size && (c != last || len(p.Leads) > 0):
			wrong = "two checkpoints of one size"
		case c.Size != last.Size && merkle.CheckConsistency(p.Leads, last, c) != nil:
			wrong = fmt.Sprintf("the record of %s does not go on from what it was at %s: something was changed in between", minute(last.At), minute(c.At))
		default:
			if c.At.Before(before.At) {
				back++
			}
			before = c
			continue
		}
		if bad++; bad <= mostNamed {
			r.fails("line %d: %s", p.line, wrong)
		}
	}
	if bad > mostNamed {
		r.fails("And so %s", count(bad-mostNamed, "more checkpoint", "more checkpoints"))
	}
	if back > 0 {
		// The order of knowledge is that of the log; an honest clock can be set back.
		r.notShown("%s dated before an earlier one: the hub's clock was set back then. The order of the messages does not rest on it", count(back, "checkpoint is", "checkpoints are"))
	}
	r.Last = last
	if bad == 0 {
		r.holds("%s signed by the hub; each goes on from the one before, and the last is of %d messages, made %s", count(len(f.points), "checkpoint is", "checkpoints are"), last.Size, minute(last.At))
	}
	return last
}

// outside compares with checkpoints that lay outside the hub's reach.
func (r *Report) outside(f *file, key string, o Options) {
	for i, raw := range o.Checkpoints {
		name := fmt.Sprintf("The checkpoint that was given (%d)", i+1)
		c, err := merkle.OpenCheckpoint(raw, key)
		if err != nil {
			r.fails("%s is not one of this hub: %v", name, err)
			continue
		}
		at := slices.IndexFunc(f.points, func(p readPoint) bool {
			own, err := merkle.OpenCheckpoint([]byte(p.Checkpoint), key)
			return err == nil && own.Size == c.Size
		})
		switch {
		case at < 0 && c.Size > r.Last.Size:
			r.fails("%s, of %d messages, made %s, is of a longer record than the bundle's: the bundle is older, or the hub's record has fallen back since. Have a new bundle made", name, c.Size, minute(c.At))
			continue
		case at < 0:
			r.fails("%s, of %d messages, made %s, is not among those of the bundle: the hub's record does not know it any more. It was put back from a copy that was made before, or it is another record", name, c.Size, minute(c.At))
			continue
		}
		own, _ := merkle.OpenCheckpoint([]byte(f.points[at].Checkpoint), key) // opened above
		if own.Root != c.Root {
			r.fails("%s, made %s, is of another record: what it held then was changed since", name, minute(c.At))
			continue
		}
		r.holds("%s, made %s, is of this record: the %d messages that it speaks of are unchanged", name, minute(c.At), c.Size)
	}
}

// messages checks that each is in the log, at its place and in its order.
func (r *Report) messages(f *file, last merkle.Checkpoint) (whole bool) {
	bad := 0
	wrong := func(e *readEntry, what string) {
		if bad++; bad <= mostNamed {
			r.fails("line %d, message %d: %s", e.line, e.leaf.Seq, what)
		}
	}
	var seq uint64
	index := int64(-1)
	for i := range f.entries {
		e := &f.entries[i]
		switch {
		case e.Index <= index || e.leaf.Seq <= seq:
			wrong(e, "it is not in its place: messages were put in another order, or one is there twice")
		case e.leaf.Seq > min(last.Through, mostSeq):
			wrong(e, "its number is greater than that of the last message of the record")
		case e.Index-index > 0 && e.leaf.Seq-seq < uint64(e.Index-index): // #nosec G115 -- positive
			wrong(e, "its number is too small for its place in the log")
		case merkle.CheckInclusion(e.Proof, last, e.Index, e.Leaf) != nil:
			wrong(e, "it is not the message that the log holds there: it, its number, its time, its subject, its signature or its proof was changed")
		}
		seq, index = e.leaf.Seq, e.Index
	}
	if bad > mostNamed {
		r.fails("And so %d more messages", bad-mostNamed)
	}
	if bad == 0 && last.Size > 0 && len(f.entries) > 0 {
		r.holds("%s in the log as it was received, in its own place", count(len(f.entries), "message is", "messages are each"))
	}
	return bad == 0
}

// mostSeq is a number that no stream reaches: 30 messages a second for 70 years.
const mostSeq = 1 << 36

// mostNamed is how many messages are named that are not as they were: what one
// change puts out of place can be all that comes after it.
const mostNamed = 10

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func minute(t time.Time) string { return t.UTC().Format("2 Jan 2006 15:04 UTC") }

// tape hands the messages on as a stream does, as far as it is let.
type tape struct {
	messages []stream.Message
	upTo     chan uint64
	let      uint64 // the last that was asked for; a reader that begins again goes as far
}

func (t *tape) Head(context.Context) (first, last uint64, err error) {
	if n := len(t.messages); n > 0 {
		return t.messages[0].Seq, t.messages[n-1].Seq, nil
	}
	return 0, 0, nil
}

// Read implements projector.Source.
func (t *tape) Read(ctx context.Context, after uint64, _ stream.Limits, deliver func([]stream.Message) error) error {
	rest := t.messages
	for len(rest) > 0 && rest[0].Seq <= after {
		rest = rest[1:]
	}
	for {
		n := 0
		for n < len(rest) && rest[n].Seq <= t.let {
			n++
		}
		if n > 0 {
			if err := deliver(slices.Clone(rest[:n])); err != nil {
				return err
			}
			rest = rest[n:]
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case t.let = <-t.upTo:
		}
	}
}

func messageOf(l projector.Leaf) stream.Message {
	return stream.Message{Seq: l.Seq, Recorded: l.Recorded, Subject: l.Subject, Signature: l.Signature, Body: l.Body}
}
