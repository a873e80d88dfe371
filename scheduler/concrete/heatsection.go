package concrete

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/interp"
)

// Thermal resistances of forms in m2 K/W, and films of air in W/(m2 K), all
// from memory.
const (
	ConductivityFoam    = 0.036 // W/(m K), expanded polystyrene
	ConductivityPlywood = 0.12  // W/(m K)

	FormFoam64    = 0.0635 / ConductivityFoam   // 63.5 mm of foam: 1.76, about R-10 in US units
	FormPlywood19 = 0.019 / ConductivityPlywood // 19 mm of plywood: 0.158, about
	FormNone      = 0.0                         // bare concrete, or a steel form

	FilmWinter = 34.0 // outside, wind 6.7 m/s
	FilmSummer = 23.0 // outside, wind 3.4 m/s
	FilmBreeze = 20.0 // outside, wind of about 3 m/s: the reference tables use it
	FilmStill  = 8.3  // inside, still air
)

// LumpedBiotLimit is the Biot number from which a wall is no longer of one
// temperature through its thickness (from memory: the usual limit of lumped
// analysis in heat transfer).
const LumpedBiotLimit = 0.1

// ErrNotLumped says that a section is too little insulated, or too thick, to be
// taken as of one temperature: Section.Nodal must be used in place of
// Section.Lumped.
var ErrNotLumped = errors.New("not of one temperature through the thickness")

// FormResistance is the thermal resistance in m2 K/W of a layer: thickness in m
// (0 to 1) over conductivity in W/(m K) (0.01 to 400); computed. Out of range: a
// [RangeError].
func FormResistance(thickness, conductivity float64) (float64, error) {
	if err := inRange("layer thickness", thickness, 0, 1, "m"); err != nil {
		return 0, fmt.Errorf("form resistance: %w", err)
	}
	if err := inRange("layer conductivity", conductivity, 0.01, 400, "W/(m K)"); err != nil {
		return 0, fmt.Errorf("form resistance: %w", err)
	}
	return thickness / conductivity, nil
}

// Air is the temperature beside one face from placing on, piecewise linear. The
// zero Air knows no hour and is refused.
type Air struct {
	until float64 // h
	curve interp.PiecewiseLinear
}

// ConstantAir is air of t °C (-50 to 60) for as long as any prediction; another
// temperature is refused with a [RangeError].
func ConstantAir(t float64) (Air, error) {
	return AirSeries(Series{{Hours: 0, TempC: t}, {Hours: maxPredictionHrs + maxSpacingHrs, TempC: t}})
}

// AirSeries is air read or forecast, its hours counted from placing. It must
// begin at or before placing; a prediction beyond its end is refused rather
// than guessed. Temperatures outside -50 to 60 °C are refused with a
// [RangeError].
func AirSeries(s Series) (Air, error) {
	if err := s.Validate(); err != nil {
		return Air{}, fmt.Errorf("air: %w", err)
	}
	if s[0].Hours > 0 {
		return Air{}, fmt.Errorf("air: series begins %s h after placing", short(s[0].Hours))
	}
	hours, temps := make([]float64, len(s)), make([]float64, len(s))
	for i, r := range s {
		if err := inRange("air temperature", r.TempC, minSurroundTemp, maxSurroundTemp, "°C"); err != nil {
			return Air{}, fmt.Errorf("air reading=%d: %w", i, err)
		}
		hours[i], temps[i] = r.Hours, r.TempC
	}
	a := Air{until: s[len(s)-1].Hours}
	if err := a.curve.Fit(hours, temps); err != nil {
		return Air{}, fmt.Errorf("air: %w", err)
	}
	return a, nil
}

// At is the temperature in °C at an hour since placing. Outside the series it is
// the nearest temperature known; the zero Air gives NaN.
func (a Air) At(hour float64) float64 {
	if a.until == 0 {
		return math.NaN()
	}
	return a.curve.Predict(hour)
}

// Face is one side of a wall: the form on it and the air beside it.
type Face struct {
	Form float64 // thermal resistance, m2 K/W, 0 (bare or steel) to 20
	Film float64 // heat transfer coefficient of the air film, W/(m2 K), 2 to 100
	Air  Air
}

// U is the heat transfer coefficient in W/(m2 K) from the concrete's surface to
// the air, 1/U = R + 1/h (computed). Out of range: a [RangeError].
func (f Face) U() (float64, error) {
	if err := inRange("form resistance", f.Form, 0, 20, "m2 K/W"); err != nil {
		return 0, fmt.Errorf("face: %w", err)
	}
	if err := inRange("air film", f.Film, 2, 100, "W/(m2 K)"); err != nil {
		return 0, fmt.Errorf("face: %w", err)
	}
	return 1 / (f.Form + 1/f.Film), nil
}

// Section is a wall cut through its thickness, away from its top, foot and
// openings, where heat flows to the two faces only. The top of a wall is colder
// than any section.
type Section struct {
	Mix          HeatMix
	Thickness    float64 // m, 0.05 to 3
	Inner, Outer Face
}

// coefficients checks the section and gives the U of both faces.
func (s Section) coefficients() (inner, outer float64, err error) {
	if err := s.Mix.validate(); err != nil {
		return 0, 0, err
	}
	if err := inRange("wall thickness", s.Thickness, 0.05, 3, "m"); err != nil {
		return 0, 0, err
	}
	if inner, err = s.Inner.U(); err != nil {
		return 0, 0, fmt.Errorf("inner %w", err)
	}
	if outer, err = s.Outer.U(); err != nil {
		return 0, 0, fmt.Errorf("outer %w", err)
	}
	return inner, outer, nil
}

// check is coefficients for a run, which both airs must cover.
func (s Section) check(run HeatRun) (inner, outer float64, err error) {
	if inner, outer, err = s.coefficients(); err != nil {
		return 0, 0, err
	}
	if err := run.validate(); err != nil {
		return 0, 0, err
	}
	end := run.Every * float64(run.spans())
	for _, until := range []float64{s.Inner.Air.until, s.Outer.Air.until} {
		if until < end-1e-9 {
			return 0, 0, fmt.Errorf("air known to %v h, prediction asked to %v h", until, end)
		}
	}
	return inner, outer, nil
}

// Biot is the Biot number: the resistance to heat within the wall against that
// at its better cooled face. With both faces alike it is U (L/2)/k. With
// different faces the length is the way from the better cooled face to the
// plane that no heat crosses, L U/(U1 + U2), so that a wall cooled from one
// side only counts its whole thickness (computed). Out of range: a [RangeError].
func (s Section) Biot() (float64, error) {
	inner, outer, err := s.coefficients()
	if err != nil {
		return 0, fmt.Errorf("biot number: %w", err)
	}
	u := max(inner, outer)
	return u * s.Thickness * u / (inner + outer) / s.Mix.Conductivity, nil
}

// TimeConstant is rho c L/(U1 + U2) in h: the time in which a lumped wall
// without heat of its own loses all but 1/e of its excess over the air. With
// both faces alike it is rho c L/(2U) (computed). Out of range: a [RangeError].
func (s Section) TimeConstant() (float64, error) {
	inner, outer, err := s.coefficients()
	if err != nil {
		return 0, fmt.Errorf("time constant: %w", err)
	}
	return s.Mix.capacity() * s.Thickness / (inner + outer) / secondsPerHour, nil
}
