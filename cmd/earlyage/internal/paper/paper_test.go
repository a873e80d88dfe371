package paper_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/demo/week"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/paper"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/projector"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Walls of the demo: one whose bracing came off early, one that froze, one that is
// placed, one of which nothing is placed.
var (
	early   = scheduler.Ref{Site: "alder-court", Wall: "north-2"}
	frozen  = scheduler.Ref{Site: "tverrbakken", Wall: "wall-3"}
	placing = scheduler.Ref{Site: "stone-draw", Wall: "shop-a"}
	planned = scheduler.Ref{Site: "alder-court", Wall: "east-2"}
)

// record is what the demo's hub leaves.
type record struct {
	papers   map[scheduler.Ref]paper.Input
	register register.Register
}

// played has the demo played, once for all tests.
var played = sync.OnceValues(func() (r record, err error) {
	dir, err := week.Make(context.Background())
	if err != nil {
		return r, err
	}
	defer os.RemoveAll(filepath.Dir(dir))
	p, err := projector.Open(projector.Config{Dir: dir})
	if err != nil {
		return r, err
	}
	defer p.Close()
	c, err := p.Checkpoint()
	if err != nil {
		return r, err
	}
	seal := &register.Checkpoint{Key: p.VerifierKey(), At: face.Time{Time: c.At}, Size: c.Size, Through: c.Through, Root: c.Root.String(), Note: string(c.Note)}
	r.papers = map[scheduler.Ref]paper.Input{}
	err = p.Read(func(v projector.View) error {
		for _, ref := range []scheduler.Ref{early, frozen, placing, planned} {
			if r.papers[ref], err = inputOf(v, ref, seal); err != nil {
				return err
			}
		}
		r.register = registerOf(v, r.papers[early].Page.At.Time, seal)
		return nil
	})
	return r, err
})

func theWeek(t testing.TB) record {
	t.Helper()
	r, err := played()
	require.NoError(t, err)
	return r
}

// named is a name that no other text holds.
func named(person string) string { return "Name of " + person }

func inputOf(v projector.View, ref scheduler.Ref, seal *register.Checkpoint) (paper.Input, error) {
	var leaves []projector.Leaf
	var rows []projector.RefusedRow
	var last time.Time
	for _, at := range append([]projector.Ref{{Site: scheduler.Company}, {Site: ref.Site}}, v.Walls(ref.Site)...) {
		err := v.Leaves(at, func(l projector.Leaf) error {
			if l.Recorded.After(last) {
				last = l.Recorded
			}
			leaves = append(leaves, l)
			if row, refused := v.RefusedAt(l.Seq); refused {
				rows = append(rows, row)
			}
			return nil
		})
		if err != nil {
			return paper.Input{}, err
		}
	}
	return printed(wallpage.Messages(leaves, rows), ref, last, seal)
}

// printed is what a paper is made of, by the messages up to a moment.
func printed(messages []wallpage.Message, ref scheduler.Ref, at time.Time, seal *register.Checkpoint) (paper.Input, error) {
	x, err := wallpage.AsOf(messages, ref, at)
	if err != nil {
		return paper.Input{}, fmt.Errorf("%v at %v: %w", ref, at, err)
	}
	in := paper.Input{Words: words.Of(words.English), Name: named, Page: wallpage.Make(x)}
	one := register.Input{Site: in.Page.Site, State: x.Site, Devices: x.Devices, Hub: x.Hub, Name: named, Walls: slices.Values([]*wall.State{x.Wall})}
	q := register.Query{At: x.At, Wall: ref.Wall}
	head := register.Register{Through: x.Through, Level: x.Level, Site: ref.Site, Checkpoint: seal}
	in.Register = register.Join(head, q, []register.Site{register.Make(q, one)})
	return in, nil
}

func registerOf(v projector.View, at time.Time, seal *register.Checkpoint) register.Register {
	q := register.Query{At: at}
	var sites []register.Site
	for _, name := range v.Sites() {
		s := v.Site(name)
		if name == scheduler.Company || s == nil {
			continue
		}
		sites = append(sites, register.Make(q, register.Input{
			Site: face.Site{Site: name, Name: s.Name(), Zone: s.Zone().String(), Units: s.Units()}, State: s, Devices: v.Devices(name), Name: named,
			Walls: func(yield func(*wall.State) bool) {
				for _, ref := range v.Walls(name) {
					if w := v.Wall(ref); w != nil && !yield(w) {
						return
					}
				}
			},
		}))
	}
	return register.Join(register.Register{Level: true, Through: v.Through(), Checkpoint: seal}, q, sites)
}

func wallPDF(t testing.TB, in paper.Input, size paper.Size) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, paper.Wall(&out, in, size))
	return out.Bytes()
}

func registerPDF(t testing.TB, reg register.Register, size paper.Size) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, paper.Register(&out, reg, words.Of(words.English), size))
	return out.Bytes()
}
