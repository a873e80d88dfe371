package picture

import "math"

// Marks are drawn within a square of the given side about a middle. Each has an
// outline of its own, so that it is known without its colour.

type mark func(s *sheet, at Point, side float64)

func (s *sheet) polygon(at Point, side float64, st Style, unit ...Point) {
	points := make([]Point, len(unit))
	for i, u := range unit {
		points[i] = Point{at.X + u.X*side/2, at.Y + u.Y*side/2}
	}
	st.Closed = true
	s.path(st, points)
}

func circle(at Point, radius float64) []Point {
	const sides = 24
	points := make([]Point, sides)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / sides)
		points[i] = Point{at.X + float64(radius*cos), at.Y + float64(radius*sin)}
	}
	return points
}

// placingMark is a triangle that points down.
func placingMark(s *sheet, at Point, side float64) {
	s.polygon(at, side, Style{Fill: placingBlue, Stroke: paper, WidthPX: 1}, Point{-1, -0.85}, Point{1, -0.85}, Point{0, 0.95})
}

// ringMark is a ring.
func ringMark(s *sheet, at Point, side float64) {
	s.path(Style{Fill: paper, Stroke: curingPurple, WidthPX: side * 0.2, Closed: true}, circle(at, side*0.4))
}

// watchMark is a triangle that points up, with an ink outline.
func watchMark(s *sheet, at Point, side float64) {
	s.polygon(at, side-2, Style{Fill: watchAmber, Stroke: ink, WidthPX: 2}, Point{-1, 0.85}, Point{1, 0.85}, Point{0, -0.95})
}

// holdMark is a square with a bar.
func holdMark(s *sheet, at Point, side float64) {
	s.polygon(at, side, Style{Fill: holdRed, Stroke: paper, WidthPX: 1}, Point{-0.9, -0.9}, Point{0.9, -0.9}, Point{0.9, 0.9}, Point{-0.9, 0.9})
	s.polygon(at, side, Style{Fill: paper}, Point{-0.55, -0.2}, Point{0.55, -0.2}, Point{0.55, 0.2}, Point{-0.55, 0.2})
}

// tickMark is a disc with a tick.
func tickMark(s *sheet, at Point, side float64) {
	s.path(Style{Fill: stripGreen, Stroke: paper, WidthPX: 1, Closed: true}, circle(at, side/2))
	s.line(paper, side*0.14, Point{at.X - side*0.24, at.Y + side*0.02}, Point{at.X - side*0.06, at.Y + side*0.2}, Point{at.X + side*0.26, at.Y - side*0.2})
}

// crossMark is a cross: what stood here is gone.
func crossMark(s *sheet, at Point, side float64) {
	r := side * 0.36
	s.path(Style{Stroke: ink, WidthPX: side * 0.16}, []Point{{at.X - r, at.Y - r}, {at.X + r, at.Y + r}}, []Point{{at.X - r, at.Y + r}, {at.X + r, at.Y - r}})
}

// planMark is a thin diamond: not there yet.
func planMark(s *sheet, at Point, side float64) {
	s.polygon(at, side, Style{Fill: paper, Stroke: grey, WidthPX: 1.5}, Point{0, -0.9}, Point{0.7, 0}, Point{0, 0.9}, Point{-0.7, 0})
}

// unknownMark is a dashed square.
func unknownMark(s *sheet, at Point, side float64) {
	s.polygon(at, side, Style{Fill: paper, Stroke: noLinkGrey, WidthPX: 2, DashPX: []float64{3, 2}}, Point{-0.8, -0.8}, Point{0.8, -0.8}, Point{0.8, 0.8}, Point{-0.8, 0.8})
}

// hatch fills a box with thin slanting lines.
func (s *sheet) hatch(b Box, step float64) {
	if b.wide() <= 0 || b.high() <= 0 {
		return
	}
	var lines [][]Point
	// A line runs from (x, bottom) up to the right, clipped to the box. The lines
	// of all boxes lie on one grid, so that two boxes side by side match.
	first := math.Floor((b.X0+b.Y1-b.high())/step) * step
	for c := first; c < b.X1+b.Y1; c += step { // x + y = c
		from := Point{c - b.Y1, b.Y1}
		if from.X < b.X0 {
			from = Point{b.X0, c - b.X0}
		}
		to := Point{c - b.Y0, b.Y0}
		if to.X > b.X1 {
			to = Point{b.X1, c - b.X1}
		}
		if from.Y > b.Y0 && from.X < b.X1 && to.X > from.X {
			lines = append(lines, []Point{from, to})
		}
	}
	s.path(Style{Stroke: grey, WidthPX: 1}, lines...)
}

// saw is a saw-toothed line from one point to another, level or upright.
func saw(from, to Point, tooth float64) []Point {
	length := math.Hypot(to.X-from.X, to.Y-from.Y)
	if length == 0 {
		return []Point{from, to}
	}
	n := max(2, int(math.Round(length/tooth))*2)
	ux, uy := (to.X-from.X)/length, (to.Y-from.Y)/length
	points := []Point{from}
	for i := 1; i < n; i++ {
		along, side := length*float64(i)/float64(n), tooth*0.45
		if i%2 == 0 {
			side = -side
		}
		points = append(points, Point{from.X + float64(ux*along) - float64(uy*side), from.Y + float64(uy*along) + float64(ux*side)})
	}
	return append(points, to)
}

// plate is a slab with a heavy outline and one round corner, top right.
func (s *sheet) plate(b Box, fill, stroke Color, width float64) {
	r := min(10, b.high()/2, b.wide()/2)
	points := []Point{{b.X0, b.Y0}}
	const steps = 6
	for i := range steps + 1 {
		sin, cos := math.Sincos(math.Pi / 2 * float64(i) / steps)
		points = append(points, Point{b.X1 - r + float64(r*sin), b.Y0 + r - float64(r*cos)})
	}
	points = append(points, Point{b.X1, b.Y1}, Point{b.X0, b.Y1})
	s.path(Style{Fill: fill, Stroke: stroke, WidthPX: width, Closed: true}, points)
}
