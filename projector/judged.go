package projector

import (
	"bytes"
	"errors"
	"time"

	"go.etcd.io/bbolt"

	"earlyage/events/stream"
	"earlyage/projector/people"
)

// judgeAgain makes the indexes of keys and numbers anew where messages were
// judged otherwise when they were made: who claims a key and who holds a number
// is a part of the verdict. A crash on the way leaves them unnamed, and the next
// Open begins again.
func (k *keep) judgeAgain(cfg Config) error {
	r := newReader(cfg, k)
	name, judged := foldName(r), false
	err := k.db.View(func(tx *bbolt.Tx) error {
		judged = bytes.Equal(tx.Bucket(metaBucket).Get(judgedKey), name)
		return nil
	})
	if err != nil || judged {
		return err
	}
	began := time.Now()
	if err := k.db.Update(emptyIndexes); err != nil {
		return err
	}
	register := people.New()
	err = k.read(0, k.last, cfg.BatchMax, func(batch []stream.Message) error {
		var items []item
		items, register = r.decode(batch, register)
		return k.db.Update(func(tx *bbolt.Tx) error { return errors.Join(putNumbers(tx, items), resolve(tx, items, true)) })
	})
	if err != nil {
		return err
	}
	if k.last > 0 {
		cfg.Log.Info("kept messages are judged anew", "through", k.last, "took", time.Since(began).Round(time.Millisecond))
	}
	return k.db.Update(func(tx *bbolt.Tx) error { return tx.Bucket(metaBucket).Put(judgedKey, name) })
}

func emptyIndexes(tx *bbolt.Tx) error {
	if err := tx.Bucket(metaBucket).Delete(judgedKey); err != nil {
		return err
	}
	for _, name := range [][]byte{keyBucket, numberBucket} {
		if err := tx.DeleteBucket(name); err != nil {
			return err
		}
		if _, err := tx.CreateBucket(name); err != nil {
			return err
		}
	}
	return nil
}
