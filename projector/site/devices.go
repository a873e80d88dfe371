package site

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"earlyage/events"
	"earlyage/projector/wall"
)

// Gap is a run of numbers of a device that have not come.
type Gap struct {
	From, To uint64
	Since    int64 // Unix ms: when it became known
}

// Device is one device of a site.
type Device struct {
	Name       string
	High       uint64   // greatest number held, or said to exist
	Gaps       []Gap    // in order, not written off
	Reported   int64    // Unix ms, early: when its outbox was last said to be empty; 0: never
	Last       uint64   // the last number that that report named
	reports    []report // in order of time
	Seen       int64    // Unix ms: last recorded event
	OffsetMS   int64    // its clock's last known offset
	LagMS      int64    // recorded minus corrected entry of the last event
	Offset     bool
	Unnumbered bool // it made events without a number

	raw []Gap // written-off numbers included
}

// report says that an outbox was empty, up to a number.
type report struct {
	at   int64 // Unix ms, early
	last uint64
	seq  uint64 // of the stream
}

// writtenOff is a run of numbers that two persons gave up.
type writtenOff struct {
	from, to uint64
	at       int64 // Unix ms, late: when the first of them did
}

// Devices are the devices of one site.
type Devices struct {
	Site string

	devices map[string]*Device
	dirty   map[string]bool
	off     map[string][]writtenOff // by device
	book    wall.Book
	rows    wall.Rows
	said    []wall.Chunk // reports to store
}

// NewDevices returns a site without devices.
func NewDevices(site string) *Devices {
	return &Devices{Site: site, devices: map[string]*Device{}, dirty: map[string]bool{}}
}

// LoadDevices builds the devices from the chunks that Dirty returned.
func LoadDevices(site string, chunks func(yield func(key, value []byte) bool)) (*Devices, error) {
	d := NewDevices(site)
	for key, value := range chunks {
		if len(key) > 1 && key[0] == 'd' {
			y, err := readDevice(string(key[1:]), value)
			if err != nil {
				return nil, fmt.Errorf("load devices of %s: %w", site, err)
			}
			y.reports = d.device(y.Name).reports
			d.devices[y.Name] = y
			continue
		}
		if len(key) > 9 && key[0] == 'p' {
			if err := d.loadReport(key, value); err != nil {
				return nil, fmt.Errorf("load devices of %s: %w", site, err)
			}
			continue
		}
		if err := wall.LoadRow(key, value, func(events.Kind) *wall.Book { return &d.book }, &d.book, nil); err != nil {
			return nil, fmt.Errorf("load devices of %s: %w", site, err)
		}
	}
	d.writeOff()
	clear(d.dirty)
	return d, nil
}

func (d *Devices) device(name string) *Device {
	y := d.devices[name]
	if y == nil {
		y = &Device{Name: name}
		d.devices[name] = y
	}
	d.dirty[name] = true
	return y
}

// Number reports whether a device's number is held already.
func (d *Devices) Number(device string, n uint64) bool {
	y := d.devices[device]
	return y != nil && n <= y.High && !slices.ContainsFunc(y.raw, func(g Gap) bool { return g.From <= n && n <= g.To })
}

// Refuse holds the number of an event that was refused.
func (d *Devices) Refuse(device string, n uint64, recorded time.Time) {
	y := d.device(device)
	y.hold(n, recorded.UnixMilli())
	d.refresh(y)
}

// Add takes one accepted event in, in the order of the stream.
func (d *Devices) Add(f wall.Fact) {
	y := d.device(f.Source.Device)
	now := f.Recorded.UnixMilli()
	y.Seen = max(y.Seen, now)
	y.OffsetMS, y.Offset = f.ClockOffset.Milliseconds(), f.HasOffset
	y.LagMS = now - f.Time.UnixMilli() - y.OffsetMS
	if f.Sequence == 0 {
		y.Unnumbered = true
	} else {
		y.hold(f.Sequence, now)
	}
	if r, ok := f.Data.(*events.DeviceReported); ok {
		y.expect(r.Last, now)
		x := report{min(f.Time.UnixMilli()+y.OffsetMS, now), r.Last, f.Seq}
		y.report(x)
		d.said = append(d.said, x.chunk(y.Name))
	}
	if f.Wall == "" && (f.Kind == "gap.written-off" || wall.IsChange(f.Kind)) && d.book.Add(f) {
		d.rows.Fact(&f)
		d.writeOff()
		return
	}
	d.refresh(y)
}

// report notes a report in its place in time.
func (y *Device) report(r report) {
	i, found := slices.BinarySearchFunc(y.reports, r, func(a, b report) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.seq, b.seq)) })
	if !found {
		y.reports = slices.Insert(y.reports, i, r)
	}
	newest := y.reports[len(y.reports)-1]
	y.Reported, y.Last = newest.at, newest.last
}

// ReportedSince returns when the device first said, at or after a moment, that
// everything up to a number had left it; 0: it has not.
func (d *Devices) ReportedSince(device string, after int64, number uint64) int64 {
	y := d.devices[device]
	if y == nil {
		return 0
	}
	i, _ := slices.BinarySearchFunc(y.reports, after, func(r report, at int64) int { return cmp.Compare(r.at, at) })
	for _, r := range y.reports[i:] {
		if r.last >= number {
			return r.at
		}
	}
	return 0
}

// GivenUp returns when two persons gave up, at or after a moment, all that a
// device may still hold: the numbers after the last that came; 0: they did not.
func (d *Devices) GivenUp(device string, after int64) int64 {
	var high uint64
	numbered := false
	if y := d.devices[device]; y != nil {
		high, numbered = y.High, y.High > 0
	}
	var at int64
	for _, w := range d.off[device] {
		if w.at >= after && (!numbered || w.from <= high+1 && w.to > high) && (at == 0 || w.at < at) {
			at = w.at
		}
	}
	return at
}

// hold marks a number as held; the numbers before it that never came are a gap.
func (y *Device) hold(n uint64, now int64) {
	if n > y.High {
		y.expect(n-1, now)
		y.High = n
		return
	}
	i := slices.IndexFunc(y.raw, func(g Gap) bool { return g.From <= n && n <= g.To })
	if i < 0 {
		return
	}
	g := y.raw[i]
	var rest []Gap
	if g.From < n {
		rest = append(rest, Gap{g.From, n - 1, g.Since})
	}
	if n < g.To {
		rest = append(rest, Gap{n + 1, g.To, g.Since})
	}
	y.raw = slices.Replace(y.raw, i, i+1, rest...)
}

// expect says that every number up to n exists.
func (y *Device) expect(n uint64, now int64) {
	if n > y.High {
		y.raw = append(y.raw, Gap{y.High + 1, n, now})
		y.High = n
	}
}

// writeOff reads again which numbers a named person, and a second one, gave up.
func (d *Devices) writeOff() {
	d.off = map[string][]writtenOff{}
	for _, e := range d.book.Entries() {
		if w, ok := e.Last().(*events.GapWrittenOff); ok && e.Signed && !e.Maybe && len(e.Versions) == 1 {
			d.off[w.Device] = append(d.off[w.Device], writtenOff{w.From, w.To, e.Began.Late})
		}
	}
	for _, y := range d.devices {
		d.refresh(y)
	}
}

// refresh takes written-off numbers out of one device's gaps.
func (d *Devices) refresh(y *Device) {
	y.Gaps = slices.Clone(y.raw)
	for _, w := range d.off[y.Name] {
		y.Gaps = without(y.Gaps, w.from, w.to)
	}
}

func without(gaps []Gap, from, to uint64) []Gap {
	var out []Gap
	for _, g := range gaps {
		if to < g.From || g.To < from {
			out = append(out, g)
			continue
		}
		if g.From < from {
			out = append(out, Gap{g.From, from - 1, g.Since})
		}
		if to < g.To {
			out = append(out, Gap{to + 1, g.To, g.Since})
		}
	}
	return out
}

// UpTo returns the number up to which all of a device's numbers are held or
// written off.
func (d *Devices) UpTo(device string) uint64 {
	y := d.devices[device]
	switch {
	case y == nil:
		return 0
	case len(y.Gaps) > 0:
		return y.Gaps[0].From - 1
	default:
		return y.High
	}
}

// Missing returns the greatest number that is held or said to exist, and the
// numbers up to it that never came, written off or not.
func (d *Devices) Missing(device string) (high uint64, missing []Gap) {
	if y := d.devices[device]; y != nil {
		return y.High, slices.Clone(y.raw)
	}
	return 0, nil
}

// Device returns one device; ok is false if it never spoke.
func (d *Devices) Device(name string) (Device, bool) {
	y := d.devices[name]
	if y == nil {
		return Device{}, false
	}
	return *y, true
}

// List returns the names of the devices in order.
func (d *Devices) List() []string {
	out := make([]string, 0, len(d.devices))
	for n := range d.devices {
		out = append(out, n)
	}
	slices.Sort(out)
	return out
}

// Gaps returns every open gap of the site, by device.
func (d *Devices) Gaps(each func(device string, g Gap)) {
	for _, n := range d.List() {
		for _, g := range d.devices[n].Gaps {
			each(n, g)
		}
	}
}

// Dirty returns what changed since the last call.
func (d *Devices) Dirty() []wall.Chunk {
	out := append(d.rows.Take(), d.said...)
	d.said = nil
	for n := range d.dirty {
		out = append(out, wall.Chunk{Key: append([]byte{'d'}, n...), Value: d.devices[n].append(nil)})
	}
	clear(d.dirty)
	slices.SortFunc(out, func(a, b wall.Chunk) int { return cmp.Compare(string(a.Key), string(b.Key)) })
	return out
}

// Digest returns the SHA-256 of what is known of the devices.
func (d *Devices) Digest() [32]byte {
	b := append([]byte{wall.FoldVersion}, d.Site...)
	for _, n := range d.List() {
		b = append(append(b, n...), 0)
		b = fmt.Appendf(d.devices[n].append(b), "%v", d.devices[n].reports)
	}
	b = d.book.AppendDigest(b)
	return sha256.Sum256(b)
}

// A report is stored under "p", its stream sequence and its device's name.
func (r report) chunk(device string) wall.Chunk {
	v := binary.AppendUvarint(binary.AppendVarint(nil, r.at), r.last)
	return wall.Chunk{Key: append(binary.BigEndian.AppendUint64([]byte{'p'}, r.seq), device...), Value: v}
}

func (d *Devices) loadReport(key, value []byte) error {
	at, n := binary.Varint(value)
	if n <= 0 {
		return fmt.Errorf("report %x: %w", key, errDevice)
	}
	last, m := binary.Uvarint(value[n:])
	if m <= 0 || n+m != len(value) {
		return fmt.Errorf("report %x: %w", key, errDevice)
	}
	d.device(string(key[9:])).report(report{at, last, binary.BigEndian.Uint64(key[1:9])})
	return nil
}

func (y *Device) append(b []byte) []byte {
	b = binary.AppendUvarint(b, y.High)
	b = binary.AppendUvarint(b, y.Last)
	var flags int64
	if y.Offset {
		flags |= 1
	}
	if y.Unnumbered {
		flags |= 2
	}
	for _, v := range []int64{y.Reported, y.Seen, y.OffsetMS, y.LagMS, flags} {
		b = binary.AppendVarint(b, v)
	}
	for _, g := range y.raw {
		b = binary.AppendUvarint(b, g.From)
		b = binary.AppendUvarint(b, g.To)
		b = binary.AppendVarint(b, g.Since)
	}
	return b
}

var errDevice = errors.New("chunk cannot be read")

func readDevice(name string, b []byte) (*Device, error) {
	y := &Device{Name: name}
	bad := false
	u := func() uint64 {
		v, n := binary.Uvarint(b)
		if n <= 0 {
			bad, b = true, nil
			return 0
		}
		b = b[n:]
		return v
	}
	i := func() int64 {
		v, n := binary.Varint(b)
		if n <= 0 {
			bad, b = true, nil
			return 0
		}
		b = b[n:]
		return v
	}
	y.High, y.Last = u(), u()
	y.Reported, y.Seen, y.OffsetMS, y.LagMS = i(), i(), i(), i()
	flags := i()
	y.Offset, y.Unnumbered = flags&1 != 0, flags&2 != 0
	for len(b) > 0 && !bad {
		y.raw = append(y.raw, Gap{u(), u(), i()})
	}
	if bad {
		return nil, fmt.Errorf("device %s: %w", name, errDevice)
	}
	return y, nil
}
