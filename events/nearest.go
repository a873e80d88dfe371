package events

import (
	"strings"
	"unicode/utf8"
)

// nearest says which of the names was probably meant, and lists them.
func nearest(name string, names []string) string {
	if len(names) == 0 {
		return "no members"
	}
	list := "one of " + strings.Join(names, ", ")
	if best := closest(name, names); best != "" {
		return best + "? " + list
	}
	return list
}

// closest returns the name that was probably meant, or nothing.
func closest(name string, names []string) string {
	best, least := "", 0
	name = strings.ToLower(clip(name))
	for _, n := range names {
		d := distance(name, n)
		if len(name) > 1 && strings.HasPrefix(n, name) {
			d = min(d, 1) // the beginning of a name, such as floor for floor_h
		}
		if best == "" || d < least {
			best, least = n, d
		}
	}
	if least > max(2, utf8.RuneCountInString(best)/3) {
		return ""
	}
	return best
}

// distance is the least number of letters to insert, delete or replace that
// turns a into b (Levenshtein).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			d := diagonal
			if a[i] != b[j] {
				d = 1 + min(diagonal, row[j], row[j+1])
			}
			diagonal, row[j+1] = row[j+1], d
		}
	}
	return row[len(b)]
}
