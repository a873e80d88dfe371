package hub

import (
	"fmt"
	"net/http"
	"slices"

	"earlyage/cmd/earlyage/internal/door"
	"earlyage/events"
	"earlyage/projector/people"
)

// sight is what a caller sees of the record: the sites where they have a role.
// What is out of sight is answered as if it were not there.
type sight struct {
	all   bool
	sites []string
}

// sees reports whether a site, or with _ what concerns the whole company, is in
// sight. What names no site is seen by those who see all.
func (s sight) sees(site string) bool { return s.all || site != "" && slices.Contains(s.sites, site) }

// everything is the sight of the hub itself and of its own socket.
var everything = sight{all: true}

// sightOf gives what a caller sees now.
func (h *Hub) sightOf(c door.Caller) sight {
	if c.Local || h.unsigned {
		return everything
	}
	return sightIn(h.projector.Register(), c.Person)
}

// sightIn gives what a person sees. A device without a person sees nothing: it
// has nothing to look at.
func sightIn(register *people.Register, person string) sight {
	sites := register.SitesOf(person)
	return sight{all: slices.Contains(sites, people.Company), sites: sites}
}

func (w *web) sight(r *http.Request) sight { return w.hub.sightOf(door.CallerOf(r.Context())) }

// asked gives the site that a request narrows itself to, empty for all; one that
// is out of sight or not in the record is errUnseen.
func (p pictured) asked(site string) (string, error) {
	if site == "" || p.sight.sees(site) && (site == people.Company || slices.Contains(p.View.Sites(), site)) {
		return site, nil
	}
	return "", errUnseen
}

// standing is what the connections of a device rest on; nothing of it may change
// while they last.
type standing struct {
	ended bool
	key   string
	may   string // roles, and what a station or probe is enrolled for
}

func standingOf(register *people.Register, src events.Source) standing {
	d, ok := register.Device(src)
	if !ok || d.Revoked {
		return standing{ended: true}
	}
	key, _ := d.Current()
	return standing{key: key.Public, may: fmt.Sprint(register.Roles(src), d.Kinds, d.Wall)}
}

// admitted reports whether a caller is still somebody.
func (h *Hub) admitted(c door.Caller) bool {
	if c.Local || h.unsigned {
		return true
	}
	register := h.projector.Register()
	if c.Device != (events.Source{}) && standingOf(register, c.Device).ended {
		return false
	}
	return c.Person == "" || len(register.SitesOf(c.Person)) > 0
}
