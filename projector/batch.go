package projector

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/go-json-experiment/json"

	"earlyage/events"
	"earlyage/projector/people"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// batch is the messages of one transaction, sorted out by wall and site.
type batch struct {
	f       *fold
	groups  map[Ref]*group
	touched []Ref // walls, in the order in which they were first named
	company []wall.Fact
	devices map[string]bool // sites whose devices changed
	people  *people.Draft
	refused map[uint64]RefusedRow // by this batch
	puts    []put
}

// group is what a batch holds for one wall or site.
type group struct {
	facts   []wall.Fact // accepted
	refused []wall.Refused
}

func newBatch(f *fold) *batch {
	return &batch{f: f, groups: map[Ref]*group{}, devices: map[string]bool{}, people: f.register.Draft(), refused: map[uint64]RefusedRow{}}
}

func (b *batch) group(at Ref) *group {
	g := b.groups[at]
	if g == nil {
		g = &group{}
		b.groups[at] = g
		if at.Wall != "" {
			b.touched = append(b.touched, at)
		}
	}
	return g
}

// judge decides in stream order what becomes of a message.
func (b *batch) judge(it *item) error {
	s := &b.f.stand
	if it.seq != s.Through+1 {
		s.Holes = append(s.Holes, Hole{From: s.Through + 1, To: it.seq - 1, Since: it.recorded})
	}
	s.Through, s.Recorded = it.seq, it.recorded
	if it.people {
		// Whatever else is said of it: what follows was judged by it.
		_, _ = b.people.Add(it.fact())
		b.puts = append(b.puts, put{peopleSection, seqKey(it.seq), []byte{}})
	}
	switch {
	case it.first != 0 && it.first != it.seq && !it.other:
		s.Duplicates++
		return nil
	case it.refusal != nil:
		return b.refuse(it, clip(it.refusal.Field, 120), reason(it.refusal))
	case it.first != it.seq:
		if it.firstAt != it.at {
			return b.refuse(it, "id", otherBytes(it.first), it.firstAt)
		}
		return b.refuse(it, "id", otherBytes(it.first))
	}
	taken, err := b.numberTaken(it)
	if err != nil {
		return err
	}
	if taken != 0 {
		return b.refuse(it, "sequence", fmt.Sprintf("same number, other event: message %d has number %d of this device", taken, it.number))
	}
	return b.accept(it)
}

func otherBytes(first uint64) string {
	return fmt.Sprintf("same key, other bytes: message %d stands", first)
}

// numberTaken returns the earlier message that has the item's number. The
// devices know at once that a number is new; that it is held they may also say
// of one that was written off, and which comes after all.
func (b *batch) numberTaken(it *item) (uint64, error) {
	if it.number == 0 || !b.f.site(it.at.Site).devices.Number(it.device, it.number) {
		return 0, nil
	}
	return b.f.keep.holder(it.event.Source, it.number, it.seq)
}

func (b *batch) accept(it *item) error {
	b.f.stand.Folded++
	fact := it.fact()
	if err := errors.Join(b.settles(&fact), b.instead(it)); err != nil {
		return fmt.Errorf("message %d: %w", it.seq, err)
	}
	g := b.group(it.at)
	if !it.people { // that is in the register, and no site's or wall's concern
		g.facts = append(g.facts, fact)
	}
	if it.at == (Ref{Site: "_"}) && !it.people {
		b.company = append(b.company, fact)
		b.puts = append(b.puts, put{companySection, seqKey(it.seq), []byte{}})
	}
	if d, ok := it.event.Data.(*events.HoleAccepted); ok {
		b.f.stand.Holes = acceptHoles(b.f.stand.Holes, d.From, d.To)
	}
	b.devices[it.at.Site] = true
	b.guard(it, func() { b.f.site(it.at.Site).devices.Add(fact) })
	return nil
}

// settles looks up which refused messages a settled doubt answers.
func (b *batch) settles(fact *wall.Fact) error {
	d, ok := fact.Data.(*events.DoubtSettled)
	if !ok || d.Message == 0 || d.Message >= fact.Seq {
		return nil
	}
	row, refused, err := b.refusedRow(d.Message)
	if refused {
		fact.Settles = row.run()
	}
	return err
}

// instead ends the doubt about a message that was refused and is accepted now.
func (b *batch) instead(it *item) error {
	if it.refused == 0 {
		return nil
	}
	row, _, err := b.refusedRow(it.refused)
	for _, at := range row.Doubts {
		g := b.group(at)
		g.refused = append(g.refused, wall.Refused{Seq: it.refused, Instead: it.seq})
	}
	return err
}

func (b *batch) refusedRow(seq uint64) (RefusedRow, bool, error) {
	if row, ok := b.refused[seq]; ok {
		return row, true, nil
	}
	return b.f.view.refusedRow(seq)
}

// refuse lists the message, holds its number and puts the doubt where the
// subject points, where its body does, and where it is due beside. The hub's word on people and devices is about no wall, and no
// doubt on one if it does not count.
func (b *batch) refuse(it *item, field, why string, beside ...Ref) error {
	b.f.stand.Refused++
	row := RefusedRow{
		Seq: it.seq, Recorded: it.recorded, Subject: clip(it.subject, 200),
		ID: it.id, Field: cmp.Or(field, "event"), Reason: why, Doubts: beside,
	}
	if it.source.Device != "" {
		row.Source = it.source.String()
	}
	if it.placed {
		row.Site, row.Wall = it.at.Site, it.at.Wall
		if !it.people {
			row.Doubts = append(row.Doubts, it.at)
		}
	}
	if it.named != (Ref{}) {
		row.Doubts = append(row.Doubts, it.named)
	}
	for _, at := range row.Doubts {
		g := b.group(at)
		g.refused = append(g.refused, wall.Refused{Seq: it.seq, Recorded: it.recorded, ID: it.id, Source: row.Source, Field: row.Field, Reason: why})
	}
	b.refused[it.seq] = row
	value, err := json.Marshal(row)
	if err != nil {
		return fmt.Errorf("refused message %d: %w", it.seq, err)
	}
	b.puts = append(b.puts, put{refusedSection, seqKey(it.seq), value})
	if it.number == 0 {
		return nil
	}
	b.puts = append(b.puts, put{refusedNumbers, refusedNumberKey(it.at.Site, it.device, it.number, it.seq), []byte(field + ": " + why)})
	b.devices[it.at.Site] = true
	b.guard(it, func() { b.f.site(it.at.Site).devices.Refuse(it.device, it.number, it.recorded) })
	return nil
}

// guard keeps a defect in the fold of devices from stopping the projector.
func (b *batch) guard(it *item, f func()) {
	defer func() {
		if p := recover(); p != nil {
			b.f.log.Error("fold of devices panicked", "stream_seq", it.seq, "cause", p, "stack", string(debug.Stack()))
		}
	}()
	f()
}

// apply folds the groups and returns what is to be written.
func (b *batch) apply() ([]put, error) {
	if err := b.applyWalls(); err != nil {
		return nil, err
	}
	if err := b.applySites(); err != nil {
		return nil, err
	}
	for name := range b.devices {
		b.chunks(deviceSection, prefixOf(name), b.f.site(name).devices.Dirty())
	}
	stand, err := json.Marshal(b.f.stand)
	if err != nil {
		return nil, fmt.Errorf("stand: %w", err)
	}
	b.f.register = b.people.Result()
	return append(b.puts, put{metaSection, standKey, stand}), nil
}

func (b *batch) chunks(in section, prefix []byte, list []wall.Chunk) {
	for _, c := range list {
		b.puts = append(b.puts, put{in, slices.Concat(prefix, c.Key), c.Value})
	}
}

// applyWalls folds every wall on all processors: no wall's fold knows another.
func (b *batch) applyWalls() error {
	folded := make([]foldedWall, len(b.touched))
	errs := make([]error, len(b.touched))
	one := func(i int) {
		ref := b.touched[i]
		folded[i], errs[i] = b.applyWall(ref, b.groups[ref])
	}
	if workers := min(runtime.GOMAXPROCS(0), len(b.touched)/8); workers <= 1 {
		for i := range b.touched {
			one(i)
		}
	} else {
		var next atomic.Int64
		var wg sync.WaitGroup
		for range workers {
			wg.Go(func() {
				for i := next.Add(1) - 1; i < int64(len(b.touched)); i = next.Add(1) - 1 {
					one(int(i))
				}
			})
		}
		wg.Wait()
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	for i, ref := range b.touched {
		if err := b.takeWall(ref, folded[i]); err != nil {
			return err
		}
	}
	return nil
}

type foldedWall struct {
	state  *wall.State
	chunks []wall.Chunk
	broken []wall.Fact
}

func (b *batch) applyWall(ref Ref, g *group) (out foldedWall, err error) {
	st, err := b.f.wall(ref, true)
	if err != nil {
		return out, err
	}
	out.state, out.chunks, out.broken, err = foldGroup(b.f.log, st, func() (*wall.State, error) {
		st, err := b.f.loadWall(ref)
		if st == nil && err == nil {
			st = wall.New(ref.Site, ref.Wall)
		}
		return st, err
	}, g.facts, g.refused)
	if err != nil {
		return out, fmt.Errorf("wall %s: %w", ref, err)
	}
	return out, nil
}

func (b *batch) takeWall(ref Ref, w foldedWall) error {
	b.f.walls.put(ref, w.state, true)
	b.chunks(wallSection, prefixOf(ref.Site, ref.Wall), w.chunks)
	if !b.f.known.has(ref) && w.state.Known() {
		b.f.known.add(ref)
		b.puts = append(b.puts, put{knownSection, knownKey(ref), []byte{}})
	}
	return b.listBroken(w.broken)
}

// applySites folds site-wide events. A company-wide one goes to every site, and
// a new site takes all those before it.
func (b *batch) applySites() error {
	for at := range b.groups {
		b.f.site(at.Site)
	}
	b.f.company = append(b.f.company, b.company...)
	for _, name := range slices.Sorted(maps.Keys(b.f.sites)) {
		p := b.f.sites[name]
		if p.fresh {
			b.puts = append(b.puts, put{knownSection, knownKey(Ref{Site: name}), []byte{}})
		}
		facts, refused := b.ofSite(name, p.fresh)
		p.fresh = false
		if len(facts)+len(refused) == 0 {
			continue
		}
		if err := b.applySite(name, p, facts, refused); err != nil {
			return err
		}
	}
	return nil
}

// ofSite gathers what a site's own state has to take.
func (b *batch) ofSite(name string, fresh bool) (facts []wall.Fact, refused []wall.Refused) {
	switch {
	case name == "_":
	case fresh:
		facts = slices.Clone(b.f.company)
	default:
		facts = slices.Clone(b.company)
	}
	if g := b.groups[Ref{Site: name}]; g != nil {
		facts, refused = append(facts, g.facts...), g.refused
	}
	return facts, refused
}

func (b *batch) applySite(name string, p *place, facts []wall.Fact, refused []wall.Refused) error {
	st, chunks, broken, err := foldGroup(b.f.log, p.state, func() (*site.State, error) { return b.f.loadSite(name) }, facts, refused)
	if err != nil {
		return fmt.Errorf("site %s: %w", name, err)
	}
	p.state = st
	b.chunks(siteSection, prefixOf(name), chunks)
	return b.listBroken(broken)
}

// listBroken lists events that a fold could not take as refused.
func (b *batch) listBroken(broken []wall.Fact) error {
	for _, fact := range broken {
		b.f.log.Error("event cannot be folded", "stream_seq", fact.Seq, "kind", string(fact.Kind), "site", fact.Source.Site, "wall", fact.Wall)
		b.f.stand.Refused++
		value, err := json.Marshal(RefusedRow{
			Seq: fact.Seq, Recorded: fact.Recorded, Subject: fact.Subject(), Site: fact.Source.Site, Wall: fact.Wall,
			ID: fact.ID, Source: fact.Source.String(), Field: brokenField, Reason: brokenReason,
		})
		if err != nil {
			return fmt.Errorf("broken event %d: %w", fact.Seq, err)
		}
		b.puts = append(b.puts, put{refusedSection, seqKey(fact.Seq), value})
	}
	return nil
}
