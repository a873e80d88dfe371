package door

import (
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strings"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
)

// loopbackNames are one place, whichever a client writes.
const loopbackNames = "localhost 127.0.0.1 ::1"

// sameOrigins gives the ways to write an origin: itself, and for this machine
// alone its other names.
func sameOrigins(origin string) ([]string, error) {
	u, err := url.Parse(origin)
	if err != nil {
		return nil, fmt.Errorf("origin %q: %w", origin, err)
	}
	if (u.Scheme != "http" && u.Scheme != "https") || u.Hostname() == "" || u.String() != u.Scheme+"://"+u.Host {
		return nil, fmt.Errorf("origin %q: scheme, host and port are wanted, and nothing else", origin)
	}
	if !isLoopback(u.Hostname()) {
		return []string{origin}, nil
	}
	list := []string{origin}
	for _, name := range strings.Fields(loopbackNames) {
		host := name
		if strings.Contains(name, ":") {
			host = "[" + name + "]"
		}
		if u.Port() != "" {
			host = net.JoinHostPort(name, u.Port())
		}
		if other := u.Scheme + "://" + host; other != origin {
			list = append(list, other)
		}
	}
	return list, nil
}

func isLoopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && a.IsLoopback()
}

// newPasskeys sets the ceremonies up; nil where there can be none: a passkey
// belongs to a name (no bare address), and to TLS or this machine alone.
func newPasskeys(origins []string) (*webauthn.WebAuthn, error) {
	u, err := url.Parse(origins[0])
	if err != nil {
		return nil, err
	}
	id := u.Hostname()
	if isLoopback(id) {
		id = "localhost"
	} else if _, err := netip.ParseAddr(id); err == nil || u.Scheme != "https" {
		return nil, nil
	}
	yes := true
	return webauthn.New(&webauthn.Config{
		RPID: id, RPDisplayName: "earlyage", RPOrigins: origins,
		AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{
			RequireResidentKey: &yes,
			ResidentKey:        protocol.ResidentKeyRequirementRequired,
			UserVerification:   protocol.VerificationRequired,
		},
	})
}
