package calc

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/plotter"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// after is a moment so many hours from the first reading.
func (r removalCase) after(hours float64) (float64, bool) { return hours, r.wall.end() >= hours }

func (r removalCase) floor() (said, error) {
	s := said{asks: "48 h gone by", source: "common practice, no source", status: practice}
	s.at, s.met = r.after(concrete.FloorHours)
	return s, nil
}

// braces is 48 h of equivalent age at 20 °C, and never before 48 h have gone by.
func (r removalCase) braces(m concrete.Maturity) (said, error) {
	s := said{asks: "48 h at 20 °C by " + m.Name(), source: m.Rule.Source(), status: fromMemory}
	age, err := r.wall.CountedAge(m)
	if err != nil {
		return s, err
	}
	at, met, err := age.When(concrete.FloorHours)
	if err != nil || !met {
		return s, err
	}
	s.at, s.met = r.after(max(at, concrete.FloorHours))
	return s, nil
}

func (r removalCase) bs8110() (said, error) {
	row := map[string]concrete.Striking{
		"vertical": concrete.VerticalFaces, "slab-soffit": concrete.SlabSoffit,
		"beam-soffit": concrete.BeamSoffit, "beam-props": concrete.BeamProps,
	}[r.cmd.Row]
	sum, err := concrete.BS8110MaturityCh(row)
	if err != nil {
		return said{}, err
	}
	s := said{
		asks:   fmt.Sprintf("%s: %s/(t + 10) h, at least the table", spaced(r.cmd.Row), number(sum)),
		source: "BS 8110-1:1997 Table 6.2, CEM I 42.5 (from memory)", status: fromMemory,
	}
	s.at, s.met, err = concrete.BS8110Moment(row, r.wall.Series)
	return s, err
}

func (r removalCase) aci(hours float64) (said, error) {
	s := said{asks: fmt.Sprintf("%s h of air above 10 °C", number(hours)), source: "ACI 347R-94, walls (found: concreteconstruction.net)", status: found}
	if hours == concrete.ACIWallHoursLong {
		s.source = "ACI 347, older summary, 12 to 24 h: its end (found: concreteconstruction.net)"
	}
	above, err := r.air.Above(concrete.ACIWallAirC)
	if err != nil {
		return s, err
	}
	s.at, s.met, err = above.When(hours)
	return s, err
}

// is456 says nothing where the air was colder than 15 °C within its hours.
func (r removalCase) is456() (said, error) {
	s := said{asks: "16 to 24 h, air of 15 °C and above", source: "IS 456:2000 11.3.1, ordinary Portland cement (found: dreamhomeguide.in, afrozcivil.com)", status: found}
	if r.coldest(concrete.IS456WallHoursLong) < concrete.IS456AirC {
		s.word = "nothing: the air is colder than 15 °C"
		return s, nil
	}
	s.at, s.met = r.after(concrete.IS456WallHoursLong)
	return s, nil
}

// coldest is the coldest air within the first hours.
func (r removalCase) coldest(hours float64) float64 {
	least := math.Inf(1)
	for _, reading := range r.air.Series {
		if reading.Hours <= hours || math.IsInf(least, 1) {
			least = min(least, reading.TempC)
		}
	}
	return least
}

// radford takes it for summer only where the air never falls below 15 °C: the
// book does not say what cold weather is, and doubt makes it later.
func (r removalCase) radford() (said, error) {
	const summerC = 15
	cold := r.coldest(concrete.RadfordHours(true)) < summerC
	s := said{
		asks:   "thin walls: 2 d in summer, 5 d in cold weather (taken as summer: air never below 15 °C)",
		source: "Radford's Cyclopedia of Construction, about 1909 (found: gluedideas.com)", status: found,
	}
	if cold {
		s.asks = "thin walls: 2 d in summer, 5 d in cold weather (taken as cold: air below 15 °C)"
	}
	s.at, s.met = r.after(concrete.RadfordHours(cold))
	return s, nil
}

func (r removalCase) ties() (said, error) {
	s := said{asks: "form ties from 24 h; walls when thoroughly hardened", source: "a US Army manual (found: EN5466)", status: found}
	s.at, s.met = r.after(concrete.ArmyTieHours)
	return s, nil
}

func (r removalCase) curing() (said, error) {
	class := concrete.CuringClass(r.cmd.CuringClass)
	s := said{
		asks:   fmt.Sprintf("curing class %d, r = %s, nothing below 5 °C", r.cmd.CuringClass, r.cmd.Development.text),
		source: "EN 13670 Annex F (from memory)", status: fromMemory,
	}
	var err error
	s.at, s.met, err = concrete.CuringMoment(class, r.cmd.Development.base, r.cmd.SetTime.base, r.wall.Series)
	return s, err
}

// strength is when a mean strength is reached, by EN 1992 and the default rule.
func (r removalCase) strength(mpa float64, against string) (said, error) {
	s := said{
		asks:   fmt.Sprintf("%s MPa against %s", number(mpa), against),
		source: "NSCS and CIRIA 136 (numbers from memory); strength by EN 1992-1-1, age by ASTM C1074 (from memory)", status: fromMemory,
	}
	if !r.cmd.Fck.given() {
		s.word = "nothing: give --fck"
		return s, nil
	}
	class := map[string]concrete.CementClass{"R": concrete.ClassR, "N": concrete.ClassN, "S": concrete.ClassS}[r.cmd.Class]
	age, err := r.wall.CountedAge(concrete.DefaultMaturity())
	if err != nil {
		return s, err
	}
	s.at, s.met, err = concrete.WhenReached(concrete.EN1992{FckMPa: r.cmd.Fck.base, Class: class}, age, mpa)
	return s, err
}

// draw is the counted age by each rule against the 48 h that are asked for.
func (c *removalCmd) draw(a *answer, r removalCase, _ unit.System) error {
	a.picture = &picture{
		title: "Counted equivalent age at 20 °C by each rule", x: "hours from the first reading", y: "equivalent hours",
		desc: "Each rule reaches 48 h at another moment.", levels: []level{{"48 h", concrete.FloorHours}},
	}
	last, err := r.lastCured()
	if err != nil {
		return err
	}
	for _, m := range concrete.PublishedMaturities() {
		age, err := r.wall.CountedAge(m)
		if err != nil {
			return err
		}
		points := sample(0, last, func(h float64) (float64, error) { return age.At(min(h, age.End())) })
		a.picture.curves = append(a.picture.curves, line{ruleName(m), capped(points, 1.25*concrete.FloorHours)})
	}
	return nil
}

// lastCured is a little after the moment at which the last of the maturity rules
// that get there has its 48 h, or two weeks where none does.
func (r removalCase) lastCured() (float64, error) {
	last := 0.0
	for _, m := range concrete.PublishedMaturities() {
		age, err := r.wall.CountedAge(m)
		if err != nil {
			return 0, err
		}
		at, _, err := age.When(concrete.FloorHours)
		if err != nil {
			return 0, err
		}
		last = max(last, 1.05*at)
	}
	if last == 0 {
		last = 14 * 24
	}
	return min(r.wall.end(), last), nil
}

// capped ends a rising curve where it passes a height, so that what matters is
// seen.
func capped(points plotter.XYs, most float64) plotter.XYs {
	for i, p := range points {
		if p.Y > most && i > 1 {
			return points[:i]
		}
	}
	return points
}
