package picture

import "strings"

// jointLines draws the joints that were covered past their limit: a saw where
// the joint is cold, a line with dowels where it was treated.
func (u *unrolling) jointLines(r row) {
	for _, j := range u.w.Joints {
		parts := u.solid(r, j.FromM, j.ToM, j.LevelM)
		if x := r.x(j.FromM); j.FromM == j.ToM && r.holds(j.FromM) {
			parts = [][2]float64{{x, x}}
		}
		for _, p := range parts {
			from, to := Point{p[0], r.y(j.LevelM)}, Point{p[1], r.y(j.TopM)}
			u.joint(from, to, j.State)
			u.take(Box{from.X, to.Y, to.X, from.Y}.grow(5))
		}
	}
}

// joint draws a level line from the left, or an upright one from below.
func (s *sheet) joint(from, to Point, state JointState) {
	if state == JointTreated {
		s.line(paper, 7, from, to)
		s.line(ink, 2.5, from, to)
		s.path(Style{Stroke: ink, WidthPX: 2}, dowels(from, to)...)
		return
	}
	teeth := saw(from, to, 12)
	s.line(paper, 8, teeth...)
	s.line(holdRed, 3.5, teeth...)
}

// dowels are short lines across a level or an upright line.
func dowels(from, to Point) [][]Point {
	var out [][]Point
	for x := from.X + 6; from.Y == to.Y && x < to.X; x += 12 {
		out = append(out, []Point{{x, from.Y - 6}, {x, from.Y + 6}})
	}
	for y := to.Y + 6; from.X == to.X && y < from.Y; y += 12 {
		out = append(out, []Point{{from.X - 6, y}, {from.X + 6, y}})
	}
	return out
}

// jointNames writes a name at each joint, with its word where that fits.
func (u *unrolling) jointNames(i int) {
	r := u.rows[i]
	form := Box{r.left, r.top, r.right(), r.base}
	for _, j := range u.w.Joints {
		if home(u.rows, j.FromM, j.ToM) != i {
			continue
		}
		x0, x1, _ := r.span(j.FromM, j.ToM)
		y0, y1 := r.y(j.TopM), r.y(j.LevelM)
		for _, say := range [...]string{j.Name + " " + jointWord(j), j.Name} {
			if u.jointName(say, x0, x1, y0, y1, form) {
				break
			}
		}
	}
}

// jointName tries places beside a joint: over and under a level one, left and
// right of an upright one.
func (u *unrolling) jointName(say string, x0, x1, y0, y1 float64, form Box) bool {
	w, high := wide(say, u.size, true)+10, u.size*1.25
	tries := []Point{
		{x0 + 4, y0 - 8 - high}, {x1 - 4 - w, y0 - 8 - high}, {(x0+x1)/2 - w/2, y0 - 8 - high},
		{x0 + 4, y1 + 8}, {x1 - 4 - w, y1 + 8}, {(x0+x1)/2 - w/2, y1 + 8},
	}
	if x0 == x1 {
		mid := (y0 + y1 - high) / 2
		tries = []Point{{x0 + 9, mid}, {x0 - 9 - w, mid}}
	}
	for _, p := range tries {
		b := Box{p.X, p.Y, p.X + w, p.Y + high}
		if !b.within(form.grow(-3)) || !u.free(b.grow(1)) {
			continue
		}
		u.rect(b, Style{Fill: paper, Stroke: ink, WidthPX: 1.5})
		u.say(Text{At: Point{b.X0 + 5, baseline(b.middle().Y, u.size)}, Say: say, Bold: true})
		u.take(b)
		return true
	}
	return false
}

func jointWord(j Joint) string {
	if j.State == JointTreated {
		return "treated joint"
	}
	return "cold joint"
}

// jointSays is a joint in the key and in the description.
func (u *unrolling) jointSays(j Joint) string {
	var b strings.Builder
	b.WriteString(j.Name + ": ")
	if j.State == JointTreated {
		b.WriteString("cold joint, treated, ")
	} else {
		b.WriteString("cold joint, not treated, ")
	}
	if j.FromM == j.ToM {
		b.WriteString("upright at " + u.length(j.FromM) + ", " + u.between(j.LevelM, j.TopM) + " high")
	} else {
		b.WriteString(u.between(j.FromM, j.ToM) + " along, " + u.length(j.LevelM) + " high")
	}
	if j.AgeMin > 0 && j.LimitMin > 0 {
		b.WriteString("; covered after " + minutesUp(j.AgeMin) + ", limit " + minutes(j.LimitMin))
	}
	return b.String()
}
