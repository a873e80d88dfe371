package api

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"sync"
	"time"

	"github.com/nats-io/nkeys"

	"earlyage/events/stream"
)

// Where says how to reach a hub, and as whom.
type Where struct {
	Socket   string           // the hub's own socket; whoever may open it may do everything. It goes before URL
	URL      string           // http:// or https:// and host:port
	Identity *stream.Identity // signs in over URL as this device; nil: as nobody
}

// Dial makes a client. It connects when it is first asked.
func Dial(w Where) (Client, error) {
	if w.Socket != "" {
		transport := &http.Transport{
			DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
				return new(net.Dialer).DialContext(ctx, "unix", w.Socket)
			},
			IdleConnTimeout: time.Second,
		}
		return Client{Hub: "http://hub", HTTP: &http.Client{Transport: transport}}, nil
	}
	if u, err := url.Parse(w.URL); err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return Client{}, fmt.Errorf("hub %q is no address such as https://hub.example", w.URL)
	}
	c := Client{Hub: trim(w.URL)}
	if w.Identity != nil {
		c.login = &login{identity: *w.Identity}
	}
	return c, nil
}

// SessionProof is what a device signs to sign in: the hub's nonce, and the place
// that it means to sign in to, as it knows it; a hub that hands on another's
// nonce gets a signature that the other does not take.
func SessionProof(nonce, origin string) []byte {
	return []byte("earlyage session " + nonce + " " + origin)
}

// Nonce answers GET PathNonce.
type Nonce struct {
	Nonce string `json:"nonce"`
}

// DeviceLogin is the body of POST PathSession. Signature is the device's key
// over SessionProof, as unpadded URL base64.
type DeviceLogin struct {
	Site      string `json:"site"`
	Device    string `json:"device"`
	Nonce     string `json:"nonce"`
	Signature string `json:"signature"`
}

// Session answers it.
type Session struct {
	Token string    `json:"token"`
	Until time.Time `json:"until"`
}

// login begins sessions of a device.
type login struct {
	identity stream.Identity

	mu      sync.Mutex
	present string // mu: the token; empty: none
}

// token gives the token of a session, and begins one where there is none or
// where the one that is known has ended.
func (l *login) token(ctx context.Context, c Client, ended string) (string, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.present != ended {
		return l.present, nil
	}
	l.present = ""
	pair, err := nkeys.FromSeed([]byte(l.identity.Seed))
	if err != nil {
		return "", fmt.Errorf("sign in: key of %s: %w", l.identity.Source, err)
	}
	nobody := Client{Hub: c.Hub, HTTP: c.HTTP}
	var nonce Nonce
	if _, err := nobody.Get(ctx, PathNonce, nil, &nonce); err != nil {
		return "", fmt.Errorf("sign in: %w", err)
	}
	signature, err := pair.Sign(SessionProof(nonce.Nonce, c.Hub))
	if err != nil {
		return "", fmt.Errorf("sign in: %w", err)
	}
	src := l.identity.Source
	var session Session
	err = nobody.Post(ctx, PathSession, DeviceLogin{src.Site, src.Device, nonce.Nonce, base64.RawURLEncoding.EncodeToString(signature)}, &session)
	if err != nil {
		return "", fmt.Errorf("sign in as %s: %w", src, err)
	}
	if session.Token == "" {
		return "", errors.New("sign in: the hub gave no token")
	}
	l.present = session.Token
	return l.present, nil
}
