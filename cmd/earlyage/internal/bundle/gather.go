package bundle

import (
	"cmp"
	"fmt"
	"slices"

	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/people"
)

// touches reports whether a doubt is on a wall, on its site as a whole, or on the
// company's.
func touches(doubts []projector.Ref, at projector.Ref) bool {
	return slices.ContainsFunc([]projector.Ref{at, {Site: at.Site}, {Site: people.Company}}, func(ref projector.Ref) bool { return slices.Contains(doubts, ref) })
}

// withFirsts adds what bore the key of a message before it, elsewhere: whether the
// message counts can rest on that.
func withFirsts(v projector.View, list []projector.Leaf, seen map[uint64]bool) ([]projector.Leaf, error) {
	for _, l := range slices.Clone(list) {
		first, ok, err := firstOf(v, l)
		if err != nil {
			return nil, fmt.Errorf("message %d: %w", l.Seq, err)
		}
		if ok && first.Seq < l.Seq && !seen[first.Seq] {
			seen[first.Seq], list = true, append(list, first)
		}
	}
	return list, nil
}

// firstOf finds the message that first bore the key of another.
func firstOf(v projector.View, l projector.Leaf) (first projector.Leaf, ok bool, err error) {
	e, bad := events.Decode(l.Subject, l.Body)
	if bad != nil {
		return first, false, nil
	}
	return v.First(e.Source, e.ID)
}

// Gather lists the messages that belong to a wall's bundle, in the order of the
// stream.
func Gather(v projector.View, at projector.Ref) (list []projector.Leaf, err error) {
	doubts := map[uint64][]projector.Ref{}
	v.EachRefused(0, func(row projector.RefusedRow) bool {
		doubts[row.Seq] = row.Doubts
		return true
	})
	seen := map[uint64]bool{}
	take := func(l projector.Leaf) error {
		if !seen[l.Seq] && Belongs(l, at, doubts[l.Seq]) {
			seen[l.Seq], list = true, append(list, l)
		}
		return nil
	}
	from := append([]projector.Ref{{Site: people.Company}, {Site: at.Site}}, v.Walls(at.Site)...)
	for _, ref := range from {
		if err := v.Leaves(ref, take); err != nil {
			return nil, fmt.Errorf("messages of %s/%s: %w", ref.Site, ref.Wall, err)
		}
	}
	for seq, on := range doubts {
		if seen[seq] || !touches(on, at) {
			continue
		}
		raw, err := v.Leaf(seq)
		if err == nil {
			var l projector.Leaf
			if l, err = projector.ParseLeaf(raw); err == nil {
				err = take(l)
			}
		}
		if err != nil {
			return nil, fmt.Errorf("message %d: %w", seq, err)
		}
	}
	if list, err = withFirsts(v, list, seen); err != nil {
		return nil, err
	}
	slices.SortFunc(list, func(a, b projector.Leaf) int { return cmp.Compare(a.Seq, b.Seq) })
	return list, nil
}
