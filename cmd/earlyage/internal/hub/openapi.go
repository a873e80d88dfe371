package hub

import (
	"net/http"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
)

// operation documents one route of the API. body and answer are of the Go types
// that are read and written there; the document's schemas are made of them.
type operation struct {
	method, path string
	summary      string
	query        []parameter
	headers      []parameter
	body         any    // nil: none
	bodyMedia    string // default application/json
	status       int    // of success; default 200
	answer       any    // nil: no body
	media        string // default application/json
	tagged       bool   // it has an ETag, and takes If-None-Match
	paged        bool
}

type parameter struct{ name, says, pattern string }

// anything is a body that another standard describes.
type anything map[string]any

var (
	ofSite     = parameter{"site", "Only of this site.", ""}
	ofMedia    = []parameter{{"width", "Pixels, 280 to 4000.", `^\d+$`}, {"units", "Default: what the site has set.", "^(si|us)$"}}
	byWebAuthn = "As WebAuthn says."
)

// operations are the hub's, in the order of the document. A test demands that they
// are the table of routes, no more and no less.
var operations = []operation{
	{method: "GET", path: api.PathHealth, summary: "Whether the hub is well; 503 where not. A stranger is told no more than that.", answer: api.Health{}},
	{method: "GET", path: api.PathOpenAPI, summary: "This document.", answer: anything{}},
	{method: "GET", path: api.PathWalls, summary: "Every wall in sight, assessed now.", query: []parameter{ofSite}, answer: api.Walls{}, tagged: true, paged: true},
	{method: "GET", path: api.PathWalls + "/{site}/{wall}", summary: "One wall, with what is said of its places.", query: []parameter{{"sheet", "1: with all that the answer rests on, hour by hour.", "^1$"}, {"as-of", "RFC 3339: how it stood then, by what was known then.", ""}}, answer: api.Wall{}, tagged: true},
	{method: "GET", path: api.PathWalls + "/{site}/{wall}/" + api.WallTimeline, summary: "Every message about a wall and what came of it, in the order in which they came.", query: []parameter{
		{"kind", "Only of this kind, or of this thing, the part before the dot; !: what was changed, doubted or refused.", ""}, {"q", "Only what has these words in what it says or what became of it; case is the same.", ""},
		{"as-of", "As it stood then, by what was known then: RFC 3339, or local to the site.", ""}, {"words", "1: in words, readings of one device together.", "^1$"}, {"units", "Of the words; default: what the site has set.", "^(si|us)$"},
	}, answer: api.Messages{}, tagged: true, paged: true},
	{method: "GET", path: api.PathWalls + "/{site}/{wall}/" + api.WallRecord, summary: "The events of a wall that count, as they were sent, one to a line.", answer: "", media: "application/x-ndjson"},
	{method: "GET", path: api.PathWalls + "/{site}/{wall}/{file}", summary: "A picture of a wall: " + api.Unrolled + ", " + api.Timeline + " or " + api.Bracing + ".", query: ofMedia, answer: "", media: "image/svg+xml"},
	{method: "GET", path: api.PathAlerts, summary: "The alerts that stand, then for a day those that ended and were not acknowledged, each the most pressing first, and on the first page the newest refused messages.", query: []parameter{ofSite, {"all", "1: also those that are cleared.", "^1$"}}, answer: api.Alerts{}, tagged: true, paged: true},
	{method: "GET", path: api.PathRefused, summary: "Messages that do not count, the newest first.", answer: api.Alerts{}, tagged: true, paged: true},
	{method: "GET", path: api.PathBraces, summary: "Braces that stand, by site, those that may be stripped first.", query: []parameter{ofSite}, answer: Braces{}, tagged: true},
	{method: "GET", path: api.PathWeek, summary: "The walls with their windows, what is due next first, and nights of frost.", query: []parameter{ofSite}, answer: Week{}, tagged: true},
	{method: "GET", path: phone.PathSheet + "{site}", summary: "The snapshot of a site that a phone keeps.", answer: phone.Sheet{}},
	{method: "GET", path: api.PathWatch, summary: "Changes as they happen: the data of each event is one Changed, the first the whole picture. At most 8 at a time for an account, with those of the board.", answer: api.Changed{}, media: "text/event-stream"},
	{method: "POST", path: api.PathEvents, summary: "An event, exactly as its device signed it. Sent again it is answered as the first time.", headers: []parameter{{stream.SignatureHeader, "The device's signature of the body.", ""}}, body: anything{}, bodyMedia: events.ContentType, status: http.StatusAccepted, answer: api.Accepted{}},
	{method: "POST", path: api.PathEntries, summary: "What a person enters by a session. The hub signs it, and answers once it is folded.", headers: []parameter{{api.IdempotencyKey, "Under the same key of the same account the same entry is made once and answered as the first time, for good; another is refused (422).", `^[!-~]{1,255}$`}}, body: api.Entry{}, status: http.StatusAccepted, answer: api.Entered{}},
	{method: "GET", path: api.PathPeople, summary: "People who have a role on a site in sight.", answer: api.People{}},
	{method: "POST", path: api.PathPeople, summary: "Add a person.", body: api.NewPerson{}, status: http.StatusCreated, answer: api.Person{}},
	{method: "POST", path: api.PathPeople + "/{person}/roles", summary: "Give a person other roles on a site.", body: api.Appointment{}, status: http.StatusNoContent},
	{method: "POST", path: api.PathPeople + "/{person}/contact", summary: "Change how a person is called, reached and spoken to; for a keeper, and for the person. A member that is not given stays, an empty one is taken out; a name stays one.", body: api.Contact{}, status: http.StatusNoContent},
	{method: "POST", path: api.PathPeople + "/{person}/retire", summary: "End a person's work on a site, or everywhere.", body: api.Retirement{}, status: http.StatusNoContent},
	{method: "POST", path: api.PathPeople + "/{person}/forget", summary: "Erase a person's name and address.", body: anything{}, status: http.StatusNoContent},
	{method: "GET", path: api.PathRoutes, summary: "Who would be told of alerts on a site, rung by rung.", query: []parameter{{"site", "Of this site; _ is the company.", ""}, {"kind", "Only of this kind of alert.", ""}, {"at", "RFC 3339: at this moment; default now.", ""}}, answer: api.Routes{}},
	{method: "POST", path: api.PathRoutesCheck, summary: "Read a route file as this hub would. Nothing is put in force.", body: api.RoutesCheck{}, answer: api.RoutesChecked{}},
	{method: "POST", path: api.PathInvitations, summary: "Invite a person, or a station. The code is shown once.", body: api.NewInvitation{}, status: http.StatusCreated, answer: api.Ticket{}},
	{method: "GET", path: api.PathDevices, summary: "Devices of the sites in sight.", answer: api.Devices{}},
	{method: "POST", path: api.PathDevices + "/{site}/{device}/revoke", summary: "End a device.", body: api.Revocation{}, status: http.StatusNoContent},
	{method: "POST", path: api.PathDevices + "/{site}/{device}/rotate", summary: "Give a device another key.", body: api.Rotation{}, status: http.StatusNoContent},
	{method: "POST", path: api.PathDevices + "/{site}/{device}/password", summary: "Give a probe another password. It is shown once.", body: anything{}, status: http.StatusCreated, answer: api.ProbeSecret{}},
	{method: "POST", path: api.PathProbes, summary: "Add a device that cannot sign. Its password is shown once.", body: api.NewProbe{}, status: http.StatusCreated, answer: api.ProbeSecret{}},
	{method: "POST", path: door.PathInvitation, summary: "What an invitation is for.", body: struct {
		Code string `json:"code"`
	}{}, answer: door.Invited{}},
	{method: "POST", path: api.PathJoin, summary: "Enrol a device that holds a code.", body: roster.JoinRequest{}, answer: roster.Joined{}},
	{method: "GET", path: api.PathNonce, summary: "What a device signs to sign in.", answer: api.Nonce{}},
	{method: "POST", path: api.PathSession, summary: "Sign a device in.", body: api.DeviceLogin{}, answer: api.Session{}},
	{method: "DELETE", path: api.PathSession, summary: "Sign out.", status: http.StatusNoContent},
	{method: "POST", path: "/api/v1/passkey/register/begin", summary: byWebAuthn, body: anything{}, answer: anything{}},
	{method: "POST", path: "/api/v1/passkey/register/finish", summary: byWebAuthn, body: anything{}, answer: anything{}},
	{method: "POST", path: "/api/v1/passkey/login/begin", summary: byWebAuthn, body: anything{}, answer: anything{}},
	{method: "POST", path: "/api/v1/passkey/login/finish", summary: byWebAuthn, body: anything{}, answer: anything{}},
	{method: "GET", path: api.PathMe, summary: "Who the caller is to the hub.", answer: door.Me{}},
}

func (w *web) openAPI(rw http.ResponseWriter, _ *http.Request) {
	w.write(rw, http.StatusOK, document(w.table))
}

// document is the OpenAPI document of the API (3.1.1), with who may use what as the
// table of routes has it.
func document(table []door.Route) map[string]any {
	s := schemas{}
	problems := s.of(reflect.TypeFor[api.Problem]())
	paths := map[string]any{}
	for _, o := range slices.Concat(operations, proofOperations, paperOperations, toldOperations, registerOperations) {
		item, _ := paths[o.path].(map[string]any)
		if item == nil {
			item = map[string]any{}
			paths[o.path] = item
		}
		item[strings.ToLower(o.method)] = o.document(s, accessOf(table, o))
	}
	return map[string]any{
		"openapi": "3.1.1",
		"info": map[string]any{"title": "earlyage", "version": "1", "description": "The record and the clock of concrete walls. " +
			"Every answer says at which moment it was made. An answer 304 says in " + api.TaggedAt + " that what the caller has was still so then."},
		"paths": paths,
		"components": map[string]any{
			"schemas": map[string]any(s),
			"responses": map[string]any{"problem": map[string]any{
				"description": "What is wrong (RFC 9457).", "content": map[string]any{api.ProblemType: map[string]any{"schema": problems}},
			}},
			"securitySchemes": map[string]any{
				"token":  map[string]any{"type": "http", "scheme": "bearer"},
				"cookie": map[string]any{"type": "apiKey", "in": "cookie", "name": "__Host-earlyage"},
			},
		},
	}
}

// accessOf is who may use an operation.
func accessOf(table []door.Route, o operation) door.Access {
	for _, r := range table {
		if r.Method == o.method && r.Pattern == o.path {
			return r.Who
		}
	}
	return door.LocalOnly
}

var inPath = regexp.MustCompile(`\{(\w+)\}`)

func (o operation) document(s schemas, who door.Access) map[string]any {
	status := o.status
	if status == 0 {
		status = http.StatusOK
	}
	success := map[string]any{"description": http.StatusText(status)}
	if o.answer != nil {
		success["content"] = map[string]any{o.mediaType(o.media): map[string]any{"schema": s.of(reflect.TypeOf(o.answer))}}
	}
	responses := map[string]any{strconv.Itoa(status): success, "default": map[string]any{"$ref": "#/components/responses/problem"}}
	if o.path == api.PathHealth {
		responses["503"] = success
	}
	if o.tagged {
		responses["304"] = map[string]any{"description": "What the caller has is still so.", "headers": map[string]any{
			api.TaggedAt: map[string]any{"description": "The moment at which it was looked at.", "schema": map[string]any{"type": "string", "format": "date-time"}},
		}}
	}
	out := map[string]any{"summary": o.summary, "parameters": o.parameters(), "responses": responses, "x-access": string(who)}
	if o.body != nil {
		out["requestBody"] = map[string]any{"required": true, "content": map[string]any{o.mediaType(o.bodyMedia): map[string]any{"schema": s.of(reflect.TypeOf(o.body))}}}
	}
	if who != door.Public {
		out["security"] = []any{map[string]any{"token": []string{}}, map[string]any{"cookie": []string{}}}
	}
	return out
}

func (operation) mediaType(own string) string {
	if own == "" {
		return "application/json"
	}
	return own
}

func (o operation) parameters() []any {
	out := []any{}
	add := func(in string, required bool, list ...parameter) {
		for _, p := range list {
			schema := map[string]any{"type": "string"}
			if p.pattern != "" {
				schema["pattern"] = p.pattern
			}
			out = append(out, map[string]any{"name": p.name, "in": in, "required": required, "description": p.says, "schema": schema})
		}
	}
	for _, m := range inPath.FindAllStringSubmatch(o.path, -1) {
		add("path", true, parameter{name: m[1]})
	}
	add("query", false, o.query...)
	if o.paged {
		add("query", false, parameter{"limit", "Most entries in one answer; the header Link (rel=next) leads to the next.", `^\d+$`},
			parameter{"after", "As the header Link of an earlier answer has it.", ""})
	}
	if o.tagged {
		add("header", false, parameter{name: "If-None-Match", says: "ETag of an earlier answer."})
	}
	add("header", false, o.headers...)
	return out
}
