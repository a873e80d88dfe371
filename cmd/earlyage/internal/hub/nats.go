package hub

import (
	"bytes"
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/api"
)

// websocketWait is how long a connection to another server may take.
const websocketWait = 10 * time.Second

// nats hands a websocket on to the NATS server, so that a phone needs no other
// port and no other certificate than the pages'. Who comes is for the server to
// find out, by the key that signs its nonce; no session and no cookie counts. In
// the embedded server the connection is one of its front's, with the front's
// limits, and ends when its device is revoked.
func (w *web) nats(rw http.ResponseWriter, r *http.Request) {
	to, ok := w.hub.websockets()
	switch {
	case !ok:
		w.fail(rw, problem(http.StatusNotFound, api.CodeNotFound, "this hub hands no websocket on: its NATS server has none, or none was named to it (--nats-websocket)"))
	case !asksForWebsocket(r):
		rw.Header().Set("Connection", "Upgrade")
		rw.Header().Set("Upgrade", "websocket")
		w.fail(rw, problem(http.StatusUpgradeRequired, api.CodeRefused, "this address takes websockets only"))
	case !w.hub.own(r.Header.Get("Origin"), r.Host):
		w.fail(rw, problem(http.StatusForbidden, api.CodeNotAllowed, "the request comes from another site's page"))
	default:
		conn, err := hijack(rw, upgrade(r, to.host, to.path))
		if err == nil {
			err = to.serve(conn)
		}
		if err != nil {
			w.hub.log.Debug("websocket ended", "remote", r.RemoteAddr, "error", err)
		}
	}
}

func problem(status int, code, detail string) error {
	p := api.NewProblem(status, code, detail)
	return &p
}

// handOn is where websockets go: what the request names there, and who serves it.
type handOn struct {
	host, path string
	serve      func(net.Conn) error
}

func (h *Hub) websockets() (to handOn, ok bool) {
	if h.server != nil {
		return handOn{"hub", "/", h.server.ServeWebsocket}, true
	}
	u := h.cfg.natsWebsocket()
	if u == nil {
		return handOn{}, false
	}
	return handOn{u.Host, u.RequestURI(), func(conn net.Conn) error { return h.passWebsocket(conn, u) }}, true
}

func asksForWebsocket(r *http.Request) bool {
	has := func(name, want string) bool {
		for _, value := range r.Header.Values(name) {
			for part := range strings.SplitSeq(value, ",") {
				if strings.EqualFold(strings.TrimSpace(part), want) {
					return true
				}
			}
		}
		return false
	}
	return r.ProtoMajor == 1 && has("Connection", "upgrade") && has("Upgrade", "websocket") && r.Header.Get("Sec-WebSocket-Key") != ""
}

// own reports whether a page of this hub asks, or a program, which names no
// origin. Where a hub is on this machine only, a page may call it by each of the
// names of loopback; another name that leads there is not believed.
func (h *Hub) own(origin, host string) bool {
	if origin == "" {
		return true
	}
	u, err := url.Parse(origin)
	if err != nil || u.Host == "" || u.Path != "" || u.User != nil {
		return false
	}
	address, err := url.Parse(h.address)
	if err != nil {
		return false
	}
	if strings.EqualFold(u.Scheme, address.Scheme) && strings.EqualFold(u.Host, address.Host) {
		return true
	}
	names := []string{"localhost", "127.0.0.1", "::1"}
	return strings.EqualFold(u.Scheme, address.Scheme) && strings.EqualFold(u.Host, host) && u.Port() == address.Port() &&
		slices.Contains(names, u.Hostname()) && slices.Contains(names, address.Hostname())
}

// websocketHeaders are what of a request the server needs. The origin has been
// looked at; compression would hide from the front what is sent.
var websocketHeaders = []string{"Sec-WebSocket-Key", "Sec-WebSocket-Version", "Sec-WebSocket-Protocol"}

// upgrade writes the request for a websocket anew.
func upgrade(r *http.Request, host, path string) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "GET %s HTTP/1.1\r\nHost: %s\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n", path, host)
	for _, name := range websocketHeaders {
		if value := r.Header.Get(name); value != "" {
			fmt.Fprintf(&b, "%s: %s\r\n", name, value) // net/http lets no line break into a value
		}
	}
	b.WriteString("\r\n")
	return b.Bytes()
}

// taken is a connection that yields the request again, and what was read beyond.
type taken struct {
	net.Conn
	all io.Reader
}

// Read implements net.Conn.
func (c taken) Read(b []byte) (int, error) { return c.all.Read(b) }

func hijack(rw http.ResponseWriter, request []byte) (net.Conn, error) {
	conn, buf, err := http.NewResponseController(rw).Hijack()
	if err != nil {
		return nil, err
	}
	if err := conn.SetDeadline(time.Time{}); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	ahead, err := buf.Reader.Peek(buf.Reader.Buffered())
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return taken{conn, io.MultiReader(bytes.NewReader(request), bytes.NewReader(bytes.Clone(ahead)), conn)}, nil
}

// passWebsocket copies between a connection and the websocket of another server,
// until one of them ends or the hub does.
func (h *Hub) passWebsocket(conn net.Conn, u *url.URL) error {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	defer h.web.onClose(cancel)()
	closing := context.AfterFunc(ctx, func() { _ = conn.Close() })
	defer closing()
	inner, err := dialWebsocket(ctx, u)
	if err != nil {
		_, _ = io.WriteString(conn, "HTTP/1.1 502 Bad Gateway\r\nConnection: close\r\nContent-Length: 0\r\n\r\n") // it may have left
		return errors.Join(fmt.Errorf("reach the websocket of %s: %w", u.Redacted(), err), conn.Close())
	}
	out := make(chan error, 1)
	go func() {
		_, err := io.Copy(conn, inner)
		out <- errors.Join(err, conn.Close())
	}()
	_, err = io.Copy(inner, conn)
	return errors.Join(err, inner.Close(), <-out)
}

func dialWebsocket(ctx context.Context, u *url.URL) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, websocketWait)
	defer cancel()
	if u.Scheme == "wss" {
		d := tls.Dialer{Config: &tls.Config{ServerName: u.Hostname(), MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}}}
		return d.DialContext(ctx, "tcp", net.JoinHostPort(u.Hostname(), cmp.Or(u.Port(), "443")))
	}
	var d net.Dialer
	return d.DialContext(ctx, "tcp", net.JoinHostPort(u.Hostname(), cmp.Or(u.Port(), "80")))
}
