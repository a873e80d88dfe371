package scheduler

import (
	"math"

	"earlyage/projector/wall"
	"earlyage/scheduler/concrete"
)

// Rate is how fast the wall is being placed: over the last 60 minutes, or since
// the beginning, if that is less and at least 15 minutes.
type Rate struct {
	RiseMPH float64 // m/h, the mean over the whole wall
	M3H     float64 // m³/h in the wall
	PumpM3H float64 // m³/h by the last report of the pump; 0: none
}

// Pressure is the lateral pressure of the fresh concrete on the form, where it
// is greatest: by ACI 347 (see concrete.ACIWallPressure), at the coldest load,
// the greatest rise in any 60 minutes and the worst of the mixes. Zero where no
// concrete is fresh.
type Pressure struct {
	KPa      float64
	HeadKPa  float64 // as a liquid
	RatedKPa float64 // of the form; 0: not recorded
	By       string  // what governs
	Notes    []string
	FromM    float64 // where
	ToM      float64
	RateMPH  float64 // greatest rise there in any 60 minutes
	Celsius  float64 // that was reckoned with
	Levels   []PressureLevel

	since int64 // when the last of the concrete there was placed, early
	over  bool  // over the form's rating
	near  bool  // over 98 % of it
}

// PressureLevel is a corner of the pressure's diagram, from the top down:
// between two it runs straight.
type PressureLevel struct{ HeightM, KPa float64 }

const (
	// unreadC is the temperature of fresh concrete that nobody measured, °C: the
	// least on delivery (concrete.MinDeliveredC).
	unreadC = concrete.MinDeliveredC
	// usualWeight is the unit weight of concrete, kN/m³, where no mix says more.
	usualWeight = 24.0
	// leastElapsed is the shortest time over which a rate is reckoned.
	leastElapsed = 15 * minuteMS
)

// form is what presses on the form: the cautious sum of the loads and mixes.
type form struct {
	concrete.Placing
	fresh int64 // how long after placing concrete presses on the form, ms
}

// form is reckoned once in a look.
func (k *look) form() *form {
	if k.pressing != nil {
		return k.pressing
	}
	f := &form{}
	f.UnitWeight, f.TempC, f.Slump = usualWeight, k.coldestLoad(), k.wettest()
	f.Binder, f.Retarder = k.worstBinder(&f.UnitWeight)
	set := 0.0
	for _, points := range k.mix.sets {
		minutes, err := concrete.MixInitialSetMinutes(points, f.TempC)
		if err != nil { // only a mix's own data can be off
			minutes, _ = concrete.InitialSetMinutes(f.TempC)
		}
		set = max(set, minutes)
	}
	f.fresh = int64(math.Ceil(set * float64(minuteMS)))
	k.pressing = f
	return f
}

// coldestLoad is the coldest that any of the concrete was measured, °C, within
// the range of the pressure rules.
func (k *look) coldestLoad() float64 {
	p := &k.wall.Pour
	centi, known := int16(math.MaxInt16), false
	see := func(c int16) {
		if c != wall.None {
			centi, known = min(centi, c), true
		}
	}
	for _, y := range p.Loads {
		if y.Rejected == 0 || y.Placed {
			see(y.Coldest)
		}
	}
	for i := range p.Lifts {
		see(p.Lifts[i].Centi)
	}
	if c, ok := k.wall.Readings.Coldest("fresh", p.Started, k.now); ok && p.Started != 0 {
		see(c)
	}
	if !known {
		return unreadC
	}
	return clamp(float64(centi)/100, 0, 50)
}

// wettest is the greatest slump of the loads that may be in the form, m; 0: not
// known. A load that nobody measured has its mix's slump, unless water was added.
func (k *look) wettest() float64 {
	most, any := 0, false
	for _, y := range k.wall.Pour.Loads {
		if y.Rejected != 0 && !y.Placed || !y.Placed && y.Arrived == 0 && y.FirstLift == 0 {
			continue
		}
		slump := y.SlumpMM
		if slump < 0 && y.WaterML == 0 {
			slump = k.orderedSlump(y)
		}
		if slump <= 0 {
			return 0
		}
		most, any = max(most, slump), true
	}
	if !any || k.wall.Pour.Unloaded {
		slump := k.orderedSlump(nil)
		if slump == 0 {
			return 0
		}
		most = max(most, slump)
	}
	return float64(most) / 1000
}

// orderedSlump is what was ordered of a load's mix, or of the wall's, mm; 0: not
// known. Only what a second person let count is known.
func (k *look) orderedSlump(y *wall.Truckload) int {
	names := k.wall.Holding.Mixes
	if y != nil && len(y.Mixes) > 0 {
		names = y.Mixes
	}
	most := 0
	for _, name := range names {
		m := k.site.Mixes[name]
		for _, v := range m.Versions {
			if !m.Known || v.SlumpMM == nil {
				return 0
			}
			most = max(most, int(math.Round(*v.SlumpMM)))
		}
		if len(m.Versions) == 0 {
			return 0
		}
	}
	return most
}

// worstBinder is the binder and retarder that press hardest, and the heaviest mix.
func (k *look) worstBinder(weight *float64) (concrete.BinderKind, concrete.Retarder) {
	binder, retarder, worst := concrete.BinderUnrecorded, concrete.RetarderUnrecorded, 0.0
	for _, name := range k.mixNames() {
		m := k.site.Mixes[name]
		if !m.Known {
			return concrete.BinderUnrecorded, concrete.RetarderUnrecorded
		}
		for _, v := range m.Versions {
			*weight = clamp(max(*weight, v.WeightKNM3), 8, 40)
			b, r := binderOf(v.Binder, v.Slag, v.Ash), retarderOf(v.Retarder)
			if cc, err := concrete.ACIChemistryCoefficient(b, r); err == nil && cc > worst {
				binder, retarder, worst = b, r, cc
			}
		}
	}
	return binder, retarder
}

func binderOf(binder string, slag, ash float64) concrete.BinderKind {
	switch {
	case binder == "portland":
		return concrete.BinderPortland
	case binder != "blended":
		return concrete.BinderUnrecorded
	case slag >= 70 || ash >= 40:
		return concrete.BinderRichBlend
	default:
		return concrete.BinderBlended
	}
}

func retarderOf(r *bool) concrete.Retarder {
	switch {
	case r == nil:
		return concrete.RetarderUnrecorded
	case *r:
		return concrete.WithRetarder
	default:
		return concrete.WithoutRetarder
	}
}

// riseLimit is how much may rise in any 60 minutes.
type riseLimit struct {
	mm    int
	by    string
	form  int // what the form's rating allows of it, mm; 0: there is no rating, or it holds the full head
	bears int // mm of fresh concrete that the form bears as a liquid
}

// head is how high the fresh concrete may stand at all, mm; 0: no such limit. It
// is one where no rate of rise is right for the form, and where it already rose
// faster than is.
func (r riseLimit) head(rose int) int {
	if r.bears > 0 && rose > r.form {
		return r.bears
	}
	return 0
}

// riseLimit is the smaller of the site's and what the form's rating allows for
// concrete placed in one go up to a height.
func (k *look) riseLimit(height int) riseLimit {
	out := riseLimit{mm: k.policy.RiseMM, by: "site"}
	rated := k.wall.Holding.RatedPa
	if rated <= 0 {
		return out
	}
	if lim, ok := k.rises[height]; ok {
		return lim
	}
	p := k.form().Placing
	p.Height = clamp(metres(height), 0.01, 50)
	got, err := concrete.ACIGreatestRate(concrete.SIConstants, clamp(float64(rated)/1000, 0.1, 1000), p)
	if err != nil || !got.HeadFits {
		out.bears, out.form = max(1, int(math.Floor(float64(rated)/p.UnitWeight))), -1
	}
	switch {
	case err != nil || !got.Possible:
		out.by = string(concrete.FormulaFullHead)
	case !got.HeadFits:
		out.form = int(math.Floor(got.Rate * 1000))
		if out.form < out.mm {
			out.mm, out.by = out.form, string(got.Formula)
		}
	}
	if k.rises == nil {
		k.rises = map[int]riseLimit{}
	}
	k.rises[height] = out
	return out
}

// rate is how fast the wall is being placed now.
func (k *look) rate() Rate {
	p, g := &k.wall.Pour, &k.wall.Holding.Geometry
	from := max(k.now-hourMS, p.Started)
	out := Rate{PumpM3H: float64(p.PumpML) / 1e6}
	if p.Started == 0 || p.LastConcrete < k.now-hourMS || g.Length == 0 {
		return out
	}
	ml := 0.0
	for i := len(p.Lifts) - 1; i >= 0; i-- {
		l := &p.Lifts[i]
		began, ended := l.Began.Late, max(l.Ended.Late, l.Began.Late)
		if began < k.now-hourMS-dayMS {
			break // none lasts longer
		}
		switch a, b := max(began, k.now-hourMS), min(ended, k.now); {
		case a > b:
		case began == ended:
			ml += float64(l.VolumeML)
		default:
			ml += float64(l.VolumeML) * float64(b-a) / float64(ended-began)
		}
	}
	hours := float64(max(k.now-from, leastElapsed)) / float64(hourMS)
	out.M3H = ml / 1e6 / hours
	if area := float64(g.PlanArea()) / 1e6; area > 0 {
		out.RiseMPH = out.M3H / area
	}
	return out
}

// pressure finds where the fresh concrete presses hardest on the form.
func (k *look) pressure() Pressure {
	p := &k.wall.Pour
	out := Pressure{RatedKPa: float64(k.wall.Holding.RatedPa) / 1000}
	if p.LastConcrete == 0 || k.now >= p.LastConcrete+k.form().fresh {
		return out
	}
	highest, fastest, greatest := 0, 0, 0.0
	for i := range p.Stretches {
		s := &p.Stretches[i]
		if s.Top == nil {
			continue
		}
		height, rate := k.freshOn(s)
		if height <= 0 || height <= highest && rate <= fastest {
			continue
		}
		highest, fastest = max(highest, height), max(fastest, rate)
		in := k.form().Placing
		in.Height, in.Rate = clamp(metres(height), 0.01, 50), clamp(metres(rate), 0, 100)
		got, err := concrete.ACIWallPressure(concrete.SIConstants, in)
		if err != nil || got.KPa <= greatest {
			continue
		}
		greatest = got.KPa
		out.take(got, in, s)
		l := &p.Lifts[s.Top.Lift]
		out.since = min(l.EarlyAt((s.From+s.To)/2, s.From), l.EarlyAt((s.From+s.To)/2, s.To))
	}
	return out
}

// take takes a pressure as the greatest.
func (p *Pressure) take(got concrete.Pressure, in concrete.Placing, s *wall.Stretch) {
	p.KPa, p.HeadKPa, p.By, p.RateMPH, p.Celsius = cent(got.KPa), cent(got.HeadKPa), string(got.Formula), in.Rate, in.TempC
	p.over = p.RatedKPa > 0 && got.KPa > p.RatedKPa
	p.near = p.RatedKPa > 0 && got.KPa > float64(p.RatedKPa*pressureBand)
	p.FromM, p.ToM = metres(s.From), metres(s.To)
	p.Notes, p.Levels = nil, nil
	for _, n := range got.Notes {
		p.Notes = append(p.Notes, string(n))
	}
	for _, l := range got.Envelope() {
		p.Levels = append(p.Levels, PressureLevel{cent(metres(s.Height()) - l.Depth), cent(l.KPa)})
	}
}

// cent rounds to hundredths, for people.
func cent(v float64) float64 { return math.Round(v*100) / 100 }

// layered is one layer of the concrete that presses on the form, and when it was
// placed at the two ends of its stretch, early.
type layered struct {
	at [2]int64
	mm int
}

// freshOn is the height of the concrete on a stretch that still presses on the
// form, and its greatest rise in any 60 minutes, mm. As in the fold a layer counts
// whole if it counts anywhere on the stretch.
func (k *look) freshOn(s *wall.Stretch) (height, rate int) {
	mid := (s.From + s.To) / 2
	list := k.layers[:0]
	defer func() { k.layers = list }()
	for y := s.Top; y != nil; y = y.Below {
		l := &k.wall.Pour.Lifts[y.Lift]
		if until := max(l.LateAt(mid, s.From), l.LateAt(mid, s.To)) + k.form().fresh; until <= k.now {
			break
		} else if k.wall.Holding.RatedPa > 0 {
			k.at(until)
		}
		list = append(list, layered{[2]int64{l.EarlyAt(mid, s.From), l.EarlyAt(mid, s.To)}, y.Top - y.Bottom})
		height += y.Top - y.Bottom
		if y.Below != nil && y.Below.Top != y.Bottom {
			break // an opening lies between
		}
	}
	for i, newest := range list {
		rise := 0
		for _, y := range list[i:] {
			if min(newest.at[0]-y.at[0], newest.at[1]-y.at[1]) >= riseWindow {
				break
			}
			rise += y.mm
		}
		rate = max(rate, rise)
	}
	return height, rate
}

// pressureBand is to what share of the form's rating the pressure has to fall for
// it to be no longer over it.
const pressureBand = 0.98

func (k *look) pressureAlert(c *collector, a *Assessment) {
	p := &a.Pressure
	if !p.over {
		if p.near {
			c.nearing(AlertPressureHigh, "form")
		}
		return
	}
	why := p.By
	for _, n := range p.Notes {
		why += "; " + n
	}
	c.add(AlertPressureHigh, "form", p.since, "The form bears %.1f kPa at %.1f to %.1f m and is rated for %.1f kPa (%s). Place nothing more there.", p.KPa, p.FromM, p.ToM, p.RatedKPa, why).
		place(p.FromM, p.ToM).measured("pressure", p.KPa, p.RatedKPa).clear(k)
}
