package wall

import (
	"math"
	"slices"

	"earlyage/events"
)

// Works is what else people did at the wall and said of it. Times are Unix
// milliseconds.
type Works struct {
	BraceFace  string      // inner, outer or both: the face of the form that carries the braces
	FaceStrips []FaceStrip // in order of time
	Moves      []Move      // of the form
	Seen       []Seen      // what persons saw of the concrete
	Backfills  []Backfill  //
	Vibrators  []Vibrator  // declared for this wall, in order of time
	Checks     map[CheckItem]Answer
}

// FaceStrip is an entry that took a face of the form off.
type FaceStrip struct {
	ID    string
	Face  string // inner, outer or both; by two versions that disagree both
	Began Interval
	Maybe bool // voided, and the void waits for a second person
}

// Move is a bulge or a blow-out.
type Move struct {
	ID   string
	At   int64 // early
	Late int64
	AtM  int // mm
	What string
	MM   int // 0: not said
}

// Seen is what a named person saw of the concrete; To -1: of the whole wall.
type Seen struct {
	From, To int
	At       int64 // early
	Finding  string
}

// Backfill is earth placed against the wall.
type Backfill struct {
	ID  string
	At  int64 // early
	Seq uint64
}

// Vibrator is what a crew vibrates with; of two versions the lesser.
type Vibrator struct {
	Crew                    string
	At                      int64 // late
	HeadMM, RadiusMM, Count int   // radius 0: not said
}

// CheckItem names an item of a check list.
type CheckItem struct{ List, Item string }

// Answer is the last answer to an item; of two versions the worse. Numbers are
// in thousandths.
type Answer struct {
	Answer string // yes, no, waived; empty: taken back
	Lo, Hi int64  // the least and the greatest that was measured
	Valued bool   // something was measured, by every version
	By     string
	At     int64 // late
	Note   string
}

// foldWorks takes one entry on.
func (h *Holding) foldWorks(e *Entry) {
	switch d := e.Last().(type) {
	case *events.CheckAnswered:
		h.foldCheck(e)
	case *events.ConcreteInspected:
		if !e.Maybe {
			h.foldSeen(e)
		}
	case *events.VibratorDeclared:
		h.Vibrators = append(h.Vibrators, VibratorOf(e))
	case *events.FormMoved:
		m := Move{ID: e.ID, At: e.Began.Early, Late: e.Ended.Late, AtM: mm(d.AtM), What: d.What}
		if d.MM != nil {
			m.MM = int(math.Round(*d.MM))
		}
		h.Moves = append(h.Moves, m)
	case *events.FormStripped:
		s := FaceStrip{ID: e.ID, Face: d.Face, Began: e.Began, Maybe: e.Maybe}
		if !allVersions(e, func(x *events.FormStripped) bool { return x.Face == d.Face }) {
			s.Face = "both"
		}
		h.FaceStrips = append(h.FaceStrips, s)
	case *events.Moment:
		if e.Kind == "backfill.placed" {
			h.Backfills = append(h.Backfills, Backfill{e.ID, e.Began.Early, e.Seq})
		}
	}
}

// carry takes the face that carries the braces: both, where it was not said or
// two layouts disagree.
func (h *Holding) carry(face string, beside bool) {
	if face == "" || beside && h.BraceFace != face {
		face = "both"
	}
	h.BraceFace = face
}

// foldCheck keeps the last answer to an item. An answer whose void waits for a
// second person is none, but for a no.
func (h *Holding) foldCheck(e *Entry) {
	for _, v := range e.Versions {
		d := v.(*events.CheckAnswered)
		a := Answer{Answer: d.Answer, Valued: d.Value != nil, By: e.By, At: e.Ended.Late, Note: d.Note}
		if d.Value != nil {
			a.Lo, a.Hi = int64(math.Floor(float64(*d.Value*1000)+1e-6)), int64(math.Ceil(float64(*d.Value*1000)-1e-6))
		}
		for _, w := range e.Versions {
			a.worse(d, w.(*events.CheckAnswered))
		}
		if e.Maybe && a.Answer != "no" {
			a.Answer = ""
		}
		h.Checks[CheckItem{d.List, d.Item}] = a
	}
}

// worse takes in another version of the same answer.
func (a *Answer) worse(d, w *events.CheckAnswered) {
	switch {
	case w.List != d.List || w.Item != d.Item:
		a.Answer = "" // it may have been an answer to something else
	case w.Answer != a.Answer && a.Answer != "":
		a.Answer = "no"
	}
	if a.Valued = a.Valued && w.Value != nil; a.Valued {
		a.Lo, a.Hi = min(a.Lo, int64(math.Floor(float64(*w.Value*1000)+1e-6))), max(a.Hi, int64(math.Ceil(float64(*w.Value*1000)-1e-6)))
	}
}

// foldSeen takes what a person saw, over the stations that all versions name.
func (h *Holding) foldSeen(e *Entry) {
	s := Seen{From: 0, To: math.MaxInt, At: e.Began.Early}
	for _, v := range e.Versions {
		d := v.(*events.ConcreteInspected)
		s.Finding = d.Finding
		if d.FromM == nil && d.ToM == nil {
			continue
		}
		from, to := d.FromM, d.ToM
		if from == nil {
			from = to
		}
		if to == nil {
			to = from
		}
		s.From, s.To = max(s.From, min(mm(from), mm(to))), min(s.To, max(mm(from), mm(to)))
	}
	switch {
	case s.To == math.MaxInt:
		s.To = -1
	case s.From > s.To:
		return
	}
	h.Seen = append(h.Seen, s)
}

// Covers reports whether a person saw some stations, ends included.
func (s Seen) Covers(from, to int) bool { return s.To < 0 || s.From <= from && to <= s.To }

// VibratorOf reads what was declared by the least of its versions.
func VibratorOf(e *Entry) Vibrator {
	out := Vibrator{HeadMM: math.MaxInt, Count: math.MaxInt, At: e.Ended.Late}
	for i, v := range e.Versions {
		d := v.(*events.VibratorDeclared)
		out.Crew, out.HeadMM = d.Crew, min(out.HeadMM, int(math.Floor(*d.HeadMM)))
		out.Count = min(out.Count, int(max(1, d.Count))) // #nosec G115 -- 20 at most, by its rule
		radius := 0
		if d.RadiusMM != nil {
			radius = int(math.Floor(*d.RadiusMM))
		}
		if i == 0 || radius < out.RadiusMM {
			out.RadiusMM = radius
		}
	}
	return out
}

// Specimens is how many strength specimens were made, wherever they cure.
func (h *Holding) Specimens() int { return len(h.specimens) }

// Stripped reports whether a face of the form was surely off at a moment.
func (w *Works) Stripped(face string, at int64) bool {
	return slices.ContainsFunc(w.FaceStrips, func(s FaceStrip) bool {
		return !s.Maybe && (s.Face == face || s.Face == "both") && s.Began.Early <= at
	})
}
