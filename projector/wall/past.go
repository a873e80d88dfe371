package wall

import (
	"cmp"
	"slices"

	"earlyage/events"
)

// Statements returns the hub's statements on this wall's window, in the order of
// the stream.
func (s *State) Statements() (out []Statement) {
	for _, f := range s.words.inOrder() {
		if d, ok := f.Data.(*events.WindowStated); ok && f.Trusted {
			out = append(out, Statement{Seq: f.Seq, ID: f.ID, WindowStated: *d})
		}
	}
	return out
}

// Voided is an entry that was taken out of the record for good.
type Voided struct {
	*Fact
	By *Fact // the void
}

// Voided returns the entries that a void, countersigned by a second person, took
// out, in the order of the stream; readings and the hub's own words left out.
func (s *State) Voided() (out []Voided) {
	c := s.record.change
	if c == nil {
		return nil
	}
	for key, list := range c.voided {
		f := s.record.facts[key]
		if f == nil || isChange(f.Kind) {
			continue
		}
		for _, v := range list {
			if c.countersigned(v) {
				out = append(out, Voided{f, v})
				break
			}
		}
	}
	slices.SortFunc(out, func(a, b Voided) int { return cmp.Compare(a.Seq, b.Seq) })
	return out
}
