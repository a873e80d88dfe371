package wall

import (
	"fmt"

	"earlyage/events"
)

// Rows collects the stored form of facts, for the folds of this package and of
// package site.
type Rows struct{ pending []Chunk }

// Fact adds an accepted event.
func (r *Rows) Fact(f *Fact) {
	c, err := factChunk(f)
	if err != nil {
		panic("wall: an accepted event cannot be encoded: " + err.Error())
	}
	r.pending = append(r.pending, c)
}

// Take returns the collected chunks and forgets them.
func (r *Rows) Take() []Chunk {
	out := r.pending
	r.pending = nil
	return out
}

// LoadRow puts one stored chunk back: a fact into the book of its kind, a
// refused message, or what older ones span, into its book, readings into theirs (nil: none are expected).
func LoadRow(key, value []byte, book func(events.Kind) *Book, refused *Book, readings *Readings) error {
	if len(key) == 0 {
		return errChunk
	}
	switch {
	case key[0] == 'f':
		f, err := readFact(key, value)
		if err != nil {
			return err
		}
		book(f.Kind).Add(f)
	case key[0] == 'r':
		r, err := readRefused(key, value)
		if err != nil {
			return err
		}
		refused.AddRefused(r)
		refused.refused.stored()
	case key[0] == 's', key[0] == 'o':
		refused.doubting = true
		err := refused.refused.load(key, value)
		refused.refused.stored()
		return err
	case key[0] == 't' && readings != nil:
		return readings.load(key, value)
	default:
		return fmt.Errorf("key %q: %w", key, errChunk)
	}
	return nil
}

// IsChange reports whether a kind amends, voids, countersigns or settles another event.
func IsChange(k events.Kind) bool { return isChange(k) }

// IsReading reports whether events of a kind are kept as readings: temperatures
// and gusts.
func IsReading(k events.Kind) bool { return k == "temperature.read" || k == "wind.read" }

// Stale reports whether something was added since the book was last resolved.
func (b *Book) Stale() bool { return b.stale }

// AppendDigest appends all that the book's resolved entries say.
func (b *Book) AppendDigest(out []byte) []byte { b.settle(); return b.appendDigest(out) }

// Add puts one event's readings in; false if they were there.
func (r *Readings) Add(f *Fact) bool { return r.add(f) }

// Find returns the kind of the event with a key, if its readings are here.
func (r *Readings) Find(k events.Key) (events.Kind, bool) {
	place, ok := r.find(k)
	if place == PlaceWind {
		return "wind.read", ok
	}
	return "temperature.read", ok
}

// Settle computes the days that changed; all asks for every day.
func (r *Readings) Settle(b *Book, all bool) { r.settle(b.resolved(), all) }

// Take returns the stored form of what changed and forgets it.
func (r *Readings) Take() []Chunk { return r.takeDirty() }

// AppendDigest appends what the readings hold, in a fixed order.
func (r *Readings) AppendDigest(b []byte) []byte { return r.appendDigest(b) }

// Centi turns degrees Celsius into hundredths, rounded down: colder is safer.
func Centi(celsius float64) int16 { return centiOf(celsius) }
