package concrete

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// Specimen is a strength test at an age. The age is equivalent age in days at
// the reference that the fitted curve shall have.
type Specimen struct {
	AgeDays float64 // 0.01 to 400 d
	MPa     float64 // 0.1 to 200 MPa
}

// fitParameters is the number of constants in either fitted curve.
const fitParameters = 3

// minSpecimens is one more than the constants, so that a scatter is left.
const minSpecimens = fitParameters + 1

// model is one of the two curves that can be fitted. Free parameters are
// unbounded; a curve is what they stand for. All methods are pure.
type model interface {
	// start gives free parameters near the best fit.
	start(data []Specimen) []float64
	// at gives the strength, and its derivatives by the free parameters if
	// they are wanted.
	at(free []float64, ageDays float64, by []float64) float64
	// slopes gives the derivatives by the constants of the curve themselves.
	slopes(free []float64, ageDays float64) []float64
}

// StrengthFit is a curve fitted by least squares to specimens, with the scatter
// of the specimens about it. The zero StrengthFit is no fit, and its bands are
// refused.
type StrengthFit struct {
	ResidualMPa         float64 // standard deviation about the curve, n-3 degrees of freedom
	Specimens           int
	FirstDays, LastDays float64 // the range of ages tested; bands are given within it
	curve               func(ageDays float64) float64
	slopes              func(ageDays float64) []float64
	covariance          *mat.SymDense // of the constants, for a scatter of 1 MPa
	degrees             float64       // of freedom that the scatter has
}

// FitHyperbolic fits the hyperbolic curve by least squares (computed, gonum
// optimize) to at least four specimens of at least three ages, each within the
// ranges of [Specimen]. The age t0 is kept between 0 and the first age tested.
// Too few specimens, values out of range, and data that no such curve fits best
// are refused.
func FitHyperbolic(data []Specimen) (Hyperbolic, StrengthFit, error) {
	first, _, err := checkSpecimens(data)
	if err != nil {
		return Hyperbolic{}, StrengthFit{}, fmt.Errorf("fit hyperbolic curve: %w", err)
	}
	m := hyperbolicModel{first: first}
	free, err := leastSquares(m, data)
	if err != nil {
		return Hyperbolic{}, StrengthFit{}, fmt.Errorf("fit hyperbolic curve: %w", err)
	}
	curve := m.curve(free)
	if err := curve.validate(); err != nil {
		return Hyperbolic{}, StrengthFit{}, fmt.Errorf("fit hyperbolic curve: %w", err)
	}
	fit, err := scatter(m, free, data)
	return curve, fit, err
}

// FitExponential fits the exponential curve by least squares (computed, gonum
// optimize) to at least four specimens of at least three ages. It refuses what
// FitHyperbolic refuses.
func FitExponential(data []Specimen) (Exponential, StrengthFit, error) {
	if _, _, err := checkSpecimens(data); err != nil {
		return Exponential{}, StrengthFit{}, fmt.Errorf("fit exponential curve: %w", err)
	}
	m := exponentialModel{}
	free, err := leastSquares(m, data)
	if err != nil {
		return Exponential{}, StrengthFit{}, fmt.Errorf("fit exponential curve: %w", err)
	}
	curve := m.curve(free)
	if err := curve.validate(); err != nil {
		return Exponential{}, StrengthFit{}, fmt.Errorf("fit exponential curve: %w", err)
	}
	fit, err := scatter(m, free, data)
	return curve, fit, err
}

// checkSpecimens refuses too few specimens or ages and values out of range.
func checkSpecimens(data []Specimen) (first, last float64, err error) {
	if len(data) < minSpecimens {
		return 0, 0, fmt.Errorf("%d specimens: at least %d are needed", len(data), minSpecimens)
	}
	ages := map[float64]bool{}
	first, last = math.Inf(1), 0
	for i, s := range data {
		if err := inRange("age of the specimen", s.AgeDays, minAgeDays, 400, "d"); err != nil {
			return 0, 0, fmt.Errorf("specimen=%d: %w", i, err)
		}
		if err := checkStrength("strength of the specimen", s.MPa); err != nil {
			return 0, 0, fmt.Errorf("specimen=%d: %w", i, err)
		}
		ages[s.AgeDays] = true
		first, last = min(first, s.AgeDays), max(last, s.AgeDays)
	}
	if len(ages) < fitParameters {
		return 0, 0, fmt.Errorf("%d different ages: at least %d are needed", len(ages), fitParameters)
	}
	return first, last, nil
}

// leastSquares finds the free parameters of the least sum of squares.
func leastSquares(m model, data []Specimen) ([]float64, error) {
	scale := 0.0
	for _, s := range data {
		scale += float64(s.MPa * s.MPa)
	}
	by := make([]float64, fitParameters)
	problem := optimize.Problem{
		Func: func(free []float64) float64 {
			sum := 0.0
			for _, s := range data {
				d := m.at(free, s.AgeDays, nil) - s.MPa
				sum += float64(d * d)
			}
			return sum / scale
		},
		Grad: func(grad, free []float64) {
			clear(grad)
			for _, s := range data {
				d := m.at(free, s.AgeDays, by) - s.MPa
				for i := range grad {
					grad[i] += 2 * d * by[i] / scale
				}
			}
		},
	}
	settings := &optimize.Settings{GradientThreshold: 1e-10, MajorIterations: 500, Converger: optimize.NeverTerminate{}}
	result, err := optimize.Minimize(problem, m.start(data), settings, &optimize.BFGS{})
	if result == nil {
		return nil, err
	}
	// A line search that can gain no further digit is at the minimum.
	grad := make([]float64, fitParameters)
	problem.Grad(grad, result.X)
	for _, g := range grad {
		if math.IsNaN(g) || math.Abs(g) > 1e-7 {
			return nil, fmt.Errorf("no curve of this kind fits best: %w", errors.Join(err, errNoMinimum))
		}
	}
	return result.X, nil
}

var errNoMinimum = errors.New("the sum of squares has no minimum within reach")

// scatter is the residual deviation and the covariance of a fit.
func scatter(m model, free []float64, data []Specimen) (StrengthFit, error) {
	first, last, err := checkSpecimens(data)
	if err != nil {
		return StrengthFit{}, err
	}
	normal := mat.NewSymDense(fitParameters, nil)
	sum := 0.0
	for _, s := range data {
		d := m.at(free, s.AgeDays, nil) - s.MPa
		sum += float64(d * d)
		normal.SymRankOne(normal, 1, mat.NewVecDense(fitParameters, m.slopes(free, s.AgeDays)))
	}
	var chol mat.Cholesky
	covariance := mat.NewSymDense(fitParameters, nil)
	if !chol.Factorize(normal) {
		return StrengthFit{}, errors.New("specimens do not tell the constants of the curve apart")
	}
	if err := chol.InverseTo(covariance); err != nil {
		return StrengthFit{}, fmt.Errorf("specimens do not tell the constants of the curve apart: %w", err)
	}
	degrees := float64(len(data) - fitParameters)
	return StrengthFit{
		ResidualMPa: math.Sqrt(sum / degrees), Specimens: len(data), FirstDays: first, LastDays: last,
		curve:      func(age float64) float64 { return m.at(free, age, nil) },
		slopes:     func(age float64) []float64 { return m.slopes(free, age) },
		covariance: covariance, degrees: degrees,
	}, nil
}

// Band is the curve and the interval in which one further specimen lies with
// the given confidence (0.5 to 0.999, both sides), at an age within those
// tested; the lower end is not below 0. Linearised at the fit, Student's t with
// n-3 degrees of freedom (computed; the usual prediction interval). Another age or
// confidence is refused.
func (f StrengthFit) Band(ageDays, confidence float64) (low, mid, high float64, err error) {
	if f.curve == nil {
		return 0, 0, 0, errors.New("prediction band: no fit")
	}
	if err := inRange("age", ageDays, f.FirstDays, f.LastDays, "d"); err != nil {
		return 0, 0, 0, fmt.Errorf("prediction band: %w", err)
	}
	if err := inRange("confidence", confidence, 0.5, 0.999, ""); err != nil {
		return 0, 0, 0, fmt.Errorf("prediction band: %w", err)
	}
	g := mat.NewVecDense(fitParameters, f.slopes(ageDays))
	spread := f.ResidualMPa * math.Sqrt(1+mat.Inner(g, f.covariance, g))
	student := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: f.degrees}
	width := student.Quantile((1+confidence)/2) * spread
	mid = f.curve(ageDays)
	return max(0, mid-width), mid, mid + width, nil
}

// LowAgeDays is the earliest age in days, within those tested, from which on the
// lower end of the band stays at or above a strength of 0.1 to 200 MPa; false if
// it never does. It is found in steps of 1/2000 of the ages tested, and is the
// later end of its step (computed). Confidence as for Band.
func (f StrengthFit) LowAgeDays(mpa, confidence float64) (float64, bool, error) {
	if err := checkStrength("strength", mpa); err != nil {
		return 0, false, err
	}
	const steps = 2000
	at := func(i int) float64 {
		return f.FirstDays + (f.LastDays-f.FirstDays)*float64(i)/steps
	}
	for i := steps; i >= 0; i-- {
		low, _, _, err := f.Band(min(at(i), f.LastDays), confidence)
		if err != nil {
			return 0, false, err
		}
		if low < mpa {
			return min(at(i+1), f.LastDays), i < steps, nil
		}
	}
	return f.FirstDays, true, nil
}
