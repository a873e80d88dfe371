package projector

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"earlyage/projector/merkle"
)

// The hashes of the Merkle log lie in keep.db beside the leaves and are written
// in the same transaction. tlog gives each hash its place in one row of hashes
// that only grows; the row is cut into pages.
var (
	treeBucket = []byte("tree")      // pages by number; treeEnd
	runBucket  = []byte("tree-runs") // index of the first leaf after each hole in the sequence, by that leaf's sequence

	treeEndKey = []byte("end") // leaves, and the sequence of the last
)

const (
	pageHashes = 64 // of 32 bytes in a page
	pagesMax   = 1024
	treeBite   = 20_000
)

// treeEnd is how far the log goes.
type treeEnd struct {
	size    int64  // leaves
	through uint64 // stream sequence of the last
}

func readTreeEnd(pages *bbolt.Bucket) (end treeEnd, err error) {
	sealed := pages.Get(treeEndKey)
	if sealed == nil {
		return end, nil
	}
	raw, err := unseal(treeEndKey, sealed)
	if err != nil {
		return end, fmt.Errorf("end of the log: %w", err)
	}
	if len(raw) != 16 {
		return end, fmt.Errorf("end of the log of %d bytes: %w", len(raw), ErrDamaged)
	}
	return treeEnd{int64(binary.BigEndian.Uint64(raw)), binary.BigEndian.Uint64(raw[8:])}, nil // #nosec G115 -- written from an int64
}

// treePages reads hashes from their pages, within one transaction.
type treePages struct {
	bucket *bbolt.Bucket
	pages  map[int64][]byte // unsealed
	dirty  map[int64]bool   // changed; nil: reading only
}

func readPages(bucket *bbolt.Bucket) *treePages {
	return &treePages{bucket: bucket, pages: map[int64][]byte{}}
}

func pageKey(n int64) []byte { return binary.BigEndian.AppendUint64(nil, uint64(n)) } // #nosec G115 -- n is not negative

func (p *treePages) page(n int64) ([]byte, error) {
	if page, ok := p.pages[n]; ok {
		return page, nil
	}
	var page []byte
	if sealed := p.bucket.Get(pageKey(n)); sealed != nil {
		raw, err := unseal(pageKey(n), sealed)
		if err != nil {
			return nil, fmt.Errorf("hashes of the log, page %d: %w", n, err)
		}
		page = bytes.Clone(raw)
	}
	if p.dirty == nil && len(p.pages) >= pagesMax {
		clear(p.pages) // a reader may go over the whole log
	}
	p.pages[n] = page
	return page, nil
}

// ReadHashes implements tlog.HashReader.
func (p *treePages) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		page, err := p.page(index / pageHashes)
		if err != nil {
			return nil, err
		}
		at := int(index%pageHashes) * tlog.HashSize
		if at+tlog.HashSize > len(page) {
			return nil, fmt.Errorf("hash %d of the log is missing: %w", index, ErrDamaged)
		}
		copy(out[i][:], page[at:])
	}
	return out, nil
}

// put writes the hash at the end of the row.
func (p *treePages) put(index int64, h tlog.Hash) error {
	n := index / pageHashes
	page, err := p.page(n)
	if err != nil {
		return err
	}
	if len(page) != int(index%pageHashes)*tlog.HashSize {
		return fmt.Errorf("hash %d of the log does not follow the last: %w", index, ErrDamaged)
	}
	p.pages[n], p.dirty[n] = append(page, h[:]...), true
	return nil
}

// treeWriter appends leaves to the log.
type treeWriter struct {
	*treePages
	runs *bbolt.Bucket
	end  treeEnd
}

func writeTree(tx *bbolt.Tx) (*treeWriter, error) {
	bucket := tx.Bucket(treeBucket)
	end, err := readTreeEnd(bucket)
	if err != nil {
		return nil, err
	}
	pages := readPages(bucket)
	pages.dirty = map[int64]bool{}
	return &treeWriter{treePages: pages, runs: tx.Bucket(runBucket), end: end}, nil
}

func (w *treeWriter) append(seq uint64, leaf []byte) error {
	if seq <= w.end.through {
		return fmt.Errorf("leaf %d comes after leaf %d: %w", seq, w.end.through, ErrDamaged)
	}
	hashes, err := tlog.StoredHashesForRecordHash(w.end.size, merkle.LeafHash(leaf), w)
	if err != nil {
		return err
	}
	at := tlog.StoredHashIndex(0, w.end.size)
	for i, h := range hashes {
		if err := w.put(at+int64(i), h); err != nil {
			return err
		}
	}
	if seq != w.end.through+1 {
		if err := w.runs.Put(seqKey(seq), seal(seqKey(seq), pageKey(w.end.size))); err != nil {
			return err
		}
	}
	w.end = treeEnd{w.end.size + 1, seq}
	return nil
}

// flush stores what was appended.
func (w *treeWriter) flush() error {
	w.bucket.FillPercent = 0.9 // the pages only grow in number
	for n := range w.dirty {
		if err := w.bucket.Put(pageKey(n), seal(pageKey(n), w.pages[n])); err != nil {
			return err
		}
	}
	end := append(pageKey(w.end.size), seqKey(w.end.through)...)
	return w.bucket.Put(treeEndKey, seal(treeEndKey, end))
}

// growTree appends the leaves of new items.
func growTree(tx *bbolt.Tx, items []item) error {
	if len(items) == 0 {
		return nil
	}
	w, err := writeTree(tx)
	if err != nil {
		return err
	}
	for i := range items {
		if err := w.append(items[i].seq, items[i].leaf); err != nil {
			return err
		}
	}
	return w.flush()
}

// catchUpTree appends what is kept and not in the log yet: a store of the time
// before there was one has none of it. Each bite is a transaction, so a crash
// loses one at most.
func (k *keep) catchUpTree(log *slog.Logger) error {
	for said := false; ; {
		var end treeEnd
		err := k.db.Update(func(tx *bbolt.Tx) (err error) {
			end, err = k.bite(tx)
			return err
		})
		switch {
		case err != nil:
			return fmt.Errorf("log of the kept messages: %w", err)
		case end.through > k.last:
			return fmt.Errorf("log of the kept messages goes to %d, the messages to %d: %w", end.through, k.last, ErrDamaged)
		case end.through == k.last:
			return nil
		}
		if !said {
			said = true
			log.Info("the kept messages have no log of hashes yet: it is made", "through", k.last)
		}
	}
}

// bite appends some of what is missing.
func (k *keep) bite(tx *bbolt.Tx) (treeEnd, error) {
	w, err := writeTree(tx)
	if err != nil || w.end.through >= k.last {
		return w.endOr(err)
	}
	leaves, err := walkLeaves(tx.Bucket(leafBucket), w.end.through+1)
	for n := 0; err == nil && n < treeBite; n++ {
		var leaf []byte
		if leaf, err = leaves.next(); err != nil || leaf == nil {
			break
		}
		err = w.append(leafSeq(leaf), leaf)
	}
	if err == nil {
		err = w.flush()
	}
	return w.endOr(err)
}

func (w *treeWriter) endOr(err error) (treeEnd, error) {
	if w == nil || err != nil {
		return treeEnd{}, err
	}
	return w.end, nil
}

// Tree is the Merkle log of the record as it was at one moment. It is valid
// within the call that gave it.
type Tree struct {
	end   treeEnd
	pages *treePages
	tx    *bbolt.Tx
}

// Tree reads the log. Other readers and the writer are not held up.
func (p *Projector) Tree(f func(Tree) error) error { return p.keep.tree(f) }

func (k *keep) tree(f func(Tree) error) error {
	return guarded(func() error {
		return k.db.View(func(tx *bbolt.Tx) error {
			bucket := tx.Bucket(treeBucket)
			end, err := readTreeEnd(bucket)
			if err != nil {
				return err
			}
			return f(Tree{end, readPages(bucket), tx})
		})
	})
}

// Size is how many leaves there are.
func (t Tree) Size() int64 { return t.end.size }

// Through is the stream sequence of the last leaf; 0: there is none.
func (t Tree) Through() uint64 { return t.end.through }

// Root is the log's root when it had so many leaves.
func (t Tree) Root(size int64) (merkle.Hash, error) {
	if err := t.holds(size); err != nil {
		return merkle.Hash{}, err
	}
	return tlog.TreeHash(size, t.pages)
}

var errTree = errors.New("not in the log")

func (t Tree) holds(size int64) error {
	if size < 0 || size > t.end.size {
		return fmt.Errorf("log of %d leaves, there are %d: %w", size, t.end.size, errTree)
	}
	return nil
}

// IndexOf finds the leaf of a kept message, from 0.
func (t Tree) IndexOf(seq uint64) (int64, error) {
	leaf, err := leafAt(t.tx.Bucket(leafBucket), seq)
	if err != nil {
		return 0, err
	}
	if leaf == nil || seq > t.end.through {
		return 0, fmt.Errorf("message %d: %w", seq, errTree)
	}
	c := t.tx.Bucket(runBucket).Cursor()
	key, sealed := c.Seek(seqKey(seq))
	if !bytes.Equal(key, seqKey(seq)) {
		key, sealed = before(c, seqKey(seq))
	}
	if key == nil {
		return int64(seq) - 1, nil // #nosec G115 -- at most the number of leaves
	}
	raw, err := unseal(key, sealed)
	if err != nil || len(raw) != 8 {
		return 0, errors.Join(fmt.Errorf("run of leaves from %d: %w", binary.BigEndian.Uint64(key), ErrDamaged), err)
	}
	return int64(binary.BigEndian.Uint64(raw) + seq - binary.BigEndian.Uint64(key)), nil // #nosec G115 -- as above
}

// Inclusion proves that a leaf is in the log of so many leaves.
func (t Tree) Inclusion(index, size int64) (merkle.Inclusion, error) {
	if err := t.holds(size); err != nil {
		return nil, err
	}
	if index < 0 || index >= size {
		return nil, fmt.Errorf("leaf %d of %d: %w", index, size, errTree)
	}
	return tlog.ProveRecord(size, index, t.pages)
}

// Consistency proves that the log of so many leaves begins with an earlier one.
func (t Tree) Consistency(earlier, size int64) (merkle.Consistency, error) {
	if err := t.holds(size); err != nil {
		return nil, err
	}
	if earlier < 0 || earlier > size {
		return nil, fmt.Errorf("log of %d leaves begins with that of %d: %w", size, earlier, errTree)
	}
	if earlier == 0 {
		return nil, nil
	}
	return tlog.ProveTree(size, earlier, t.pages)
}
