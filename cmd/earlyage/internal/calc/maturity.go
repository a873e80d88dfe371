package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler"
	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type maturityCmd struct {
	plotted
	history
	Datum q[temperature] `default:"0C" names:"datum temperature" help:"Datum temperature: nothing hardens below it."`
}

// Run implements the command.
func (c *maturityCmd) Run(k *kong.Context, w io.Writer) error { return c.run(k, w, c.work) }

func (c *maturityCmd) work(sys unit.System) (*answer, error) {
	s, err := c.read(0)
	if err != nil {
		return nil, err
	}
	sum, err := s.TemperatureTime(c.Datum.base)
	if err != nil {
		return nil, err
	}
	mean, err := s.MeanC()
	if err != nil {
		return nil, err
	}
	above, err := s.HoursAbove(c.Datum.base)
	if err != nil {
		return nil, err
	}
	a := &answer{
		title:  "Temperature-time factor (Nurse-Saul)",
		source: "Nurse and Saul; ASTM C1074, equation 1 (from memory). Datum 0 °C: its default for Type I cement without admixture, 0 to 40 °C (from memory); -10 °C: the older one, which highway agencies use (found: Smythe, Iowa)",
		status: fromMemory,
		valid: "datum -20 to 10 °C; " + rangeFactor + ". Good within about 10 K of the temperature at which the " +
			"strength curve was made, and only with the datum of that curve",
		caution: scheduler.Caution,
	}
	a.add(
		value("temperature-time", inDegreeHours, sum.Total()),
		value("mean-temperature", inTemperature, mean),
		value("elapsed", inDuration, s.end()),
		value("hours-above-datum", inDuration, above),
	)
	a.work("M = Σ (Ta - T0) Δt, an interval with Ta below T0 counts nothing; T0 = " + celsius(c.Datum.base, sys))
	a.work(s.told(sys))
	if err := stretches(a, s, sum, "°C·h", 1); err != nil {
		return nil, err
	}
	a.work(fmt.Sprintf("M = %s", inDegreeHours.format(sum.Total(), sys)))
	a.note(noteFrost)
	return a, c.draw(a, s, sum, sys)
}

func (c *maturityCmd) draw(a *answer, s story, sum *concrete.Curve, sys unit.System) error {
	size, symbol := inDegreeHours.in(1, sys)
	points, err := growth(s, sum, size)
	if err != nil {
		return err
	}
	a.picture = &picture{
		title: "Temperature-time factor above " + celsius(c.Datum.base, sys),
		desc:  fmt.Sprintf("It grows to %s in %s h.", inDegreeHours.format(sum.Total(), sys), number(s.end())),
		x:     "hours from the first reading", y: symbol,
		curves: []line{{"temperature-time", points}},
	}
	return nil
}
