package projector

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"path/filepath"

	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/events/stream"
)

var (
	leafBucket   = []byte("leaf")
	keyBucket    = []byte("key")
	wallBucket   = []byte("wall")
	numberBucket = []byte("number")
	metaBucket   = []byte("meta")

	seedKey     = []byte("hub-seed")
	demoKey     = []byte("demo")
	unsignedKey = []byte("unsigned")
	signedKey   = []byte("signed-from")
	formatKey   = []byte("format")
	judgedKey   = []byte("judged-by")
)

// keepFormat 2 knows persons and devices. Format 1 did not: what it kept is
// judged as it was then.
const (
	keepFormat    = "2"
	keepFormatOld = "1"
)

// errDiffers: a message at a kept sequence is not the kept one.
var errDiffers = errors.New("other bytes are kept at this sequence")

// keep is keep.db. commit is for one goroutine; the rest for any.
type keep struct {
	db   database
	hub  ed25519.PrivateKey
	demo bool
	last uint64 // owned by the goroutine that commits

	unsigned   bool   // events need no signature
	signedFrom uint64 // else: the first message that does
}

func openKeep(cfg Config, name string) (*keep, error) {
	db, err := cfg.open(filepath.Join(cfg.Dir, name), keepOptions())
	if err != nil {
		return nil, err
	}
	k := &keep{db: db}
	if err := guarded(func() error { return k.prepare(cfg) }); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", name, err), db.Close())
	}
	return k, nil
}

func (k *keep) prepare(cfg Config) error {
	err := k.db.Update(func(tx *bbolt.Tx) error {
		for _, name := range [][]byte{leafBucket, keyBucket, wallBucket, numberBucket, metaBucket, treeBucket, runBucket, checkpointBucket} {
			if _, err := tx.CreateBucketIfNotExists(name); err != nil {
				return err
			}
		}
		return k.prepareMeta(tx, cfg)
	})
	if err != nil {
		return err
	}
	switch {
	case cfg.Demo && !k.demo:
		return errors.New("this folder holds a real record, not a demo's: choose another")
	case cfg.Unsigned && !k.unsigned:
		return errors.New("this folder holds a record whose events are signed: choose another, or open it without Unsigned")
	}
	if err := k.checkEnd(); err != nil {
		return err
	}
	if err := k.catchUpTree(cfg.Log); err != nil {
		return err
	}
	return errors.Join(k.checkTreeEnd(), k.judgeAgain(cfg))
}

func (k *keep) prepareMeta(tx *bbolt.Tx, cfg Config) error {
	meta := tx.Bucket(metaBucket)
	switch f := meta.Get(formatKey); string(f) {
	case "":
		if err := makeMeta(meta, cfg); err != nil {
			return err
		}
	case keepFormatOld:
		if err := signFromHere(tx, cfg.Unsigned); err != nil {
			return err
		}
	case keepFormat:
	default:
		return fmt.Errorf("format %q, this program reads %q and %q", f, keepFormatOld, keepFormat)
	}
	seed, from := meta.Get(seedKey), meta.Get(signedKey)
	if len(seed) != ed25519.SeedSize {
		return fmt.Errorf("hub key seed of %d bytes: %w", len(seed), ErrDamaged)
	}
	if len(from) != 8 {
		return fmt.Errorf("first signed message of %d bytes: %w", len(from), ErrDamaged)
	}
	k.hub = ed25519.NewKeyFromSeed(seed)
	k.demo = bytes.Equal(meta.Get(demoKey), flag(true))
	k.unsigned = bytes.Equal(meta.Get(unsignedKey), flag(true))
	k.signedFrom = binary.BigEndian.Uint64(from)
	return nil
}

// makeMeta begins a store.
func makeMeta(meta *bbolt.Bucket, cfg Config) error {
	seed := make([]byte, ed25519.SeedSize)
	if _, err := rand.Read(seed); err != nil {
		return fmt.Errorf("make the hub's key: %w", err)
	}
	return errors.Join(meta.Put(seedKey, seed), meta.Put(demoKey, flag(cfg.Demo)), meta.Put(unsignedKey, flag(cfg.Unsigned)),
		meta.Put(signedKey, seqKey(cfg.SignedFrom)), meta.Put(formatKey, []byte(keepFormat)))
}

// signFromHere brings a store of the old format up to this one: what is kept
// was never signed, what comes after must be.
func signFromHere(tx *bbolt.Tx, unsigned bool) error {
	last, err := lastLeaf(tx.Bucket(leafBucket))
	if err != nil {
		return err
	}
	meta := tx.Bucket(metaBucket)
	return errors.Join(meta.Put(unsignedKey, flag(unsigned)), meta.Put(signedKey, seqKey(last+1)), meta.Put(formatKey, []byte(keepFormat)))
}

func flag(on bool) []byte {
	if on {
		return []byte{1}
	}
	return []byte{0}
}

// tailChecked is how many of the last leaves are read at Open. The rest is
// read, each by its checksum, whenever it is used, and whole by a rebuild.
const tailChecked = 1000

// checkEnd reads the end of the record, where an interrupted write would show.
func (k *keep) checkEnd() error {
	return k.db.View(func(tx *bbolt.Tx) (err error) {
		leaves := tx.Bucket(leafBucket)
		if k.last, err = lastLeaf(leaves); err != nil {
			return err
		}
		w, err := walkLeaves(leaves, k.last-min(k.last, tailChecked))
		for err == nil {
			var leaf []byte
			if leaf, err = w.next(); err != nil || leaf == nil {
				return err
			}
			_, err = parseKept(leaf)
		}
		return err
	})
}

// lastLeaf returns the sequence of the last leaf, or 0.
func lastLeaf(leaves *bbolt.Bucket) (last uint64, err error) {
	_, pack := leaves.Cursor().Last()
	for len(pack) > 0 {
		leaf, _, rest, err := cutEntry(pack)
		if err != nil {
			return 0, err
		}
		last, pack = leafSeq(leaf), rest
	}
	return last, nil
}

func parseKept(leaf []byte) (Leaf, error) {
	l, err := ParseLeaf(leaf)
	if err != nil {
		return Leaf{}, fmt.Errorf("leaf %d: %w: %w", leafSeq(leaf), err, ErrDamaged)
	}
	return l, nil
}

// commit keeps a batch: leaves first, then what finds and what proves them, in one transaction.
// It is idempotent by sequence: a message that is kept already is compared and
// passed over, so a batch whose commit was reported failed can be given again.
// It also says of each item which message first had its key.
//
// A crash before it returns leaves all of the batch or none; the stream still
// has it, and the next Open reads on after the last leaf.
func (k *keep) commit(items []item) error {
	if len(items) == 0 {
		return nil
	}
	err := guarded(func() error {
		return k.db.Update(func(tx *bbolt.Tx) error {
			if err := putLeaves(tx, items); err != nil {
				return err
			}
			return resolve(tx, items, true)
		})
	})
	if err != nil {
		return fmt.Errorf("keep messages %d to %d: %w", items[0].seq, items[len(items)-1].seq, err)
	}
	k.last = items[len(items)-1].seq
	return nil
}

func putLeaves(tx *bbolt.Tx, items []item) error {
	leaves := tx.Bucket(leafBucket)
	last, err := lastLeaf(leaves)
	if err != nil {
		return err
	}
	for len(items) > 0 && items[0].seq <= last {
		leaf, err := leafAt(leaves, items[0].seq)
		if err == nil && !bytes.Equal(leaf, items[0].leaf) {
			err = fmt.Errorf("message %d: %w", items[0].seq, errDiffers)
		}
		if err != nil {
			return err
		}
		items = items[1:]
	}
	if err := putPacks(leaves, items); err != nil {
		return err
	}
	walls := newRows(len(items))
	for i := range items {
		if it := &items[i]; it.placed {
			walls.add(it.seq, it.at.Site, it.at.Wall, 0)
		}
	}
	return errors.Join(walls.write(tx.Bucket(wallBucket)), putNumbers(tx, items), growTree(tx, items))
}

func putNumbers(tx *bbolt.Tx, items []item) error {
	numbers := newRows(len(items))
	for i := range items {
		if it := &items[i]; it.number != 0 {
			numbers.add(it.seq, it.at.Site, it.device, it.number)
		}
	}
	return numbers.write(tx.Bucket(numberBucket))
}

// packMax is how long a pack may get, unless one leaf alone is longer. A pack is
// written as a whole, so that the many leaves of a catching-up hub cost the tree
// few keys, and read as far as the leaf that is looked for.
const packMax = 62 << 10

// putPacks stores leaves that lie one behind another in memory as they lie there.
func putPacks(leaves *bbolt.Bucket, items []item) error {
	leaves.FillPercent = 1 // the sequence only grows: no page is split later
	for i := 0; i < len(items); {
		first, size := &items[i], len(items[i].entry)
		for i++; i < len(items) && items[i].follows(&items[i-1]) && size+len(items[i].entry) <= packMax; i++ {
			size += len(items[i].entry)
		}
		if err := leaves.Put(first.key(), first.entry[:size]); err != nil {
			return err
		}
	}
	return nil
}

// resolveKept is resolve for items that are kept already.
func (k *keep) resolveKept(items []item) error {
	return guarded(func() error {
		return k.db.View(func(tx *bbolt.Tx) error { return resolve(tx, items, false) })
	})
}

// leaf returns the bytes of one leaf, or nil.
func (k *keep) leaf(seq uint64) ([]byte, error) {
	var out []byte
	err := guarded(func() error {
		return k.db.View(func(tx *bbolt.Tx) error {
			raw, err := leafAt(tx.Bucket(leafBucket), seq)
			out = bytes.Clone(raw)
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("leaf %d: %w", seq, err)
	}
	return out, nil
}

// item reads one kept message again, and judges what it shows by itself.
func (k *keep) item(r reader, seq uint64) (item, error) {
	raw, err := k.leaf(seq)
	if err != nil {
		return item{}, err
	}
	l, err := ParseLeaf(raw)
	if err != nil {
		return item{}, fmt.Errorf("leaf %d: %w: %w", seq, err, ErrDamaged)
	}
	return r.readAll([]stream.Message{messageOf(l)})[0], nil
}

// messageOf gives a leaf as it came from the stream.
func messageOf(l Leaf) stream.Message {
	return stream.Message{Seq: l.Seq, Recorded: l.Recorded, Subject: l.Subject, Signature: l.Signature, Body: l.Body}
}

// read hands out the kept messages after a sequence and up to another, as they
// came from the stream. The batches belong to the callee.
func (k *keep) read(after, upTo uint64, most int, deliver func([]stream.Message) error) error {
	for after < upTo {
		batch, err := k.readBatch(after, upTo, most)
		if err != nil || len(batch) == 0 {
			return err
		}
		after = batch[len(batch)-1].Seq
		if err := deliver(batch); err != nil {
			return err
		}
	}
	return nil
}

func (k *keep) readBatch(after, upTo uint64, most int) (batch []stream.Message, err error) {
	size := 0
	err = guarded(func() error {
		return k.db.View(func(tx *bbolt.Tx) error {
			w, err := walkLeaves(tx.Bucket(leafBucket), after+1)
			if err != nil {
				return err
			}
			for len(batch) < most && size < batchBytes {
				leaf, err := w.next()
				if err != nil || leaf == nil || leafSeq(leaf) > upTo {
					return err
				}
				l, err := parseKept(leaf)
				if err != nil {
					return err
				}
				size += len(l.Body)
				l.Body = bytes.Clone(l.Body)
				batch = append(batch, messageOf(l))
			}
			return nil
		})
	})
	if err != nil {
		return nil, fmt.Errorf("read kept messages after %d: %w", after, err)
	}
	return batch, nil
}

// sequences lists the kept messages of a wall up to a sequence.
func (k *keep) sequences(at Ref, upTo uint64) (list []uint64, err error) {
	err = guarded(func() error {
		return k.db.View(func(tx *bbolt.Tx) (err error) {
			list, err = sequencesOf(tx.Bucket(wallBucket), at, upTo)
			return err
		})
	})
	return list, err
}

// holder finds who first used a device's number, before a sequence.
func (k *keep) holder(device events.Source, number, before uint64) (seq uint64, err error) {
	err = guarded(func() error {
		return k.db.View(func(tx *bbolt.Tx) (err error) {
			seq, err = holderOf(tx.Bucket(numberBucket), device, number, before)
			return err
		})
	})
	return seq, err
}
