package hub

import "earlyage/projector"

// Log is the size of the record's log of hashes and its root when it had so many
// leaves; 0: now.
func (h *Hub) Log(size int64) (now int64, root string, err error) {
	err = h.projector.Tree(func(t projector.Tree) error {
		if now = t.Size(); size == 0 {
			size = now
		}
		hash, err := t.Root(size)
		root = hash.String()
		return err
	})
	return now, root, err
}
