package events

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

// Bulkhead is a planned end of concrete inside the form.
type Bulkhead struct {
	Name string   `json:"name,omitzero" rule:"token" doc:"its mark"`
	AtM  *float64 `json:"at_m" rule:"need,0..2000" unit:"m" doc:"station"`
}

// Pilaster is a thickening of the wall.
type Pilaster struct {
	FromM   *float64 `json:"from_m" rule:"need,0..2000" unit:"m" doc:"station of one end"`
	ToM     *float64 `json:"to_m" rule:"need,0..2000" unit:"m" doc:"station of the other end"`
	DepthMM *float64 `json:"depth_mm" rule:"need,10..2000" unit:"mm" doc:"how far it stands out of the core"`
}

const (
	// legsTolerance is how far the legs may add up beside the wall's length, m.
	legsTolerance = 0.010
	// closureShare is how far a closed path may miss its start, of its length.
	closureShare = 0.01
)

// checkGeometry refuses a wall that cannot be built, and names the member.
func (d *WallLaidOut) checkGeometry() error {
	for _, check := range []func() error{d.checkLegs, d.checkOpenings, d.checkOverlaps, d.checkStations} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

func (d *WallLaidOut) checkLegs() error {
	if len(d.Legs) == 0 {
		return nil
	}
	sum := 0.0
	for _, l := range d.Legs {
		sum += *l.LengthM
	}
	if math.Abs(sum-*d.LengthM) > legsTolerance {
		return refuse("data.legs", "legs of "+ftoa(round3(sum))+" m", "legs that add up to length_m, "+ftoa(*d.LengthM)+" m")
	}
	if miss := d.miss(); d.Closed && miss > closureShare*sum {
		return refuse("data.legs", "a closed path that misses its start by "+ftoa(round3(miss))+" m", "legs and turns that close within 1 % of the length")
	}
	return nil
}

func round3(v float64) float64 { return math.Round(v*1000) / 1000 }

// miss is how far the end of the path lies from its start, m.
func (d *WallLaidOut) miss() float64 {
	var x, y, heading float64
	for _, l := range d.Legs {
		x += float64(*l.LengthM * math.Cos(heading))
		y += float64(*l.LengthM * math.Sin(heading))
		if l.TurnDeg != nil {
			heading += *l.TurnDeg * math.Pi / 180
		}
	}
	return math.Hypot(x, y)
}

func (d *WallLaidOut) checkOpenings() error {
	for i, o := range d.Openings {
		at := "data.openings." + strconv.Itoa(i)
		switch {
		case *o.HeadM <= *o.SillM:
			return refuse(at+".head_m", ftoa(*o.HeadM), "above sill_m, "+ftoa(*o.SillM)+" m")
		case *o.HeadM > *d.HeightM:
			return refuse(at+".head_m", ftoa(*o.HeadM), "at most height_m, "+ftoa(*d.HeightM)+" m")
		case max(*o.FromM, *o.ToM) > *d.LengthM:
			return refuse(at+".to_m", ftoa(max(*o.FromM, *o.ToM)), "within the wall, 0.."+ftoa(*d.LengthM)+" m")
		}
		if err := checkStretch(at, o.FromM, o.ToM); err != nil {
			return err
		}
	}
	return nil
}

// checkOverlaps refuses two openings that share some of the wall.
func (d *WallLaidOut) checkOverlaps() error {
	order := make([]int, len(d.Openings))
	for i := range order {
		order[i] = i
	}
	left := func(i int) float64 { return min(*d.Openings[i].FromM, *d.Openings[i].ToM) }
	right := func(i int) float64 { return max(*d.Openings[i].FromM, *d.Openings[i].ToM) }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(left(a), left(b)) })
	for n, i := range order {
		for _, j := range order[n+1:] {
			if left(j) >= right(i) {
				break
			}
			if *d.Openings[i].SillM < *d.Openings[j].HeadM && *d.Openings[j].SillM < *d.Openings[i].HeadM {
				return refuse("data.openings."+strconv.Itoa(max(i, j)), "overlaps data.openings."+strconv.Itoa(min(i, j)), "openings apart from each other")
			}
		}
	}
	return nil
}

// checkStations refuses braces, bulkheads and pilasters off the wall, and two
// braces at one station.
func (d *WallLaidOut) checkStations() error {
	off := func(at string, m *float64) error {
		if *m > *d.LengthM {
			return refuse(at, ftoa(*m), "within the wall, 0.."+ftoa(*d.LengthM)+" m")
		}
		return nil
	}
	seen := map[float64]int{}
	for i, b := range d.Braces {
		at := "data.braces." + strconv.Itoa(i) + ".at_m"
		if err := off(at, b.AtM); err != nil {
			return err
		}
		if j, taken := seen[*b.AtM]; taken {
			return refuse(at, ftoa(*b.AtM), "another station than data.braces."+strconv.Itoa(j))
		}
		seen[*b.AtM] = i
	}
	for i, b := range d.Bulkheads {
		if err := off("data.bulkheads."+strconv.Itoa(i)+".at_m", b.AtM); err != nil {
			return err
		}
	}
	for i, p := range d.Pilasters {
		at := "data.pilasters." + strconv.Itoa(i)
		if err := off(at+".to_m", p.ToM); err != nil {
			return err
		}
		if err := off(at+".from_m", p.FromM); err != nil {
			return err
		}
		if err := checkStretch(at, p.FromM, p.ToM); err != nil {
			return err
		}
	}
	return checkNames(d.Braces)
}
