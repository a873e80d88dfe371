package concrete

import (
	"fmt"
	"math"
)

// Cooled is the temperature in °C of a lumped body without heat of its own,
// hours after it was at start, in air of constant temperature:
// Ta + (T0 - Ta) exp(-t/tc), timeConstant in h (computed from Newton's law of
// cooling). Out of range (start 0 to 110 °C, air -50 to 60 °C, negative time,
// no time constant): a [RangeError].
func Cooled(start, air, timeConstant, hours float64) (float64, error) {
	if err := checkCooling(start, air, timeConstant); err != nil {
		return 0, fmt.Errorf("cooled temperature: %w", err)
	}
	if err := inRange("cooling time", hours, 0, math.Inf(1), "h"); err != nil {
		return 0, fmt.Errorf("cooled temperature: %w", err)
	}
	// Rounding must not carry it past either end.
	t := air + float64((start-air)*math.Exp(-hours/timeConstant))
	return min(max(t, min(air, start)), max(air, start)), nil
}

// CoolingHours is the inverse of Cooled: the time in h until the body is at
// level °C (computed). Level must lie between air and start (air itself is never
// reached), else a [RangeError].
func CoolingHours(start, air, timeConstant, level float64) (float64, error) {
	if err := checkCooling(start, air, timeConstant); err != nil {
		return 0, fmt.Errorf("cooling hours: %w", err)
	}
	lo, hi := math.Nextafter(air, start), start
	if err := inRange("temperature to reach", level, min(lo, hi), max(lo, hi), "°C"); err != nil {
		return 0, fmt.Errorf("cooling hours: %w", err)
	}
	if level == start {
		return 0, nil
	}
	return timeConstant * math.Log((start-air)/(level-air)), nil
}

func checkCooling(start, air, timeConstant float64) error {
	if err := inRange("starting temperature", start, 0, maxHydrationTemp, "°C"); err != nil {
		return err
	}
	if err := inRange("air temperature", air, minSurroundTemp, maxSurroundTemp, "°C"); err != nil {
		return err
	}
	return inRange("time constant", timeConstant, 1e-3, 1e6, "h")
}

// SteadyLimit is the temperature in °C toward which a lumped section tends in
// constant air while it sets q W/m3 of heat free without end:
// Ta + q L/(U1 + U2), with both faces alike Ta + q L/(2U) (computed). Out of
// range (air -50 to 60 °C, q 0 to 100,000 W/m3): a [RangeError].
func (s Section) SteadyLimit(air, q float64) (float64, error) {
	inner, outer, err := s.coefficients()
	if err != nil {
		return 0, fmt.Errorf("steady limit: %w", err)
	}
	if err := inRange("air temperature", air, minSurroundTemp, maxSurroundTemp, "°C"); err != nil {
		return 0, fmt.Errorf("steady limit: %w", err)
	}
	if err := inRange("heat rate", q, 0, 1e5, "W/m3"); err != nil {
		return 0, fmt.Errorf("steady limit: %w", err)
	}
	return air + q*s.Thickness/(inner+outer), nil
}

// Lumped predicts the section as of one temperature:
// rho c L dT/dt = q L - U1 (T - Ta1) - U2 (T - Ta2) (computed, by the heat
// model of Schindler & Folliard 2005, from memory). The age of hydration begins
// at 0 with placing; nothing divides by it.
//
// A section whose Biot number is 0.1 or more is refused with ErrNotLumped: its
// face is colder than its mean, and frost begins at the face. Values out of
// range: a [RangeError]; air that ends before the run: an error.
//
// The time step is halved until that changes no temperature by 0.02 K. The
// result must never open a strip window by itself.
func (s Section) Lumped(run HeatRun) (HeatHistory, error) {
	biot, err := s.Biot()
	if err != nil {
		return HeatHistory{}, fmt.Errorf("lumped wall: %w", err)
	}
	if biot >= LumpedBiotLimit {
		return HeatHistory{}, fmt.Errorf("lumped wall, biot number %.3f, limit %v: %w",
			biot, LumpedBiotLimit, ErrNotLumped)
	}
	return s.lumped(run)
}

// lumped is Lumped at any Biot number.
func (s Section) lumped(run HeatRun) (HeatHistory, error) {
	body, err := s.body(run)
	if err != nil {
		return HeatHistory{}, fmt.Errorf("lumped wall: %w", err)
	}
	h, err := refine(run, body.integrate)
	if err != nil {
		return HeatHistory{}, fmt.Errorf("lumped wall: %w", err)
	}
	return h, nil
}

// body is the section as a lump, checked for a run.
func (s Section) body(run HeatRun) (*lump, error) {
	inner, outer, err := s.check(run)
	if err != nil {
		return nil, err
	}
	perHour := secondsPerHour / (s.Mix.capacity() * s.Thickness)
	return &lump{
		mix:    s.Mix,
		losses: []loss{{inner * perHour, s.Inner.Air}, {outer * perHour, s.Outer.Air}},
	}, nil
}

// loss is one way out for heat: rate in 1/h, to the air.
type loss struct {
	rate float64
	air  Air
}

// lump is a body of one temperature. Its state is its age and the temperature
// it would have had without its own heat, base: T = base + rise(age). In these
// terms the heat set free is the rise itself, exactly, and the derivative of
// the hydration curve, which has an essential zero at age 0, is never needed.
type lump struct {
	mix    HeatMix
	losses []loss
}

// lumpState is base in °C and age in h; as a derivative both are per hour.
type lumpState struct{ base, age float64 }

func (s lumpState) plus(h float64, d lumpState) lumpState {
	return lumpState{s.base + float64(h*d.base), s.age + float64(h*d.age)}
}

func (l *lump) temperature(s lumpState) float64 {
	return s.base + float64(l.mix.fullRise()*l.mix.Hydration.degree(s.age))
}

func (l *lump) slope(hour float64, s lumpState) lumpState {
	t := l.temperature(s)
	d := lumpState{age: l.mix.Hydration.ageFactor(t)}
	for _, way := range l.losses {
		d.base -= float64(way.rate * (t - way.air.At(hour)))
	}
	return d
}

// step is the classical Runge-Kutta step of fourth order.
func (l *lump) step(hour, dt float64, s lumpState) lumpState {
	k1 := l.slope(hour, s)
	k2 := l.slope(hour+dt/2, s.plus(dt/2, k1))
	k3 := l.slope(hour+dt/2, s.plus(dt/2, k2))
	k4 := l.slope(hour+dt, s.plus(dt, k3))
	return s.plus(dt/6, k1).plus(dt/3, k2).plus(dt/3, k3).plus(dt/6, k4)
}

func (l *lump) point(hour float64, s lumpState) HeatPoint {
	t := l.temperature(s)
	return HeatPoint{
		Hour: hour, Mean: t, Core: t, Inner: t, Outer: t,
		Age: s.age, Degree: l.mix.Hydration.degree(s.age),
	}
}

// integrate is a solver.
func (l *lump) integrate(run HeatRun, steps int) (HeatHistory, error) {
	state := lumpState{base: run.Start}
	dt := run.Every / float64(steps)
	history := HeatHistory{Step: dt, Points: []HeatPoint{l.point(0, state)}}
	for span := range run.spans() {
		for i := range steps {
			state = l.step(dt*float64(span*steps+i), dt, state)
		}
		p := l.point(run.Every*float64(span+1), state)
		if err := inRange("predicted temperature", p.Mean, minHydrationTemp, maxHydrationTemp, "°C"); err != nil {
			return HeatHistory{}, fmt.Errorf("hour %v: %w", p.Hour, err)
		}
		history.Points = append(history.Points, p)
	}
	return history, nil
}
