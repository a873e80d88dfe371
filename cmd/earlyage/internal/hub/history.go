package hub

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/people"
	"earlyage/scheduler"
)

// Wall implements wallpage.Reader. A wall that is out of the caller's sight is
// none. What was known at a past moment is folded outside the record's lock.
func (p picturesOf) Wall(ctx context.Context, ref scheduler.Ref, asOf time.Time, see func(wallpage.Input) error) error {
	seen := p.hub.sightOf(door.CallerOf(ctx))
	if !asOf.IsZero() {
		in, err := p.hub.wallAsOf(seen, ref, asOf)
		if err != nil {
			return err
		}
		return see(in)
	}
	err := p.hub.look(seen, func(v pictured) error {
		if v.Wall(projector.Ref(ref)) == nil {
			return errUnseen
		}
		in, err := v.input(ref, p.hub.demo)
		if err != nil {
			return err
		}
		return see(in)
	})
	return noWall(err, ref)
}

// input is all that is known of a wall that the record has.
func (p pictured) input(ref scheduler.Ref, demo bool) (wallpage.Input, error) {
	at := projector.Ref(ref)
	messages, err := p.all(at)
	st, devices, s := p.Site(ref.Site), p.Devices(ref.Site), p.Wall(at)
	return wallpage.Input{
		At: p.now, Through: p.Through(), Level: p.Level(), Doubts: p.hub.Doubts, Demo: demo, Site: st, Devices: devices, Wall: s, Hub: p.hub,
		Sheet: scheduler.SheetOf(st, devices, s, p.hub, p.now), Messages: messages,
	}, err
}

// Zone implements wallpage.Reader.
func (p picturesOf) Zone(ctx context.Context, site string) (zone *time.Location, err error) {
	err = p.hub.look(p.hub.sightOf(door.CallerOf(ctx)), func(v pictured) error {
		if s := v.Site(site); s != nil && v.sight.sees(site) {
			zone = s.Zone()
			return nil
		}
		return errUnseen
	})
	return zone, noWall(err, scheduler.Ref{Site: site})
}

func noWall(err error, ref scheduler.Ref) error {
	if errors.Is(err, errUnseen) {
		return fmt.Errorf("%s/%s: %w: %w", ref.Site, ref.Wall, wallpage.ErrNoWall, err)
	}
	return err
}

// all lists the messages under a wall's name, and the refused ones that left a
// doubt there.
func (p pictured) all(at projector.Ref) ([]wallpage.Message, error) {
	leaves, rows, err := p.leaves(at)
	if err != nil {
		return nil, err
	}
	more, moreRows, err := p.elsewhere(leaves, func(doubt projector.Ref) bool { return doubt == at })
	return wallpage.Messages(append(leaves, more...), append(rows, moreRows...)), err
}

// elsewhere lists the refused messages that stand under other names than those
// listed, and left a doubt where it is asked about.
func (p pictured) elsewhere(listed []projector.Leaf, about func(projector.Ref) bool) (leaves []projector.Leaf, rows []projector.RefusedRow, err error) {
	under := map[uint64]bool{}
	for _, l := range listed {
		under[l.Seq] = true
	}
	seen := 0
	p.EachRefused(0, func(row projector.RefusedRow) bool {
		if seen++; !under[row.Seq] && slices.ContainsFunc(row.Doubts, about) {
			rows = append(rows, row)
		}
		return seen < refusedLooked
	})
	for _, row := range rows {
		leaf, err := p.kept(row.Seq)
		if err != nil {
			return nil, nil, err
		}
		leaves = append(leaves, leaf)
	}
	return leaves, rows, nil
}

// leaves lists the messages under the name of a wall, or of a site itself, and
// which of them were refused.
func (p pictured) leaves(at projector.Ref) (list []projector.Leaf, rows []projector.RefusedRow, err error) {
	err = p.Leaves(at, func(l projector.Leaf) error {
		list = append(list, l)
		if row, refused := p.RefusedAt(l.Seq); refused {
			rows = append(rows, row)
		}
		return nil
	})
	return list, rows, err
}

// kept reads one message.
func (p pictured) kept(seq uint64) (projector.Leaf, error) {
	raw, err := p.Leaf(seq)
	if err != nil {
		return projector.Leaf{}, err
	}
	leaf, err := projector.ParseLeaf(raw)
	if err != nil {
		return leaf, fmt.Errorf("message %d: %w", seq, err)
	}
	return leaf, nil
}

// wallAsOf folds what was known of a wall at a past moment.
func (h *Hub) wallAsOf(seen sight, ref scheduler.Ref, asOf time.Time) (in wallpage.Input, err error) {
	var leaves []projector.Leaf
	var rows []projector.RefusedRow
	err = h.look(seen, func(p pictured) error {
		if p.Wall(projector.Ref(ref)) == nil {
			return errUnseen
		}
		if asOf.After(p.now) {
			return &events.Refusal{Field: "as-of", Value: asOf.Format(time.RFC3339), Allowed: "not after the hub's present, " + p.now.UTC().Format(time.RFC3339)}
		}
		for _, at := range append([]projector.Ref{{Site: people.Company}, {Site: ref.Site}}, p.Walls(ref.Site)...) {
			list, refused, err := p.leaves(at)
			if err != nil {
				return err
			}
			leaves, rows = append(leaves, list...), append(rows, refused...)
		}
		more, moreRows, err := p.elsewhere(leaves, func(doubt projector.Ref) bool {
			return doubt.Site == ref.Site && (doubt.Wall == "" || doubt.Wall == ref.Wall)
		})
		leaves, rows = append(leaves, more...), append(rows, moreRows...)
		return err
	})
	if err != nil {
		return in, noWall(err, ref)
	}
	if in, err = wallpage.AsOf(wallpage.Messages(leaves, rows), ref, asOf); err != nil {
		return in, err
	}
	in.Demo = h.demo
	return in, nil
}

// wallThen answers as of a past moment. It opens nothing: the answer bears that
// moment, and who asks for it asks how it stood.
func (w *web) wallThen(rw http.ResponseWriter, r *http.Request, text string) {
	asOf, err := time.Parse(time.RFC3339, text)
	if err != nil {
		w.fail(rw, &events.Refusal{Field: "as-of", Value: text[:min(len(text), 40)], Allowed: "a moment, as 2026-06-01T09:00:00Z"})
		return
	}
	ref := scheduler.Ref{Site: r.PathValue("site"), Wall: r.PathValue("wall")}
	in, err := w.hub.wallAsOf(w.sight(r), ref, asOf)
	if err != nil {
		w.fail(rw, err)
		return
	}
	at := face.Time{Time: asOf.UTC()}
	out := api.Wall{
		Head: headThen(in, w.hub.demo),
		Wall: face.ByPlace(in.Sheet.Assessment), AsOf: at, Alarms: openOn(in.Site, in.Wall, at.Time),
	}
	if r.FormValue("sheet") == "1" {
		out.Sheet = &in.Sheet
	}
	w.tagged(rw, r, &out, &out.At, nil)
}

// headThen is the head of an answer as of a past moment.
func headThen(in wallpage.Input, demo bool) api.Head {
	return api.Head{At: face.Time{Time: in.At.UTC()}, Through: in.Through, Level: true, Doubts: []string{}, Demo: demo, Sites: []face.Site{{
		Site: in.Site.Site, Name: in.Site.Name(), Zone: in.Site.Zone().String(), Units: in.Site.Units(),
	}}}
}
