package door

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/go-webauthn/webauthn/webauthn"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/projector/cabinet"
	"earlyage/projector/people"
)

// Roster puts on the record who comes in; *roster.Roster does. Each method
// returns when it stands there. After an error that wraps roster.ErrUnsure it
// may stand there or not.
type Roster interface {
	// Join enrols a device that holds a code.
	Join(context.Context, roster.JoinRequest) (roster.Joined, error)
	// PasskeyMade says that a person makes a passkey, and who invited to it.
	PasskeyMade(ctx context.Context, by, person string) error
	// PasskeysEnded says that the passkeys a person had have ended.
	PasskeysEnded(ctx context.Context, by, person, reason string) error
}

// Config is what a door needs.
type Config struct {
	Roster   Roster
	Cabinet  *cabinet.Cabinet
	Register func() *people.Register // lock-free, asked at each request
	// Origin is where people reach the hub: scheme, host and port, without a
	// path, as "https://hub.example". Passkeys belong to it, devices sign it.
	Origin string
	// SiteName gives the name that people know a site by; default its token.
	SiteName func(site string) string
	Now      func() time.Time // default time.Now
	Log      *slog.Logger     // default discards
	// TLS says that the hub is reached by TLS only: browsers are told to keep
	// to it for two years.
	TLS    bool
	Limits Limits
	// Demo lets whoever has an invitation to a page in without a passkey, as the
	// person invited: for a demo, whose people are invented.
	Demo bool
}

// Door finds out who asks.
type Door struct {
	config   Config
	origins  []string           // the same place, as devices and browsers may write it
	passkeys *webauthn.WebAuthn // nil where the origin cannot have passkeys
	cross    *http.CrossOriginProtection
	seal     *seal
	limits   *limits
	assets   *assets
	pages    map[string]*template.Template // by language

	counting sync.Mutex // a passkey's counter is read, judged and written under it
}

// New makes a door. It refuses an origin that is none.
func New(c Config) (*Door, error) {
	if c.Cabinet == nil || c.Register == nil || c.Roster == nil {
		return nil, errors.New("door: roster, cabinet and register are needed")
	}
	c.fill()
	d := &Door{config: c, cross: http.NewCrossOriginProtection(), limits: newLimits(c.Limits)}
	var err error
	if d.origins, err = sameOrigins(c.Origin); err != nil {
		return nil, fmt.Errorf("door: %w", err)
	}
	if d.passkeys, err = newPasskeys(d.origins); err != nil {
		return nil, fmt.Errorf("door: passkeys: %w", err)
	}
	if d.seal, err = newSeal(); err != nil {
		return nil, fmt.Errorf("door: %w", err)
	}
	if d.assets, err = newAssets(staticFiles); err != nil {
		return nil, fmt.Errorf("door: static files: %w", err)
	}
	if d.pages, err = d.readPages(); err != nil {
		return nil, fmt.Errorf("door: pages: %w", err)
	}
	if err := d.cross.AddTrustedOrigin(c.Origin); err != nil {
		return nil, fmt.Errorf("door: %w", err)
	}
	return d, nil
}

func (c *Config) fill() {
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.SiteName == nil {
		c.SiteName = func(site string) string { return site }
	}
	c.Limits.fill()
}

func (d *Door) now() time.Time { return d.config.Now().UTC() }

// Asset gives the address of a static file of this package, with the hash of
// its content in it: "earlyage.css", "font/…".
func (d *Door) Asset(name string) string { return d.assets.path(name) }

// Mark draws one of the marks of static/marks.svg: of a state (placing, curing,
// watch, hold, done, nolink) or of what a key does (in, out, end, keep, again,
// back). It says nothing to a screen reader: a word stands beside it always.
func (d *Door) Mark(name string) template.HTML {
	return template.HTML(`<svg class="mark" aria-hidden="true"><use href="` + d.Asset("marks.svg") + "#" + template.HTMLEscapeString(name) + `"></use></svg>`) // #nosec G203 -- our own address, and the name escaped
}
