package lookout

import (
	"context"
	"crypto/rand"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/notify/hook"
	"earlyage/notify/hook/post"
)

// BeatConfig makes a Beat.
type BeatConfig struct {
	URL     string           // of the lookout; https
	Secrets []string         // as of a web hook; two while one takes the other's place
	Every   time.Duration    // default 1 minute; a lookout is silent for two and a half before it tells
	Health  func() Health    // asked before every beat; must return soon
	Roots   *x509.CertPool   // who vouches for the lookout; nil: the machine's
	Now     func() time.Time // of the timestamps; nil: time.Now
	Log     *slog.Logger     // nil: none
}

// Beat sends the hub's heartbeat.
type Beat struct {
	cfg    BeatConfig
	sign   hook.Signer
	client *post.Client
}

// NewBeat checks the configuration. Its errors repeat neither URL nor secret.
func NewBeat(c BeatConfig) (*Beat, error) {
	if err := post.CheckURL(c.URL); err != nil {
		return nil, fmt.Errorf("heartbeat: URL: %w", err)
	}
	sign, err := hook.NewSigner(c.Secrets...)
	if err != nil {
		return nil, fmt.Errorf("heartbeat: %w", err)
	}
	if c.Health == nil {
		return nil, errors.New("heartbeat: Health is missing")
	}
	if c.Every <= 0 {
		c.Every = beatEvery
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	return &Beat{c, sign, post.New(post.Config{Roots: c.Roots, Within: beatWithin})}, nil
}

// Run sends a heartbeat now and then every minute until ctx ends, and returns
// nil. One that does not get through is not sent again: the next one comes soon.
func (b *Beat) Run(ctx context.Context) error {
	// By the machine's timer: a wall clock that jumps must not stop a heart.
	tick := time.NewTicker(b.cfg.Every)
	defer tick.Stop()
	for failing := false; ; {
		err := b.Send(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil && !failing:
			b.cfg.Log.Warn("the heartbeat does not reach the lookout, will go on trying", "err", err.Error())
		case err == nil && failing:
			b.cfg.Log.Info("the heartbeat reaches the lookout again")
		}
		failing = err != nil
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// Send sends one heartbeat.
func (b *Beat) Send(ctx context.Context) error {
	now := b.cfg.Now()
	body, err := json.Marshal(payload{Type: kindOfBeat, Timestamp: now.UTC(), Data: b.cfg.Health()}, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("heartbeat: %w", err)
	}
	req, err := b.sign.Request(b.cfg.URL, "beat-"+rand.Text(), now, body)
	if err != nil {
		return fmt.Errorf("heartbeat: %w", err)
	}
	if err := b.client.Send(ctx, req, now); err != nil {
		return fmt.Errorf("heartbeat: %w", err)
	}
	return nil
}
