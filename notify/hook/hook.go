// Package hook tells by signed web hooks: a POST of a message as JSON to a URL of
// the operator's, with the three headers of the Standard Webhooks specification
// (webhook-id, webhook-timestamp, webhook-signature).
//
// The webhook-id is the message's: a receiver passes over one that it has had.
// Nothing is kept; after an error the caller sends again. A Hook is safe for
// concurrent use and leaves nothing running.
package hook

import (
	"bytes"
	"context"
	"crypto/x509"
	_ "embed"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"earlyage/notify/hook/post"
	"earlyage/notify/notice"
)

// Target is where a hook goes.
type Target struct {
	Name string // as routes name it
	URL  string // https; whoever knows it may write there, so it is a secret
	// Secrets sign, as whsec_ and base64 of 24 to 64 bytes. One; two while the
	// receiver changes from the old to the new: then both signatures are sent.
	Secrets []string
}

// Config makes a Hook.
type Config struct {
	Targets []Target
	Roots   *x509.CertPool   // who vouches for receivers; nil: the machine's
	Within  time.Duration    // one request; default 30 s
	Now     func() time.Time // nil: time.Now
	Log     *slog.Logger     // nil: none
}

// Hook is the channel.
type Hook struct {
	targets map[string]target
	client  *post.Client
	now     func() time.Time
	log     *slog.Logger
	done    post.Memory // message and target
}

type target struct {
	url  string
	sign Signer
}

// Schema is the JSON Schema of a hook's body.
//
//go:embed schema.json
var Schema []byte

// New checks the configuration. Its errors do not repeat a URL or a secret.
func New(c Config) (*Hook, error) {
	h := &Hook{targets: map[string]target{}, client: post.New(post.Config{Roots: c.Roots, Within: c.Within}), now: c.Now, log: c.Log}
	if h.now == nil {
		h.now = time.Now
	}
	if h.log == nil {
		h.log = slog.New(slog.DiscardHandler)
	}
	for _, t := range c.Targets {
		sign, err := NewSigner(t.Secrets...)
		if err != nil {
			return nil, fmt.Errorf("web hook %q: %w", t.Name, err)
		}
		if err := post.CheckURL(t.URL); err != nil {
			return nil, fmt.Errorf("web hook %q: its URL: %w", t.Name, err)
		}
		if _, twice := h.targets[t.Name]; twice || t.Name == "" {
			return nil, fmt.Errorf("web hook %q: no name, or one that stands twice", t.Name)
		}
		h.targets[t.Name] = target{t.URL, sign}
	}
	return h, nil
}

// Name implements notice.Channel.
func (h *Hook) Name() string { return "hook" }

// Reaches implements notice.Channel.
func (h *Hook) Reaches(r notice.Reader) bool { return len(h.of(r)) > 0 }

// of returns the names of a reader's hooks that there are.
func (h *Hook) of(r notice.Reader) []string {
	var list []string
	for _, name := range r.Hooks {
		if _, ok := h.targets[name]; ok && !slices.Contains(list, name) {
			list = append(list, name)
		}
	}
	return list
}

// Payload is the body of a hook.
type Payload struct {
	Type      string      `json:"type"` // earlyage.told.<what>.v1
	Timestamp time.Time   `json:"timestamp"`
	Data      notice.Body `json:"data"`
}

// Send implements notice.Channel. Of a reader's hooks those that have accepted
// the message are not asked again; it is refused for good if all refuse it.
func (h *Hook) Send(ctx context.Context, m notice.Message) error {
	names := h.of(m.To)
	if len(names) == 0 {
		return fmt.Errorf("message %s: no web hook: %w", m.ID, notice.ErrRefused)
	}
	body, err := json.Marshal(Payload{Type: "earlyage.told." + m.What + ".v1", Timestamp: m.At.UTC(), Data: m.Body()}, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("message %s: %w: %w", m.ID, err, notice.ErrRefused)
	}
	return h.done.Each(m.ID, names, h.log, func(name string) error {
		if err := h.send(ctx, h.targets[name], m.ID, body); err != nil {
			return fmt.Errorf("web hook %q: %w", name, err)
		}
		return nil
	})
}

func (h *Hook) send(ctx context.Context, t target, id string, body []byte) error {
	now := h.now()
	req, err := t.sign.Request(t.url, id, now, body)
	if err != nil {
		return err
	}
	return h.client.Send(ctx, req, now)
}

// Signer signs bodies with one secret or more.
type Signer struct{ keys []*standardwebhooks.Webhook }

const secretPrefix = "whsec_" // #nosec G101 -- what a secret begins with

// NewSigner reads secrets of the form whsec_ and base64. Its errors do not repeat
// them.
func NewSigner(secrets ...string) (Signer, error) {
	var s Signer
	if len(secrets) == 0 {
		return s, errors.New("no secret")
	}
	for i, text := range secrets {
		key, err := decodeSecret(text)
		if err != nil {
			return Signer{}, fmt.Errorf("secret %d: %w", i+1, err)
		}
		w, err := standardwebhooks.NewWebhookRaw(key)
		if err != nil {
			return Signer{}, fmt.Errorf("secret %d is not usable", i+1)
		}
		s.keys = append(s.keys, w)
	}
	return s, nil
}

// Headers returns the three headers of a body.
func (s Signer) Headers(id string, at time.Time, body []byte) (http.Header, error) {
	if id == "" || strings.ContainsFunc(id, func(r rune) bool { return r <= ' ' || r > '~' || r == '.' }) {
		return nil, fmt.Errorf("message %q: not an id: %w", id, notice.ErrRefused)
	}
	var all []string
	for _, k := range s.keys {
		one, err := k.Sign(id, at, body)
		if err != nil {
			return nil, fmt.Errorf("sign message %s: %w", id, err)
		}
		all = append(all, one)
	}
	h := http.Header{}
	h.Set(standardwebhooks.HeaderWebhookID, id)
	h.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(at.Unix(), 10))
	h.Set(standardwebhooks.HeaderWebhookSignature, strings.Join(all, " "))
	return h, nil
}

// Request returns a signed POST of JSON.
func (s Signer) Request(url, id string, at time.Time, body []byte) (*http.Request, error) {
	head, err := s.Headers(id, at, body)
	if err != nil {
		return nil, err
	}
	req, err := http.NewRequest(http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		return nil, errors.New("the URL is not usable")
	}
	head.Set("Content-Type", "application/json")
	head.Set("User-Agent", "earlyage")
	req.Header = head
	return req, nil
}

// Verify reports whether a body was signed with one of the secrets, whenever
// that was: Standard Webhooks has the timestamp checked as well.
func (s Signer) Verify(body []byte, h http.Header) bool {
	return slices.ContainsFunc(s.keys, func(k *standardwebhooks.Webhook) bool {
		return k.VerifyIgnoringTimestamp(body, h) == nil
	})
}
