// Package unit reads and writes quantities with their unit: "4 ft/h", "21 C",
// "5 ft 6 in".
//
// What it guarantees:
//
//   - A number without a unit is never accepted and never written. Nobody may
//     be taken to have meant metres.
//   - A value belongs to a [Dimension], and only the units of that dimension
//     are accepted. A difference of temperature is a dimension of its own: 10 K
//     is 18 °F of difference, never 50 °F, and "10 C" is no difference.
//   - What reads in two ways is refused: a comma (decimal or thousands),
//     exponents, "ton", and quantities below zero where there are none.
//   - What [Format] writes, [Parse] reads, to half a unit in the last digit
//     written.
//   - Every function is pure and safe for concurrent use; [Parse] never panics.
//
// Values inside the program are in the base unit of their dimension, which the
// list of dimensions names: m, m², m³, h, m/h, m³/h, m/s, °C, K, kPa, MPa,
// kN/m³, kg/m³, kg, kN, kN/m and kg/(m² h).
package unit
