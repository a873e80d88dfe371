package projector

import (
	"bytes"
	"crypto/ed25519"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"

	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/people"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// fold applies messages to the states and commits them to view.db. Its owner
// calls commit from one goroutine and keeps readers out meanwhile.
type fold struct {
	view     viewFile
	keep     *keep
	reader   reader
	log      *slog.Logger
	wallsMax int

	loaded  bool
	stand   stand
	sites   map[string]*place
	walls   *cache
	known   known
	company []wall.Fact // accepted company-wide events: every site folds them too

	register *people.Register
	pages    pages
}

// place is what a site is made of beside its walls.
type place struct {
	state   *site.State
	devices *site.Devices
	fresh   bool // made by the batch at hand: it has not taken the company's events yet
}

func newFold(cfg Config, k *keep, v viewFile) *fold {
	return &fold{view: v, keep: k, reader: newReader(cfg, k), log: cfg.Log, wallsMax: cfg.WallsMax}
}

func newReader(cfg Config, k *keep) reader {
	key := cfg.Key
	if key == nil {
		key = k.hub.Public().(ed25519.PublicKey)
	}
	return reader{key: key, demo: k.demo, unsigned: k.unsigned, signedFrom: k.signedFrom}
}

// load throws away what is in memory and takes the committed states. Walls are
// loaded when they are used.
func (f *fold) load() error {
	f.loaded = false
	f.sites, f.known = map[string]*place{}, known{}
	f.walls = newCache(f.wallsMax)
	var err error
	if f.stand, err = f.view.stand(); err != nil {
		return fmt.Errorf("load view: %w", err)
	}
	err = guarded(func() error {
		return f.view.db.View(func(tx *bbolt.Tx) error { return errors.Join(f.loadKnown(tx), f.loadCompany(tx), f.loadPeople(tx)) })
	})
	if err != nil {
		return fmt.Errorf("load view: %w", err)
	}
	f.loaded = true
	return nil
}

func (f *fold) loadKnown(tx *bbolt.Tx) error {
	var bad error
	for key := range chunks(tx, knownSection, nil, &bad) {
		s, w, _ := bytes.Cut(key, []byte{0})
		if len(w) > 0 {
			f.known.add(Ref{string(s), string(w)})
			continue
		}
		p, err := loadPlace(tx, string(s))
		if err != nil {
			return err
		}
		f.sites[string(s)] = p
	}
	return bad
}

func loadPlace(tx *bbolt.Tx, name string) (*place, error) {
	var bad error
	state, err := site.Load(name, chunks(tx, siteSection, prefixOf(name), &bad))
	if bad != nil || err != nil {
		return nil, fmt.Errorf("site %s: %w", name, errors.Join(bad, err, ErrDamaged))
	}
	devices, err := site.LoadDevices(name, chunks(tx, deviceSection, prefixOf(name), &bad))
	if bad != nil || err != nil {
		return nil, fmt.Errorf("devices of %s: %w", name, errors.Join(bad, err, ErrDamaged))
	}
	return &place{state: state, devices: devices}, nil
}

// loadSite returns a site's committed state.
func (f *fold) loadSite(name string) (st *site.State, err error) {
	err = guarded(func() error {
		return f.view.db.View(func(tx *bbolt.Tx) error {
			p, err := loadPlace(tx, name)
			if err == nil {
				st = p.state
			}
			return err
		})
	})
	return st, err
}

func (f *fold) loadCompany(tx *bbolt.Tx) (err error) {
	f.company, err = f.loadFacts(tx, companySection)
	for i := range f.company {
		d, ok := f.company[i].Data.(*events.DoubtSettled)
		if !ok || d.Message >= f.company[i].Seq {
			continue
		}
		row, _, bad := refusedRowOf(tx, d.Message)
		f.company[i].Settles = row.run()
		err = errors.Join(err, bad)
	}
	return err
}

// loadPeople folds the register again from the kept messages that changed it.
func (f *fold) loadPeople(tx *bbolt.Tx) error {
	facts, err := f.loadFacts(tx, peopleSection)
	f.register = people.New().With(facts...)
	return err
}

// loadFacts reads kept messages again that a section lists. That each was
// accepted then needs no judging anew of who said it.
func (f *fold) loadFacts(tx *bbolt.Tx, in section) (facts []wall.Fact, err error) {
	var bad error
	for key := range chunks(tx, in, nil, &bad) {
		it, err := f.keep.item(f.reader, binary.BigEndian.Uint64(key))
		if err == nil && it.refusal != nil {
			err = fmt.Errorf("%w: %w", it.refusal, ErrDamaged)
		}
		if err != nil {
			return nil, fmt.Errorf("%s event %x: %w", sectionNames[in], key, err)
		}
		facts = append(facts, it.fact())
	}
	return facts, bad
}

// wall returns a wall's state, from memory or from view.db. It is nil if
// nothing is known of the wall and make is false.
func (f *fold) wall(ref Ref, create bool) (*wall.State, error) {
	if st := f.walls.get(ref); st != nil {
		return st, nil
	}
	st, err := f.loadWall(ref)
	if err == nil && st == nil && create {
		st = wall.New(ref.Site, ref.Wall)
	}
	return st, err
}

func (f *fold) loadWall(ref Ref) (st *wall.State, err error) {
	err = guarded(func() error {
		return f.view.db.View(func(tx *bbolt.Tx) error {
			prefix := prefixOf(ref.Site, ref.Wall)
			if key, _ := tx.Bucket(sectionNames[wallSection]).Cursor().Seek(prefix); !bytes.HasPrefix(key, prefix) {
				return nil
			}
			var bad, err error
			st, err = wall.Load(ref.Site, ref.Wall, chunks(tx, wallSection, prefix, &bad))
			if bad != nil || err != nil {
				return errors.Join(bad, err, ErrDamaged)
			}
			return nil
		})
	})
	if err != nil {
		return nil, fmt.Errorf("load wall %s: %w", ref, err)
	}
	return st, nil
}

func (f *fold) site(name string) *place {
	p := f.sites[name]
	if p == nil {
		p = &place{site.New(name), site.NewDevices(name), true}
		f.sites[name] = p
	}
	return p
}

// commit folds a batch and writes it with its last sequence in one transaction.
// Messages up to the last folded one are passed over, so a batch whose commit
// was reported failed can be given again after load.
//
// A crash before the transaction ends leaves the states as they were: the batch
// is kept, and the next Open folds it from there. After an error the states in
// memory are ahead of the file; load must be called before anything else.
func (f *fold) commit(items []item) error {
	for len(items) > 0 && items[0].seq <= f.stand.Through {
		items = items[1:]
	}
	if len(items) == 0 {
		return nil
	}
	b := newBatch(f)
	for i := range items {
		if err := b.judge(&items[i]); err != nil {
			return err
		}
	}
	puts, err := b.apply()
	if err != nil {
		return err
	}
	err = guarded(func() error {
		return f.view.db.Update(func(tx *bbolt.Tx) error {
			for s := range sections {
				tx.Bucket(sectionNames[s]).FillPercent = viewFill
			}
			return write(tx, puts)
		})
	})
	if err != nil {
		return fmt.Errorf("fold messages %d to %d: %w", items[0].seq, f.stand.Through, err)
	}
	f.walls.clean(b.touched)
	return nil
}

// viewFill is how full a page is made when it is split. Chunks grow in place,
// so pages are left some room.
const viewFill = 0.8

// receipt says what a device may forget, and a part of what was refused (see
// pages). The caller keeps writers out.
func (f *fold) receipt(src events.Source) (stream.Receipt, bool, error) {
	p := f.sites[src.Site]
	if p == nil {
		return stream.Receipt{}, false, nil
	}
	r := stream.Receipt{Source: src.String(), UpTo: p.devices.UpTo(src.Device), Through: f.stand.Through}
	high, missing := p.devices.Missing(src.Device)
	r.High = high
	for _, g := range missing {
		r.Missing = append(r.Missing, stream.Span{From: g.From, To: g.To})
	}
	err := guarded(func() error {
		return f.view.db.View(func(tx *bbolt.Tx) error {
			return f.pages.turn(src, func(end []byte) (next []byte, err error) {
				r.Refused, next, err = refusedOf(tx, src, end)
				return next, err
			})
		})
	})
	return r, r.UpTo > 0 || len(r.Refused) > 0, err
}
