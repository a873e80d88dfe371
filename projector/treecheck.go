package projector

import (
	"crypto/ed25519"
	"encoding/binary"
	"fmt"

	"go.etcd.io/bbolt"
	"golang.org/x/mod/sumdb/tlog"

	"earlyage/projector/merkle"
)

// treeWalk computes the hashes of the log anew from the leaves and compares each
// with the one that is stored. It keeps of the log what tlog needs to go on: the
// hashes of its complete subtrees.
type treeWalk struct {
	pages *treePages
	size  int64
	last  uint64              // stream sequence
	full  map[int64]tlog.Hash // by place in the row
}

// ReadHashes implements tlog.HashReader by the hashes that were computed.
func (w *treeWalk) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		h, ok := w.full[index]
		if !ok {
			return nil, fmt.Errorf("hash %d: %w", index, errTree)
		}
		out[i] = h
	}
	return out, nil
}

// leaf takes the next leaf in. It reports what is stored otherwise.
func (w *treeWalk) leaf(leaf []byte) (wrong string, err error) {
	hashes, err := tlog.StoredHashesForRecordHash(w.size, merkle.LeafHash(leaf), w)
	if err != nil {
		return "", err
	}
	at := tlog.StoredHashIndex(0, w.size)
	for i, h := range hashes {
		index := at + int64(i)
		if level, n := tlog.SplitStoredHashIndex(index); level > 0 {
			delete(w.full, tlog.StoredHashIndex(level-1, 2*n))
			delete(w.full, tlog.StoredHashIndex(level-1, 2*n+1))
		}
		w.full[index] = h
		stored, err := w.pages.ReadHashes([]int64{index})
		switch {
		case err != nil:
			wrong = fmt.Sprintf("message %d: %v", leafSeq(leaf), err)
		case stored[0] != h:
			wrong = fmt.Sprintf("message %d: the log holds another hash for it, or above it", leafSeq(leaf))
		}
	}
	w.size, w.last = w.size+1, leafSeq(leaf)
	return wrong, nil
}

// checkTree computes the whole log anew and returns what differs, most at most,
// and the kept checkpoints that the record does not bear out.
func (k *keep) checkTree(most int) (wrong []string, err error) {
	add := func(format string, args ...any) {
		if len(wrong) < most {
			wrong = append(wrong, fmt.Sprintf(format, args...))
		}
	}
	err = k.tree(func(t Tree) error {
		kept := t.tx.Bucket(checkpointBucket).Cursor()
		size, sealed := kept.First()
		key := merkle.VerifierKey(k.hub.Public().(ed25519.PublicKey))
		w := &treeWalk{pages: t.pages, full: map[int64]tlog.Hash{}}
		leaves, err := walkLeaves(t.tx.Bucket(leafBucket), 0)
		for err == nil {
			for ; size != nil && bigEndian(size) == w.size; size, sealed = kept.Next() {
				if why := k.unborne(w, size, sealed, key); why != "" {
					add("%s", why)
				}
			}
			var leaf []byte
			if leaf, err = leaves.next(); err != nil || leaf == nil {
				break
			}
			why, err := w.leaf(leaf)
			if err != nil {
				return err
			}
			if why != "" {
				add("%s", why)
			}
		}
		if err != nil {
			return err
		}
		if end := (treeEnd{w.size, w.last}); end != t.end {
			add("the log has %d leaves and ends at message %d, there are %d messages to %d", t.end.size, t.end.through, w.size, w.last)
		}
		if size != nil {
			add("a checkpoint speaks of %d leaves, there are %d", bigEndian(size), w.size)
		}
		return nil
	})
	return wrong, err
}

// unborne says why a kept checkpoint is not one of the log that was walked, or "".
func (k *keep) unborne(w *treeWalk, size, sealed []byte, key string) string {
	signed, err := readCheckpoint(size, sealed, key)
	if err != nil {
		return err.Error()
	}
	root, err := tlog.TreeHash(w.size, w)
	if err != nil || root != signed.Root || signed.Size != w.size {
		return fmt.Sprintf("the checkpoint of %d leaves, made %s, is not of these messages", bigEndian(size), signed.At.Format("2006-01-02 15:04 MST"))
	}
	return ""
}

// checkTreeEnd compares the end of the log with the last messages.
func (k *keep) checkTreeEnd() error {
	return k.tree(func(t Tree) error {
		return t.tailIs(t.tx.Bucket(leafBucket), k.last-min(k.last, tailChecked))
	})
}

func (t Tree) tailIs(leaves *bbolt.Bucket, after uint64) error {
	w, err := walkLeaves(leaves, after+1)
	for err == nil {
		var leaf []byte
		if leaf, err = w.next(); err != nil || leaf == nil {
			return err
		}
		index, err := t.IndexOf(leafSeq(leaf))
		if err != nil {
			return err
		}
		stored, err := t.pages.ReadHashes([]int64{tlog.StoredHashIndex(0, index)})
		if err != nil {
			return err
		}
		if stored[0] != merkle.LeafHash(leaf) {
			return fmt.Errorf("message %d is not the one that the log holds: %w", leafSeq(leaf), ErrDamaged)
		}
	}
	return err
}

// bigEndian reads a key of the checkpoints.
func bigEndian(size []byte) int64 {
	return int64(binary.BigEndian.Uint64(size)) // #nosec G115 -- written from an int64
}
