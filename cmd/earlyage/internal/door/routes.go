package door

import (
	"net/http"

	"earlyage/cmd/earlyage/internal/api"
)

// Paths of the door that no other room names.
const (
	PathInvitation = "/api/v1/invitation"
	PathDemo       = "/api/v1/demo"     // of a demo alone
	PathStart      = "/{$}"             // where a login leads; the page about oneself until there is a better one
	pathPasskey    = "/api/v1/passkey/" // #nosec G101 -- a path
)

// Routes are the door's own.
func (d *Door) Routes() []Route {
	route := func(method, pattern string, who Access, f http.HandlerFunc) Route {
		return Route{Method: method, Pattern: pattern, Who: who, Handler: f}
	}
	own := []Route{
		route(http.MethodPost, api.PathJoin, Public, d.join),
		route(http.MethodGet, api.PathNonce, Public, d.nonce),
		route(http.MethodPost, api.PathSession, Public, d.session),
		route(http.MethodDelete, api.PathSession, Public, d.leave),
		route(http.MethodPost, PathInvitation, Public, d.invitation),
		route(http.MethodPost, pathPasskey+"register/begin", Public, d.registerBegin),
		route(http.MethodPost, pathPasskey+"register/finish", Public, d.registerFinish),
		route(http.MethodPost, pathPasskey+"login/begin", Public, d.loginBegin),
		route(http.MethodPost, pathPasskey+"login/finish", Public, d.loginFinish),
		route(http.MethodGet, api.PathMe, SignedIn, d.me),
		route(http.MethodGet, "/join", Public, d.joinPage),
		route(http.MethodGet, "/login", Public, d.loginPage),
		route(http.MethodGet, "/static/", Public, d.static),
		route(http.MethodGet, PathStart, SignedIn, d.ownPage),
	}
	if d.config.Demo {
		own = append(own, route(http.MethodPost, PathDemo, Public, d.demo))
	}
	return own
}
