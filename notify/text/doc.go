// Package text puts into words what people are told: an alert, a summary of
// several, a sheet, a test.
//
// It is pure, and safe for concurrent use. Numbers are the notice's own, in the
// units of the reader, rounded to the safe side: a deadline and the minutes left
// down, a time to strip up, a stretch outwards, a distance to keep up. Times are
// the site's, with its zone. Whatever comes from outside is cleaned: it cannot
// break a line, turn the direction of writing or become markup.
package text
