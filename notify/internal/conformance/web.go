package conformance

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
)

// Web is a counterpart that speaks HTTP over TLS, with a certificate of its own.
type Web struct {
	*httptest.Server
	Reached chan struct{}

	mu     sync.Mutex
	manner Manner
	taken  []string
	open   chan struct{} // closed at the end: what hangs may go
}

// Request is what came, read to its end.
type Request struct {
	*http.Request
	Bytes []byte
}

// NewWeb starts one. read judges a request: it returns what tells the message
// apart, or an error, which is answered with 400.
func NewWeb(t *testing.T, read func(Request) (string, error)) *Web {
	w := &Web{Reached: make(chan struct{}, 100), open: make(chan struct{})}
	w.Server = httptest.NewTLSServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			return
		}
		id, err := read(Request{r, body})
		if err != nil {
			t.Errorf("a request that does not hold: %v", err)
			rw.WriteHeader(http.StatusBadRequest)
			return
		}
		w.answer(rw, id)
	}))
	t.Cleanup(func() { close(w.open); w.Close() })
	return w
}

func (w *Web) answer(rw http.ResponseWriter, id string) {
	w.mu.Lock()
	manner := w.manner
	if manner == Accept || manner == Lose {
		w.taken = append(w.taken, id)
	}
	w.mu.Unlock()
	switch manner {
	case Accept:
		rw.WriteHeader(http.StatusCreated)
	case Refuse:
		rw.WriteHeader(http.StatusGone)
	case Trouble:
		rw.WriteHeader(http.StatusServiceUnavailable)
	case Lose:
		panic(http.ErrAbortHandler) // the connection ends without an answer
	case Hang:
		w.Reached <- struct{}{}
		<-w.open
	}
}

// Set sets what it does from now on.
func (w *Web) Set(m Manner) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.manner = m
}

// Taken returns what it took.
func (w *Web) Taken() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return append([]string(nil), w.taken...)
}

// Log is a log that can be read.
type Log struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

// Write implements io.Writer.
func (l *Log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.Write(p)
}

// String returns what was written.
func (l *Log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.String()
}

// Logger writes into it.
func (l *Log) Logger() *slog.Logger {
	return slog.New(slog.NewTextHandler(l, &slog.HandlerOptions{Level: slog.LevelDebug}))
}
