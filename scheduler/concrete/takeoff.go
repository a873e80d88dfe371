package concrete

import (
	"cmp"
	"fmt"
	"math"
)

// Opening is a hole right through a wall.
type Opening struct{ Width, Height float64 } // m

// Corners counts the corners of a wall that is measured along its outer face.
type Corners struct {
	Outward int // the outer face turns round the core, as at the corner of a house
	Inward  int // the outer face turns into the core, as where a wing joins
}

// CentreLine is the length in m along the middle of the core of a wall whose
// legs (1 to 1000 of them, each over 0 to 1000 m) are measured on the outer
// face, so that each corner counts once: the legs less the thickness (0.05 to 5
// m) at each outward corner, and more by it at each inward one. Source:
// geometry, for square corners.
func CentreLine(legs []float64, thickness float64, c Corners) (float64, error) {
	err := cmp.Or(
		inRange("number of legs", float64(len(legs)), 1, 1000, ""),
		inRange("core thickness", thickness, 0.05, 5, "m"),
		inRange("outward corners", float64(c.Outward), 0, 1000, ""),
		inRange("inward corners", float64(c.Inward), 0, 1000, ""),
	)
	if err != nil {
		return 0, fmt.Errorf("centre line: %w", err)
	}
	sum := 0.0
	for i, leg := range legs {
		if err := inRange(fmt.Sprintf("leg %d", i+1), leg, 0.001, 1000, "m"); err != nil {
			return 0, fmt.Errorf("centre line: %w", err)
		}
		sum += leg
	}
	sum += float64(thickness * float64(c.Inward-c.Outward))
	if err := inRange("centre line", sum, 0.001, 2e6, "m"); err != nil {
		return 0, fmt.Errorf("centre line: corners against legs: %w", err)
	}
	return sum, nil
}

// TakeOff is what the concrete for a wall is reckoned from.
type TakeOff struct {
	CentreLine float64   // m, over 0 to 2000
	Height     float64   // m, over 0 to 50
	Core       float64   // m thick, 0.05 to 5
	Openings   []Opening // each side 0 to 100 m; together no more than the wall
	Waste      float64   // share, 0 to 0.3; 0.05 (large) to 0.10 (small) is common practice, no source
	PumpLine   float64   // m³ to fill the line, 0 to 3; 0.2 to 0.5 is common practice, no source
	Truck      float64   // m³ a truck carries, 1 to 20
}

// Quantity is the outcome of a take-off.
type Quantity struct {
	Face      float64 // m² of one face, openings out
	Net       float64 // m³ in the wall
	WithWaste float64 // m³
	Order     float64 // m³, with the pump line
	Trucks    int     // whole trucks for Order
	LastTruck float64 // m³ in the last: the balance to be called for
}

// Quantity is V = (L H - openings) t, and what must be ordered for it. Values
// outside the ranges of [TakeOff] are refused. Source: geometry.
func (t TakeOff) Quantity() (Quantity, error) {
	err := cmp.Or(
		inRange("centre line", t.CentreLine, 0.001, 2000, "m"), inRange("height of wall", t.Height, 0.01, 50, "m"),
		inRange("core thickness", t.Core, 0.05, 5, "m"), inRange("waste", t.Waste, 0, 0.3, ""),
		inRange("pump line", t.PumpLine, 0, 3, "m³"), inRange("truck", t.Truck, 1, 20, "m³"),
	)
	if err != nil {
		return Quantity{}, fmt.Errorf("take-off: %w", err)
	}
	gross, holes := t.CentreLine*t.Height, 0.0
	for i, o := range t.Openings {
		name := fmt.Sprintf("opening %d", i+1)
		if err := cmp.Or(inRange(name+" width", o.Width, 0, 100, "m"), inRange(name+" height", o.Height, 0, t.Height, "m")); err != nil {
			return Quantity{}, fmt.Errorf("take-off: %w", err)
		}
		holes += float64(o.Width * o.Height)
	}
	if err := inRange("area of openings", holes, 0, gross, "m²"); err != nil {
		return Quantity{}, fmt.Errorf("take-off: %w", err)
	}
	q := Quantity{Face: gross - holes}
	q.Net = q.Face * t.Core
	q.WithWaste = q.Net * (1 + t.Waste)
	q.Order = q.WithWaste + t.PumpLine
	q.Trucks = whole(q.Order / t.Truck)
	if q.Trucks > 0 {
		q.LastTruck = math.Min(t.Truck, q.Order-float64(float64(q.Trucks-1)*t.Truck))
	}
	return q, nil
}
