package scheduler_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// device is one device of a script.
type device struct {
	name     string
	fast     time.Duration // its clock minus the right time
	offset   time.Duration // what it believes hub time minus its own to be
	knows    bool
	numbered bool
	offline  bool
	number   uint64
	kept     []events.Event // made while offline
}

// record is a stream: what was accepted, in the order in which it came, and
// what was refused.
type record struct {
	facts   []wall.Fact
	refused []refusal
	seq     uint64
}

type refusal struct {
	wall.Refused
	wall, device string
	number       uint64
}

func (r *record) take(e events.Event, at time.Time) {
	r.seq++
	f := wall.Fact{Event: e, Seq: r.seq, Recorded: at.UTC().Truncate(time.Millisecond)}
	if d, ok := e.Data.(*events.DoubtSettled); ok {
		for i := range r.refused {
			if x := &r.refused[i].Refused; x.Seq == d.Message {
				f.Settles = x.Run()
			}
		}
	}
	r.facts = append(r.facts, f)
}

// folded is a record as the projector would hold it.
type folded struct {
	site    *site.State
	devices *site.Devices
	walls   map[string]*wall.State
}

func (f *folded) wall(site, name string) *wall.State {
	w := f.walls[name]
	if w == nil {
		w = wall.New(site, name)
		f.walls[name] = w
	}
	return w
}

// fold plays a record in the order of the stream, as the projector does.
func (r *record) fold(name string) *folded {
	f := &folded{site.New(name), site.NewDevices(name), map[string]*wall.State{}}
	seen := map[events.Key]bool{}
	for _, x := range r.facts {
		f.take(name, x, seen)
	}
	for _, x := range r.refused {
		if x.number != 0 {
			f.devices.Refuse(x.device, x.number, x.Recorded)
		}
		if x.wall == "" {
			f.site.AddRefused(x.Refused)
		} else {
			f.wall(name, x.wall).AddRefused(x.Refused)
		}
	}
	return f
}

func (f *folded) take(site string, x wall.Fact, seen map[events.Key]bool) {
	if seen[x.Key()] {
		return
	}
	seen[x.Key()] = true
	f.devices.Add(x)
	if x.Wall == "" {
		f.site.Add(x)
	} else {
		f.wall(site, x.Wall).Add(x)
	}
}

// foldAnyhow plays it in another order, twice, in batches, and through the store.
func (r *record) foldAnyhow(t *testing.T, name string, seed uint64) *folded {
	rng := rand.New(rand.NewPCG(seed, 1))
	facts := append(slices.Clone(r.facts), r.facts...)
	rng.Shuffle(len(facts), func(i, j int) { facts[i], facts[j] = facts[j], facts[i] })
	f := &folded{site.New(name), r.fold(name).devices, map[string]*wall.State{}}
	refused := append(slices.Clone(r.refused), r.refused...)
	rng.Shuffle(len(refused), func(i, j int) { refused[i], refused[j] = refused[j], refused[i] })
	store := map[string]map[string][]byte{}
	keep := func(of string, chunks []wall.Chunk) {
		if store[of] == nil {
			store[of] = map[string][]byte{}
		}
		for _, c := range chunks {
			if store[of][string(c.Key)] = bytes.Clone(c.Value); c.Value == nil {
				delete(store[of], string(c.Key))
			}
		}
	}
	for len(facts)+len(refused) > 0 {
		n := min(len(refused), rng.IntN(5))
		for _, x := range refused[:n] {
			if x.wall == "" {
				f.site.AddRefused(x.Refused)
			} else {
				f.wall(name, x.wall).AddRefused(x.Refused)
			}
		}
		refused = refused[n:]
		n = min(len(facts), 1+rng.IntN(40))
		batch := map[string][]wall.Fact{}
		for _, x := range facts[:n] {
			batch[x.Wall] = append(batch[x.Wall], x)
		}
		for w, list := range batch {
			if w == "" {
				f.site.Add(list...)
				keep("", f.site.Dirty())
			} else {
				f.wall(name, w).Add(list...)
				keep(w, f.wall(name, w).Dirty())
			}
		}
		facts = facts[n:]
	}
	return f.reload(t, name, store, keep)
}

// reload takes the states from what was stored.
func (f *folded) reload(t *testing.T, name string, store map[string]map[string][]byte, keep func(string, []wall.Chunk)) *folded {
	keep("", f.site.Dirty())
	keep("devices", f.devices.Dirty())
	chunks := func(of string) func(func(k, v []byte) bool) {
		return func(yield func(k, v []byte) bool) {
			for k, v := range store[of] {
				if !yield([]byte(k), v) {
					return
				}
			}
		}
	}
	var err error
	out := &folded{walls: map[string]*wall.State{}}
	out.site, err = site.Load(name, chunks(""))
	require.NoError(t, err)
	out.devices, err = site.LoadDevices(name, chunks("devices"))
	require.NoError(t, err)
	for w, state := range f.walls {
		keep(w, state.Dirty())
		out.walls[w], err = wall.Load(name, w, chunks(w))
		require.NoError(t, err)
		require.Equal(t, state.Digest(), out.walls[w].Digest(), "wall %s after the store", w)
	}
	require.Equal(t, f.site.Digest(), out.site.Digest(), "site after the store")
	require.Equal(t, f.devices.Digest(), out.devices.Digest(), "devices after the store")
	return out
}

// known is the record as far as it had come at a moment.
func (r *record) known(at time.Time) *record {
	out := &record{}
	for _, x := range r.facts {
		if !x.Recorded.After(at) {
			out.facts = append(out.facts, x)
		}
	}
	for _, x := range r.refused {
		if !x.Recorded.After(at) {
			out.refused = append(out.refused, x)
		}
	}
	return out
}

// look assesses a wall, and again from another order and from the store.
func (s *stage) look(t *testing.T, name string, at time.Time) scheduler.Assessment {
	t.Helper()
	known := s.facts.known(at)
	f := known.fold(s.site)
	w := f.walls[name]
	require.NotNil(t, w, "no such wall %q", name)
	got := scheduler.Assess(f.site, f.devices, w, s.hub, at)
	h := fnv.New64a()
	fmt.Fprint(h, name, at, len(known.facts))
	again := known.foldAnyhow(t, s.site, h.Sum64())
	require.Equal(t, f.site.Digest(), again.site.Digest(), "site in another order")
	require.Equal(t, w.Digest(), again.walls[name].Digest(), "wall in another order")
	require.Equal(t, got, scheduler.Assess(again.site, again.devices, again.walls[name], s.hub, at))
	for _, x := range got.Alerts {
		requireSayable(t, x)
		require.False(t, x.Near)
	}
	for _, x := range got.Nearing {
		require.True(t, x.Near)
	}
	return got
}

func (s *stage) runRecord(t *testing.T, _ words, input string) string {
	var out strings.Builder
	for line := range strings.Lines(input) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		if err := s.entry(t, line); err != nil {
			fmt.Fprintf(&out, "refused: %v\n", err)
		}
	}
	return out.String()
}

// entry reads DATE TIME DEVICE [PERSON] KIND WALL|- key=value …
func (s *stage) entry(t *testing.T, line string) error {
	r := csv.NewReader(strings.NewReader(line))
	r.Comma, r.TrimLeadingSpace, r.FieldsPerRecord = ' ', true, -1
	w, err := r.Read()
	require.NoError(t, err, line)
	require.GreaterOrEqual(t, len(w), 5, line)
	at := s.at(t, w[0]+"@"+w[1])
	d := s.device(t, w[2])
	e := events.Event{Source: events.Source{Site: s.site, Device: d.name}, Time: at.Add(d.fast).UTC()}
	rest := w[3:]
	if !strings.Contains(rest[0], ".") {
		e.By, rest = rest[0], rest[1:]
	}
	e.Kind, e.Wall = events.Kind(rest[0]), strings.TrimPrefix(rest[1], "-")
	var args []string
	recorded := at.Add(time.Second)
	for _, pair := range rest[2:] {
		key, value, _ := strings.Cut(pair, "=")
		switch key {
		case "as":
			e.ID = value
		case "recorded":
			recorded = s.at(t, value)
			s.day = w[0]
		case "no":
			n, err := strconv.ParseUint(value, 10, 64)
			require.NoError(t, err, line)
			d.number = n - 1
		case "of":
			source, known := s.names[value]
			require.True(t, known, "%s: no entry %q", line, value)
			args = append(args, "target.source="+source, "target.id="+value)
		default:
			args = append(args, key+"="+s.withDay(value, w[0]))
		}
	}
	if e.Data, err = events.FromArgs(e.Kind, args, events.Args{Location: s.zone}); err != nil {
		return err
	}
	return s.stamp(d, e, recorded)
}

// withDay puts the line's date before times such as @08:30.
func (s *stage) withDay(value, day string) string {
	parts := strings.Split(value, ",")
	for i, p := range parts {
		p = strings.ReplaceAll(p, "@", "T")
		if strings.HasPrefix(p, "T") {
			p = day + p
		}
		parts[i] = p
	}
	return strings.Join(parts, ",")
}

// stamp numbers an event as its device does, sends it through the codec and
// records it, or keeps it if the device is offline.
func (s *stage) stamp(d *device, e events.Event, recorded time.Time) error {
	s.count++
	if e.ID == "" {
		e.ID = fmt.Sprintf("e%04d", s.count)
	}
	if d.numbered {
		d.number++
		e.Sequence = d.number
	}
	if d.knows {
		e.ClockOffset, e.HasOffset = d.offset, true
	}
	body, err := e.Encode()
	if err == nil {
		e, err = events.Decode(e.Subject(), body)
	}
	if err != nil {
		return err
	}
	s.names[e.ID] = e.Source.String()
	if d.offline {
		d.kept = append(d.kept, e)
		return nil
	}
	s.facts.take(e, recorded)
	return nil
}
