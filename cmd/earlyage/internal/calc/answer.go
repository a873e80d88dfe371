package calc

import (
	"math"
	"strings"

	"earlyage/scheduler/concrete/unit"
)

// The four ways in which a figure may have been checked, the weakest last.
const (
	found      = "found"
	computed   = "computed"
	practice   = "common practice, no source"
	fromMemory = "from memory"
)

// figure is one named number of a result, or a word where the answer is one.
type figure struct {
	name string // as JSON names it, words joined by "-"
	of   measure
	base float64
	word string // in place of a number
	note string // shown behind the number
	row  bool   // people read it in the table; programs read it here
}

func value(name string, of measure, base float64) figure {
	return figure{name: name, of: of, base: base}
}

func says(name, word string) figure { return figure{name: name, word: word} }

// with puts a remark behind a figure.
func (f figure) with(note string) figure {
	f.note = note
	return f
}

// inTable leaves a figure to the table.
func (f figure) inTable() figure {
	f.row = true
	return f
}

// shown is the figure for people.
func (f figure) shown(sys unit.System) string {
	if f.word != "" {
		return f.word
	}
	return f.of.format(f.base, sys)
}

// answer is what a subcommand has to say.
type answer struct {
	title   string
	figures []figure
	table   [][]string // its head first; may be empty
	working []string   // line by line
	source  string
	status  string // the weakest of what the result rests on
	valid   string // the range in which it holds
	notes   []string
	caution string // where the number can hurt somebody
	picture *picture
}

func (a *answer) add(f ...figure) { a.figures = append(a.figures, f...) }

// work adds a line of working.
func (a *answer) work(line string) { a.working = append(a.working, line) }

func (a *answer) note(text string) { a.notes = append(a.notes, text) }

// The cautions that more than one subcommand needs.
const (
	cautionForm = "This designs no form. The rating of the form as it stands, its maker's instructions and the " +
		"engineer who answers for it govern. A form that bulges, or a slump above what was assumed, stops the pour."
	cautionBracing = "An aid for the engineer who answers for the bracing, not a design: it knows nothing of soil, " +
		"anchors, gusts beside buildings, or a wall out of plumb. Nobody stands in the fall zone of a wall that is not held."
	cautionHeat = "A forecast for planning protection. The mix, the wind and the wet that it assumes are not those of " +
		"the wall. It opens no window: measure, at the coldest place too."
	cautionJoint = "Whether a layer still takes the next is seen at the wall: a running vibrator must sink in by its own " +
		"weight. Hot, windy or retempered concrete closes sooner than any figure here."
)

// finite says whether every number of an answer is one.
func (a *answer) finite() bool {
	for _, f := range a.figures {
		if f.word == "" && (math.IsNaN(f.base) || math.IsInf(f.base, 0)) {
			return false
		}
	}
	return true
}

// spaced is a JSON name as people read it.
func spaced(name string) string { return strings.ReplaceAll(name, "-", " ") }
