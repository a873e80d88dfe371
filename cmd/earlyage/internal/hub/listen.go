package hub

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"os"

	"golang.org/x/crypto/acme"
	"golang.org/x/crypto/acme/autocert"

	"earlyage/events/stream"
)

// SocketName is the hub's own socket within its folder.
const SocketName = "hub.sock"

// certificate gives the certificate of a new connection.
type certificate func(*tls.ClientHelloInfo) (*tls.Certificate, error)

// certificates opens the source of every listener's certificate; nil: plain.
func (t TLS) certificates(log *slog.Logger) (certificate, error) {
	switch {
	case t.CertFile != "":
		return stream.CertificateFiles{Cert: t.CertFile, Key: t.KeyFile, Log: log}.Reloading()
	case len(t.Domains) > 0:
		m := &autocert.Manager{Prompt: autocert.AcceptTOS, HostPolicy: autocert.HostWhitelist(t.Domains...), Cache: autocert.DirCache(t.Cache)}
		if t.Directory != "" {
			m.Client = &acme.Client{DirectoryURL: t.Directory}
		}
		return m.GetCertificate, nil
	}
	return nil, nil
}

// listenHTTP opens the listener of answers and pages.
func (h *Hub) listenHTTP() (net.Listener, error) {
	l, err := net.Listen("tcp", hosted(h.cfg.HTTP))
	if err != nil {
		return l, err
	}
	h.crowd = newCrowd(l, h.cfg.Limits.Most, h.cfg.Limits.PerAddress, func(remote string) {
		h.log.Warn("http connection refused: too many are open", "remote", remote)
	})
	if l = h.crowd; h.certificate == nil {
		return l, nil
	}
	return tls.NewListener(l, &tls.Config{
		GetCertificate: h.certificate, MinVersion: tls.VersionTLS12,
		NextProtos: []string{"h2", "http/1.1", acme.ALPNProto}, // the last is how an ACME authority sees that the name is ours
	}), nil
}

const socketPathMost = 107 // bytes that the kernel has room for

// listenSocket opens the hub's own socket: for the account that runs the hub and
// nobody else. What an earlier hub left is cleared away; no other one runs, since
// this one has the folder.
func listenSocket(path string) (net.Listener, error) {
	if len(path) > socketPathMost {
		return nil, fmt.Errorf("socket %s: the path has %d bytes, allowed %d", path, len(path), socketPathMost)
	}
	switch info, err := os.Lstat(path); {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, fmt.Errorf("socket: %w", err)
	case info.Mode().Type() != fs.ModeSocket:
		return nil, fmt.Errorf("socket %s: something else stands there", path)
	default:
		if err := os.Remove(path); err != nil {
			return nil, fmt.Errorf("socket: %w", err)
		}
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("socket: %w", err)
	}
	// The folder is closed to others already while the socket's mode is not set.
	if err := os.Chmod(path, 0o600); err != nil {
		return nil, errors.Join(fmt.Errorf("socket: %w", err), l.Close())
	}
	return l, nil
}
