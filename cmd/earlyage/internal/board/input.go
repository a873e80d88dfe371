package board

import (
	"context"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Input is one picture of the record, of all sites. Whoever makes it may take the
// states back as soon as Make has returned.
type Input struct {
	At      time.Time
	Through uint64   // the stream's sequence that the record stands at
	Level   bool     // the record is level with the stream
	Doubts  []string // what now shuts every window
	Demo    bool
	Sites   []Site
	Company *site.State // what concerns the whole company; nil: nothing is known of it
	Walls   []Wall
	Alarms  []face.Alarm // that stand or ended unacknowledged of late, of walls, of sites and of the company
}

// Site is one site. State is nil where nothing is known of it.
type Site struct {
	face.Site
	State *site.State
}

// Wall is one wall with its assessment at the picture's moment.
type Wall struct {
	Assessment scheduler.Assessment
	State      *wall.State
}

// Source is where the pictures come from: the hub. Its methods are safe for
// concurrent use.
type Source interface {
	// Sight says what whoever asks may see now. It is cheap: every viewer asks
	// several times a second. An error ends what is being answered.
	Sight(ctx context.Context) (Sight, error)
	// Through returns the stream's sequence that the record stands at; it is cheap
	// and changes with everything that a page could show, time left out.
	Through() uint64
	// Look shows a picture of all sites to see and returns see's error. Nothing
	// of the picture's states is kept after see has returned.
	Look(ctx context.Context, see func(Input) error) error
}

// Sight is what one viewer may see and answer.
type Sight struct {
	All   bool     // every site, and what concerns the whole company
	Sites []string // else these
	// Roles are the viewer's by site, "_" on every site. Empty: looks on only.
	Roles map[string][]events.Role
}

// Sees reports whether a site is in sight.
func (s Sight) Sees(name string) bool { return s.All || slices.Contains(s.Sites, name) }

// MayAnswer reports whether the viewer may acknowledge or shelve an alert.
func (s Sight) MayAnswer(name, kind string) bool {
	for _, r := range events.Addressees(kind) {
		if slices.Contains(s.Roles[name], r) || slices.Contains(s.Roles[scheduler.Company], r) {
			return true
		}
	}
	return false
}

// May reports whether the viewer may record entries of a kind on a site.
func (s Sight) May(name string, kind events.Kind) bool {
	may := func(r events.Role) bool { return slices.Contains(kind.Recorders(), r) }
	return slices.ContainsFunc(s.Roles[name], may) || slices.ContainsFunc(s.Roles[scheduler.Company], may)
}

// Oversees reports whether the viewer judges or sends anywhere.
func (s Sight) Oversees() bool {
	for _, roles := range s.Roles {
		for _, r := range []events.Role{events.Dispatcher, events.Officer, events.Engineer, events.Keeper} {
			if slices.Contains(roles, r) {
				return true
			}
		}
	}
	return false
}
