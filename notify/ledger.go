package notify

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// A Ledger is a bucket of a file. *projector.Drawer is one.
type Ledger interface {
	// Update changes what is kept, in one transaction. It returns nil only when
	// that is on the disk; after an error it may be or not be.
	Update(func(*bbolt.Bucket) error) error
	// View reads what is kept. Values are valid within the function only.
	View(func(*bbolt.Bucket) error) error
}

const (
	keepFor    = 90 * 24 * time.Hour // ended letters, closed cases, what was heard
	sweepEvery = time.Minute
	sweepMost  = 256 // rows of a bucket that are looked at in one sweep
)

var (
	metaBucket   = []byte("meta")
	caseBucket   = []byte("case")   // by alert
	letterBucket = []byte("letter") // by when it was made, and id
	heardBucket  = []byte("heard")  // by what was heard
	tellBucket   = []byte("tell")   // what the teller owes, in order
	afterKey     = []byte("after")
)

// caseRow is a case with what is measured of it.
type caseRow struct {
	Case   desk.Case `json:"case"`
	Marks  marks     `json:"marks"`
	Closed time.Time `json:"closed,omitzero"`
}

// marks are the moments that are measured. They outlast what the desk keeps of a
// case.
type marks struct {
	Since        time.Time `json:"since,omitzero"`  // the condition
	Known        time.Time `json:"known,omitzero"`  // the record had what it rests on; zero: a row of the time before it was looked at
	Held         time.Time `json:"held,omitzero"`   // it had held for as long as its kind asks for
	Raised       time.Time `json:"raised,omitzero"` // recorded
	Told         time.Time `json:"told,omitzero"`   // a channel first accepted it
	Shown        time.Time `json:"shown,omitzero"`
	Acknowledged time.Time `json:"acknowledged,omitzero"`
}

// letterRow is a letter, and what the record is told of it. The words are kept
// as they were first put, so that one that is published again has the same bytes.
type letterRow struct {
	Letter desk.Letter        `json:"letter"`
	Gone   bool               `json:"gone,omitzero"` // the desk need not know it any more
	Said   []string           `json:"said,omitzero"` // outcomes that became a word
	Say    []events.AlertTold `json:"say,omitzero"`  // words that are not known to be in the stream
}

type heardRow struct {
	At  time.Time `json:"at"`
	Seq uint64    `json:"seq,omitzero"`
}

type afterRow struct {
	After uint64 `json:"after"`
}

// owed is what is not on the disk yet. It is written again after a failure,
// whether that was applied or not: every row is put whole.
type owed struct {
	after   uint64
	moved   bool // after did
	cases   map[string]caseRow
	letters map[string]letterRow
	heard   map[string]heardRow
	tell    map[uint64]notice.Notice
	told    []uint64 // of tell, to be struck out
}

func (o *owed) empty() bool {
	return !o.moved && len(o.cases)+len(o.letters)+len(o.heard)+len(o.tell)+len(o.told) == 0
}

func newOwed() *owed {
	return &owed{cases: map[string]caseRow{}, letters: map[string]letterRow{}, heard: map[string]heardRow{}, tell: map[uint64]notice.Notice{}}
}

// letterKey orders letters by when they were made, which never changes.
func letterKey(l desk.Letter) []byte {
	return append(timeKey(l.Made), l.ID...)
}

// timeKey is a moment in milliseconds as keys are ordered.
func timeKey(t time.Time) []byte {
	return binary.BigEndian.AppendUint64(nil, uint64(max(t.UnixMilli(), 0))) // #nosec G115 -- not negative
}

func numberKey(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// write puts all that is owed, in the transaction at hand.
func (o *owed) write(b *bbolt.Bucket) error {
	for id, row := range o.cases {
		if err := putRow(b.Bucket(caseBucket), []byte(id), row); err != nil {
			return fmt.Errorf("case %s: %w", id, err)
		}
	}
	for id, row := range o.letters {
		if err := putRow(b.Bucket(letterBucket), letterKey(row.Letter), row); err != nil {
			return fmt.Errorf("letter %s: %w", id, err)
		}
	}
	for key, row := range o.heard {
		if err := putRow(b.Bucket(heardBucket), []byte(key), row); err != nil {
			return fmt.Errorf("heard %s: %w", key, err)
		}
	}
	return o.writeTell(b)
}

func (o *owed) writeTell(b *bbolt.Bucket) error {
	for n, row := range o.tell {
		if err := putRow(b.Bucket(tellBucket), numberKey(n), row); err != nil {
			return fmt.Errorf("tell %d: %w", n, err)
		}
	}
	for _, n := range o.told {
		if err := b.Bucket(tellBucket).Delete(numberKey(n)); err != nil {
			return fmt.Errorf("told %d: %w", n, err)
		}
	}
	if !o.moved {
		return nil
	}
	return putRow(b.Bucket(metaBucket), afterKey, afterRow{o.after})
}

// kept is what a ledger holds at the start.
type kept struct {
	after   uint64
	on      bool // it was switched on
	damaged damaged
	cases   map[string]caseRow
	letters []letterRow
	heard   map[string]heardRow
	tell    []numbered
}

type numbered struct {
	number uint64
	notice notice.Notice
}

// prepare makes the buckets that are missing.
func prepare(l Ledger) error {
	return l.Update(func(b *bbolt.Bucket) error {
		for _, name := range [][]byte{metaBucket, caseBucket, letterBucket, heardBucket, tellBucket, damagedBucket} {
			if _, err := b.CreateBucketIfNotExists(name); err != nil {
				return fmt.Errorf("bucket %s: %w", name, err)
			}
		}
		return nil
	})
}

// load reads the ledger. Damaged rows are said and passed over: one that is lost
// must not keep all others from being told. What they were about is heard again,
// where it can be (damaged).
func load(l Ledger, log *slog.Logger) (k kept, err error) {
	k = kept{cases: map[string]caseRow{}, heard: map[string]heardRow{}}
	bad := func(in *[]string) func(string, error) {
		return func(key string, err error) {
			*in = append(*in, key)
			log.Error("a row of the ledger of telling is damaged and is passed over", "err", err)
		}
	}
	var others []string // of what was heard, and of whoever listens: nobody goes untold for them
	err = l.View(func(b *bbolt.Bucket) error {
		row := b.Bucket(metaBucket).Get(afterKey)
		if k.on = row != nil; k.on {
			at, err := getRow[afterRow](afterKey, row)
			if err != nil {
				bad(&others)(string(afterKey), err)
				defer k.reckon()
			}
			k.after = at.After
		}
		k.damaged.found = foundDamage(b)
		return errors.Join(
			eachRow(b.Bucket(caseBucket), bad(&k.damaged.cases), func(id string, c caseRow) { k.cases[id] = c }),
			eachRow(b.Bucket(letterBucket), bad(&k.damaged.letters), func(_ string, l letterRow) { k.letters = append(k.letters, l) }),
			eachRow(b.Bucket(heardBucket), bad(&others), func(key string, h heardRow) { k.heard[key] = h }),
			eachRow(b.Bucket(tellBucket), bad(&others), func(key string, n notice.Notice) {
				k.tell = append(k.tell, numbered{binary.BigEndian.Uint64([]byte(key)), n})
			}),
		)
	})
	return k, err
}

// reckon finds the place anew where its row is damaged: behind the last word
// that was heard. What comes after it and was told is known by the words heard.
func (k *kept) reckon() {
	for _, h := range k.heard {
		k.after = max(k.after, h.Seq)
	}
	k.on = k.after > 0
}

// lookCase reads the row of a case.
func lookCase(l Ledger, id string) (row caseRow, ok bool) {
	err := l.View(func(b *bbolt.Bucket) error {
		v := b.Bucket(caseBucket).Get([]byte(id))
		if v == nil {
			return nil
		}
		var err error
		row, err = getRow[caseRow]([]byte(id), v)
		ok = err == nil
		return err
	})
	return row, ok && err == nil
}

// sweeper takes what is old out of the ledger, a few rows at a time.
type sweeper struct {
	last time.Time         // when it last looked
	at   map[string][]byte // by bucket: behind which row it goes on
}

// sweep looks at some rows of each bucket and removes those that are over for
// longer than they are kept.
func (s *sweeper) sweep(b *bbolt.Bucket, now time.Time) error {
	limit := now.Add(-keepFor)
	old := func(t time.Time) bool { return !t.IsZero() && t.Before(limit) }
	return errors.Join(
		sweepRows(s, b, caseBucket, func(c caseRow) bool { return old(c.Closed) }),
		sweepRows(s, b, letterBucket, func(l letterRow) bool { return old(l.Letter.Ended) }),
		sweepRows(s, b, heardBucket, func(h heardRow) bool { return old(h.At) }),
	)
}

func sweepRows[T any](s *sweeper, parent *bbolt.Bucket, name []byte, old func(T) bool) error {
	b := parent.Bucket(name)
	c, after := b.Cursor(), s.at[string(name)]
	k, row := c.Seek(after)
	if k != nil && bytes.Equal(k, after) {
		k, row = c.Next()
	}
	var gone [][]byte
	var last []byte // nil at the end: the next sweep begins anew
	for n := 0; k != nil; k, row = c.Next() {
		if n++; n > sweepMost {
			break
		}
		last = bytes.Clone(k)
		if v, err := getRow[T](k, row); err == nil && old(v) {
			gone = append(gone, last)
		}
	}
	if k == nil {
		last = nil
	}
	s.at[string(name)] = last
	for _, k := range gone {
		if err := b.Delete(k); err != nil {
			return fmt.Errorf("sweep %s: %w", name, err)
		}
	}
	return nil
}
