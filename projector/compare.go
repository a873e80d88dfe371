package projector

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"strings"

	"go.etcd.io/bbolt"
)

// Digest is over all that the view holds: every state, list and count, by name.
// Equal records give equal digests, however they came.
func (v View) Digest() (digest [32]byte, err error) {
	err = guarded(func() error {
		return v.f.view.db.View(func(tx *bbolt.Tx) error {
			digest = digestOf(tx)
			return nil
		})
	})
	return digest, err
}

func digestOf(tx *bbolt.Tx) [32]byte {
	h := sha256.New()
	for s := range sections {
		hashPart(h, sectionNames[s])
		c := tx.Bucket(sectionNames[s]).Cursor()
		for key, value := c.First(); key != nil; key, value = c.Next() {
			hashPart(h, key)
			hashPart(h, value)
		}
	}
	return [32]byte(h.Sum(nil))
}

func hashPart(h hash.Hash, b []byte) {
	var n [8]byte
	binary.BigEndian.PutUint64(n[:], uint64(len(b)))
	h.Write(n[:])
	h.Write(b)
}

// compare sets the old view beside the new one; both stand at one sequence.
func (b *builder) compare(old, anew *fold) error {
	return guarded(func() error {
		return old.view.db.View(func(was *bbolt.Tx) error {
			return anew.view.db.View(func(is *bbolt.Tx) error {
				r := &b.report
				r.Compared, r.ComparedAt = true, old.stand.Through
				r.Before, r.After = digestOf(was), digestOf(is)
				r.Equal = r.Before == r.After
				if !r.Equal {
					r.name(was, is)
				}
				return nil
			})
		})
	})
}

// name lists what differs between two views.
func (r *Report) name(was, is *bbolt.Tx) {
	last := ""
	differ := func(s section, key []byte) {
		if what := nameOf(s, key); what != last {
			last = what
			r.differ(what)
		}
	}
	for s := range sections {
		a, z := was.Bucket(sectionNames[s]).Cursor(), is.Bucket(sectionNames[s]).Cursor()
		ak, av := a.First()
		zk, zv := z.First()
		for ak != nil || zk != nil {
			switch c := bytes.Compare(ak, zk); {
			case zk == nil || ak != nil && c < 0:
				differ(s, ak)
				ak, av = a.Next()
			case ak == nil || c > 0:
				differ(s, zk)
				zk, zv = z.Next()
			default:
				if !bytes.Equal(av, zv) {
					differ(s, ak)
				}
				ak, av = a.Next()
				zk, zv = z.Next()
			}
		}
	}
}

func nameOf(s section, key []byte) string {
	part := strings.SplitN(string(key), "\x00", 3)
	name := string(sectionNames[s])
	switch s {
	case wallSection, refusedNumbers:
		if len(part) > 1 {
			return name + " " + part[0] + "/" + part[1]
		}
	case siteSection, deviceSection:
		return name + " " + part[0]
	case companySection, refusedSection:
		if len(key) == 8 {
			return fmt.Sprintf("%s message %d", name, binary.BigEndian.Uint64(key))
		}
	}
	return name + " " + strings.Join(part, "/")
}
