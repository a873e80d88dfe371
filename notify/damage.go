package notify

import (
	"fmt"
	"time"

	"go.etcd.io/bbolt"

	"earlyage/notify/desk"
)

// Rows are lost when a disk loses bits. A case whose word is in the stream is made
// anew from there: the stream is heard again from that word on. Of a letter only
// its id is left, so nobody knows whom it was for: it is put aside, and that
// somebody may not have been told is said for a day, as of a person who cannot be
// reached.

// damaged lists the damaged rows that somebody may go untold for.
type damaged struct {
	cases, letters []string // keys
	found          foundRow // before
}

// foundRow is what cannot be made good.
type foundRow struct {
	At   time.Time `json:"at,omitzero"` // when the last was found
	Rows int       `json:"rows,omitzero"`
}

const sayDamageFor = 24 * time.Hour

var (
	damagedBucket = []byte("damaged") // rows as they were found, by bucket and key
	foundKey      = []byte("damaged")
)

// foundDamage reads what is known of damage; none where its own row is damaged.
func foundDamage(b *bbolt.Bucket) foundRow {
	row := b.Bucket(metaBucket).Get(foundKey)
	if row == nil {
		return foundRow{}
	}
	found, _ := getRow[foundRow](foundKey, row)
	return found
}

// mend has the words of lost cases heard again, and puts aside what stays lost.
func (e *Engine) mend(k kept) error {
	e.lost, e.damage = map[string]bool{}, k.damaged.found
	aside := map[string][]string{string(letterBucket): k.damaged.letters}
	for _, id := range k.damaged.cases {
		e.lost[id] = true
		if seq := k.raisedAt(id); seq > 0 {
			e.at = min(e.at, seq-1)
		} else {
			aside[string(caseBucket)] = append(aside[string(caseBucket)], id)
		}
	}
	n := len(k.damaged.letters) + len(aside[string(caseBucket)])
	if n == 0 {
		return nil
	}
	e.damage = foundRow{At: e.cfg.Clock.Now(), Rows: n}
	if err := e.cfg.Ledger.Update(func(b *bbolt.Bucket) error {
		for name, keys := range aside {
			if err := putAside(b, []byte(name), keys); err != nil {
				return err
			}
		}
		return putRow(b.Bucket(metaBucket), foundKey, e.damage)
	}); err != nil {
		return fmt.Errorf("put %d damaged rows aside: %w", n, err)
	}
	return nil
}

// raisedAt is where the stream has the word that began a case; 0: it is not known.
func (k kept) raisedAt(id string) uint64 {
	if h, ok := k.heard[id]; ok { // a sheet
		return h.Seq
	}
	return k.heard[id+" raised"].Seq
}

// putAside moves rows as they are to where nobody reads them by mistake.
func putAside(b *bbolt.Bucket, bucket []byte, keys []string) error {
	from := b.Bucket(bucket)
	for _, key := range keys {
		row := append([]byte(nil), from.Get([]byte(key))...)
		if err := b.Bucket(damagedBucket).Put([]byte(string(bucket)+"/"+key), row); err != nil {
			return err
		}
		if err := from.Delete([]byte(key)); err != nil {
			return err
		}
	}
	return nil
}

// trouble says for a day that somebody may not have been told.
func (f foundRow) trouble() []desk.Trouble {
	if f.Rows == 0 {
		return nil
	}
	return []desk.Trouble{{
		Site: "_", Alert: "ledger", Kind: "telling", Priority: desk.Urgent, Since: f.At,
		Text: fmt.Sprintf("somebody may not have been told of what stands: damaged rows of who was told of what: %d", f.Rows),
	}}
}

// damageOver reports that what was found a day ago is said no more.
func (e *Engine) damageOver(now time.Time) bool {
	over := e.damage.Rows > 0 && !now.Before(e.damage.At.Add(sayDamageFor))
	if over {
		e.damage = foundRow{}
	}
	return over
}
