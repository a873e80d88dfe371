package concrete_test

import (
	"errors"
	"fmt"

	"earlyage/scheduler/concrete"
)

// A 200 mm wall under 19 mm plywood in air of -10 °C: too little insulated to
// be of one temperature, so it is predicted with nodes.
func ExampleSection_Nodal() {
	binder := concrete.Binder{Cement: concrete.ReferenceCement(), WaterBinder: 0.50}
	mix, err := concrete.NewHeatMix(binder, 350)
	if err != nil {
		fmt.Println(err)
		return
	}
	air, err := concrete.ConstantAir(-10)
	if err != nil {
		fmt.Println(err)
		return
	}
	face := concrete.Face{Form: concrete.FormPlywood19, Film: concrete.FilmBreeze, Air: air}
	wall := concrete.Section{Mix: mix, Thickness: 0.20, Inner: face, Outer: face}
	run := concrete.HeatRun{Start: 20, Hours: 72, Every: 0.5}

	_, err = wall.Lumped(run)
	fmt.Println(errors.Is(err, concrete.ErrNotLumped), err)

	history, err := wall.Nodal(run, concrete.UsualNodes)
	if err != nil {
		fmt.Println(err)
		return
	}
	face0, _ := history.FallsThrough(concrete.HeatOuter, 0)
	core0, _ := history.FallsThrough(concrete.HeatCore, 0)
	fmt.Printf("0 °C at the face after %.1f h, in the core after %.1f h\n", face0, core0)
	// Output:
	// true lumped wall, biot number 0.240, limit 0.1: not of one temperature through the thickness
	// 0 °C at the face after 29.8 h, in the core after 32.4 h
}
