package concrete

import "math"

// hyperbolicModel has the free parameters ln Su, ln k and a q that places t0
// between 0 and the first age: t0 = first/(1 + e^-q).
type hyperbolicModel struct{ first float64 }

func (m hyperbolicModel) curve(free []float64) Hyperbolic {
	return Hyperbolic{math.Exp(free[0]), math.Exp(free[1]), m.first / (1 + math.Exp(-free[2]))}
}

func (m hyperbolicModel) start(data []Specimen) []float64 {
	var best []float64
	least := math.Inf(1)
	for _, share := range []float64{0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98} {
		for logK := -5.0; logK <= 3; logK += 0.25 {
			unit := Hyperbolic{1, math.Exp(logK), share * m.first}
			su, sum := bestScale(data, unit.at)
			if sum < least {
				least = sum
				best = []float64{math.Log(su), logK, math.Log(share / (1 - share))}
			}
		}
	}
	return best
}

func (m hyperbolicModel) at(free []float64, ageDays float64, by []float64) float64 {
	c := m.curve(free)
	if by != nil {
		natural := m.slopes(free, ageDays)
		by[0] = natural[0] * c.SuMPa
		by[1] = natural[1] * c.KPerDay
		by[2] = natural[2] * c.T0Days * (1 - c.T0Days/m.first)
	}
	return c.at(ageDays)
}

func (m hyperbolicModel) slopes(free []float64, ageDays float64) []float64 {
	c := m.curve(free)
	span := max(0, ageDays-c.T0Days)
	root := 1 + float64(c.KPerDay*span)
	return []float64{
		c.KPerDay * span / root,
		c.SuMPa * span / (root * root),
		-c.SuMPa * c.KPerDay / (root * root),
	}
}

// exponentialModel has the free parameters ln Su, ln tau and ln a.
type exponentialModel struct{}

func (exponentialModel) curve(free []float64) Exponential {
	return Exponential{math.Exp(free[0]), math.Exp(free[1]), math.Exp(free[2])}
}

func (m exponentialModel) start(data []Specimen) []float64 {
	var best []float64
	least := math.Inf(1)
	for logTau := -3.0; logTau <= 4; logTau += 0.25 {
		for logA := -2.0; logA <= 1.5; logA += 0.25 {
			unit := Exponential{1, math.Exp(logTau), math.Exp(logA)}
			su, sum := bestScale(data, unit.at)
			if sum < least {
				least = sum
				best = []float64{math.Log(su), logTau, logA}
			}
		}
	}
	return best
}

func (m exponentialModel) at(free []float64, ageDays float64, by []float64) float64 {
	c := m.curve(free)
	if by != nil {
		natural := m.slopes(free, ageDays)
		by[0] = natural[0] * c.SuMPa
		by[1] = natural[1] * c.TauDays
		by[2] = natural[2] * c.Alpha
	}
	return c.at(ageDays)
}

func (m exponentialModel) slopes(free []float64, ageDays float64) []float64 {
	c := m.curve(free)
	power := math.Pow(c.TauDays/ageDays, c.Alpha)
	s := c.SuMPa * math.Exp(-power)
	return []float64{
		s / c.SuMPa,
		-s * power * c.Alpha / c.TauDays,
		-s * power * math.Log(c.TauDays/ageDays),
	}
}

// bestScale is the factor that brings a curve closest to the specimens, and the
// sum of squares that is left.
func bestScale(data []Specimen, unit func(float64) float64) (scale, sum float64) {
	var xy, xx float64
	for _, s := range data {
		x := unit(s.AgeDays)
		xy += float64(x * s.MPa)
		xx += float64(x * x)
	}
	if xx == 0 || xy <= 0 {
		return 1, math.Inf(1)
	}
	scale = xy / xx
	for _, s := range data {
		d := float64(scale*unit(s.AgeDays)) - s.MPa
		sum += float64(d * d)
	}
	return scale, sum
}
