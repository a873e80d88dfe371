package concrete

import (
	"errors"
	"fmt"
	"sort"
)

// Reading is a concrete or air temperature at a moment.
type Reading struct {
	Hours float64 // h from any zero
	TempC float64 // °C, -50 to 80
}

// Series is a temperature history: readings at strictly rising times, the steps
// as uneven as they come. Between two readings the temperature is taken to run
// straight; before the first and after the last nothing is known.
type Series []Reading

// Validate refuses fewer than two readings, times that do not rise strictly,
// and values outside the ranges of Reading.
func (s Series) Validate() error {
	if len(s) < 2 {
		return errors.New("temperature series: fewer than two readings")
	}
	for i, r := range s {
		if err := inRange("time of reading", r.Hours, -1e6, 1e6, "h"); err != nil {
			return fmt.Errorf("temperature series reading=%d: %w", i, err)
		}
		if err := inRange("temperature", r.TempC, MinFactorC, MaxFactorC, "°C"); err != nil {
			return fmt.Errorf("temperature series reading=%d: %w", i, err)
		}
		if i > 0 && r.Hours <= s[i-1].Hours {
			return fmt.Errorf("temperature series reading=%d: time %s h does not follow %s h",
				i, short(r.Hours), short(s[i-1].Hours))
		}
	}
	return nil
}

// Curve is a sum that grows along a Series (equivalent hours, or °C·h): straight
// between readings and never falling. Sums over any interval are binary
// searches in prefix sums. Read-only once made; safe for concurrent use.
type Curve struct {
	hours []float64
	total []float64
}

// accumulate adds up amount(i), the growth from reading i to i+1.
func (s Series) accumulate(amount func(a, b Reading) float64) *Curve {
	c := &Curve{hours: make([]float64, len(s)), total: make([]float64, len(s))}
	c.hours[0] = s[0].Hours
	for i := 1; i < len(s); i++ {
		c.hours[i] = s[i].Hours
		c.total[i] = c.total[i-1] + amount(s[i-1], s[i])
	}
	return c
}

// EquivalentAge is the hours at the reference temperature, by the bare formula
// at the mean temperature of each interval (ASTM C1074 and EN 1992-1-1 B.10,
// from memory). It counts below 0 °C what the formula gives; CountedAge does
// not. A series or a Maturity that is not valid is refused.
func (s Series) EquivalentAge(m Maturity) (*Curve, error) {
	if err := s.ready(m); err != nil {
		return nil, err
	}
	return s.accumulate(func(a, b Reading) float64 {
		return float64(m.factor(mean(a, b)) * (b.Hours - a.Hours))
	}), nil
}

// CountedAge is EquivalentAge without the time at or below 0 °C: an interval
// that crosses 0 °C counts only the part above, at the mean of that part (common
// practice, no source). For a rule that gives nothing below 0 °C that part can be
// worth more than the interval at its mean. A series or a Maturity that is not
// valid is refused.
func (s Series) CountedAge(m Maturity) (*Curve, error) {
	if err := s.ready(m); err != nil {
		return nil, err
	}
	return s.accumulate(func(a, b Reading) float64 {
		hours, tempC := partAbove(a, b, 0)
		if hours == 0 {
			return 0
		}
		return float64(m.factor(tempC) * hours)
	}), nil
}

// TemperatureTime is the Nurse-Saul sum in °C·h above a datum of -20 to 10 °C
// (ASTM C1074, equation 1, from memory); another datum is refused. An interval
// whose mean lies below the datum counts nothing: a negative sum would un-cure
// the wall.
func (s Series) TemperatureTime(datumC float64) (*Curve, error) {
	if err := s.ready(Maturity{Rule: RuleNurseSaul, DatumC: datumC}); err != nil {
		return nil, err
	}
	return s.accumulate(func(a, b Reading) float64 {
		return float64(max(0, mean(a, b)-datumC) * (b.Hours - a.Hours))
	}), nil
}

func (s Series) ready(m Maturity) error {
	if err := s.Validate(); err != nil {
		return err
	}
	return m.Validate()
}

func mean(a, b Reading) float64 { return (a.TempC + b.TempC) / 2 }

// partAbove is how long the straight line from a to b lies above a temperature,
// and its mean there.
func partAbove(a, b Reading, c float64) (hours, tempC float64) {
	switch {
	case a.TempC <= c && b.TempC <= c:
		return 0, c
	case a.TempC >= c && b.TempC >= c:
		return b.Hours - a.Hours, mean(a, b)
	}
	top := max(a.TempC, b.TempC)
	share := (top - c) / (top - min(a.TempC, b.TempC))
	return share * (b.Hours - a.Hours), (top + c) / 2
}

// HoursAbove is how long in h the series lies strictly above any temperature in
// °C (computed; straight lines between readings). A series that is not valid is
// refused.
func (s Series) HoursAbove(tempC float64) (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	sum := 0.0
	for i := 1; i < len(s); i++ {
		hours, _ := partAbove(s[i-1], s[i], tempC)
		sum += hours
	}
	return sum, nil
}

// MeanC is the mean temperature in °C over the whole series, weighed by time
// (computed). A series that is not valid is refused.
func (s Series) MeanC() (float64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	sum := 0.0
	for i := 1; i < len(s); i++ {
		sum += float64(mean(s[i-1], s[i]) * (s[i].Hours - s[i-1].Hours))
	}
	return sum / (s[len(s)-1].Hours - s[0].Hours), nil
}

// FirstAtOrBelow is the first moment in h at which the series lies at or below a
// temperature in °C; false if it never does (computed; straight lines between
// readings). A series that is not valid is refused.
func (s Series) FirstAtOrBelow(tempC float64) (float64, bool, error) {
	if err := s.Validate(); err != nil {
		return 0, false, err
	}
	for i, r := range s {
		if r.TempC > tempC {
			continue
		}
		if i == 0 {
			return r.Hours, true, nil
		}
		before := s[i-1]
		share := (before.TempC - tempC) / (before.TempC - r.TempC)
		return before.Hours + float64(share*(r.Hours-before.Hours)), true, nil
	}
	return 0, false, nil
}

// Start and End are the first and the last moment of the series.
func (c *Curve) Start() float64 { return c.hours[0] }

// End is the last moment of the series.
func (c *Curve) End() float64 { return c.hours[len(c.hours)-1] }

// Total is the sum over the whole series.
func (c *Curve) Total() float64 { return c.total[len(c.total)-1] }

// At is the sum from the start to a moment of the series in h (computed). Beyond
// its ends nothing is known and the moment is refused.
func (c *Curve) At(hours float64) (float64, error) {
	if err := inRange("time in the temperature series", hours, c.Start(), c.End(), "h"); err != nil {
		return 0, err
	}
	i := sort.SearchFloat64s(c.hours, hours)
	if c.hours[i] == hours {
		return c.total[i], nil
	}
	share := (hours - c.hours[i-1]) / (c.hours[i] - c.hours[i-1])
	return c.total[i-1] + float64(share*(c.total[i]-c.total[i-1])), nil
}

// Between is the sum from one moment of the series to another (computed). An
// earlier second moment, and one beyond the ends, are refused.
func (c *Curve) Between(from, to float64) (float64, error) {
	if to < from {
		return 0, RangeError{Name: "end of the interval", Value: to, Min: from, Max: c.End(), Unit: "h"}
	}
	a, err := c.At(from)
	if err != nil {
		return 0, err
	}
	b, err := c.At(to)
	if err != nil {
		return 0, err
	}
	return b - a, nil
}

// When is the first moment in h at which the sum reaches want (computed); false
// if it has not by the end of the series. A negative sum is refused.
func (c *Curve) When(want float64) (float64, bool, error) {
	if err := inRange("sum to reach", want, 0, 1e12, ""); err != nil {
		return 0, false, err
	}
	if want > c.Total() {
		return 0, false, nil
	}
	i := sort.SearchFloat64s(c.total, want)
	if c.total[i] == want || i == 0 {
		return c.hours[i], true, nil
	}
	share := (want - c.total[i-1]) / (c.total[i] - c.total[i-1])
	return min(c.hours[i], c.hours[i-1]+float64(share*(c.hours[i]-c.hours[i-1]))), true, nil
}
