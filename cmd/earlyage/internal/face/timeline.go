package face

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"earlyage/events"
)

// Change is what a later message did to an earlier one.
type Change struct {
	Seq    uint64      `json:"seq"`
	Kind   events.Kind `json:"kind"`
	By     string      `json:"by"`
	At     Time        `json:"at"`
	Reason string      `json:"reason"`
	Data   string      `json:"data,omitzero"`   // of an amendment: what stands in the place, as JSON
	Unit   string      `json:"unit,omitzero"`   // of the number that answers an item of a check list
	Second []Second    `json:"second,omitzero"` // who countersigned it
}

// Second is a countersignature.
type Second struct {
	Seq  uint64 `json:"seq"`
	By   string `json:"by"`
	At   Time   `json:"at"`
	Note string `json:"note,omitzero"`
}

// Shift is a member of a statement that differs from the statement before it, as
// JSON; empty where it was not given.
type Shift struct {
	Member string `json:"member"`
	Was    string `json:"was,omitzero"`
	Is     string `json:"is,omitzero"`
}

// Said is what the hub had last stated of a window, beside what its record then
// gives. A wall that is laid out only, or whose bracing is off, is stated nothing of.
type Said struct {
	Seq      uint64   `json:"seq"` // of the statement; 0: nothing was stated
	At       Time     `json:"at"`
	Through  uint64   `json:"through"` // the record was read so far
	Open     bool     `json:"open"`
	Governs  string   `json:"governs,omitzero"`
	CuredAt  Time     `json:"cured_at"`
	Earliest Time     `json:"earliest"`
	Expected Expected `json:"expected"`
	Text     string   `json:"text,omitzero"`
	Due      bool     `json:"due"`            // the wall is one of which something is stated
	Agrees   bool     `json:"agrees"`         // by the record it would not be said anew
	Later    int      `json:"later,omitzero"` // messages about the wall that were recorded after Through
}

// Entry is a message in words, or Count readings of one device that stand together.
type Entry struct {
	Number    uint64      `json:"number"`
	Count     int         `json:"count"`
	What      string      `json:"what"`
	Happened  string      `json:"happened,omitzero"`
	Recorded  string      `json:"recorded"`
	Who       string      `json:"who,omitzero"`
	Device    string      `json:"device,omitzero"`
	Signature string      `json:"signature"`
	Of        uint64      `json:"of,omitzero"` // the message that it is about
	Facts     []EntryFact `json:"facts,omitempty"`
	Notes     []string    `json:"notes,omitempty"` // what became of it
	Struck    bool        `json:"struck,omitzero"` // it does not count any more, or never did
}

// EntryFact is one thing that a message says: a word, and what it is.
type EntryFact struct {
	Label string `json:"label"`
	Value string `json:"value"`
}

// Timeline writes messages in their order, below the sentences of head.
func (p Page) Timeline(out io.Writer, head []string, entries []Entry) error {
	w := bufio.NewWriter(out)
	for _, line := range head {
		if err := wrapped(w, line, "", width); err != nil {
			return err
		}
	}
	for _, e := range entries {
		fmt.Fprintln(w)
		if err := e.write(w); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	if err := Caution(w); err != nil {
		return err
	}
	return w.Flush()
}

// write puts what happened and when on a line of its own, who said it below, then
// what it says and what became of it.
func (e Entry) write(w io.Writer) error {
	mark := ""
	if e.Struck {
		mark = "  (struck)"
	}
	title := fmt.Sprintf("%d  %s", e.Number, e.What)
	if e.Happened != "" {
		title += ", " + e.Happened
	}
	fmt.Fprintln(w, oneLine(title)+mark)
	who := e.Who
	switch {
	case who == "":
		who = e.Device
	case e.Device != "":
		who += " on " + e.Device
	}
	by := []string{"recorded " + e.Recorded}
	if who != "" {
		by = append(by, who)
	}
	by = append(by, e.Signature)
	if e.Of != 0 {
		by = append(by, fmt.Sprintf("about %d", e.Of))
	}
	if e.Count > 1 {
		by = append(by, fmt.Sprintf("%d messages together", e.Count))
	}
	const indent = "    "
	if err := wrapped(w, strings.Join(by, ", "), indent, width); err != nil {
		return err
	}
	facts := make([]string, 0, len(e.Facts))
	for _, f := range e.Facts {
		facts = append(facts, f.Label+": "+f.Value)
	}
	if err := wrapped(w, strings.Join(facts, "; "), indent, width); err != nil {
		return err
	}
	for _, n := range e.Notes {
		if err := wrapped(w, "> "+n, indent, width); err != nil {
			return err
		}
	}
	return nil
}
