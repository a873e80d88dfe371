package site

import (
	"earlyage/events"
	"earlyage/projector/wall"
)

// ChecklistChange is a change of a check list that counts.
type ChecklistChange struct {
	*events.ChecklistAmended
	By string
}

// foldChecklist takes an item that is added at once, by every version; one that
// is waived only once a second person has let it count.
func (s *State) foldChecklist(e *wall.Entry) {
	for _, v := range e.Versions {
		d := v.(*events.ChecklistAmended)
		waives := d.Change == "waive"
		if waives && (!e.Signed || e.Maybe || len(e.Versions) > 1) {
			continue
		}
		s.Checklist = append(s.Checklist, ChecklistChange{d, e.By})
	}
}
