package notify

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"go.etcd.io/bbolt"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

const (
	lookEvery             = time.Second                              // how often a waiting engine compares with the clock
	moveEvery             = 10_000                                   // messages without a word of telling until the place is written
	retryLeast, retryMost = 100 * time.Millisecond, 10 * time.Second // before a failed write is tried again, by the machine's time
)

// What others leave for the core. A notice alone is one that came directly.
type (
	// batch is what was read of the stream through a sequence; done is closed when
	// that is on the disk, or need not be.
	batch struct {
		notices []notice.Notice
		through uint64
		done    chan struct{}
	}
	// levelling says up to where the stream is to be heard before what is due is sent.
	levelling struct{ target uint64 }
	unread    struct{} // the stream cannot be read
	// result is what came of one try to send a letter.
	result struct {
		letter  desk.Letter
		result  desk.Result
		stopped bool // the engine ended meanwhile: it is not known
	}
	said   struct{ saying }           // a word is in the stream
	told   struct{ number uint64 }    // the teller has told it
	tested struct{ rows []letterRow } // a test was sent
)

// turn does all that can be done now: everything that came in is decided upon and
// written in one transaction. What follows from it is done only then.
func (e *Engine) turn(ctx context.Context) {
	now := e.cfg.Clock.Now()
	e.desk.SetRota(e.cfg.Rota())
	e.takeIn(now)
	if e.leave() > freshOnly {
		e.keep(e.desk.Tick(now), now)
	}
	e.queue(now)
	e.pick(now)
	written := e.commit(now)
	e.launch(ctx, written)
	if written || e.unwritten() {
		for _, done := range e.answered {
			close(done)
		}
		e.answered = nil
	}
	e.publishState(now)
	e.answer(now)
}

func (e *Engine) takeIn(now time.Time) {
	for _, v := range e.in.take() {
		switch v := v.(type) {
		case batch:
			for _, n := range v.notices {
				e.take(n, now)
			}
			e.at = v.through
			e.answered = append(e.answered, v.done)
		case notice.Notice:
			if v.State == notice.Raised {
				e.hold.fresh[v.Alert] = true
			}
			e.take(v, now)
		case levelling:
			e.hold.behind(e.at, v.target)
		case unread:
			e.hold.away = true
		case result:
			e.came(v, now)
		case said:
			e.acknowledged(v.saying)
		case told:
			e.telling--
			e.owed.told = append(e.owed.told, v.number)
		case tested:
			for _, row := range v.rows {
				e.putLetter(row, now)
			}
		}
	}
}

// take takes a word. The desk knows a word that it has taken before; one that
// only an earlier ledger had is known by what was heard.
func (e *Engine) take(n notice.Notice, now time.Time) {
	key := heardKey(n)
	had, again := e.heard[key]
	_, known := e.desk.Case(n.Alert)
	if again && !known && !e.lost[cmp.Or(n.Alert, key)] {
		return
	}
	if again && had.Seq == 0 && n.Seq > 0 { // it came directly before
		had.Seq = n.Seq
		e.heard[key], e.owed.heard[key] = had, had
	}
	if !again && key != "" {
		row := heardRow{At: now, Seq: n.Seq}
		e.heard[key], e.owed.heard[key] = row, row
		e.toTeller(n)
	}
	e.keep(e.desk.Take(n, now), now)
}

// heardKey names a word that comes once; empty: it may come again.
func heardKey(n notice.Notice) string {
	switch n.State {
	case notice.Raised, notice.Cleared:
		return n.Alert + " " + n.State
	case notice.Sheet:
		return fmt.Sprintf("sheet %s %s %s", n.Site, n.Issued.Name(), n.Issued.Date)
	}
	return ""
}

// keep takes over what the desk changed, to be written.
func (e *Engine) keep(c desk.Change, now time.Time) {
	for _, id := range c.Closed {
		// It stays in the ledger, so that what it was can be looked up.
		if row, ok := e.caseRow(id); ok && row.Closed.IsZero() {
			row.Closed = now
			e.owed.cases[id] = row
			e.setCase(row)
		}
	}
	for _, k := range c.Cases {
		row, _ := e.caseRow(k.ID)
		row.Case, row.Closed = k, time.Time{}
		row.Marks = e.measure.mark(row.Marks, k)
		e.owed.cases[k.ID] = row
		e.setCase(row)
	}
	for _, l := range c.Letters {
		row := e.letters[l.ID]
		row.Letter, row.Gone = l, false
		e.putLetter(row, now)
	}
	for _, id := range c.Gone {
		if row, ok := e.letters[id]; ok {
			row.Gone = true
			e.putLetter(row, now)
		}
	}
	e.stirred = e.stirred || !c.Empty()
}

// caseRow finds a case's row, also of one that has ended.
func (e *Engine) caseRow(id string) (row caseRow, ok bool) {
	if row, ok = e.owed.cases[id]; ok {
		return row, true
	}
	if row, ok = e.cases[id]; ok {
		return row, true
	}
	return lookCase(e.cfg.Ledger, id)
}

func (e *Engine) setCase(row caseRow) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if row.Case.Ended.IsZero() && row.Closed.IsZero() {
		e.cases[row.Case.ID] = row
	} else {
		delete(e.cases, row.Case.ID)
	}
}

// putLetter notes a letter, and makes a word of an outcome that the record has
// not been told.
func (e *Engine) putLetter(row letterRow, now time.Time) {
	if w, ok := e.wordOf(row, now); ok {
		row.Said, row.Say = append(slices.Clone(row.Said), w.Outcome), append(slices.Clone(row.Say), w)
	}
	e.owed.letters[row.Letter.ID] = row
	e.setLetter(row)
}

func (e *Engine) setLetter(row letterRow) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if row.Gone && len(row.Say) == 0 {
		delete(e.letters, row.Letter.ID)
	} else {
		e.letters[row.Letter.ID] = row
	}
}

// commit writes what is owed; false: it has to be tried again later.
func (e *Engine) commit(now time.Time) bool {
	if time.Now().Before(e.retry) {
		return false
	}
	sweeping := now.Sub(e.sweeper.last).Abs() >= sweepEvery
	if e.at-e.moved >= moveEvery || e.at != e.moved && !e.owed.empty() {
		e.owed.after, e.owed.moved = e.at, true
	}
	if e.owed.empty() {
		return true
	}
	err := e.cfg.Ledger.Update(func(b *bbolt.Bucket) error {
		if sweeping {
			if err := e.sweeper.sweep(b, now); err != nil {
				return err
			}
		}
		return e.owed.write(b)
	})
	if err != nil {
		if e.retry.IsZero() {
			e.failing = time.Now()
			e.cfg.Log.Error("the ledger of telling cannot be written: until it can nothing is sent, but after 10 s what is urgent", "err", err)
		}
		e.wait = min(max(retryLeast, 2*e.wait), retryMost)
		e.retry = time.Now().Add(e.wait)
		return false
	}
	if sweeping {
		e.sweeper.last = now
		maps.DeleteFunc(e.heard, func(_ string, h heardRow) bool { return h.At.Before(now.Add(-keepFor)) })
	}
	if e.owed.moved {
		e.moved = e.owed.after
	}
	e.retry, e.failing, e.wait = time.Time{}, time.Time{}, 0
	e.release()
	return true
}

// release hands what is on the disk now to the voice and the teller.
func (e *Engine) release() {
	written := e.owed
	e.owed = newOwed()
	for _, n := range slices.Sorted(maps.Keys(written.tell)) {
		e.teller.in.put(numbered{n, written.tell[n]})
	}
	for _, row := range slices.SortedFunc(maps.Values(written.letters), byMade) {
		e.utter(row.Letter, row.Say)
	}
}
