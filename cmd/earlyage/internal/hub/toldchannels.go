package hub

import (
	"context"
	"crypto/ecdh"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"net/netip"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"earlyage/events"
	"earlyage/notify/hook"
	"earlyage/notify/mail"
	"earlyage/notify/notice"
	"earlyage/notify/push"
	"earlyage/notify/routes"
)

// outlets are the channels that the route file sets up: mail, web hooks, push. A
// changed file exchanges them while the hub runs. A channel that cannot be made is
// a problem that is said, and the one before it stays. Safe for concurrent use.
type outlets struct {
	hub              *Hub
	mail, hook, push outlet

	mu    sync.Mutex
	wrong map[string]string // by channel; mu
}

func newOutlets(h *Hub) *outlets {
	return &outlets{
		hub: h, mail: outlet{name: routes.Mail}, hook: outlet{name: routes.Hook}, push: outlet{name: routes.Push}, wrong: map[string]string{},
	}
}

func (o *outlets) all() []notice.Channel { return []notice.Channel{&o.mail, &o.hook, &o.push} }

// outlet is a channel that another may take the place of.
type outlet struct {
	name string
	key  string // what it was made from; owned by outlets.mu
	now  atomic.Pointer[made]
}

type made struct{ notice.Channel }

// Name implements notice.Channel.
func (o *outlet) Name() string { return o.name }

// Reaches implements notice.Channel.
func (o *outlet) Reaches(r notice.Reader) bool {
	c := o.now.Load()
	return c != nil && c.Reaches(r)
}

// Send implements notice.Channel.
func (o *outlet) Send(ctx context.Context, m notice.Message) error {
	c := o.now.Load()
	if c == nil {
		return fmt.Errorf("message %s: %s is not set up any more: %w", m.ID, o.name, notice.ErrRefused)
	}
	return c.Channel.Send(ctx, m)
}

// setting is how a channel is to be.
type setting struct {
	outlet *outlet
	key    string                         // changes with everything that it is made from
	make   func() (notice.Channel, error) // nil: there is none
}

// refresh makes the channels that have changed.
func (o *outlets) refresh(f *routes.File) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, read := range []func(*routes.File) (setting, error){o.mailOf, o.hooksOf, o.pushOf} {
		s, err := read(f)
		if err == nil {
			err = s.apply()
		}
		o.note(s.outlet.name, err)
	}
}

func (s setting) apply() error {
	switch {
	case s.key == s.outlet.key:
		return nil
	case s.make == nil:
		s.outlet.now.Store(nil)
	default:
		c, err := s.make()
		if err != nil {
			return err
		}
		s.outlet.now.Store(&made{c})
	}
	s.outlet.key = s.key
	return nil
}

// note says once what is wrong, and that it is so no more.
func (o *outlets) note(name string, err error) {
	text := ""
	if err != nil {
		text = err.Error()
	}
	if text == o.wrong[name] {
		return
	}
	if o.wrong[name] = text; text == "" {
		o.hub.log.Info("channel is set up", "channel", name)
		return
	}
	o.hub.log.Error("channel cannot be set up, the one before stays", "channel", name, "err", text)
}

func (o *outlets) problems() (list []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, name := range slices.Sorted(maps.Keys(o.wrong)) {
		if o.wrong[name] != "" {
			list = append(list, name+" cannot be set up: "+o.wrong[name])
		}
	}
	return list
}

// keyOf is a hash of what a channel is made from, so that no secret is kept twice.
func keyOf(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func (o *outlets) mailOf(f *routes.File) (s setting, err error) {
	s.outlet = &o.mail
	m := f.Mail
	if m == nil {
		return s, nil
	}
	password := ""
	if m.PasswordFile != "" {
		if password, err = secretIn(m.PasswordFile); err != nil {
			return s, err
		}
	}
	s.key = keyOf(m.Server, fmt.Sprint(m.Port), m.TLS, m.User, m.From, password)
	s.make = func() (notice.Channel, error) {
		return mail.New(mail.Config{
			Host: m.Server, Port: m.Port, Security: map[string]string{"starttls": mail.StartTLS, "implicit": mail.Implicit}[m.TLS], Roots: o.hub.cfg.Roots,
			User: m.User, Password: password, From: m.From, Now: o.hub.clock.Now,
		})
	}
	return s, nil
}

func (o *outlets) hooksOf(f *routes.File) (s setting, err error) {
	s.outlet = &o.hook
	var targets []hook.Target
	var parts []string
	for _, h := range f.Hooks {
		secret, err := secretIn(h.SecretFile)
		if err != nil {
			return s, fmt.Errorf("web hook %s: %w", h.Name, err)
		}
		targets = append(targets, hook.Target{Name: h.Name, URL: h.URL, Secrets: strings.Fields(secret)})
		parts = append(parts, h.Name, h.URL, secret)
	}
	if len(targets) == 0 {
		return s, nil
	}
	s.key = keyOf(parts...)
	s.make = func() (notice.Channel, error) {
		return hook.New(hook.Config{Targets: targets, Roots: o.hub.cfg.Roots, Log: o.hub.log})
	}
	return s, nil
}

func (o *outlets) pushOf(f *routes.File) (s setting, err error) {
	s.outlet = &o.push
	if f.Push == nil {
		return s, nil
	}
	if !o.hub.secureOrigin() {
		return s, fmt.Errorf("browsers subscribe at an https address alone, and the hub's is %s: give --address", o.hub.address)
	}
	keys, err := o.hub.pushKeys()
	if err != nil {
		return s, err
	}
	s.key = keyOf(f.Push.Contact, keys.Public)
	s.make = func() (notice.Channel, error) {
		return push.New(push.Config{
			Keys: keys, Contact: f.Push.Contact, Roots: o.hub.cfg.Roots, Private: o.hub.cfg.PushPrivate, Log: o.hub.log, Gone: o.hub.dropPush,
		})
	}
	return s, nil
}

// secureOrigin reports whether browsers let pages of the hub's address subscribe:
// https, or this machine itself.
func (h *Hub) secureOrigin() bool {
	u, err := url.Parse(h.address)
	return err == nil && (u.Scheme == "https" || hereAlone(u.Hostname()))
}

func hereAlone(host string) bool {
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.IsLoopback()
}

// pushKeys are those by which push services know the hub.
func (h *Hub) pushKeys() (push.Keys, error) {
	raw, err := h.projector.Cabinet().VAPID()
	if err != nil {
		return push.Keys{}, err
	}
	key, err := ecdh.P256().NewPrivateKey(raw)
	if err != nil {
		return push.Keys{}, err
	}
	enc := base64.RawURLEncoding
	return push.Keys{Public: enc.EncodeToString(key.PublicKey().Bytes()), Private: enc.EncodeToString(raw)}, nil
}

// dropPush forgets a browser that its service says is gone.
func (h *Hub) dropPush(p notice.Push) {
	cabinet := h.projector.Cabinet()
	if p.Device != (events.Source{}) {
		if err := cabinet.DropPushesOfDevice(p.Device); err != nil {
			h.log.Error("a subscription that is gone could not be forgotten", "device", p.Device.String(), "err", err)
		}
		return
	}
	for _, person := range h.projector.Register().People() {
		if err := cabinet.DropPush(person.ID, p.Endpoint); err != nil {
			h.log.Error("a subscription that is gone could not be forgotten", "person", person.ID, "err", err)
		}
	}
}

const secretMost = 16 << 10 // bytes of a file

// secretIn reads a file that holds a secret. Its errors do not repeat it.
func secretIn(path string) (string, error) {
	text, err := os.ReadFile(path) // #nosec G304 -- the path is the route file's, which the operator writes
	if err != nil {
		return "", err
	}
	secret := strings.TrimSpace(string(text))
	if secret == "" || len(text) > secretMost {
		return "", errors.New(path + " holds no secret")
	}
	return secret, nil
}
