// Package replay folds a recorded stream that lies in a file: CloudEvents, one
// to a line, in the order in which they became known. It needs no server and no
// store, and gives what the hub would have said at a moment.
//
// A line's number stands for the stream's sequence, the CloudEvents attribute
// recordedtime for the stream's timestamp; where it is missing, the entry is
// taken to have been recorded when it was made. Nothing in a file is signed, so
// what only the hub may say is passed over. The package has no clock: equal
// bytes give equal answers.
package replay

import (
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Record is what a file says, as far as it was known at a moment.
type Record struct {
	At      time.Time
	Refused []face.Refused
	Later   int // entries that were not yet known at the moment

	last  time.Time // recorded time of the last entry that could be read
	sites map[string]*siteRecord
	seen  map[events.Key]first
	all   []wall.Fact         // of the whole company
	runs  map[uint64]wall.Run // of refused entries, by line
}

// first is the entry that came first with its key.
type first struct {
	sum  [sha256.Size]byte // of its line
	wall string
}

type siteRecord struct {
	state   *site.State
	devices *site.Devices
	walls   map[string]*wall.State
}

// Read folds what r says as it was known at the moment.
func Read(r io.Reader, at time.Time) (*Record, error) {
	rec := &Record{At: at, Refused: []face.Refused{}, sites: map[string]*siteRecord{}, seen: map[events.Key]first{}, runs: map[uint64]wall.Run{}}
	err := lines(r, func(number int, line []byte) error {
		rec.add(number, line)
		return nil
	})
	return rec, err
}

func (r *Record) site(name string) *siteRecord {
	s := r.sites[name]
	if s == nil {
		s = &siteRecord{state: site.New(name), devices: site.NewDevices(name), walls: map[string]*wall.State{}}
		r.sites[name] = s
		if name != company {
			s.state.Add(r.all...)
		}
	}
	return s
}

const company = "_"

func (s *siteRecord) wall(site, name string) *wall.State {
	w := s.walls[name]
	if w == nil {
		w = wall.New(site, name)
		s.walls[name] = w
	}
	return w
}

func (r *Record) add(number int, line []byte) {
	e, err := events.Decode("", line)
	if err != nil {
		r.refuse(number, line, err)
		return
	}
	recorded := e.Recorded
	if recorded.IsZero() {
		recorded = e.Time.Add(e.ClockOffset)
	}
	recorded = recorded.Truncate(time.Millisecond)
	r.last = recorded
	if recorded.After(r.At) {
		r.Later++
		return
	}
	sum := sha256.Sum256(line)
	if before, twice := r.seen[e.Key()]; twice {
		if before.sum != sum {
			r.conflict(number, line, e, before)
		}
		return
	}
	r.seen[e.Key()] = first{sum, e.Wall}
	if e.Kind.SchedulerOnly() {
		return
	}
	f := wall.Fact{Event: e, Seq: uint64(number), Recorded: recorded}
	if d, ok := e.Data.(*events.DoubtSettled); ok {
		f.Settles = r.runs[d.Message]
	}
	r.fold(f)
}

// conflict refuses other bytes under a key that stands: a doubt where they point,
// and where the entry that stands does.
func (r *Record) conflict(number int, line []byte, e events.Event, before first) {
	refusal := &events.Refusal{Field: "id", Value: e.ID, Allowed: "one event under one key; these are other bytes under a key that stands already"}
	r.refuse(number, line, refusal)
	if before.wall != e.Wall {
		r.site(e.Source.Site).refuse(e.Source.Site, before.wall, wall.Refused{
			Seq: uint64(number), Recorded: r.last, ID: e.ID, Source: e.Source.String(), Field: refusal.Field, Reason: why(refusal),
		})
	}
}

func (r *Record) fold(f wall.Fact) {
	s := r.site(f.Source.Site)
	if f.Sequence != 0 && s.devices.Number(f.Source.Device, f.Sequence) {
		r.note(int(f.Seq), f.Recorded, named{id: f.ID, source: f.Source, wall: f.Wall}, &events.Refusal{
			Field: "sequence", Value: fmt.Sprint(f.Sequence), Allowed: "a number that the device has not given to another event"})
		return
	}
	s.devices.Add(f)
	switch {
	case f.Wall != "":
		s.wall(f.Source.Site, f.Wall).Add(f)
	case f.Source.Site == company:
		s.state.Add(f)
		r.all = append(r.all, f)
		for name, other := range r.sites {
			if name != company {
				other.state.Add(f)
			}
		}
	default:
		s.state.Add(f)
	}
}

// refuse lists a line that cannot be accepted; it is taken to have been recorded
// with the line before it. If it names a site or a wall it
// is a doubt there, and a number that it bears is held.
func (r *Record) refuse(number int, line []byte, err error) {
	if r.last.After(r.At) {
		r.Later++
		return
	}
	n, recorded := peek(line), r.last
	if recorded.IsZero() {
		recorded = r.At
	}
	r.note(number, recorded, n, err)
	if n.sequence != 0 && n.source.Site != "" {
		r.site(n.source.Site).devices.Refuse(n.source.Device, n.sequence, recorded)
	}
}

// why says what stood there and what is allowed. The decoder's own words are
// left out: they differ from one process to the next.
func why(r *events.Refusal) string {
	value := "nothing"
	if r.Value != "" {
		value = strconv.Quote(r.Value)
	}
	return value + "; allowed: " + r.Allowed
}

func (r *Record) note(number int, recorded time.Time, n named, err error) {
	field, reason := "body", "an event that can be read"
	var refusal *events.Refusal
	if errors.As(err, &refusal) {
		field, reason = refusal.Field, why(refusal)
	}
	r.Refused = append(r.Refused, face.Refused{Line: number, ID: n.id, Field: field, Reason: reason})
	if n.source.Site == "" {
		return
	}
	refused := wall.Refused{Seq: uint64(number), Recorded: recorded, ID: n.id, Source: n.source.String(), Field: field, Reason: reason}
	r.runs[refused.Seq] = refused.Run()
	r.site(n.source.Site).refuse(n.source.Site, n.wall, refused)
}

func (s *siteRecord) refuse(site, wallName string, refused wall.Refused) {
	if wallName == "" {
		s.state.AddRefused(refused)
		return
	}
	s.wall(site, wallName).AddRefused(refused)
}

// Walls assesses every wall, in order of site and wall.
func (r *Record) Walls() []face.Wall {
	out := []face.Wall{}
	for _, s := range r.sites {
		for _, w := range s.walls {
			if w.Known() {
				out = append(out, face.FromAssessment(scheduler.Assess(s.state, s.devices, w, scheduler.Hub{}, r.At)))
			}
		}
	}
	slices.SortFunc(out, func(a, b face.Wall) int {
		return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(a.Wall, b.Wall))
	})
	return out
}

// Sheet makes the calculation sheet of one wall; ok is false if it is not in the
// record.
func (r *Record) Sheet(site, wall string) (s scheduler.Sheet, ok bool) {
	rec := r.sites[site]
	if rec == nil || rec.walls[wall] == nil || !rec.walls[wall].Known() {
		return scheduler.Sheet{}, false
	}
	return scheduler.SheetOf(rec.state, rec.devices, rec.walls[wall], scheduler.Hub{}, r.At), true
}

// Sites lists the sites for a page.
func (r *Record) Sites() map[string]face.Site {
	out := map[string]face.Site{}
	for name, s := range r.sites {
		out[name] = face.Site{Site: name, Name: s.state.Name(), Zone: s.state.Zone().String(), Units: s.state.Units()}
	}
	return out
}
