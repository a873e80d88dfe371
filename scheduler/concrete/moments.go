package concrete

import "fmt"

// Above is the hours strictly above a temperature of -50 to 80 °C as a sum along
// the series: [Series.HoursAbove], and by when. With 10 °C it counts the hours
// of ACI 347R-94 (found) along a history of the air. Readings are put in where
// the series crosses the temperature, so that the sum is exact at every moment
// (computed). A series that is not valid is refused.
func (s Series) Above(tempC float64) (*Curve, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	if err := inRange("temperature", tempC, MinFactorC, MaxFactorC, "°C"); err != nil {
		return nil, fmt.Errorf("hours above: %w", err)
	}
	return s.withCrossings(tempC).accumulate(func(a, b Reading) float64 {
		hours, _ := partAbove(a, b, tempC)
		return hours
	}), nil
}

// withCrossings is the series with a reading wherever it passes a temperature.
func (s Series) withCrossings(tempC float64) Series {
	out := make(Series, 0, len(s))
	for i, r := range s {
		if i > 0 {
			before := s[i-1]
			share := (tempC - before.TempC) / (r.TempC - before.TempC)
			at := before.Hours + float64(share*(r.Hours-before.Hours))
			if at > before.Hours && at < r.Hours {
				out = append(out, Reading{at, tempC})
			}
		}
		out = append(out, r)
	}
	return out
}

// BS8110Moment is the first moment of a history of surface temperature at which
// a row of BS 8110-1:1997 Table 6.2 is met (from memory): its formula, which is
// a constant maturity, and the entry of the table for the mean temperature until
// then, the entry at 7 °C for 7 °C and below. At a constant temperature it is
// [BS8110Hours]. Warmer than 25 °C counts as 25 °C and time at or below 0 °C
// counts nothing, since the rule is for 0 to 25 °C. False if the history ends
// before. An unknown row and a series that is not valid are refused.
func BS8110Moment(row Striking, s Series) (atHours float64, met bool, err error) {
	sum, err := BS8110MaturityCh(row)
	if err != nil {
		return 0, false, err
	}
	age, err := s.noWarmerThan(strikingMaxC).CountedAge(Maturity{Rule: RuleNurseSaul, DatumC: strikingDatumC})
	if err != nil {
		return 0, false, fmt.Errorf("BS 8110 striking moment: %w", err)
	}
	at, met, err := age.When(sum / (standardC - strikingDatumC))
	if err != nil || !met {
		return 0, false, err
	}
	mean, err := s.until(at).MeanC()
	if err != nil {
		return 0, false, fmt.Errorf("BS 8110 striking moment: %w", err)
	}
	entry := strikingTable[row].warmH
	if mean <= strikingCoolC {
		entry = strikingTable[row].coolH
	}
	at = max(at, s[0].Hours+entry)
	if at > s[len(s)-1].Hours {
		return 0, false, nil
	}
	return at, true, nil
}

// noWarmerThan is the series with every reading cut down to a temperature.
func (s Series) noWarmerThan(c float64) Series {
	out := make(Series, len(s))
	for i, r := range s {
		out[i] = Reading{r.Hours, min(r.TempC, c)}
	}
	return out
}

// until is the beginning of a valid series up to a moment after its start.
func (s Series) until(hours float64) Series {
	for i, r := range s {
		if r.Hours < hours {
			continue
		}
		before := s[i-1]
		share := (hours - before.Hours) / (r.Hours - before.Hours)
		return append(s[:i:i], Reading{hours, before.TempC + float64(share*(r.TempC-before.TempC))})
	}
	return s
}

// CuringMoment is the first moment of a history of surface temperature at which
// the curing period of EN 13670 Annex F is over: where [CuringShare] reaches 1,
// which also says the source, how it sums up and what is refused. False if the
// history ends before.
func CuringMoment(c CuringClass, r, setHours float64, s Series) (atHours float64, met bool, err error) {
	if _, err := CuringShare(c, r, setHours, s); err != nil {
		return 0, false, fmt.Errorf("curing moment: %w", err)
	}
	begin := s[0].Hours + max(0, setHours-curingSetHours)
	left := 1.0
	for i := 1; i < len(s); i++ {
		from := max(begin, s[i-1].Hours)
		coldest := min(s[i-1].TempC, s[i].TempC)
		if s[i].Hours <= from || coldest < curingLeastC {
			continue
		}
		period, err := curingHours(c, r, coldest)
		if err != nil {
			return 0, false, fmt.Errorf("curing moment: %w", err)
		}
		if left*period <= s[i].Hours-from {
			return from + float64(left*period), true, nil
		}
		left -= (s[i].Hours - from) / period
	}
	return 0, false, nil
}
