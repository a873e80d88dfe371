// Package paper prints: the paper of a wall and the bracing register, as PDF in A4
// and Letter, without a browser.
//
// What it guarantees:
//   - It computes nothing. It prints what wallpage and register say, and the
//     pictures of package picture as vectors.
//   - Equal input gives equal bytes: the document's date is the moment of the
//     record, and nothing in it is random.
//   - Every page carries what it is of, as of when, its number of how many, the
//     digest of the record, the checkpoint and the caution.
//   - No row of a table is cut between two pages, unless it is higher than a page;
//     a table that goes on repeats its head. No text leaves its column: it wraps,
//     within a word where it must.
//   - Nothing is said by colour alone; it reads in black on white.
//   - Any text can be printed. A character that the fonts lack stands as its code,
//     such as U+1F9F1.
//
// The fonts are built in. A PDF made here is not tagged: the page of the wall is the
// copy for those who cannot see it.
package paper

import (
	"errors"
	"time"

	"earlyage/cmd/earlyage/internal/register"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/cmd/earlyage/internal/words"
)

// Size is a size of paper.
type Size string

// The sizes. An empty one is A4.
const (
	A4     Size = "a4"
	Letter Size = "letter"
)

// ErrSize is for a size that is none of them.
var ErrSize = errors.New("a size of paper is a4 or letter")

// points gives the size in points, upright.
func (s Size) points() (wide, high float64, err error) {
	switch s {
	case A4, "":
		return 210 * pointsPerMM, 297 * pointsPerMM, nil
	case Letter:
		return 612, 792, nil
	}
	return 0, 0, ErrSize
}

const pointsPerMM = 72 / 25.4

// Input is what the paper of a wall is made of.
type Input struct {
	Page     wallpage.Page
	Words    *words.Catalogue
	Name     func(person string) string // what people call a person; the id where there is no name
	Register register.Register          // of this wall, with a checkpoint that covers the page
}

// stamp is what stands on every page.
type stamp struct {
	title  string // of the document
	head   string // what it is of
	when   string // as of when
	at     time.Time
	digest string // of the record; empty: of no one wall
	seal   register.Checkpoint
}

func sealOf(r register.Register) register.Checkpoint {
	if r.Checkpoint == nil {
		return register.Checkpoint{}
	}
	return *r.Checkpoint
}
