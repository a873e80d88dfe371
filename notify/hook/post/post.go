// Package post sends one HTTP request to an address that is itself a secret, and
// judges the answer.
//
// It follows no redirect, checks certificates, reads little of an answer, and
// names in its errors the host alone: the path of a web hook and of a push
// endpoint is what lets anybody write there. It tries once; trying again is the
// caller's. A Client is safe for concurrent use and leaves no goroutine and no
// connection behind.
package post

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"syscall"
	"time"

	"earlyage/notify/notice"
)

const (
	readMost   = 4 << 10 // bytes of an answer
	readHeads  = 32 << 10
	tryWithin  = 30 * time.Second
	laterMost  = time.Hour
	dialWithin = 10 * time.Second
)

// Config makes a Client.
type Config struct {
	Roots  *x509.CertPool // who vouches for servers; nil: the machine's
	Within time.Duration  // one request; default 30 s
	// Public refuses addresses of the machine itself, of its network and of other
	// networks that are not the Internet: for URLs that other people gave. No proxy
	// is used then, because behind one the address would go unseen.
	Public bool
}

// Client sends requests.
type Client struct{ http *http.Client }

// New returns a Client.
func New(c Config) *Client {
	if c.Within <= 0 {
		c.Within = tryWithin
	}
	dialer := &net.Dialer{Timeout: dialWithin}
	t := &http.Transport{
		Proxy:                  http.ProxyFromEnvironment,
		TLSClientConfig:        &tls.Config{RootCAs: c.Roots, MinVersion: tls.VersionTLS12},
		TLSHandshakeTimeout:    dialWithin,
		MaxResponseHeaderBytes: readHeads,
		DisableKeepAlives:      true, // a message now and then: nothing is left running between two
		DisableCompression:     true,
	}
	if c.Public {
		t.Proxy, dialer.Control = nil, publicOnly
	}
	t.DialContext = dialer.DialContext
	return &Client{&http.Client{
		Transport: t, Timeout: c.Within,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// ErrNotPublic is wrapped where an address is not one of the Internet.
var ErrNotPublic = errors.New("not an address of the Internet")

// publicOnly judges the address that a name stands for, just before it is used.
func publicOnly(_, address string, _ syscall.RawConn) error {
	at, err := netip.ParseAddrPort(address)
	if err != nil {
		return fmt.Errorf("address %q: %w", address, ErrNotPublic)
	}
	if ip := at.Addr().Unmap(); !ip.IsGlobalUnicast() || ip.IsPrivate() || shared.Contains(ip) || !translated(ip) {
		return ErrNotPublic
	}
	return nil
}

var (
	shared = netip.MustParsePrefix("100.64.0.0/10") // RFC 6598
	nat64  = netip.MustParsePrefix("64:ff9b::/96")  // RFC 6052: an IPv4 address is in its end
)

// translated reports whether what an IPv6 address hides is public as well.
func translated(ip netip.Addr) bool {
	if !nat64.Contains(ip) {
		return true
	}
	b := ip.As16()
	v4 := netip.AddrFrom4([4]byte(b[12:]))
	return v4.IsGlobalUnicast() && !v4.IsPrivate() && !shared.Contains(v4)
}

// Do sends a request. Its errors name the host and nothing more of the URL.
func (c *Client) Do(req *http.Request) (*http.Response, error) {
	resp, err := c.http.Do(req) // #nosec G704 -- the operator's own URL, or one that publicOnly judges; no redirect is followed
	if err != nil {
		return nil, fmt.Errorf("ask %s: %w", req.URL.Host, bare(err))
	}
	return resp, nil
}

// bare takes the URL off an error.
func bare(err error) error {
	var of *url.Error
	if errors.As(err, &of) {
		return of.Err
	}
	return err
}

// CheckURL says what is wrong with a URL, without repeating it.
func CheckURL(text string) error {
	u, err := url.Parse(text)
	switch {
	case err != nil:
		return errors.New("not a URL")
	case u.Scheme != "https":
		return errors.New("not https")
	case u.Host == "":
		return errors.New("no host")
	case u.User != nil:
		return errors.New("a user name in a URL is not sent")
	case u.Fragment != "":
		return errors.New("a fragment in a URL is not sent")
	}
	return nil
}

// Status is an answer that is no success.
type Status struct {
	Host  string
	Code  int
	After time.Duration // the server asks to wait so long (Retry-After), an hour at most; 0: it does not say
	final bool
}

// Error implements error.
func (s *Status) Error() string {
	text := fmt.Sprintf("%s answered %d", s.Host, s.Code)
	if s.After > 0 {
		text += fmt.Sprintf(" and asks to wait %v", s.After)
	}
	return text
}

// Is makes an answer that is final match notice.ErrRefused.
func (s *Status) Is(target error) bool { return s.final && target == notice.ErrRefused }

// Judge reads an answer to its end, or to 4 KiB, and closes it. It returns nil
// for 2xx and a *Status otherwise, which wraps notice.ErrRefused for 4xx but 408,
// 425 and 429: those, and all others, may succeed later. now serves a Retry-After
// that is a date.
func Judge(resp *http.Response, now time.Time) error {
	_, _ = io.CopyN(io.Discard, resp.Body, readMost)
	_ = resp.Body.Close()
	if resp.StatusCode/100 == 2 {
		return nil
	}
	s := &Status{Host: resp.Request.URL.Host, Code: resp.StatusCode, After: retryAfter(resp.Header.Get("Retry-After"), now)}
	switch s.Code {
	case http.StatusRequestTimeout, http.StatusTooEarly, http.StatusTooManyRequests:
	default:
		s.final = s.Code/100 == 4
	}
	return s
}

// retryAfter reads the field's two forms (RFC 9110, 10.2.3).
func retryAfter(text string, now time.Time) time.Duration {
	var d time.Duration
	if n, err := strconv.ParseUint(text, 10, 31); err == nil {
		d = time.Duration(n) * time.Second // #nosec G115 -- 31 bits
	} else if at, err := http.ParseTime(text); err == nil {
		d = at.Sub(now)
	}
	return min(max(d, 0), laterMost)
}

// After returns how long an error's server asks to wait; 0: it does not say.
func After(err error) time.Duration {
	var s *Status
	if errors.As(err, &s) {
		return s.After
	}
	return 0
}

// Send sends a request under ctx and judges the answer.
func (c *Client) Send(ctx context.Context, req *http.Request, now time.Time) error {
	resp, err := c.Do(req.WithContext(ctx))
	if err != nil {
		return err
	}
	return Judge(resp, now)
}
