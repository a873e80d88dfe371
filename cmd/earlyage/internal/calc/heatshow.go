package calc

import (
	"fmt"
	"math"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// heatTable shows a prediction at a dozen moments.
func heatTable(a *answer, h, adiabatic concrete.HeatHistory, sys unit.System) {
	a.table = [][]string{{"HOUR", "MEAN", "CORE", "INNER FACE", "OUTER FACE", "NO LOSS"}}
	last := h.Points[len(h.Points)-1].Hour
	spacing := math.Max(every, math.Ceil(last/12/6)*6)
	for hour := 0.0; hour <= last+1e-9; hour += spacing {
		i := int(math.Round(hour / every))
		if i >= len(h.Points) {
			break
		}
		p := h.Points[i]
		a.table = append(a.table, []string{decimals(p.Hour, 0), celsius(p.Mean, sys), celsius(p.Core, sys), celsius(p.Inner, sys),
			celsius(p.Outer, sys), celsius(adiabatic.Points[i].Mean, sys)})
	}
}

// heatPicture draws core, faces and what no loss of heat would give.
func heatPicture(a *answer, h, adiabatic concrete.HeatHistory, sys unit.System) {
	p := &picture{
		title: "Temperature inside the wall", x: "hours from placing", y: symbolOf(inTemperature, sys),
		desc: fmt.Sprintf("Core, mean and both faces over %s h, and the curve without loss of heat.", number(h.Points[len(h.Points)-1].Hour)),
	}
	for _, c := range []struct {
		name  string
		from  concrete.HeatHistory
		place concrete.HeatPlace
	}{
		{"core", h, concrete.HeatCore}, {"inner face", h, concrete.HeatInner}, {"outer face", h, concrete.HeatOuter},
		{"mean", h, concrete.HeatMean}, {"no loss of heat", adiabatic, concrete.HeatMean},
	} {
		one := line{name: c.name}
		for _, point := range c.from.Points {
			y, _ := inTemperature.in(point.At(c.place), sys)
			one.points = append(one.points, xy(point.Hour, y))
		}
		p.curves = append(p.curves, one)
	}
	zero, _ := inTemperature.in(0, sys)
	p.levels = []level{{"freezing", zero}}
	a.picture = p
}
