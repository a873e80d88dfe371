package board

import (
	"context"
	"net/http"
	"time"

	"earlyage/cmd/earlyage/internal/words"
)

// Viewer is a live viewer that a test tells of a tick.
type Viewer struct {
	*viewer
	sum *counted
}

// counted is a connection that counts what is written to it.
type counted struct{ bytes int }

func (c *counted) Header() http.Header              { return http.Header{} }
func (c *counted) WriteHeader(int)                  {}
func (c *counted) Write(b []byte) (int, error)      { c.bytes += len(b); return len(b), nil }
func (c *counted) FlushError() error                { return nil }
func (c *counted) SetWriteDeadline(time.Time) error { return nil }

// NewViewers makes viewers of the board.
func NewViewers(p *Pages, n int) (out []Viewer) {
	for range n {
		c := &counted{}
		out = append(out, Viewer{&viewer{pages: p, ctx: context.Background(), words: words.Of(words.English), rw: c, out: http.NewResponseController(c)}, c})
	}
	return out
}

// Tell tells a viewer what changed.
func (v Viewer) Tell() error { return v.tell() }

// Told is how many bytes it was told.
func (v Viewer) Told() int { return v.sum.bytes }
