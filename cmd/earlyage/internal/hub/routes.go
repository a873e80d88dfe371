package hub

import (
	"net/http"
	"slices"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/events"
)

// routes are the hub's lines of the table of all that can be asked of it; the
// door's own are the others. Nothing is answered outside the table but the
// metrics, on a listener of their own.
//
// What shows the record narrows itself to the sites that the caller sees. What
// changes people and devices is judged once more by the roster.
func (w *web) routes() []door.Route {
	look := w.look()
	get := func(pattern string, who door.Access, f http.HandlerFunc) door.Route {
		return door.Route{Method: http.MethodGet, Pattern: pattern, Who: who, Handler: f}
	}
	post := func(pattern string, who door.Access, f http.HandlerFunc) door.Route {
		return door.Route{Method: http.MethodPost, Pattern: pattern, Who: who, Handler: f, Body: maxRequest}
	}
	return slices.Concat(w.proofRoutes(), w.paperRoutes(), w.toldRoutes(), w.registerRoutes(), []door.Route{
		get(api.PathNATS, door.Public, w.nats),
		get(api.PathHealth, door.Public, w.health),
		get(api.PathWalls, look, w.walls),
		get(api.PathWalls+"/{site}/{wall}", look, w.wall),
		get(api.PathWalls+"/{site}/{wall}/{file}", look, w.drawing),
		get(api.PathWalls+"/{site}/{wall}/"+api.WallTimeline, look, w.timeline),
		get(api.PathWalls+"/{site}/{wall}/"+api.WallRecord, look, w.wire),
		get(api.PathBraces, look, w.braces),
		get(api.PathWeek, look, w.week),
		get(api.PathOpenAPI, door.Public, w.openAPI),
		get(api.PathAlerts, look, w.alerts),
		get(api.PathRefused, look, w.refused),
		{Method: http.MethodGet, Pattern: api.PathWatch, Who: look, Handler: w.streaming(http.HandlerFunc(w.watch))},
		post(api.PathEvents, door.SignedIn, w.takeEvent),
		post(api.PathEntries, door.SignedIn, w.takeEntry),
		get(api.PathPeople, door.SignedIn, w.people),
		post(api.PathPeople, door.Roles(events.Keeper), w.addPerson),
		post(api.PathPeople+"/{person}/roles", door.Roles(events.Keeper), w.appoint),
		post(api.PathPeople+"/{person}/contact", door.SignedIn, w.contact),
		post(api.PathPeople+"/{person}/retire", door.Roles(events.Keeper), w.retire),
		post(api.PathPeople+"/{person}/forget", door.Roles(events.Keeper), w.forget),
		get(api.PathRoutes, door.Roles(inviters...), w.showRoutes),
		post(api.PathRoutesCheck, door.Roles(events.Keeper, events.Officer, events.Dispatcher), w.checkRoutes),
		post(api.PathInvitations, door.Roles(inviters...), w.invite),
		get(api.PathDevices, door.SignedIn, w.devices),
		post(api.PathDevices+"/{site}/{device}/revoke", door.SignedIn, w.revoke),
		post(api.PathDevices+"/{site}/{device}/rotate", door.SignedIn, w.rotate),
		post(api.PathDevices+"/{site}/{device}/password", door.Roles(events.Keeper), w.newPassword),
		post(api.PathProbes, door.Roles(events.Keeper), w.addProbe),
	})
}

// maxRequest is the greatest body of a request, in bytes: an event and the JSON
// around it.
const maxRequest = events.MaxBody + 4<<10

// Routes is the whole table: the door's and the hub's own.
func (h *Hub) Routes() []door.Route { return h.web.table }
