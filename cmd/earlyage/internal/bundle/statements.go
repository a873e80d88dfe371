package bundle

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/merkle"
	"earlyage/scheduler"
)

// statement is what the hub once said of the wall.
type statement struct {
	line int
	seq  uint64
	said *events.WindowStated
}

// statements finds the hub's own words about the wall.
func (f *file) statements(hub ed25519.PublicKey) (list []statement) {
	for i := range f.entries {
		l := &f.entries[i].leaf
		e, err := events.Decode(l.Subject, l.Body)
		if err != nil || e.Source != (events.Source{Site: f.head.Site, Device: scheduler.HubDevice}) || e.Wall != f.head.Wall {
			continue
		}
		if said, ok := e.Data.(*events.WindowStated); ok && stream.Verify(hub, l.Signature, l.Body) {
			list = append(list, statement{f.entries[i].line, l.Seq, said})
		}
	}
	slices.SortStableFunc(list, func(a, b statement) int { return cmp.Compare(a.said.Through, b.said.Through) })
	return list
}

// statements folds the messages as the hub did, stops wherever it had stopped to
// say something, and computes that anew.
func (r *Report) statements(ctx context.Context, f *file, key, dir string) (err error) {
	hub, err := merkle.PublicKey(key)
	if err != nil {
		return err // told before: nothing was proven with it
	}
	list := f.statements(hub)
	r.Statements = len(list)
	r.chain(f, list)
	play, err := replay(f, hub, dir)
	if err != nil {
		return fmt.Errorf("fold the bundle: %w", err)
	}
	defer func() { err = errors.Join(err, play.end()) }()
	for _, s := range list {
		if err := play.to(ctx, s.said.Through); err != nil {
			return fmt.Errorf("fold the bundle up to message %d: %w", s.said.Through, err)
		}
		if err := r.compare(play, s); err != nil {
			return err
		}
	}
	if err := play.to(ctx, ^uint64(0)); err != nil {
		return fmt.Errorf("fold the bundle: %w", err)
	}
	if r.Recomputed == r.Statements {
		r.holds("%s computed anew from what was known then, to the same digits", count(r.Statements, "statement of the hub about the wall was", "statements of the hub about the wall were"))
	}
	if err := r.judged(play); err != nil {
		return err
	}
	return r.unshown(f, list, play)
}

// judged says what of the messages does not count, and what is missing.
func (r *Report) judged(play *replayed) error {
	at := projector.Ref{Site: r.Head.Site, Wall: r.Head.Wall}
	return play.projector.Read(func(v projector.View) error {
		rows := v.Refused(1 << 20)
		r.Refused = len(rows)
		if r.Head.Unsigned {
			r.fails("The hub took events from anybody: no signature of a device was asked for")
		} else {
			r.holds("%s signed by a device that was admitted, for a person who may say it, or by the hub, or came with a probe's own password", count(r.Messages-r.Refused, "message is", "messages are"))
		}
		if r.Refused > 0 {
			r.holds("%s counted: the hub had refused what the rules refuse; each is in the bundle and left a doubt where it was due", count(r.Refused, "message is not", "messages are not"))
		}
		w := v.Wall(at)
		if w == nil || !w.Known() {
			r.fails("The bundle holds nothing of the wall %s/%s", at.Site, at.Wall)
		}
		return nil
	})
}

// compare computes one statement anew.
func (r *Report) compare(play *replayed, s statement) error {
	at := projector.Ref{Site: r.Head.Site, Wall: r.Head.Wall}
	if s.said.Rules != scheduler.Rules {
		r.fails("line %d: the statement of %s was made by rule set %s; this program holds %s and cannot compute it anew", s.line, minute(s.said.At), s.said.Rules, scheduler.Rules)
		return nil
	}
	return play.projector.Read(func(v projector.View) error {
		w := v.Wall(at)
		if w == nil {
			r.fails("line %d: the hub stated something of a wall that it did not know yet", s.line)
			return nil
		}
		anew := func(hub scheduler.Hub) *events.WindowStated {
			a := scheduler.Assess(v.Site(at.Site), v.Devices(at.Site), w, hub, s.said.At)
			return scheduler.StatementOf(a, v.Site(at.Site).Zone(), w.Digest(), s.said.Through, s.said.Preceding)
		}
		differs := differences(s.said, anew(scheduler.Hub{}))
		if len(differs) > 0 && s.said.Governs == scheduler.Hold {
			// What the hub thought of its own clock then is not in the record. Its
			// statement must be the one that such a doubt gives.
			doubted := slices.DeleteFunc(differences(s.said, anew(scheduler.Hub{Doubts: []string{"a doubt of the hub's own"}})), func(d string) bool { return strings.HasPrefix(d, "text ") })
			if len(doubted) == 0 {
				differs = nil
			}
		}
		if len(differs) > 0 {
			r.fails("line %d, message %d: the statement of %s is not what the messages give: %s", s.line, s.seq, minute(s.said.At), strings.Join(differs, "; "))
			return nil
		}
		r.Recomputed++
		return nil
	})
}

// differences names what two statements say differently.
func differences(said, anew *events.WindowStated) (list []string) {
	add := func(name string, said, anew any) {
		if said != anew {
			list = append(list, fmt.Sprintf("%s was said %v, comes out as %v", name, said, anew))
		}
	}
	when := func(t time.Time) string {
		if t.IsZero() {
			return "not known"
		}
		return t.UTC().Format(time.RFC3339Nano)
	}
	add("open", said.Open, anew.Open)
	add("state", said.State, anew.State)
	add("governs", said.Governs, anew.Governs)
	add("cured", when(said.CuredAt), when(anew.CuredAt))
	add("earliest", when(said.Earliest), when(anew.Earliest))
	add("early", when(said.Early), when(anew.Early))
	add("likely", when(said.Likely), when(anew.Likely))
	add("late", when(said.Late), when(anew.Late))
	add("digest", said.Digest, anew.Digest)
	add("policy", said.Policy, anew.Policy)
	add("criterion by", said.CriterionBy, anew.CriterionBy)
	add("criterion at", when(said.CriterionAt), when(anew.CriterionAt))
	add("drawing", said.Drawing, anew.Drawing)
	add("clause", said.Clause, anew.Clause)
	add("probe", probeText(said.Probe), probeText(anew.Probe))
	if said.Text != anew.Text {
		list = append(list, fmt.Sprintf("text was %q, comes out as %q", said.Text, anew.Text))
	}
	return list
}

// probeText is a probe with all that a statement says of it.
func probeText(p *events.StatedProbe) string {
	if p == nil {
		return "none"
	}
	at := func(m *float64) string {
		if m == nil {
			return "-"
		}
		return strconv.FormatFloat(*m, 'g', -1, 64)
	}
	return fmt.Sprintf("%s %s at %s m, %s m high, calibrated %q %q", p.Probe, p.Place, at(p.AtM), at(p.HeightM), p.Calibrated, p.Certificate)
}

// replayed is a fold of the messages that stops where it is told to.
type replayed struct {
	projector *projector.Projector
	tape      *tape
	dir       string
	cancel    context.CancelFunc
	done      chan error
}

// replay opens a store in a folder of its own, with nothing folded yet.
func replay(f *file, hub ed25519.PublicKey, parent string) (*replayed, error) {
	dir, err := os.MkdirTemp(parent, "earlyage-verify-")
	if err != nil {
		return nil, err
	}
	t := &tape{upTo: make(chan uint64)}
	for i := range f.entries {
		t.messages = append(t.messages, messageOf(f.entries[i].leaf))
	}
	p, err := projector.Open(projector.Config{Dir: dir, Stream: t, Key: hub, Unsigned: f.head.Unsigned, SignedFrom: f.head.SignedFrom})
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	ctx, cancel := context.WithCancel(context.Background())
	r := &replayed{projector: p, tape: t, dir: dir, cancel: cancel, done: make(chan error, 1)}
	go func() { r.done <- p.Run(ctx) }()
	return r, nil
}

// to folds the messages up to a sequence.
func (r *replayed) to(ctx context.Context, seq uint64) error {
	last := uint64(0)
	for _, m := range r.tape.messages {
		if m.Seq <= seq {
			last = m.Seq
		}
	}
	select {
	case r.tape.upTo <- seq:
	case err := <-r.done:
		r.done <- err
		return errors.Join(errors.New("the fold ended"), err)
	case <-ctx.Done():
		return ctx.Err()
	}
	return r.wait(ctx, last)
}

// wait returns when the fold is level with a sequence, or has ended.
func (r *replayed) wait(ctx context.Context, seq uint64) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	level := make(chan error, 1)
	go func() { level <- r.projector.Wait(ctx, seq) }()
	select {
	case err := <-level:
		return err
	case err := <-r.done:
		r.done <- err
		cancel()
		<-level
		return errors.Join(errors.New("the fold ended"), err)
	}
}

func (r *replayed) end() error {
	r.cancel()
	err := <-r.done
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	return errors.Join(err, r.projector.Close(), os.RemoveAll(r.dir))
}
