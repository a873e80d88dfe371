// Package calc is the command "earlyage calc": the numbers of early-age concrete
// on the command line, one subcommand for each group of rules.
//
// What it guarantees:
//
//   - Every number comes from package concrete. This package reads flags and
//     files, asks, and shows: the result, the working line by line, the source,
//     how far that was checked, the range, and a caution where the number can
//     hurt somebody. What rests on memory says so.
//   - Every quantity is read with its unit and written with its unit, in SI or
//     in US customary units.
//   - Bad input is an [*InputError] that names the flag, the value and what is
//     allowed. Nothing has been written then, neither a result nor a picture.
//   - No state, no clock, no network: the same command line and the same files
//     give the same bytes.
package calc

// Command is "earlyage calc". It is embedded as one command in a kong grammar;
// Run of each subcommand wants a bound io.Writer for its result.
type Command struct {
	Maturity         maturityCmd      `cmd:"" help:"Temperature-time factor (Nurse-Saul) of a temperature history."`
	EquivalentAge    equivalentAgeCmd `cmd:"" help:"Age at a reference temperature, by any of the published rules."`
	Strength         strengthCmd      `cmd:"" help:"Strength by a curve, its inverse, or a curve fitted to specimens."`
	Set              setCmd           `cmd:"" help:"Setting times: by the table, a measured mix, penetration readings or hydration."`
	Joint            jointCmd         `cmd:"" help:"How long a layer may wait for the next."`
	Pressure         pressureCmd      `cmd:"" help:"Lateral pressure of fresh concrete on a form."`
	Rate             rateCmd          `cmd:"" help:"Greatest placing rate for a form, and rate of rise from a delivery."`
	Vibrator         vibratorCmd      `cmd:"" help:"Vibrator group, spacing, withdrawal, and whether the vibrators keep up."`
	Evaporation      evaporationCmd   `cmd:"" help:"Evaporation from a fresh surface."`
	FreshTemperature freshCmd         `cmd:"" help:"Temperature of fresh concrete from its ingredients."`
	Cold             coldCmd          `cmd:"" help:"Cold-weather limits, protection, drops and first frost."`
	Removal          removalCmd       `cmd:"" help:"When forms and braces may come off, by each published rule."`
	Heat             heatCmd          `cmd:"" help:"Predicted temperature inside a wall."`
	Wind             windCmd          `cmd:"" help:"Wind on a free-standing wall, tension at its foot, force on a brace."`
	TakeOff          takeOffCmd       `cmd:"" help:"Volume, trucks, strength tests and delivery limits."`
}
