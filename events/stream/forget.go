package stream

import (
	"fmt"
	"maps"

	"github.com/go-json-experiment/json"
)

// forgetOver is the size in bytes below which the log is not rewritten.
const forgetOver = 256 << 10

// forget rewrites the log without what neither hub nor device needs any more,
// when that is most of it.
func (o *Outbox) forget() error {
	return o.locked(func() error {
		var live int64
		before := o.cfg.Now().Add(-o.cfg.Keep).UnixMilli()
		for _, e := range o.book.entries {
			if !o.book.forgettable(e, before) {
				live += int64(e.size)
			}
		}
		if o.log.end < forgetOver || 2*live > o.log.end {
			return nil
		}
		texts, err := o.remembered(before)
		if err != nil {
			return err
		}
		if err := o.step("forgetting"); err != nil {
			return err
		}
		return o.log.replace(texts)
	})
}

// remembered returns the lines of a log that says the same without them.
func (o *Outbox) remembered(before int64) ([]string, error) {
	b := &o.book
	known, err := json.Marshal(b.contact)
	if err != nil {
		return nil, fmt.Errorf("rewrite outbox: %w", err)
	}
	mark, reported, walls := b.mark, b.oldReported, maps.Clone(b.oldWalls)
	var kept []string
	for _, e := range b.entries {
		text, ok := o.log.read(e.off, e.size)
		if b.forgettable(e, before) || !ok {
			// The number of an event whose line is lost is not given again: the gap
			// that it leaves at the hub is what tells of it.
			mark = max(mark, e.number)
			if e.report {
				reported = max(reported, e.number)
			}
			if e.wall != "" {
				walls[e.wall] = max(walls[e.wall], e.number)
			}
			continue
		}
		kept = append(append(kept, text), e.lines()...)
	}
	texts := []string{"outbox 1 " + b.source, fmt.Sprint("mark ", mark), fmt.Sprint("reported ", reported)}
	for w, n := range walls {
		texts = append(texts, fmt.Sprintf("wall %s %d", w, n))
	}
	texts = append(texts, kept...)
	if b.known {
		texts = append(texts, "receipt "+string(known))
	}
	return texts, nil
}

// lines returns what the log has to say of an entry after its event.
func (e *entry) lines() (texts []string) {
	for range e.again {
		texts = append(texts, fmt.Sprint("again ", e.number))
	}
	if e.tried && e.secret != "" {
		texts = append(texts, fmt.Sprintf("send %s %d", e.secret, e.number))
	}
	switch {
	case e.done && e.seq != 0:
		texts = append(texts, fmt.Sprintf("acked %d %d %d", e.number, e.seq, e.at))
	case e.done:
		texts = append(texts, fmt.Sprintf("held %d %d", e.number, e.at))
	}
	if e.denied != "" && !e.done {
		texts = append(texts, fmt.Sprintf("denied %d %d %q", e.number, e.at, e.denied))
	}
	if e.reason != "" {
		texts = append(texts, fmt.Sprintf("aside %d %q", e.number, e.reason))
	}
	return texts
}
