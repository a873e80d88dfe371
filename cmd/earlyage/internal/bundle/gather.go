package bundle

import (
	"cmp"
	"fmt"
	"slices"

	"earlyage/projector"
	"earlyage/projector/people"
)

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
		if seen[seq] || !slices.Contains(on, at) {
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
	slices.SortFunc(list, func(a, b projector.Leaf) int { return cmp.Compare(a.Seq, b.Seq) })
	return list, nil
}
