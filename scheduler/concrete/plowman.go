package concrete

import "math"

// Plowman's logarithmic curve.
const (
	// PlowmanDatumC is 11 °F, the datum of Plowman 1956 (from memory).
	PlowmanDatumC = -11.7
	// PlowmanReferenceCh is the maturity of 28 d at 18 °C as he quotes it, in
	// °C·h (from memory; the arithmetic gives 19,958).
	PlowmanReferenceCh = 19800.0
	maxPlowmanCh       = 20000.0
)

// Plowman is S/S28 % = A + B log10(M/1000), M in °C·h above -11.7 °C (Plowman
// 1956, via Neville, from memory). Predictions of this kind to 28 d had a
// coefficient of variation of 12 % (found: Hudson and Steele, TRR 558). It goes
// negative at the start, where it gives nothing, and is not stated beyond 28 d.
type Plowman struct {
	S28MPa float64 // 28-day cube strength, 5 to 69 MPa
	A, B   float64 // %
}

// NewPlowman takes the constants of the class of the 28-day cube strength, 5 to
// 69 MPa (from memory); another strength is refused. A strength on the edge of two
// classes belongs to the stronger.
func NewPlowman(s28MPa float64) (Plowman, error) {
	if err := inRange("28-day cube strength", s28MPa, 5, 69, "MPa"); err != nil {
		return Plowman{}, err
	}
	switch {
	case s28MPa < 17:
		return Plowman{s28MPa, 10, 68}, nil
	case s28MPa < 35:
		return Plowman{s28MPa, 21, 61}, nil
	case s28MPa < 52:
		return Plowman{s28MPa, 32, 54}, nil
	default:
		return Plowman{s28MPa, 42, 46.5}, nil
	}
}

// Percent is the part of the 28-day strength in % at a maturity of 1 to 20,000
// °C·h above PlowmanDatumC (from memory); another maturity is refused.
func (p Plowman) Percent(maturityCh float64) (float64, error) {
	if err := inRange("maturity", maturityCh, 1, maxPlowmanCh, "°C·h"); err != nil {
		return 0, err
	}
	return max(0, p.A+float64(p.B*math.Log10(maturityCh/1000))), nil
}

// MPa is the strength at a maturity of 1 to 20,000 °C·h (from memory); another
// maturity is refused.
func (p Plowman) MPa(maturityCh float64) (float64, error) {
	percent, err := p.Percent(maturityCh)
	return percent / 100 * p.S28MPa, err
}

// MaturityCh is the inverse of MPa, in °C·h (computed). A strength beyond 28 d is
// refused.
func (p Plowman) MaturityCh(mpa float64) (float64, error) {
	most, err := p.MPa(maxPlowmanCh)
	if err != nil {
		return 0, err
	}
	if err := inRange("strength", mpa, minStrength, most, "MPa"); err != nil {
		return 0, err
	}
	return 1000 * math.Pow(10, (100*mpa/p.S28MPa-p.A)/p.B), nil
}
