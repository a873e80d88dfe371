package projector

import (
	"crypto/ed25519"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"log/slog"

	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/people"
	"earlyage/projector/wall"
)

// What the tests of package projector_test reach into.

type Database = database

// OpenWith makes a Config open its files by another function.
func (c *Config) OpenWith(open func(path string, options *bbolt.Options) (Database, error)) {
	c.open = open
}

// OpenFile is how files are opened otherwise.
func OpenFile(path string, options *bbolt.Options) (Database, error) { return openFile(path, options) }

// WallsInMemory returns how many walls are loaded.
func (p *Projector) WallsInMemory() int { return p.fold.walls.len() }

// Fold runs messages through all three steps without a stream.
func (p *Projector) Fold(batch []stream.Message) error {
	items, _ := p.reader.decode(batch, p.fold.register)
	if err := p.keep.commit(items); err != nil {
		return err
	}
	return p.foldBatch(items)
}

// FoldGroup is the folding of a group with events that make the fold panic set aside.
func FoldGroup[S foldable](st S, again func() (S, error), facts []wall.Fact, refused []wall.Refused) (S, []wall.Chunk, []wall.Fact, error) {
	return foldGroup(slog.New(slog.DiscardHandler), st, again, facts, refused)
}

// Read is what the first step makes of one message.
func Read(m stream.Message) (id string, number uint64, event events.Event, refusal *events.Refusal, leaf []byte) {
	it := reader{}.readAll([]stream.Message{m})[0]
	return it.id, it.number, it.event, it.refusal, it.leaf
}

// Judge is what the first step makes of messages that follow on a register.
func Judge(key ed25519.PublicKey, register *people.Register, batch []stream.Message) (numbers []uint64, refusals []*events.Refusal) {
	items, _ := reader{key: key, signedFrom: 1}.decode(batch, register)
	for i := range items {
		numbers, refusals = append(numbers, items[i].number), append(refusals, items[i].refusal)
	}
	return numbers, refusals
}

// CheckTree computes the log of hashes anew and names what differs.
func (p *Projector) CheckTree() ([]string, error) {
	wrong, err := p.keep.checkTree(mostDiffers)
	if err != nil {
		return append(wrong, err.Error()), nil
	}
	return wrong, p.keep.checkEnd()
}

// TamperKeep changes keep.db in one transaction.
func (p *Projector) TamperKeep(f func(*bbolt.Tx) error) error { return p.keep.db.Update(f) }

// ForgetTree leaves the store as one of the time before the log of hashes.
func (p *Projector) ForgetTree() error {
	return p.keep.db.Update(func(tx *bbolt.Tx) error {
		return errors.Join(tx.DeleteBucket(treeBucket), tx.DeleteBucket(runBucket), tx.DeleteBucket(checkpointBucket))
	})
}

// Seal gives a value the checksum that it is stored with, as whoever knows this
// program can.
func Seal(key, value []byte) []byte { return seal(key, value) }

// SealLeaf does so for one leaf in a pack of its own.
func SealLeaf(entry []byte) ([]byte, error) {
	leaf, _, rest, err := cutEntry(entry)
	if err != nil || len(rest) > 0 {
		return nil, errors.Join(err, errors.New("not a pack of one leaf"))
	}
	sealed := append([]byte{}, entry[:len(entry)-4]...)
	return binary.BigEndian.AppendUint32(sealed, crc32.Checksum(leaf, castagnoli)), nil
}

// Keep runs messages through the first two steps: they are kept, not folded.
func (p *Projector) Keep(batch []stream.Message) error {
	items, _ := p.reader.decode(batch, p.fold.register)
	return p.keep.commit(items)
}
