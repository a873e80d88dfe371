package projector

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"iter"
	"path/filepath"
	"slices"
	"time"

	"github.com/go-json-experiment/json"
	"go.etcd.io/bbolt"

	"earlyage/projector/wall"
)

// section is a bucket of view.db.
type section uint8

const (
	metaSection    section = iota // fold version; where the fold stands
	wallSection                   // site, 0, wall, 0, chunk key -> chunk
	siteSection                   // site, 0, chunk key -> chunk
	deviceSection                 // site, 0, chunk key -> chunk
	knownSection                  // site, 0, wall: an accepted event stands on it
	companySection                // sequence of an accepted company-wide event
	refusedSection                // sequence -> RefusedRow
	refusedNumbers                // site, 0, device, 0, number, sequence -> reason
	peopleSection                 // sequence of the hub's word on people and devices
	sections
)

var sectionNames = [sections][]byte{
	[]byte("meta"), []byte("wall"), []byte("site"), []byte("device"), []byte("known"),
	[]byte("company"), []byte("refused"), []byte("refused-number"), []byte("people"),
}

var (
	foldKey  = []byte("fold")
	standKey = []byte("stand")
)

// stand is where the fold stands: everything about the stream as a whole that
// the messages up to a sequence decide.
type stand struct {
	Through    uint64    `json:"through"`
	Recorded   time.Time `json:"recorded,omitzero"` // of that message
	Folded     uint64    `json:"folded"`
	Duplicates uint64    `json:"duplicates"`
	Refused    uint64    `json:"refused"`
	Holes      []Hole    `json:"holes,omitzero"`
}

// viewFile is view.db. Every value in it carries a checksum.
type viewFile struct{ db database }

// foldName says what a view was folded by: another version, another hub key, a
// demo's clock or another need of signatures give other states for the same
// messages.
func foldName(r reader) []byte {
	sum := sha256.Sum256(r.key)
	name := fmt.Sprintf("%s.%d %x", foldVersion, wall.FoldVersion, sum[:8])
	if r.demo {
		name += " demo"
	}
	switch {
	case r.unsigned:
		name += " unsigned"
	case r.signedFrom > 1:
		name += fmt.Sprintf(" signed from %d", r.signedFrom)
	}
	return []byte(name)
}

func openView(cfg Config, name string, options *bbolt.Options) (viewFile, error) {
	db, err := cfg.open(filepath.Join(cfg.Dir, name), options)
	if err != nil {
		return viewFile{}, err
	}
	return viewFile{db}, nil
}

// create lays out an empty file.
func (v viewFile) create(name []byte) error {
	return v.db.Update(func(tx *bbolt.Tx) error {
		for _, n := range sectionNames {
			if _, err := tx.CreateBucketIfNotExists(n); err != nil {
				return err
			}
		}
		return tx.Bucket(sectionNames[metaSection]).Put(foldKey, seal(foldKey, bytes.Clone(name)))
	})
}

// foldedBy returns what the file was folded by; empty for a file that was never laid out.
func (v viewFile) foldedBy() (name []byte, err error) {
	err = guarded(func() error {
		return v.db.View(func(tx *bbolt.Tx) error {
			b := tx.Bucket(sectionNames[metaSection])
			if b == nil {
				return nil
			}
			raw, err := unseal(foldKey, b.Get(foldKey))
			name = bytes.Clone(raw)
			return err
		})
	})
	return name, err
}

// check reads every page: each value by its checksum, each key by its order and
// by finding it again.
func (v viewFile) check() error {
	return guarded(func() error {
		return v.db.View(func(tx *bbolt.Tx) error {
			for s := range sections {
				b := tx.Bucket(sectionNames[s])
				if b == nil {
					return fmt.Errorf("%s: missing: %w", sectionNames[s], ErrDamaged)
				}
				if err := checkSection(b); err != nil {
					return fmt.Errorf("%s: %w", sectionNames[s], err)
				}
			}
			return nil
		})
	})
}

func checkSection(b *bbolt.Bucket) error {
	all, again := b.Cursor(), b.Cursor()
	var last []byte
	for key, sealed := all.First(); key != nil; key, sealed = all.Next() {
		if _, err := unseal(key, sealed); err != nil {
			return err
		}
		if last != nil && bytes.Compare(last, key) >= 0 {
			return fmt.Errorf("key %q stands after %q: %w", key, last, ErrDamaged)
		}
		if found, _ := again.Seek(key); !bytes.Equal(found, key) {
			return fmt.Errorf("key %q is not found: %w", key, ErrDamaged)
		}
		last = key
	}
	return nil
}

func (v viewFile) stand() (s stand, err error) {
	err = guarded(func() error {
		return v.db.View(func(tx *bbolt.Tx) error {
			sealed := tx.Bucket(sectionNames[metaSection]).Get(standKey)
			if sealed == nil {
				return nil
			}
			raw, err := unseal(standKey, sealed)
			if err != nil {
				return err
			}
			if err := json.Unmarshal(raw, &s); err != nil {
				return fmt.Errorf("stand: %w: %w", err, ErrDamaged)
			}
			return nil
		})
	})
	return s, err
}

// put is one write of a transaction. A nil value deletes.
type put struct {
	in    section
	key   []byte
	value []byte
}

// write applies puts in order of their keys.
func write(tx *bbolt.Tx, puts []put) error {
	slices.SortFunc(puts, func(a, b put) int {
		if a.in != b.in {
			return int(a.in) - int(b.in)
		}
		return bytes.Compare(a.key, b.key)
	})
	var bucket *bbolt.Bucket
	for i, p := range puts {
		if i == 0 || p.in != puts[i-1].in {
			bucket = tx.Bucket(sectionNames[p.in])
		}
		var err error
		if p.value == nil {
			err = bucket.Delete(p.key)
		} else {
			err = bucket.Put(p.key, seal(p.key, p.value))
		}
		if err != nil {
			return fmt.Errorf("%s %q: %w", sectionNames[p.in], p.key, err)
		}
	}
	return nil
}

// chunks walks the entries under a prefix, keys without it. What goes wrong is
// left in err, and the walk ends.
func chunks(tx *bbolt.Tx, in section, prefix []byte, err *error) iter.Seq2[[]byte, []byte] {
	return func(yield func([]byte, []byte) bool) {
		c := tx.Bucket(sectionNames[in]).Cursor()
		for key, sealed := c.Seek(prefix); key != nil && bytes.HasPrefix(key, prefix); key, sealed = c.Next() {
			raw, bad := unseal(key, sealed)
			if bad != nil {
				*err = fmt.Errorf("%s: %w", sectionNames[in], bad)
				return
			}
			if !yield(key[len(prefix):], raw) {
				return
			}
		}
	}
}

func prefixOf(names ...string) []byte {
	var b []byte
	for _, n := range names {
		b = append(append(b, n...), 0)
	}
	return b
}

// RefusedRow is a message that was not accepted.
type RefusedRow struct {
	Seq      uint64    `json:"seq"`
	Recorded time.Time `json:"recorded"`
	Subject  string    `json:"subject"`
	Site     string    `json:"site,omitzero"` // empty: the subject names none
	Wall     string    `json:"wall,omitzero"`
	ID       string    `json:"id,omitzero"` // as far as it could be read
	Source   string    `json:"source,omitzero"`
	Field    string    `json:"field"`
	Reason   string    `json:"reason"`
	Doubts   []Ref     `json:"doubts,omitzero"` // where it is one
}

// run names the refused messages that are answered together with this one.
func (r *RefusedRow) run() wall.Run { return wall.Run{Source: r.Source, Field: r.Field} }

// refusedRow returns one refused message, if it was refused.
func (v viewFile) refusedRow(seq uint64) (row RefusedRow, refused bool, err error) {
	err = guarded(func() error {
		return v.db.View(func(tx *bbolt.Tx) (err error) {
			row, refused, err = refusedRowOf(tx, seq)
			return err
		})
	})
	return row, refused, err
}

func refusedRowOf(tx *bbolt.Tx, seq uint64) (row RefusedRow, refused bool, err error) {
	key := seqKey(seq)
	sealed := tx.Bucket(sectionNames[refusedSection]).Get(key)
	if sealed == nil {
		return row, false, nil
	}
	raw, err := unseal(key, sealed)
	if err != nil {
		return row, false, err
	}
	if err := json.Unmarshal(raw, &row); err != nil {
		return row, false, errors.Join(err, ErrDamaged)
	}
	return row, true, nil
}

// refusedRows lists the newest rows first.
func refusedRows(tx *bbolt.Tx, limit int) ([]RefusedRow, error) {
	var rows []RefusedRow
	c := tx.Bucket(sectionNames[refusedSection]).Cursor()
	for key, sealed := c.Last(); key != nil && len(rows) < limit; key, sealed = c.Prev() {
		raw, err := unseal(key, sealed)
		if err != nil {
			return nil, err
		}
		var row RefusedRow
		if err := json.Unmarshal(raw, &row); err != nil {
			return nil, errors.Join(err, ErrDamaged)
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// before moves a cursor to the last entry before a key.
func before(c *bbolt.Cursor, key []byte) (k, v []byte) {
	if k, _ = c.Seek(key); k == nil {
		return c.Last()
	}
	return c.Prev()
}

// knownKey marks a wall as known, or with an empty Wall a site as existing.
func knownKey(at Ref) []byte {
	return slices.Concat([]byte(at.Site), []byte{0}, []byte(at.Wall))
}

func refusedNumberKey(site, device string, number, seq uint64) []byte {
	b := fmt.Appendf(prefixOf(site, device), "%020d", number)
	return append(append(b, 0), seqKey(seq)...)
}
