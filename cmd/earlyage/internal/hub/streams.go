package hub

import (
	"context"
	"net/http"
	"sync"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
)

// streamsMost is how many answers that go on and on one account has at a time: a
// board on every screen of an office, and no more than that. Whoever is nobody has
// them by network.
const streamsMost = 8

// streams counts them.
type streams struct {
	mu   sync.Mutex
	open map[string]int // mu
}

func (s *streams) enter(account string) (leave func(), ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open[account] >= streamsMost {
		return nil, false
	}
	if s.open == nil {
		s.open = map[string]int{}
	}
	s.open[account]++
	return func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.open[account]--; s.open[account] == 0 {
			delete(s.open, account)
		}
	}, true
}

// streaming serves an answer that goes on and on: counted, and ended when the hub
// stops. The hub's own socket is not counted.
func (w *web) streaming(next http.Handler) http.Handler {
	return http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if c := door.CallerOf(r.Context()); !c.Local {
			leave, ok := w.streams.enter(accountOf(c, r))
			if !ok {
				rw.Header().Set("Retry-After", "60")
				w.fail(rw, problem(http.StatusTooManyRequests, api.CodeTooMany, "you look on at too many places at once: close some of them"))
				return
			}
			defer leave()
		}
		ctx, cancel := context.WithCancel(r.Context())
		defer cancel()
		defer w.onClose(cancel)()
		next.ServeHTTP(rw, r.WithContext(ctx))
	})
}

// accountOf is what is counted as one: a person, whatever they come with, a
// device of nobody, else a network.
func accountOf(c door.Caller, r *http.Request) string {
	switch {
	case c.Person != "":
		return c.Person
	case c.Known():
		return c.Device.String()
	}
	return networkOf(r.RemoteAddr)
}
