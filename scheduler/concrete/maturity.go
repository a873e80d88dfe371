package concrete

import (
	"fmt"
	"math"
)

// GasConstant is R in J/(mol K), with the digits that the sources use.
const GasConstant = 8.314

// kelvin is the offset that ASTM C1074 and EN 1992 print; 273.15 would move a
// factor by less than 0.15 % between 0 and 50 °C.
const kelvin = 273

// The range in which a maturity factor is given, and in which hours are counted.
const (
	MinFactorC = -50.0 // °C
	MaxFactorC = 80.0  // °C
)

const (
	fhpWarmEa  = 33500.0 // J/mol, at 20 °C and above
	fhpColdEa  = 1470.0  // J/mol more for each K below 20 °C
	standardC  = 20.0    // °C, the reference of every rule but a chosen Arrhenius
	nanoHour   = 1e9
	milliPerC  = 1000
	centiPerC  = 100
	milliCenti = milliPerC / centiPerC
)

// Rule is a published way to weigh time by temperature.
type Rule int

// The closed set of rules. The zero Rule is none of them, and counts nothing.
const (
	// RuleArrhenius is ASTM C1074, equation 2 (from memory):
	// exp[-Q (1/Ta - 1/Ts)], any Q and reference.
	RuleArrhenius Rule = iota + 1
	// RuleFHP is Freiesleben Hansen and Pedersen 1977 (from memory):
	// Ea 33,500 J/mol, and 1,470 J/mol more for each K below 20 °C.
	RuleFHP
	// RuleEN is EN 1992-1-1:2004 Annex B, equation B.10 (from memory):
	// exp(-[4000/(273+T) - 13.65]). It gives 0.9981 at 20 °C.
	RuleEN
	// RuleSadgrove is ((T+16)/36)² (from memory).
	RuleSadgrove
	// RuleNurseSaul is (T - T0)/(20 - T0), never negative (from memory:
	// Saul 1951; ASTM C1074 for the datum 0 °C).
	RuleNurseSaul
)

var ruleNames = map[Rule]string{
	RuleArrhenius: "arrhenius",
	RuleFHP:       "fhp",
	RuleEN:        "en-1992",
	RuleSadgrove:  "sadgrove",
	RuleNurseSaul: "nurse-saul",
}

var ruleSources = map[Rule]string{
	RuleArrhenius: "ASTM C1074, equation 2 (from memory)",
	RuleFHP:       "Freiesleben Hansen and Pedersen 1977 (from memory)",
	RuleEN:        "EN 1992-1-1:2004 Annex B, equation B.10 (from memory)",
	RuleSadgrove:  "Sadgrove, as quoted with CIRIA 136 (from memory)",
	RuleNurseSaul: "Nurse and Saul; ASTM C1074 (from memory)",
}

// Rules lists the closed set in a fixed order.
func Rules() []Rule {
	return []Rule{RuleArrhenius, RuleFHP, RuleEN, RuleSadgrove, RuleNurseSaul}
}

// String gives the name that ParseRule reads, or "unknown".
func (r Rule) String() string {
	if name, ok := ruleNames[r]; ok {
		return name
	}
	return "unknown"
}

// Source names the publication and how far the constants were checked.
func (r Rule) Source() string { return ruleSources[r] }

// ParseRule reads the name of a rule exactly as String writes it.
func ParseRule(name string) (Rule, error) {
	for _, r := range Rules() {
		if ruleNames[r] == name {
			return r, nil
		}
	}
	return 0, fmt.Errorf("parse maturity rule %q: not one of %v", name, Rules())
}

// MarshalText writes the name; a Rule outside the closed set is refused.
func (r Rule) MarshalText() ([]byte, error) {
	name, ok := ruleNames[r]
	if !ok {
		return nil, fmt.Errorf("write maturity rule %d: unknown", int(r))
	}
	return []byte(name), nil
}

// UnmarshalText reads what MarshalText wrote.
func (r *Rule) UnmarshalText(text []byte) error {
	parsed, err := ParseRule(string(text))
	if err != nil {
		return err
	}
	*r = parsed
	return nil
}

// Maturity is a rule with its constants. The zero Maturity is not valid: its
// Factor is an error and its HourFactor counts nothing.
type Maturity struct {
	Rule       Rule
	QK         float64 // K, RuleArrhenius only: Ea/R, 1000 to 10,000
	ReferenceC float64 // °C, RuleArrhenius only: 0 to 40. The others refer to 20 °C
	DatumC     float64 // °C, RuleNurseSaul only: T0, -20 to 10
}

// DefaultMaturity is Arrhenius with Q = 5000 K and reference 20 °C (the Q that
// ASTM C1074 suggests for Type I cement without admixture; from memory).
func DefaultMaturity() Maturity {
	return Maturity{Rule: RuleArrhenius, QK: 5000, ReferenceC: standardC}
}

// NewMaturity gives a rule with its usual constants: Q 5000 K at 20 °C for
// Arrhenius, datum 0 °C for Nurse-Saul (ASTM C1074, from memory). A rule outside
// the closed set is refused.
func NewMaturity(r Rule) (Maturity, error) {
	m := DefaultMaturity()
	m.Rule = r
	return m, m.Validate()
}

// Validate refuses an unknown rule and constants that its rule uses and that
// lie outside the ranges given at the fields.
func (m Maturity) Validate() error {
	switch m.Rule {
	case RuleArrhenius:
		if err := inRange("activation temperature Q", m.QK, 1000, 10000, "K"); err != nil {
			return err
		}
		return inRange("reference temperature", m.ReferenceC, 0, 40, "°C")
	case RuleNurseSaul:
		return inRange("datum temperature", m.DatumC, -20, 10, "°C")
	case RuleFHP, RuleEN, RuleSadgrove:
		return nil
	default:
		return fmt.Errorf("maturity rule %d: unknown", int(m.Rule))
	}
}

// Name is the rule with the constants it uses, as a sheet prints it.
func (m Maturity) Name() string {
	switch m.Rule {
	case RuleArrhenius:
		return fmt.Sprintf("%s, Q %s K, reference %s °C", m.Rule, short(m.QK), short(m.ReferenceC))
	case RuleNurseSaul:
		return fmt.Sprintf("%s, datum %s °C", m.Rule, short(m.DatumC))
	default:
		return m.Rule.String()
	}
}

// Factor is the hours at the reference temperature that one hour at tempC is
// worth, from -50 to 80 °C. It is the bare formula, also below 0 °C, where
// every rule but Nurse-Saul still gives something; what may open a window is
// HourFactor or CountedFactor. EN 1992 states 0 to 80 °C for its own rule. Source:
// [Rule.Source], all from memory. Any other temperature, and a Maturity that is
// not valid, are refused.
func (m Maturity) Factor(tempC float64) (float64, error) {
	if err := m.Validate(); err != nil {
		return 0, err
	}
	if err := inRange("concrete temperature", tempC, MinFactorC, MaxFactorC, "°C"); err != nil {
		return 0, err
	}
	return m.factor(tempC), nil
}

// CountedFactor is Factor, but nothing at or below 0 °C, for every rule. It
// refuses what Factor refuses. That no hour at or below 0 °C counts is common
// practice, no source.
func (m Maturity) CountedFactor(tempC float64) (float64, error) {
	f, err := m.Factor(tempC)
	if err != nil || tempC <= 0 {
		return 0, err
	}
	return f, nil
}

// factor is the formula of the rule. The products carry explicit conversions so
// that no machine fuses them with the sum beside them.
func (m Maturity) factor(tempC float64) float64 {
	t := tempC + kelvin
	switch m.Rule {
	case RuleArrhenius:
		return arrhenius(m.QK, t, m.ReferenceC+kelvin)
	case RuleFHP:
		ea := fhpWarmEa
		if tempC < standardC {
			ea = fhpWarmEa + float64(fhpColdEa*(standardC-tempC))
		}
		return arrhenius(ea/GasConstant, t, standardC+kelvin)
	case RuleEN:
		return math.Exp(13.65 - 4000/t)
	case RuleSadgrove:
		ratio := (max(tempC, -16) + 16) / 36
		return float64(ratio * ratio)
	case RuleNurseSaul:
		return max(0, (tempC-m.DatumC)/(standardC-m.DatumC))
	default:
		return 0
	}
}

// arrhenius is the rate at tK against the rate at refK; it is exactly 1 there.
func arrhenius(qK, tK, refK float64) float64 {
	return math.Exp(float64(qK * (1/refK - 1/tK)))
}

// HourFactor is the factor that decides windows: 10⁻⁹ h at the reference for
// one hour at milliC thousandths of a degree, rounded once to the nearest. At
// or below 0 °C it is 0, for every rule. Above 80 °C an hour counts as at
// 80 °C, since no rule is stated beyond; a reading that warm is a doubt in
// itself. It never falls as the temperature rises. A Maturity that is not valid
// counts nothing.
func (m Maturity) HourFactor(milliC int32) int64 {
	if m.Validate() != nil || milliC <= 0 {
		return 0
	}
	milliC = min(milliC, MaxFactorC*milliPerC)
	return int64(math.Round(m.factor(float64(milliC)/milliPerC) * nanoHour))
}

// Table is HourFactor in steps of 0.01 °C, computed beforehand. It is read-only
// once made and safe for concurrent use.
type Table struct {
	rule  Maturity
	hours []int64 // index: hundredths of a degree, 0 to 80 °C
}

// NewTable computes the table of a maturity (8,001 entries, 64 kB, well under a
// millisecond). A Maturity that is not valid gives a table that counts nothing.
func NewTable(m Maturity) *Table {
	t := &Table{rule: m, hours: make([]int64, MaxFactorC*centiPerC+1)}
	for centi := range t.hours {
		t.hours[centi] = m.HourFactor(int32(centi) * milliCenti)
	}
	return t
}

// Maturity is the rule the table was made from.
func (t *Table) Maturity() Maturity { return t.rule }

// Hour gives the digits of HourFactor at centiC hundredths of a degree: 0 below
// the table, the top entry above it. A caller with finer readings rounds down.
func (t *Table) Hour(centiC int32) int64 {
	if uint32(centiC) < uint32(len(t.hours)) { // #nosec G115 -- below zero becomes too large, on purpose
		return t.hours[centiC]
	}
	if centiC < 0 {
		return 0
	}
	return t.hours[len(t.hours)-1]
}

// QFromEa converts an activation energy of 5,000 to 100,000 J/mol into the Q of
// Arrhenius' rule in K, Ea/R with R 8.314 J/(mol K) (computed). Another energy is
// refused.
func QFromEa(jPerMol float64) (float64, error) {
	if err := inRange("activation energy", jPerMol, 5000, 100000, "J/mol"); err != nil {
		return 0, err
	}
	return jPerMol / GasConstant, nil
}
