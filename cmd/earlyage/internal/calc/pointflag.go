package calc

import (
	"fmt"
	"strings"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// setPoint is a measured initial set as a flag: "21C=6h".
type setPoint struct {
	concrete.SetPoint
	text string
}

// UnmarshalText reads "21C=6h".
func (p *setPoint) UnmarshalText(text []byte) error {
	at, after, ok := strings.Cut(string(text), "=")
	if !ok {
		return fmt.Errorf("read set point %q: wanted TEMPERATURE=TIME, as in 21C=6h", clip(string(text)))
	}
	c, err := unit.Parse(unit.Temperature, at)
	if err != nil {
		return err
	}
	h, err := unit.Parse(unit.Duration, after)
	if err != nil {
		return err
	}
	p.SetPoint, p.text = concrete.SetPoint{TempC: c, Minutes: h * 60}, string(text)
	return nil
}

func (p setPoint) typed() string { return p.text }

func setPoints(flags []setPoint) []concrete.SetPoint {
	var out []concrete.SetPoint
	for _, p := range flags {
		out = append(out, p.SetPoint)
	}
	return out
}

// opening is a hole in a wall as a flag: "0.9 m x 2.1 m".
type opening struct {
	concrete.Opening
	text string
}

// UnmarshalText reads "0.9 m x 2.1 m".
func (o *opening) UnmarshalText(text []byte) error {
	wide, high, ok := strings.Cut(strings.ReplaceAll(string(text), "×", "x"), "x")
	if !ok {
		return fmt.Errorf("read opening %q: wanted WIDTH x HEIGHT, as in 0.9mx2.1m", clip(string(text)))
	}
	w, err := unit.Parse(unit.Length, wide)
	if err != nil {
		return err
	}
	h, err := unit.Parse(unit.Length, high)
	if err != nil {
		return err
	}
	o.Opening, o.text = concrete.Opening{Width: w, Height: h}, string(text)
	return nil
}

func (o opening) typed() string { return o.text }
