// Package concrete holds the physics and the published rules of concrete in its
// first hours and days: maturity, strength, setting, joints, cold and hot
// weather, form pressure, consolidation, removal of forms, heat and wind. It
// knows numbers only: no walls, no events, no clock, no storage.
//
// What it guarantees:
//
//   - Every function is pure and safe for concurrent use. The same input gives
//     the same digits; the factors that decide a window are whole numbers
//     ([Maturity.HourFactor], [Table]).
//   - A value outside a formula's range is refused with a [RangeError] that
//     names it, or is moved to the safe side where the doc comment says so.
//     Safe means later for the removal of forms and braces, and earlier for a
//     joint.
//   - Every formula names its source and how far it was checked: "found" (read
//     in the source named), "from memory" (recalled, clause and constants
//     included), "computed" (arithmetic from the stated formula), or "common
//     practice, no source". Nothing marked "from memory" may be shown to a
//     reader as a limit of a code without those words.
//
// Units: temperatures in °C, differences of temperature in K, time in hours
// unless a name says minutes or days, lengths in m, pressures in kPa, strengths
// in MPa, rates in m/h, volumes in m³.
package concrete
