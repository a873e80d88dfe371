package picture

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// describe says in plain words what the picture shows.
func (u *unrolling) describe() string {
	w := &u.w
	said := []string{"The wall unrolled as of " + u.moment(w.At) + ": " + u.length(w.LengthM) + " along, the form " + u.length(w.FormTopM) +
		" high, planned top at " + u.length(w.TopM) + "."}
	said = append(said, u.describeConcrete())
	said = append(said, u.describeFronts(w.Fronts)...)
	for _, j := range w.Joints {
		said = append(said, "Joint "+u.jointSays(j)+".")
	}
	said = append(said, u.describePlaces()...)
	for _, state := range braceStates {
		if names := u.bracesThat(state); names != "" {
			said = append(said, sentence(string(state))+": "+names+".")
		}
	}
	return strings.Join(said, " ")
}

func sentence(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}

func (u *unrolling) describeConcrete() string {
	if len(u.w.Layers) == 0 {
		return "No concrete is placed."
	}
	lo, hi := u.tops()
	say := "Concrete stands " + u.between(lo, hi) + " high"
	if hi-lo < 0.005 {
		say = "Concrete stands " + u.length(hi) + " high"
	}
	young, old := math.Inf(1), 0.0
	for _, l := range u.w.Layers {
		if !l.Began.IsZero() && !l.Ended.IsZero() {
			young, old = min(young, u.age(l.Began), u.age(l.Ended)), max(old, u.age(l.Began), u.age(l.Ended))
		}
	}
	if !math.IsInf(young, 1) {
		say += ", " + span(young, old) + " old"
	}
	return say + "."
}

// tops are the lowest and the highest top of concrete along the wall.
func (u *unrolling) tops() (lo, hi float64) {
	edges := []float64{0, u.w.LengthM}
	for _, l := range u.w.Layers {
		edges = append(edges, l.FromM, l.ToM)
	}
	slices.Sort(edges)
	edges = slices.Compact(edges)
	tops := make([]float64, len(edges)-1)
	layers := slices.SortedFunc(slices.Values(u.w.Layers), func(a, b Layer) int { return cmp.Compare(a.TopM, b.TopM) })
	for _, l := range layers {
		from, _ := slices.BinarySearch(edges, l.FromM)
		to, _ := slices.BinarySearch(edges, l.ToM)
		for k := from; k < to; k++ {
			tops[k] = l.TopM
		}
	}
	return slices.Min(tops), slices.Max(tops)
}

func (u *unrolling) describeFronts(fronts []Front) []string {
	var out []string
	for _, f := range fronts {
		where := u.between(f.FromM, f.ToM) + " along, " + u.length(f.TopM) + " high"
		if f.FromM == f.ToM {
			where = "end face at " + u.length(f.FromM) + ", " + u.between(f.BottomM, f.TopM) + " high"
		}
		out = append(out, "Open front, "+where+": "+strings.Join(u.tagLines(f), ", ")+".")
	}
	return out
}

func (u *unrolling) describePlaces() []string {
	var out []string
	for _, o := range u.w.Openings {
		out = append(out, sentence(cmp.Or(o.Name, "opening"))+": opening, "+u.between(o.FromM, o.ToM)+" along, sill "+u.length(o.SillM)+", head "+u.length(o.HeadM)+".")
	}
	if n := len(u.w.Corners); n > 0 {
		var at []string
		for i, c := range u.w.Corners {
			at = append(at, cmp.Or(c.Name, "corner "+strconv.Itoa(i+1))+" at "+u.length(c.AtM))
		}
		out = append(out, sentence(plural(n, "corner", "corners"))+": "+list(at)+".")
	}
	for _, b := range u.w.Bulkheads {
		out = append(out, "Bulkhead "+b.Name+" at "+u.length(b.AtM)+".")
	}
	for _, p := range u.w.Pilasters {
		out = append(out, "Pilaster "+p.Name+", "+u.between(p.FromM, p.ToM)+".")
	}
	return out
}
