package concrete_test

import (
	"fmt"

	"earlyage/scheduler/concrete"
)

// How long braces stay at a constant concrete temperature, by every published
// rule: two to one in the cold, and never under 48 hours in the heat.
func ExampleBraceHours() {
	for _, m := range concrete.PublishedMaturities() {
		cold, _ := concrete.BraceHours(m, 5)
		hot, _ := concrete.BraceHours(m, 30)
		fmt.Printf("%-37s %5.1f h at 5 °C, %4.1f h at 30 °C\n", m.Name(), cold, hot)
	}
	// Output:
	// en-1992                               100.5 h at 5 °C, 48.0 h at 30 °C
	// arrhenius, Q 5000 K, reference 20 °C  120.5 h at 5 °C, 48.0 h at 30 °C
	// fhp                                   164.3 h at 5 °C, 48.0 h at 30 °C
	// sadgrove                              141.1 h at 5 °C, 48.0 h at 30 °C
	// nurse-saul, datum 0 °C                192.0 h at 5 °C, 48.0 h at 30 °C
	// nurse-saul, datum -10 °C               96.0 h at 5 °C, 48.0 h at 30 °C
}

// The table that decides windows: whole numbers, nothing at or below 0 °C.
func ExampleTable() {
	table := concrete.NewTable(concrete.DefaultMaturity())
	for _, centi := range []int32{-500, 0, 500, 2000, 2550} {
		fmt.Printf("%6.2f °C: %.9f h per hour\n", float64(centi)/100, float64(table.Hour(centi))/1e9)
	}
	// Output:
	//  -5.00 °C: 0.000000000 h per hour
	//   0.00 °C: 0.000000000 h per hour
	//   5.00 °C: 0.398214253 h per hour
	//  20.00 °C: 1.000000000 h per hour
	//  25.50 °C: 1.369475276 h per hour
}

// When a strength is reached under a temperature history.
func ExampleWhenReached() {
	history := concrete.Series{{0, 18}, {12, 26}, {24, 15}, {72, 9}}
	age, err := history.CountedAge(concrete.DefaultMaturity())
	if err != nil {
		fmt.Println(err)
		return
	}
	hours, reached, err := concrete.WhenReached(concrete.Hyperbolic{SuMPa: 40, KPerDay: 0.35, T0Days: 0.2}, age, 10)
	fmt.Printf("%.1f h %v %v\n", hours, reached, err)
	// Output:
	// 27.0 h true <nil>
}

// Which limit closes a joint on a hot day, and when.
func ExampleEffectiveJointLimit() {
	limit, err := concrete.EffectiveJointLimit(concrete.JointInputs{
		AirRule: concrete.JointJSCE, AirC: 31, ConcreteC: 33, AgeKnown: true, AgeMin: 50,
	})
	fmt.Printf("%.0f min after placing, by %s; %v\n", limit.Minutes, limit.Rule, err)
	// Output:
	// 70 min after placing, by setting-table; <nil>
}
