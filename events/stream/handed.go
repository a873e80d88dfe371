package stream

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
)

// ErrNoWebsocket: the server has no listener for websockets.
var ErrNoWebsocket = errors.New("the server takes no websockets")

// ServeWebsocket takes over a connection on which another listener of this
// process has read, and taken the encryption off, up to a request for a
// websocket: conn yields that request again, and what comes after it. It returns
// when the connection has ended, and closes it. Whose page asks is for the caller
// to have looked at.
//
// With a Front the connection is counted, measured and timed as one that came to
// the front itself; its RemoteAddr is where it comes from.
func (s *Server) ServeWebsocket(conn net.Conn) error {
	defer func() { _ = conn.Close() }()
	if s.opts.Websocket.Port == 0 {
		return ErrNoWebsocket
	}
	to := net.JoinHostPort(s.opts.Websocket.Host, strconv.Itoa(s.opts.Websocket.Port))
	if s.front != nil {
		return s.front.take(handed{conn}, to)
	}
	return join(conn, to)
}

// handed is a connection whose encryption is off already.
type handed struct{ net.Conn }

// take sees a connection to its end that another listener has accepted.
func (f *front) take(conn handed, to string) error {
	f.mu.Lock()
	if f.ctx.Err() != nil {
		f.mu.Unlock()
		return context.Cause(f.ctx)
	}
	f.work.Add(1) // close waits for it: it takes the lock after it has ended ctx
	f.mu.Unlock()
	defer f.work.Done()
	f.serve(conn, speaksWebsocket, to)
	return nil
}

// join copies both ways until one side ends. The server ends its side when it
// stops.
func join(conn net.Conn, to string) error {
	inner, err := net.Dial("tcp", to)
	if err != nil {
		return fmt.Errorf("reach the server: %w", err)
	}
	done := make(chan error, 2)
	move := func(to io.Writer, from io.Reader) {
		_, err := io.Copy(to, from)
		done <- err
	}
	go move(inner, conn)
	go move(conn, inner)
	err = <-done
	_, _ = inner.Close(), conn.Close()
	<-done
	if errors.Is(err, net.ErrClosed) {
		err = nil
	}
	return err
}
