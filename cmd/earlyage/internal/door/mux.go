package door

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"unicode"
	"unicode/utf8"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/projector/cabinet"
)

// Mux serves a table of routes, each to those alone whom it lets in, and wraps
// itself. What is asked for by nobody is sent to the login page, or told 401;
// what the caller may not, 403.
func (d *Door) Mux(routes ...Route) http.Handler {
	mux := http.NewServeMux()
	for _, r := range routes {
		mux.Handle(r.Method+" "+r.Pattern, d.guard(r))
	}
	return d.Wrap(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h, pattern := mux.Handler(r)
		if pattern != "" {
			mux.ServeHTTP(w, r)
			return
		}
		d.unrouted(w, r, h)
	}))
}

// unrouted answers what no route is for, with the status that the multiplexer
// finds: not here, or not by this method, or elsewhere.
func (d *Door) unrouted(w http.ResponseWriter, r *http.Request, h http.Handler) {
	probe := &statusOnly{header: http.Header{}}
	h.ServeHTTP(probe, r)
	switch probe.status {
	case http.StatusMethodNotAllowed:
		w.Header().Set("Allow", probe.header.Get("Allow"))
		d.refuse(w, r, newProblem(http.StatusMethodNotAllowed, "method", "this address takes "+probe.header.Get("Allow")))
	default:
		d.refuse(w, r, notFound())
	}
}

// statusOnly takes an answer and keeps its status.
type statusOnly struct {
	header http.Header
	status int
}

func (s *statusOnly) Header() http.Header { return s.header }
func (s *statusOnly) WriteHeader(status int) {
	if s.status == 0 {
		s.status = status
	}
}
func (s *statusOnly) Write(b []byte) (int, error) {
	s.WriteHeader(http.StatusOK)
	return len(b), nil
}

// guard lets in those whom a route is for.
func (d *Door) guard(route Route) http.Handler {
	most := route.Body
	if most == 0 {
		most = defaultBody
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c := CallerOf(r.Context())
		if !route.Who.Allows(c, d.config.Register(), r.PathValue("site")) {
			d.unwelcome(w, r, c)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		route.Handler.ServeHTTP(w, r)
	})
}

// unwelcome answers a caller whom a route is not for.
func (d *Door) unwelcome(w http.ResponseWriter, r *http.Request, c Caller) {
	switch {
	case c.Known():
		d.refuse(w, r, newProblem(http.StatusForbidden, api.CodeNotAllowed, "your role does not cover this"))
	case wantsPage(r):
		target := "/login"
		if next := safeNext(r.URL.RequestURI()); next != "/" {
			target += "?next=" + url.QueryEscape(next)
		}
		http.Redirect(w, r, target, http.StatusSeeOther)
	default:
		w.Header().Set("WWW-Authenticate", "Bearer")
		d.refuse(w, r, newProblem(http.StatusUnauthorized, api.CodeSignIn, "sign in first"))
	}
}

// safeNext gives where a login may lead on to: a path of this hub, else its
// front page.
func safeNext(next string) string {
	const most = 512
	if len(next) > most || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsFunc(next, func(r rune) bool { return r <= ' ' || r == '\\' || r >= 0x7f }) {
		return "/"
	}
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || strings.HasPrefix(u.Path, "//") || strings.Contains(u.Path, `\`) {
		return "/"
	}
	return next
}

// refuse answers with a problem: a page for people, else its JSON.
func (d *Door) refuse(w http.ResponseWriter, r *http.Request, p *api.Problem) {
	if p.Status == http.StatusTooManyRequests {
		w.Header().Set("Retry-After", "60")
	}
	if wantsPage(r) {
		d.page(w, r, p.Status, "trouble.html", trouble{p.Title, p.Status, sentence(p.Error())})
		return
	}
	_ = api.WriteProblem(w, *p) // who went away reads no answer
}

// answer writes what was found, or the problem that an error is. The cause of
// what nobody expects stands in the log alone.
func (d *Door) answer(w http.ResponseWriter, r *http.Request, body any, err error) {
	if err == nil {
		writeJSON(w, http.StatusOK, body)
		return
	}
	p := problemOf(err)
	if p.Status == http.StatusInternalServerError {
		d.config.Log.Error("answer", "path", r.URL.Path, "error", err)
	}
	d.refuse(w, r, p)
}

func problemOf(err error) *api.Problem {
	var p *api.Problem
	var refused *events.Refusal
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &refused):
		p = newProblem(http.StatusBadRequest, api.CodeRefused, "")
		p.Field, p.Value, p.Allowed = refused.Field, refused.Value, refused.Allowed
		return p
	case errors.Is(err, cabinet.ErrNoInvitation):
		return newProblem(http.StatusNotFound, "no-invitation", "this invitation is used up or too old; ask for a new one")
	case errors.Is(err, errStale):
		return newProblem(http.StatusUnauthorized, "stale", "this took too long; begin again")
	case errors.Is(err, roster.ErrNotAllowed):
		return newProblem(http.StatusForbidden, api.CodeNotAllowed, err.Error())
	case errors.Is(err, roster.ErrExists):
		return newProblem(http.StatusConflict, api.CodeExists, err.Error())
	case errors.Is(err, roster.ErrUnsure):
		return newProblem(http.StatusServiceUnavailable, api.CodeUnavailable, "the hub cannot tell now whether this was done; look again in a minute")
	case errors.Is(err, roster.ErrUnknown):
		return newProblem(http.StatusNotFound, api.CodeNotFound, err.Error())
	}
	return newProblem(http.StatusInternalServerError, api.CodeInternal, "the hub could not answer; its log says why")
}

func notFound() *api.Problem {
	return newProblem(http.StatusNotFound, api.CodeNotFound, "there is nothing at this address")
}

// trouble is what the page of a problem shows.
type trouble struct {
	Title    string
	Status   int
	Sentence string
}

// sentence begins as a sentence does.
func sentence(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + text[size:]
}
