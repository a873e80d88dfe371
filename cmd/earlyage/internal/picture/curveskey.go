package picture

import (
	"cmp"
	"math"
	"strings"
)

func (k *curves) key() []entry {
	var list []entry
	sample := func(st Style) func(*sheet, Box) {
		return func(s *sheet, b Box) { s.path(st, []Point{{b.X0, b.middle().Y}, {b.X1, b.middle().Y}}) }
	}
	if !k.direct {
		for i, s := range k.c.Temperatures {
			list = append(list, entry{sample(k.stroke(i)), k.nameOf(s)})
		}
	}
	if end, ok := last(k.c.Age); ok {
		list = append(list, entry{sample(Style{Stroke: ink, WidthPX: 4}), cmp.Or(k.c.AgeName, "equivalent age") + ", now " + hours(end.Value, math.Floor) + " h"})
	}
	if len(k.c.Expected) > 1 {
		list = append(list, entry{func(s *sheet, b Box) {
			in := Box{b.X0, b.Y0 + 3, b.X1, b.Y1 - 3}
			s.rect(in, Style{Fill: slab})
			for x := in.X0; x <= in.X1; x += 9 {
				s.line(grey, 1, Point{x, in.Y0}, Point{x, in.Y1})
			}
			s.path(Style{Stroke: curingPurple, WidthPX: 1.5}, []Point{{in.X0, in.Y0}, {in.X1, in.Y0}}, []Point{{in.X0, in.Y1}, {in.X1, in.Y1}})
			s.dashed(curingPurple, 3, []float64{9, 5}, Point{in.X0, b.middle().Y}, Point{in.X1, b.middle().Y})
		}, "expected, by forecast: it opens nothing"})
	}
	if k.c.NeedH > 0 {
		list = append(list, entry{level(ink, 2.5, []float64{8, 5}), "needed, " + trimmed(k.c.NeedH) + " h"})
	}
	if !k.floorEnd().IsZero() {
		list = append(list, entry{func(s *sheet, b Box) {
			s.line(holdRed, 2.5, Point{b.middle().X, b.Y0}, Point{b.middle().X, b.Y1})
		}, "end of the floor of " + trimmed(k.c.FloorH) + " h, never shortened"})
	}
	if k.axis.holds(k.c.Met) && k.c.NeedH > 0 {
		list = append(list, entry{marked(tickMark), "age needed is reached"})
	} else if k.axis.holds(k.c.Likely) && k.c.NeedH > 0 {
		list = append(list, entry{marked(ringMark), "age needed is expected"})
	}
	return list
}

// describe says in plain words what the curves show.
func (k *curves) describe() string {
	said := []string{"Temperatures and " + cmp.Or(k.c.AgeName, "equivalent age") + " against time."}
	for _, line := range k.summary() {
		said = append(said, sentence(line)+".")
	}
	for _, s := range k.c.Temperatures {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range s.Points {
			if !math.IsNaN(p.Value) {
				lo, hi = min(lo, p.Value), max(hi, p.Value)
			}
		}
		end, _ := last(s.Points)
		said = append(said, sentence(s.Name)+" between "+k.celsius(lo)+" and "+k.celsius(hi)+", last "+k.celsius(end.Value)+".")
	}
	for _, t := range k.c.Thresholds {
		said = append(said, "Threshold "+strings.TrimSpace(t.Name+" "+k.celsius(t.C))+".")
	}
	if end, ok := last(k.c.Age); ok {
		say := "The age is " + hours(end.Value, math.Floor) + " h"
		if k.c.NeedH > 0 {
			say += " of " + trimmed(k.c.NeedH) + " h needed"
		}
		said = append(said, say+".")
	}
	return strings.Join(said, " ")
}
