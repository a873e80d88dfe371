// Package wallpage shows one wall whole, for the office, the hearing and the
// paper: what it is, its surface, what is due, the cure window with what
// governs, the curves, the sheet hour by hour, the braces by station, loads,
// checks, string line, alerts, and every message that was ever recorded of it,
// as of any moment. Beside it stands the safety officer's entry: all walls,
// those with an exception first.
//
// What it guarantees:
//   - Make and Exceptions are pure: they pick, order and word what the
//     assessment, the sheet, the states and the messages say, and compute
//     nothing. They keep nothing of the states. Equal input gives equal bytes.
//   - What was known at a past moment is the fold of the messages recorded up to
//     it, assessed at that moment; AsOf folds them in memory as the projector
//     did, and believes a message then that the projector believed.
//   - No message is left out of the timeline: what was refused, repeated,
//     amended or voided stands there with its reason. Readings of probes stand
//     together by default, and one by one where they are asked for.
//   - "May strip" is said of the present alone, from a record that is level, and
//     never without the caution.
//   - Beside every picture stands a table of what it is drawn from.
//   - The pages need no script, and print as they stand.
package wallpage
