package projector

import (
	"bytes"
	"crypto/ed25519"
	"encoding/binary"
	"fmt"

	"go.etcd.io/bbolt"

	"earlyage/projector/merkle"
)

var checkpointBucket = []byte("checkpoint") // signed notes by size

// SignedCheckpoint is a checkpoint and the note that holds it.
type SignedCheckpoint struct {
	merkle.Checkpoint
	Note []byte
}

// VerifierKey is the text by which the record's checkpoints are checked.
func (p *Projector) VerifierKey() string {
	return merkle.VerifierKey(p.keep.hub.Public().(ed25519.PublicKey))
}

// Checkpoint signs what the log is now and keeps that. A log that has not grown
// since the last one has that one.
func (p *Projector) Checkpoint() (SignedCheckpoint, error) {
	c, err := p.keep.checkpoint(merkle.Checkpoint{At: p.cfg.Now().UTC()})
	if err != nil {
		return c, fmt.Errorf("make checkpoint: %w", err)
	}
	return c, nil
}

func (k *keep) checkpoint(c merkle.Checkpoint) (signed SignedCheckpoint, err error) {
	key := merkle.VerifierKey(k.hub.Public().(ed25519.PublicKey))
	err = guarded(func() error {
		return k.db.Update(func(tx *bbolt.Tx) error {
			end, err := readTreeEnd(tx.Bucket(treeBucket))
			if err != nil {
				return err
			}
			kept := tx.Bucket(checkpointBucket)
			if sealed := kept.Get(pageKey(end.size)); sealed != nil {
				signed, err = readCheckpoint(pageKey(end.size), sealed, key)
				return err
			}
			tree := Tree{end, readPages(tx.Bucket(treeBucket)), tx}
			c.Size, c.Through = end.size, end.through
			if c.Root, err = tree.Root(end.size); err != nil {
				return err
			}
			if signed.Note, err = merkle.SignCheckpoint(k.hub, c); err != nil {
				return err
			}
			if signed.Checkpoint, err = merkle.OpenCheckpoint(signed.Note, key); err != nil {
				return err
			}
			return kept.Put(pageKey(end.size), seal(pageKey(end.size), signed.Note))
		})
	})
	return signed, err
}

// Checkpoints lists the kept checkpoints of logs of more leaves than given, the
// smallest first, at most so many.
func (p *Projector) Checkpoints(after int64, most int) (list []SignedCheckpoint, err error) {
	key := p.VerifierKey()
	err = guarded(func() error {
		return p.keep.db.View(func(tx *bbolt.Tx) error {
			c := tx.Bucket(checkpointBucket).Cursor()
			for size, sealed := c.Seek(pageKey(after + 1)); size != nil && len(list) < most; size, sealed = c.Next() {
				signed, err := readCheckpoint(size, sealed, key)
				if err != nil {
					return err
				}
				list = append(list, signed)
			}
			return nil
		})
	})
	if err != nil {
		return nil, fmt.Errorf("read checkpoints: %w", err)
	}
	return list, nil
}

func readCheckpoint(size, sealed []byte, key string) (signed SignedCheckpoint, err error) {
	raw, err := unseal(size, sealed)
	if err != nil {
		return signed, fmt.Errorf("checkpoint of %d leaves: %w", binary.BigEndian.Uint64(size), err)
	}
	signed.Note = bytes.Clone(raw)
	if signed.Checkpoint, err = merkle.OpenCheckpoint(signed.Note, key); err != nil {
		return signed, fmt.Errorf("checkpoint of %d leaves: %w: %w", binary.BigEndian.Uint64(size), err, ErrDamaged)
	}
	return signed, nil
}
