// Package bundle puts the record of one wall into one file that proves itself,
// and reads such a file without a hub.
//
// A bundle is text, one JSON object to a line: a head; the checkpoints that the
// hub has signed, each with the proof that the last of them goes on from it; a
// line for each message, exactly as it was received, with the proof that it is
// in the log of the last checkpoint; and at the end a seal, a signed note over
// all lines before it. There is one way to write each line, and a reader takes
// no other: whatever bit is changed, it is found.
//
// What is in it: every message of the wall, of its site as a whole and of the
// company (people, devices, mixes, policies, weather); every refused message
// that left a doubt on one of these; what bore the key of one of them before; and of the site's other walls what bears a
// device's number, since a gap anywhere in them shuts this wall too. Readings of
// other walls that bear no number are left out: nothing of this wall rests on
// them.
//
// The package is pure but for Verify, which folds the messages in a folder of
// its own that it takes away again.
package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/merkle"
	"earlyage/projector/people"
)

// Version is that of the file's form.
const Version = 1

// Head is a bundle's first line.
type Head struct {
	Bundle     int       `json:"earlyage_bundle"` // Version
	Key        string    `json:"key"`             // verifier key of the record's hub
	Site       string    `json:"site"`
	Wall       string    `json:"wall"`
	Made       time.Time `json:"made"`        // by the hub's clock, UTC
	Rules      string    `json:"rules"`       // version of the rule set that the hub then had
	Demo       bool      `json:"demo"`        // recorded times may be invented
	Unsigned   bool      `json:"unsigned"`    // the hub took events from anybody
	SignedFrom uint64    `json:"signed_from"` // first message that had to be signed
}

// point is a checkpoint's line.
type point struct {
	Checkpoint string        `json:"checkpoint"`  // signed note
	Leads      []merkle.Hash `json:"consistency"` // that the last one goes on from it; the last one's own is empty
}

// entry is a message's line.
type entry struct {
	Index int64         `json:"index"` // in the log, from 0
	Leaf  []byte        `json:"leaf"`  // base64
	Proof []merkle.Hash `json:"proof"` // that it is in the log of the last checkpoint
}

// seal is the last line.
type seal struct {
	Seal string `json:"seal"` // signed note
}

const sealTitle = "earlyage bundle"

func sealText(sum [sha256.Size]byte, lines int) string {
	return fmt.Sprintf("%s\n%s\n%d lines\n", sealTitle, hex.EncodeToString(sum[:]), lines)
}

// Contents is what a bundle is made of.
type Contents struct {
	Head        Head
	Leaves      []projector.Leaf             // in the order of the stream
	Checkpoints []projector.SignedCheckpoint // the smallest first; the last is of a log that holds all leaves
}

// Signer signs a text as the hub.
type Signer func(text string) ([]byte, error)

var errNoCheckpoint = errors.New("there is no checkpoint")

// Write writes a bundle. The tree is that of the hub's own log.
func Write(w io.Writer, c Contents, tree projector.Tree, sign Signer) error {
	if len(c.Checkpoints) == 0 {
		return fmt.Errorf("write bundle: %w", errNoCheckpoint)
	}
	out := writer{w: w, sum: sha256.New()}
	out.line(c.Head)
	last := c.Checkpoints[len(c.Checkpoints)-1]
	for _, p := range c.Checkpoints {
		line := point{Checkpoint: string(p.Note), Leads: []merkle.Hash{}}
		if p.Size != last.Size {
			proof, err := tree.Consistency(p.Size, last.Size)
			if err != nil {
				return fmt.Errorf("write bundle: %w", err)
			}
			line.Leads = append(line.Leads, proof...)
		}
		out.line(line)
	}
	for _, l := range c.Leaves {
		if l.Seq > last.Through {
			continue // it came after the checkpoint
		}
		index, err := tree.IndexOf(l.Seq)
		if err != nil {
			return fmt.Errorf("write bundle: %w", err)
		}
		proof, err := tree.Inclusion(index, last.Size)
		if err != nil {
			return fmt.Errorf("write bundle: %w", err)
		}
		out.line(entry{Index: index, Leaf: l.Append(nil), Proof: append([]merkle.Hash{}, proof...)})
	}
	note, err := sign(sealText([sha256.Size]byte(out.sum.Sum(nil)), out.lines))
	if err != nil {
		return fmt.Errorf("write bundle: %w", err)
	}
	out.line(seal{Seal: string(note)})
	if out.err != nil {
		return fmt.Errorf("write bundle: %w", out.err)
	}
	return nil
}

// Belongs reports whether a message is part of a wall's bundle. doubts are the
// walls and sites that it left a doubt on, if it was refused.
func Belongs(l projector.Leaf, at projector.Ref, doubts []projector.Ref) bool {
	if touches(doubts, at) {
		return true
	}
	e, err := events.Decode(l.Subject, l.Body)
	if err != nil {
		subject, bad := events.ParseSubject(l.Subject)
		return bad == nil && (subject.Site == people.Company || subject.Site == at.Site)
	}
	switch {
	case e.Source.Site == people.Company:
		return true
	case e.Source.Site != at.Site:
		return false
	}
	return e.Wall == "" || e.Wall == at.Wall || e.Sequence != 0
}

// hasher is what a writer needs of a hash.
type hasher interface {
	io.Writer
	Sum([]byte) []byte
}

// writer writes lines, each in its one form.
type writer struct {
	w     io.Writer
	sum   hasher
	lines int
	err   error
}

func (w *writer) line(v any) {
	if w.err != nil {
		return
	}
	raw, err := form(v)
	if err != nil {
		w.err = err
		return
	}
	w.lines++
	if _, w.err = w.w.Write(raw); w.err == nil {
		_, w.err = w.sum.Write(raw)
	}
}

// form is the one way to write a line.
func form(v any) ([]byte, error) {
	raw, err := json.Marshal(v, json.Deterministic(true))
	if err != nil {
		return nil, err
	}
	return append(bytes.TrimSuffix(raw, []byte("\n")), '\n'), nil
}
