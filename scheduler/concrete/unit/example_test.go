package unit_test

import (
	"fmt"

	"earlyage/scheduler/concrete/unit"
)

func ExampleParse() {
	rate, err := unit.Parse(unit.RiseRate, "4 ft/h")
	fmt.Println(unit.Format(unit.RiseRate, rate, unit.SI), err)
	_, err = unit.Parse(unit.RiseRate, "4")
	fmt.Println(err)
	drop, err := unit.Parse(unit.Difference, "18 F-diff")
	fmt.Println(unit.Format(unit.Difference, drop, unit.SI), err)
	// Output:
	// 1.22 m/h <nil>
	// read rise rate "4": no unit after 4 (allowed units: m/h, mm/h, ft/h, in/h)
	// 10.0 K <nil>
}
