// Package picture draws walls: the wall unrolled, the timeline of a pour, the
// curves of its curing and the timeline of its bracing.
//
// What it guarantees:
//
//   - Every picture is a pure function of a plain model and of [Options]; equal
//     input gives equal bytes. Nothing is computed that the model does not say:
//     ages are differences of times, and that is all.
//   - A picture is laid out for the width that is asked for. Nothing is cut off
//     and no two labels touch: text is measured by the widest of the fonts that
//     may be used, and a label that finds no room is left out of the drawing,
//     never squeezed in. What is left out stands in the key or is counted there.
//   - Nothing is said by colour alone. A state has its own outline or pattern,
//     and its word stands in the picture or in its key.
//   - Text has a contrast of at least 4.5 to what lies behind it, shapes of at
//     least 3.
//   - Any model can be drawn. What is not finite, lies off the wall or has no
//     extent is left out; names may hold any characters.
//   - A picture that shows a time to strip carries the caution, unless the page
//     around it does ([Options.OnPage]).
//
// A back end is a [Canvas] of two methods; [Drawing.SVG] is the one for pages.
package picture
