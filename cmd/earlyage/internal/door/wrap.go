package door

import (
	"errors"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
	"earlyage/projector/cabinet"
)

const (
	// mostBody is the most that any route may take; a route narrows it.
	mostBody    = 1 << 20
	defaultBody = 64 << 10
	// bodyTimeout is for the whole of a body to arrive.
	bodyTimeout = 30 * time.Second
)

// NewServer gives a server with the limits that a listener needs which the
// world reaches: headers within 10 s and 16 KiB, idle connections for 2 min.
// Slow bodies are cut by [Door.Wrap].
func NewServer(h http.Handler, log *slog.Logger) *http.Server {
	return &http.Server{
		Handler: h, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelDebug), // what strangers send must not fill the log
	}
}

// Wrap finds who asks, sets the security headers, refuses what comes from
// another site's page, and bounds rates and bodies.
func (d *Door) Wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d.headers(w.Header())
		r.Body = http.MaxBytesReader(w, r.Body, mostBody)
		if isLocal(r.Context()) {
			next.ServeHTTP(w, r.WithContext(withCaller(r.Context(), Caller{Local: true})))
			return
		}
		if r.ContentLength != 0 { // a stream that is only read must not end with it
			_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(bodyTimeout)) // not every writer can
		}
		if !d.limits.addresses.allow(addressOf(r), d.now()) {
			d.refuse(w, r, tooMany())
			return
		}
		if err := d.cross.Check(r); err != nil {
			d.refuse(w, r, newProblem(http.StatusForbidden, "cross-site", "the request comes from another site's page"))
			return
		}
		c := d.caller(r)
		if c.Known() && !d.limits.accounts.allow(account(c), d.now()) {
			d.refuse(w, r, tooMany())
			return
		}
		next.ServeHTTP(w, r.WithContext(withCaller(r.Context(), c)))
	})
}

func tooMany() *api.Problem {
	return newProblem(http.StatusTooManyRequests, api.CodeTooMany, "too many at once; wait a minute and try again")
}

func account(c Caller) string {
	if c.Person != "" {
		return c.Person
	}
	return c.Device.String()
}

// contentPolicy lets a page load what this hub serves, and nothing else; no
// script and no style stands in a page itself.
const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; " +
	"connect-src 'self'; manifest-src 'self'; media-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

func (d *Door) headers(h http.Header) {
	h.Set("Content-Security-Policy", contentPolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(self), geolocation=(), microphone=(), payment=(), usb=()")
	h.Set("Cache-Control", "no-store")
	if d.config.TLS {
		h.Set("Strict-Transport-Security", "max-age=63072000")
	}
}

// caller finds who asks; nobody where the token is none or its owner is no
// longer admitted.
func (d *Door) caller(r *http.Request) Caller {
	token := tokenOf(r)
	if token == "" {
		return Caller{}
	}
	s, err := d.config.Cabinet.Session(token)
	if err != nil {
		if !errors.Is(err, cabinet.ErrNoSession) {
			d.config.Log.Error("look session up", "error", err)
		}
		return Caller{}
	}
	c, ok := d.admitted(s)
	if !ok {
		if err := d.config.Cabinet.End(token); err != nil {
			d.config.Log.Error("end session", "error", err)
		}
		return Caller{}
	}
	if err := d.config.Cabinet.Touch(token); err != nil && !errors.Is(err, cabinet.ErrNoSession) { // ended meanwhile
		d.config.Log.Error("touch session", "error", err)
	}
	return c
}

// admitted asks the register whether the owner of a session may still come in.
func (d *Door) admitted(s cabinet.Session) (Caller, bool) {
	register := d.config.Register()
	if s.Device == (events.Source{}) {
		return Caller{Person: s.Person}, d.employed(s.Person)
	}
	dev, ok := register.Device(s.Device)
	if !ok || dev.Person != s.Person {
		return Caller{}, false
	}
	if _, ok := dev.Current(); !ok {
		return Caller{}, false
	}
	return Caller{Person: s.Person, Device: s.Device}, s.Person == "" || d.employed(s.Person)
}

// employed says that a person has a role somewhere.
func (d *Door) employed(person string) bool {
	return person != "" && len(d.config.Register().SitesOf(person)) > 0
}

const (
	cookieName = "__Host-earlyage"
	tryName    = "__Host-earlyage-try"
)

// tokenOf gives the token that a request carries: of a program in its header,
// else of a browser in its cookie.
func tokenOf(r *http.Request) string {
	if h := r.Header.Get("Authorization"); h != "" {
		kind, token, _ := strings.Cut(h, " ")
		if !strings.EqualFold(kind, "Bearer") {
			return ""
		}
		return token
	}
	c, err := r.Cookie(cookieName)
	if err != nil {
		return ""
	}
	return c.Value
}

// setCookie gives a cookie for a time, not until one: browsers have clocks of
// their own.
func setCookie(w http.ResponseWriter, name, value string, last time.Duration, same http.SameSite) {
	http.SetCookie(w, &http.Cookie{Name: name, Value: value, Path: "/", MaxAge: int(last / time.Second), HttpOnly: true, Secure: true, SameSite: same}) // #nosec G124 -- lax or strict, by the two callers
}

func dropCookie(w http.ResponseWriter, name string) {
	http.SetCookie(w, &http.Cookie{Name: name, Path: "/", MaxAge: -1, HttpOnly: true, Secure: true, SameSite: http.SameSiteLaxMode})
}

// enter begins a session, after all proof, and ends the one that the request
// came with: a token that was there before the login is never the session's.
func (d *Door) enter(w http.ResponseWriter, r *http.Request, s cabinet.Session) (token string, until time.Time, err error) {
	if old := tokenOf(r); old != "" {
		if err := d.config.Cabinet.End(old); err != nil {
			return "", until, err
		}
	}
	if token, err = d.config.Cabinet.Begin(s); err != nil {
		return "", until, err
	}
	begun, err := d.config.Cabinet.Session(token)
	if err != nil {
		return "", until, err
	}
	setCookie(w, cookieName, token, begun.Until.Sub(begun.Made), http.SameSiteLaxMode)
	dropCookie(w, tryName)
	d.config.Log.Info("signed in", "who", Caller{Person: s.Person, Device: s.Device}, "address", addressOf(r))
	return token, begun.Until, nil
}
