package calc

import (
	"fmt"

	"gonum.org/v1/plot/plotter"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// ruleFlags choose a maturity rule and its constants.
type ruleFlags struct {
	Rule  string         `enum:"arrhenius,fhp,en-1992,sadgrove,nurse-saul" default:"arrhenius" placeholder:"RULE" help:"Maturity rule: arrhenius, fhp, en-1992, sadgrove or nurse-saul."`
	Q     q[difference]  `name:"q" default:"5000K" names:"activation temperature Q" help:"Arrhenius: Ea/R."`
	Ea    q[energy]      `name:"ea" placeholder:"41.6kJ/mol" names:"activation energy" help:"Arrhenius: activation energy, in place of --q."`
	Ref   q[temperature] `default:"20C" names:"reference temperature" help:"Arrhenius: reference temperature."`
	Datum q[temperature] `default:"0C" names:"datum temperature" help:"Nurse-Saul: datum temperature."`
}

func (f ruleFlags) maturity() (concrete.Maturity, error) {
	rule, err := concrete.ParseRule(f.Rule)
	if err != nil {
		return concrete.Maturity{}, err
	}
	m := concrete.Maturity{Rule: rule}
	switch rule {
	case concrete.RuleArrhenius:
		m.QK, m.ReferenceC = f.Q.base, f.Ref.base
		if f.Ea.given() {
			if m.QK, err = concrete.QFromEa(f.Ea.base); err != nil {
				return concrete.Maturity{}, err
			}
		}
	case concrete.RuleNurseSaul:
		m.DatumC = f.Datum.base
	}
	return m, m.Validate()
}

// formula is how a rule weighs an hour, as it is printed.
func formula(m concrete.Maturity) string {
	switch m.Rule {
	case concrete.RuleArrhenius:
		return fmt.Sprintf("exp[-%s K (1/(T + 273) - 1/%s)]", number(m.QK), number(m.ReferenceC+273))
	case concrete.RuleFHP:
		return "exp[-Ea/R (1/(T + 273) - 1/293)], Ea = 33,500 J/mol, and 1,470 (20 - T) more below 20 °C"
	case concrete.RuleEN:
		return "exp(-[4000/(273 + T) - 13.65])"
	case concrete.RuleSadgrove:
		return "((T + 16)/36)²"
	default:
		return fmt.Sprintf("(T - T0)/(20 - T0), T0 = %s °C, never negative", number(m.DatumC))
	}
}

// mostLines is how many stretches of a history the working shows.
const mostLines = 24

// stretches shows a sum over a history: interval by interval, or by longer
// stretches where there are many.
func stretches(a *answer, s story, sum *concrete.Curve, symbol string, size float64) error {
	intervals := len(s.Series) - 1
	step := (intervals + mostLines - 1) / mostLines
	for from := 0; from < intervals; from += step {
		to := min(from+step, intervals)
		part, err := sum.Between(s.Series[from].Hours, s.Series[to].Hours)
		if err != nil {
			return err
		}
		c, err := s.Series[from : to+1].MeanC()
		if err != nil {
			return err
		}
		a.work(fmt.Sprintf("%s to %s h, mean %s °C: %s %s", decimals(s.Series[from].Hours, 2),
			decimals(s.Series[to].Hours, 2), decimals(c, 2), decimals(part*size, 2), symbol))
	}
	return nil
}

// growth is a sum over a history as a curve.
func growth(s story, sum *concrete.Curve, size float64) (plotter.XYs, error) {
	out := make(plotter.XYs, 0, len(s.Series))
	for _, r := range s.Series {
		v, err := sum.At(r.Hours)
		if err != nil {
			return nil, err
		}
		out = append(out, plotter.XY{X: r.Hours, Y: v * size})
	}
	return out, nil
}

const (
	rangeFactor = "concrete temperature -50 to 80 °C; readings that rise strictly in time, any steps; " +
		"the temperature of an interval is the mean of its two ends"
	noteAge = "A rule holds for a mix only as far as its constants do: best-fit values range widely, and no rule is " +
		"better than the others throughout (found: Lee and Hover, ACI Materials Journal 112(6), 2015)."
	noteFrost = "A wall that froze before 3.5 MPa earns no credit by any rule."
)

func celsius(c float64, sys unit.System) string { return inTemperature.format(c, sys) }
