// Package numbers makes the page of the numbers of package concrete,
// NUMBERS.md, from the reference rows that its tests run and from the comments
// of its functions.
//
// What it guarantees: the same rows and comments give the same bytes, and every
// row is on the page. A row of a file that belongs to no topic is an error, not
// a gap.
package numbers
