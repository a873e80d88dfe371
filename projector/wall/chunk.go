package wall

import (
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/events"
)

// Stored forms. A fact is stored as received, under "f" and its stream
// sequence; a refused message under "r" and its sequence, and what older ones
// span under "s" and their run, or "o"; a day of one probe's readings under "t",
// place, probe and day.

var errChunk = errors.New("chunk cannot be read")

func factChunk(f *Fact) (Chunk, error) {
	body, err := f.Event.Encode()
	if err != nil {
		return Chunk{}, err
	}
	v := binary.AppendVarint(nil, f.Recorded.UnixMilli())
	settles := f.Settles != (Run{})
	v = append(v, byte(flag(f.Trusted)|flag(settles)<<1)) // #nosec G115 -- 0 to 3
	if settles {
		v = appendText(appendText(v, f.Settles.Source), f.Settles.Field)
	}
	return Chunk{Key: binary.BigEndian.AppendUint64([]byte{'f'}, f.Seq), Value: append(v, body...)}, nil
}

func readFact(key, value []byte) (Fact, error) {
	if len(key) != 9 {
		return Fact{}, fmt.Errorf("fact key %x: %w", key, errChunk)
	}
	d := decoder{b: value}
	f := Fact{Seq: binary.BigEndian.Uint64(key[1:]), Recorded: time.UnixMilli(d.varint()).UTC()}
	flags := d.uvarint()
	f.Trusted = flags&1 != 0
	if flags&2 != 0 {
		f.Settles = Run{d.text(), d.text()}
	}
	if d.bad || flags > 3 {
		return Fact{}, fmt.Errorf("fact %x: %w", key, errChunk)
	}
	e, err := events.Decode("", d.b)
	if err != nil {
		return Fact{}, fmt.Errorf("fact %x: %w", key, err)
	}
	f.Event = e
	return f, nil
}

func (r *Refused) append(v []byte) []byte {
	v = binary.AppendUvarint(binary.AppendVarint(v, r.Recorded.UnixMilli()), r.Instead)
	for _, s := range []string{r.ID, r.Source, r.Field, r.Reason} {
		v = appendText(v, s)
	}
	return v
}

func readRefused(key, value []byte) (Refused, error) {
	d := decoder{b: value}
	if len(key) != 9 {
		return Refused{}, fmt.Errorf("refused key %x: %w", key, errChunk)
	}
	r := Refused{Seq: binary.BigEndian.Uint64(key[1:]), Recorded: time.UnixMilli(d.varint()).UTC(), Instead: d.uvarint()}
	r.ID, r.Source, r.Field, r.Reason = d.text(), d.text(), d.text(), d.text()
	return r, d.finish("refused message")
}

func (s extent) append(v []byte) []byte {
	v = binary.AppendUvarint(binary.AppendUvarint(v, s.first), s.last)
	return appendText(binary.AppendVarint(binary.AppendVarint(v, s.since), s.until), s.reason)
}

func (x *refusals) load(key, value []byte) error {
	d := decoder{b: value}
	s := extent{first: d.uvarint(), last: d.uvarint(), since: d.varint(), until: d.varint(), reason: d.text()}
	source, field, ok := strings.Cut(string(key[1:]), "\x00")
	if err := d.finish("refused messages"); err != nil || s.first == 0 || s.last < s.first || key[0] == 's' && (!ok || field == "") {
		return errors.Join(err, fmt.Errorf("refused messages %q: %w", key, errChunk))
	}
	if key[0] == 'o' {
		x.others = x.others.with(s)
		return nil
	}
	x.widen(Run{source, field}, s)
	return nil
}

func appendText(b []byte, s string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(s))), s...)
}

type decoder struct {
	b   []byte
	bad bool
}

func (d *decoder) varint() int64 {
	v, n := binary.Varint(d.b)
	if n <= 0 {
		d.bad, d.b = true, nil
		return 0
	}
	d.b = d.b[n:]
	return v
}

func (d *decoder) text() string {
	n := d.uvarint()
	if n > uint64(len(d.b)) {
		d.bad, d.b = true, nil
		return ""
	}
	s := string(d.b[:n])
	d.b = d.b[n:]
	return s
}

func (d *decoder) uvarint() uint64 {
	v, n := binary.Uvarint(d.b)
	if n <= 0 {
		d.bad, d.b = true, nil
		return 0
	}
	d.b = d.b[n:]
	return v
}

// centi reads hundredths of a degree. A number that does not fit is damage, not
// another temperature.
func (d *decoder) centi() int16 {
	v := d.varint()
	if v < math.MinInt16 || v > math.MaxInt16 {
		d.bad = true
		return 0
	}
	return int16(v)
}

func (d *decoder) finish(what string) error {
	if d.bad || len(d.b) > 0 {
		return fmt.Errorf("read %s: %w", what, errChunk)
	}
	return nil
}

func (g *group) append(b []byte) []byte {
	b = appendText(appendText(b, g.key.Source), g.key.ID)
	b = binary.AppendUvarint(b, g.number)
	b = binary.AppendUvarint(b, g.seq)
	for _, v := range []int64{g.entered, g.recorded, g.lo, g.hi, g.from, g.to, int64(g.high)} {
		b = binary.AppendVarint(b, v)
	}
	b = appendText(b, g.by)
	b = binary.AppendUvarint(b, uint64(flag(g.typed)|flag(g.doubt)<<1)) // #nosec G115 -- 0 to 3
	b = binary.AppendUvarint(b, uint64(len(g.points)))
	at := int64(0)
	for _, p := range g.points {
		b = binary.AppendVarint(b, p.at-at)
		b = binary.AppendVarint(b, int64(p.centi))
		at = p.at
	}
	return b
}

func (d *decoder) group() group {
	g := group{key: events.Key{Source: d.text(), ID: d.text()}, number: d.uvarint(), seq: d.uvarint()}
	for _, p := range []*int64{&g.entered, &g.recorded, &g.lo, &g.hi, &g.from, &g.to} {
		*p = d.varint()
	}
	g.high = d.centi()
	g.by = d.text()
	flags := d.uvarint()
	g.typed, g.doubt = flags&1 != 0, flags&2 != 0
	n := d.uvarint()
	if n > uint64(len(d.b)) {
		d.bad = true
		return g
	}
	at := int64(0)
	for range n {
		at += d.varint()
		g.points = append(g.points, point{at: at, centi: d.centi()})
	}
	if len(g.points) == 0 {
		d.bad = true
	}
	return g
}

// takeDirty returns the chunks of the days that changed and forgets them.
func (r *Readings) takeDirty() []Chunk {
	out := make([]Chunk, 0, len(r.dirty))
	for _, name := range slices.Sorted(maps.Keys(r.dirty)) {
		cut := strings.LastIndexByte(name, '/')
		n, err := strconv.ParseInt(name[cut+1:], 10, 64)
		if err != nil {
			panic("wall: broken chunk name " + name)
		}
		y := r.tracks[name[:cut]].days[n]
		var v []byte
		for i := range y.groups {
			v = y.groups[i].append(v)
		}
		out = append(out, Chunk{Key: []byte("t" + name), Value: v})
	}
	clear(r.dirty)
	return out
}

func (r *Readings) load(key, value []byte) error {
	part := strings.Split(string(key[1:]), "/")
	if len(part) != 3 {
		return fmt.Errorf("readings key %q: %w", key, errChunk)
	}
	n, err := strconv.ParseInt(part[2], 10, 64)
	if err != nil {
		return fmt.Errorf("readings key %q: %w", key, errChunk)
	}
	d := decoder{b: value}
	y := r.day(part[0], part[1], n)
	for len(d.b) > 0 && !d.bad {
		y.groups = append(y.groups, d.group())
	}
	if err := d.finish("readings " + string(key)); err != nil {
		return err
	}
	for i := range y.groups {
		r.markStale(part[0], part[1], &y.groups[i])
	}
	return nil
}
