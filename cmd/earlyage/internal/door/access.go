package door

import (
	"net/http"
	"slices"
	"strings"

	"earlyage/events"
	"earlyage/projector/people"
)

// Access says who may use a route.
type Access string

const (
	// Public is for everybody, known or not.
	Public Access = "public"
	// SignedIn is for every known caller: a person, a device, the own socket.
	SignedIn Access = "signed-in"
	// LocalOnly is for the hub's own socket.
	LocalOnly Access = "local"
)

const rolesPrefix = "roles:"

// Roles is for persons with one of these roles: on the site that the pattern
// names as {site}, else on any site. The hub's own socket may always.
func Roles(any ...events.Role) Access {
	names := make([]string, len(any))
	for i, r := range any {
		names[i] = string(r)
	}
	return Access(rolesPrefix + strings.Join(names, ","))
}

// Allows says whether a caller may, on a site; site is empty where the route
// names none.
func (a Access) Allows(c Caller, register *people.Register, site string) bool {
	switch {
	case a == Public || c.Local:
		return true
	case a == SignedIn:
		return c.Known()
	}
	list, ok := strings.CutPrefix(string(a), rolesPrefix)
	if !ok || c.Person == "" {
		return false
	}
	sites := []string{site}
	if site == "" {
		sites = register.SitesOf(c.Person)
	}
	asked := strings.Split(list, ",")
	return slices.ContainsFunc(sites, func(site string) bool {
		return slices.ContainsFunc(register.RolesOf(c.Person, site), func(r events.Role) bool {
			return slices.Contains(asked, string(r))
		})
	})
}

// Route is one line of the hub's table of what can be asked.
type Route struct {
	Method, Pattern string // as for http.ServeMux
	Who             Access
	Handler         http.Handler
	// Body is the most bytes of a request's body; 0 means 64 KiB.
	Body int64
}
