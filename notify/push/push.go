// Package push tells by Web Push (RFC 8030): a message is encrypted for one
// browser (RFC 8291) and handed to the push service that the browser named, under
// the hub's own key (RFC 8292).
//
// A push service keeps a message until the browser comes or its time to live is
// over; a newer one on the same alert takes the place of an older one that still
// waits. Accepted means that the service has it. Addresses come from browsers, so
// the hub asks none that is not on the Internet. Nothing is kept; a Push is safe
// for concurrent use and leaves nothing running.
package push

import (
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"time"

	webpush "github.com/SherClockHolmes/webpush-go"

	"earlyage/notify/hook/post"
	"earlyage/notify/notice"
)

const (
	liveLong = 12 * time.Hour      // of a message without an end
	liveMost = 28 * 24 * time.Hour // what services keep at most; common practice, no source
)

// Config makes a Push.
type Config struct {
	Keys    Keys   // the hub's; a subscription is bound to them
	Contact string // whom a push service writes to: mailto:address, or an https URL

	Roots   *x509.CertPool   // who vouches for push services; nil: the machine's
	Within  time.Duration    // one request; default 30 s
	Private bool             // allows push services in the hub's own network
	Now     func() time.Time // nil: time.Now
	Log     *slog.Logger     // nil: none

	// Gone is called with a subscription that there is no more (the service
	// answered 404 or 410), so that it is forgotten. It may be called from several
	// goroutines at once, and again. nil: nothing.
	Gone func(notice.Push)
}

// Push is the channel.
type Push struct {
	cfg    Config
	client *post.Client
	done   post.Memory // message and subscription
}

// New checks the configuration. Its errors do not repeat the private key.
func New(c Config) (*Push, error) {
	if err := c.Keys.check(); err != nil {
		return nil, fmt.Errorf("push config: Keys: %w", err)
	}
	if err := checkContact(c.Contact); err != nil {
		return nil, fmt.Errorf("push config: Contact: %w", err)
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	return &Push{cfg: c, client: post.New(post.Config{Roots: c.Roots, Within: c.Within, Public: !c.Private})}, nil
}

// Name implements notice.Channel.
func (p *Push) Name() string { return "push" }

// Reaches implements notice.Channel.
func (p *Push) Reaches(r notice.Reader) bool { return len(r.Pushes) > 0 }

// Gone is an answer that a subscription is no more. It wraps notice.ErrRefused.
type Gone struct {
	Push  notice.Push
	cause error
}

// Error implements error. It does not tell the address.
func (g *Gone) Error() string { return "the subscription is no more: " + g.cause.Error() }

// Is makes it match notice.ErrRefused.
func (g *Gone) Is(target error) bool { return target == notice.ErrRefused }

// Send implements notice.Channel. Of a reader's subscriptions those that have
// accepted the message are not asked again; it is refused for good if all are
// gone or refuse it.
func (p *Push) Send(ctx context.Context, m notice.Message) error {
	byAddress, list := map[string]notice.Push{}, []string{}
	for _, s := range m.To.Pushes {
		if _, twice := byAddress[s.Endpoint]; !twice {
			byAddress[s.Endpoint] = s
			list = append(list, s.Endpoint)
		}
	}
	if len(list) == 0 {
		return fmt.Errorf("message %s: no subscription: %w", m.ID, notice.ErrRefused)
	}
	return p.done.Each(m.ID, list, p.cfg.Log, func(address string) error {
		s := byAddress[address]
		err := p.send(ctx, s, m)
		if gone := (*Gone)(nil); errors.As(err, &gone) && p.cfg.Gone != nil {
			p.cfg.Gone(s)
		}
		if err != nil {
			return fmt.Errorf("push to %s: %w", s.Device, err)
		}
		return nil
	})
}

// send tries the whole message, and once more with less of it where that is too
// much for the service.
func (p *Push) send(ctx context.Context, s notice.Push, m notice.Message) error {
	if err := checkSubscription(s); err != nil {
		return fmt.Errorf("%w: %w", err, notice.ErrRefused)
	}
	var err error
	for _, size := range []uint32{recordMost, recordLeast} {
		if err = p.try(ctx, s, m, size); !tooLarge(err) {
			break
		}
	}
	return p.judge(s, err)
}

func tooLarge(err error) bool {
	var answer *post.Status
	return errors.As(err, &answer) && answer.Code == http.StatusRequestEntityTooLarge
}

// judge reads what an answer means here (RFC 8030, 7.3 and RFC 8292, 4.2): 401 and
// 403 speak of the hub's key or clock and not of the subscription, so the message
// may pass when that is mended.
func (p *Push) judge(s notice.Push, err error) error {
	var answer *post.Status
	if !errors.As(err, &answer) {
		return err
	}
	switch answer.Code {
	case http.StatusNotFound, http.StatusGone:
		return &Gone{s, err}
	case http.StatusUnauthorized, http.StatusForbidden:
		return &ours{answer}
	}
	return err
}

// ours is an answer to the hub's key.
type ours struct{ answer *post.Status }

// Error implements error.
func (o *ours) Error() string { return "the hub's key or clock is not believed: " + o.answer.Error() }

func (p *Push) try(ctx context.Context, s notice.Push, m notice.Message, size uint32) error {
	now := p.cfg.Now()
	body, err := payload(m, int(size)-overhead)
	if err != nil {
		return fmt.Errorf("%w: %w", err, notice.ErrRefused)
	}
	resp, err := webpush.SendNotificationWithContext(ctx, body,
		&webpush.Subscription{Endpoint: s.Endpoint, Keys: webpush.Keys{Auth: s.Auth, P256dh: s.P256DH}},
		&webpush.Options{
			HTTPClient: p.client, RecordSize: size, Subscriber: subscriber(p.cfg.Contact), Topic: topic(m), TTL: timeToLive(m, now),
			Urgency: urgency(m), VAPIDPublicKey: p.cfg.Keys.Public, VAPIDPrivateKey: p.cfg.Keys.Private,
		})
	if err != nil {
		return err
	}
	return post.Judge(resp, now)
}

// timeToLive is how many seconds a service keeps a message.
func timeToLive(m notice.Message, now time.Time) int {
	d := liveLong
	if !m.Until.IsZero() {
		d = m.Until.Sub(now)
	}
	return int(min(max(d, 0), liveMost) / time.Second)
}

// urgency lets a message wake a phone that saves its battery, or wait.
func urgency(m notice.Message) webpush.Urgency {
	switch {
	case m.Urgent || m.Priority == "urgent" || m.Priority == "high":
		return webpush.UrgencyHigh
	case m.Priority == "low":
		return webpush.UrgencyLow
	}
	return webpush.UrgencyNormal
}

// topic names what a newer message replaces: the same alert, or the same list of
// alerts, or what else is said of a wall. At most 32 characters of base64url (RFC
// 8030, 5.4).
func topic(m notice.Message) string {
	about := "alerts\x00"
	for _, a := range slices.Sorted(slices.Values(m.Alerts)) {
		about += a + "\x00"
	}
	if len(m.Alerts) == 0 {
		about = m.What + "\x00" + m.Site + "\x00" + m.Wall
	}
	sum := sha256.Sum256([]byte(about))
	return base64.RawURLEncoding.EncodeToString(sum[:18])
}
