package wall

import (
	"cmp"
	"math"
	"slices"

	"earlyage/events"
)

// Geometry is the wall's shape, in millimetres along the centre line and above
// the wall's foot.
type Geometry struct {
	Length, Height, Top int
	Closed              bool
	Legs                []Leg
	Openings            []Opening // by station, then sill
	Corners             []int     // stations where the wall turns by 20° or more
	Bulkheads           []int
	Pilasters           []Pilaster
}

// Leg is one straight run with one core thickness.
type Leg struct{ From, To, Core int }

// Opening is a hole in the wall.
type Opening struct {
	Name       string
	From, To   int
	Sill, Head int
}

// Pilaster is a thickening of the wall.
type Pilaster struct{ From, To, Depth int }

// cornerFrom is the least turn that counts as a corner, degrees.
const cornerFrom = 20

func geometryOf(d *events.WallLaidOut) Geometry {
	g := Geometry{Length: mm(d.LengthM), Height: mm(d.HeightM), Closed: d.Closed}
	g.Top = g.Height
	if d.TopM != nil {
		g.Top = mm(d.TopM)
	}
	g.layLegs(d)
	for _, o := range d.Openings {
		g.Openings = append(g.Openings, Opening{Name: o.Name, From: min(mm(o.FromM), mm(o.ToM)), To: max(mm(o.FromM), mm(o.ToM)), Sill: mm(o.SillM), Head: mm(o.HeadM)})
	}
	slices.SortFunc(g.Openings, func(a, b Opening) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Sill, b.Sill), cmp.Compare(a.To, b.To))
	})
	for _, b := range d.Bulkheads {
		g.Bulkheads = append(g.Bulkheads, mm(b.AtM))
	}
	for _, p := range d.Pilasters {
		g.Pilasters = append(g.Pilasters, Pilaster{min(mm(p.FromM), mm(p.ToM)), max(mm(p.FromM), mm(p.ToM)), int(math.Round(*p.DepthMM))})
	}
	slices.Sort(g.Bulkheads)
	return g
}

// layLegs lays the legs one after the other; without legs the wall is one leg.
func (g *Geometry) layLegs(d *events.WallLaidOut) {
	core := int(math.Round(*d.CoreMM))
	at, turned := 0.0, false
	for i, l := range d.Legs {
		leg := Leg{From: mm(&at), Core: core}
		at += *l.LengthM
		leg.To = mm(&at)
		if l.CoreMM != nil {
			leg.Core = int(math.Round(*l.CoreMM))
		}
		if i == len(d.Legs)-1 {
			leg.To = g.Length
		}
		g.Legs = append(g.Legs, leg)
		turned = l.TurnDeg != nil && math.Abs(*l.TurnDeg) >= cornerFrom
		if turned && i < len(d.Legs)-1 {
			g.Corners = append(g.Corners, leg.To)
		}
	}
	if len(g.Legs) == 0 {
		g.Legs = []Leg{{0, g.Length, core}}
	}
	if turned && g.Closed {
		g.Corners = append(g.Corners, 0)
	}
	slices.Sort(g.Corners)
}

// core is the concrete's thickness at a station, pilasters included.
func (g *Geometry) core(at int) int {
	thick := 0
	for _, l := range g.Legs {
		if l.From <= at && at < l.To {
			thick = l.Core
		}
	}
	for _, p := range g.Pilasters {
		if p.From <= at && at < p.To {
			thick += p.Depth
		}
	}
	return thick
}

// borders are the stations at which the wall's section changes, its ends included.
func (g *Geometry) borders() []int {
	out := []int{0, g.Length}
	for _, l := range g.Legs {
		out = append(out, l.From, l.To)
	}
	for _, o := range g.Openings {
		out = append(out, o.From, o.To)
	}
	for _, p := range g.Pilasters {
		out = append(out, p.From, p.To)
	}
	out = append(out, g.Bulkheads...)
	slices.Sort(out)
	out = slices.Compact(out)
	return slices.DeleteFunc(out, func(at int) bool { return at < 0 || at > g.Length })
}

// openingsAt lists the openings over a station, the lowest first.
func (g *Geometry) openingsAt(at int) []Opening {
	var out []Opening
	for _, o := range g.Openings {
		if o.From <= at && at < o.To {
			out = append(out, o)
		}
	}
	slices.SortFunc(out, func(a, b Opening) int { return cmp.Compare(a.Sill, b.Sill) })
	return out
}

// Volume is the concrete between two heights over some stations, openings left
// out, in millilitres (1000 mm³), so that it is an integer.
func (g *Geometry) Volume(from, to, bottom, top int) int64 {
	var ml int64
	edges := append(g.borders(), from, to)
	slices.Sort(edges)
	for i := 1; i < len(edges); i++ {
		a, b := max(edges[i-1], from), min(edges[i], to)
		if b <= a {
			continue
		}
		mid := (a + b) / 2
		high := int64(top - bottom)
		for _, o := range g.openingsAt(mid) {
			high -= int64(max(0, min(top, o.Head)-max(bottom, o.Sill)))
		}
		ml += int64(b-a) * int64(g.core(mid)) * max(high, 0) / 1000
	}
	return ml
}

// FaceArea is the area of one face up to the planned top, openings left out, mm².
func (g *Geometry) FaceArea() int64 {
	area := int64(g.Length) * int64(g.Top)
	for _, o := range g.Openings {
		area -= int64(o.To-o.From) * int64(max(0, min(o.Head, g.Top)-o.Sill))
	}
	return area
}

// zone is a height between openings in which there can be concrete.
type zone struct{ bottom, top int }

// zones lists them at a station from the foot up.
func (g *Geometry) zones(at int) []zone {
	out := []zone{{0, g.Height}}
	for _, o := range g.openingsAt(at) {
		out[len(out)-1].top = o.Sill
		out = append(out, zone{o.Head, g.Height})
	}
	return out
}

// short reports whether concrete is missing on a stretch under its planned top,
// by more than the tolerance. Concrete that stands above an opening has filled
// what lies below it.
func (g *Geometry) short(st Stretch) bool {
	need := 0
	for _, z := range g.zones(st.mid()) {
		if end := min(z.top, g.Top); z.bottom < end {
			need = end
		}
	}
	return st.Height() < need-topTolerance
}

// open reports whether the stretch's surface waits for more concrete on it: it
// stands neither at its planned top nor at a sill.
func (g *Geometry) open(st Stretch) bool {
	height := st.Height()
	for _, z := range g.zones(st.mid()) {
		if end := min(z.top, g.Top); z.bottom < height && height <= z.top {
			return height < end-topTolerance
		}
	}
	return false
}
