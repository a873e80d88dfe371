package hub

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"slices"
	"sync"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/people"
)

// keyMost is the longest Idempotency-Key, in characters.
const keyMost = 255

// entryKey reads the key under which an entry may be sent again.
func entryKey(r *http.Request) (string, error) {
	values := r.Header.Values(api.IdempotencyKey)
	if len(values) == 0 {
		return "", nil
	}
	key := values[0]
	plain := func(c rune) bool { return c > ' ' && c < 0x7f }
	if len(values) > 1 || key == "" || len(key) > keyMost || slices.ContainsFunc([]rune(key), func(c rune) bool { return !plain(c) }) {
		return "", &events.Refusal{Field: api.IdempotencyKey, Value: key[:min(len(key), 64)], Allowed: "1 to 255 printable ASCII characters without space, once"}
	}
	return key, nil
}

// entryID is the id of the entry that a person makes under a key. So the record
// itself remembers what was answered: for good, and over restarts.
func (h *Hub) entryID(person, key string) string {
	mac := hmac.New(sha256.New, h.projector.HubKey().Seed())
	mac.Write([]byte("earlyage entry " + person + "\x00" + key))
	return "k-" + base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// enterOnce makes an entry, or answers as to the first one under its key.
func (h *Hub) enterOnce(ctx context.Context, c door.Caller, in api.Entry, key string) (api.Entered, error) {
	if c.Person == "" {
		return api.Entered{}, errNoPerson()
	}
	id := h.entryID(c.Person, key)
	unlock, err := h.entering.lock(ctx, id)
	if err != nil {
		return api.Entered{}, err
	}
	defer unlock()
	if out, known, err := h.enteredBefore(ctx, c, in, id); err != nil || known {
		return out, err
	}
	out, err := h.enter(ctx, c, in, id)
	if err != nil {
		return out, err
	}
	// One whose answer was lost may have come into the stream before this one.
	first, known, err := h.enteredBefore(ctx, c, in, id)
	if err != nil || !known {
		return out, err
	}
	return first, nil
}

// enteredBefore looks for the entry under an id on every site: the key is the
// account's, not the site's.
func (h *Hub) enteredBefore(ctx context.Context, c door.Caller, in api.Entry, id string) (out api.Entered, known bool, err error) {
	var sites []string
	if err := h.projector.Read(func(v projector.View) error { sites = append(v.Sites(), people.Company); return nil }); err != nil {
		return out, false, err
	}
	for _, site := range sites {
		leaf, ok, err := h.projector.First(events.Source{Site: site, Device: events.DeskOf(c.Person)}, id)
		if err != nil {
			return out, false, err
		}
		if !ok {
			continue
		}
		if !sameEntry(leaf, in) {
			return out, true, problem(http.StatusUnprocessableEntity, api.CodeKeyUsed, "another entry was made under this "+api.IdempotencyKey)
		}
		wait, cancel := context.WithTimeout(ctx, foldWait)
		defer cancel()
		if err := h.projector.Wait(wait, leaf.Seq); err != nil {
			return out, true, err
		}
		refused, err := h.refusedAt(leaf.Seq)
		return entered(id, leaf.Seq, refused), true, err
	}
	return out, false, nil
}

// sameEntry reports whether an entry says what a kept one does. One without a time
// was made at whatever moment the kept one was.
func sameEntry(leaf projector.Leaf, in api.Entry) bool {
	e, err := events.Decode(leaf.Subject, leaf.Body)
	if err != nil || e.Source.Site != in.Site || e.Kind != in.Kind || e.Wall != in.Wall || !in.Time.IsZero() && !in.Time.Equal(e.Time) {
		return false
	}
	data, err := events.DecodeData(in.Kind, in.Data)
	if err != nil {
		return false
	}
	was, err := json.Marshal(e.Data, json.Deterministic(true))
	if err != nil {
		return false
	}
	is, err := json.Marshal(data, json.Deterministic(true))
	return err == nil && bytes.Equal(was, is)
}

// locks let one at a time in under a name.
type locks struct {
	mu   sync.Mutex
	held map[string]chan struct{} // mu: closed when it is free
}

func (l *locks) lock(ctx context.Context, name string) (unlock func(), err error) {
	for {
		l.mu.Lock()
		if l.held == nil {
			l.held = map[string]chan struct{}{}
		}
		busy := l.held[name]
		if busy == nil {
			free := make(chan struct{})
			l.held[name] = free
			l.mu.Unlock()
			return func() {
				l.mu.Lock()
				defer l.mu.Unlock()
				delete(l.held, name)
				close(free)
			}, nil
		}
		l.mu.Unlock()
		select {
		case <-busy:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}
