package lookout

import (
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

const beatMost = 16 << 10 // bytes

// ServeHTTP takes heartbeats: 204 for one that counts, and for one that was had
// already; 401 for one that is not signed with the secret; 400 for one that is not
// of this hour or not a heartbeat.
func (l *Lookout) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		http.Error(w, "a heartbeat is posted", http.StatusMethodNotAllowed)
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, beatMost))
	if err != nil {
		http.Error(w, "not a heartbeat", http.StatusBadRequest)
		return
	}
	if !l.sign.Verify(body, r.Header) {
		http.Error(w, "not signed with the secret", http.StatusUnauthorized)
		return
	}
	if err := l.take(body, r.Header); err != nil {
		l.strays.Do(func() { l.cfg.Log.Warn("a heartbeat does not count", "err", err.Error()) })
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// take takes a heartbeat whose signature holds.
func (l *Lookout) take(body []byte, h http.Header) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.cfg.Now()
	if err := freshness(h.Get(standardwebhooks.HeaderWebhookTimestamp), now); err != nil {
		l.watch.stray(err.Error())
		return err
	}
	var p payload
	if err := json.Unmarshal(body, &p); err != nil || p.Type != kindOfBeat {
		l.watch.stray("not of the kind that this lookout knows")
		return fmt.Errorf("not of the kind %s", kindOfBeat)
	}
	l.forget(now)
	id := h.Get(standardwebhooks.HeaderWebhookID)
	if _, had := l.seen[id]; had {
		return nil
	}
	l.seen[id] = now
	l.words = append(l.words, l.watch.beat(p.judged(), now)...)
	l.poke()
	return nil
}

// judged is the hub's health, and its own word against its own numbers.
func (p payload) judged() Health {
	h := p.Data
	if late := p.Timestamp.Sub(h.NextDue); h.OK && !h.NextDue.IsZero() && late > fresh {
		h.OK, h.Why = false, fmt.Sprintf("what was due at %s is not done", h.NextDue.UTC().Format(time.RFC3339))
	}
	return h
}

// freshness judges the timestamp of a heartbeat.
func freshness(text string, now time.Time) error {
	seconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return fmt.Errorf("timestamp %q is no number", text)
	}
	if off := time.Unix(seconds, 0).Sub(now); off.Abs() > fresh {
		return fmt.Errorf("its timestamp is %v off the lookout's clock, allowed %v", off.Round(time.Second), fresh)
	}
	return nil
}

// forget drops the ids that the timestamp alone keeps out by now.
func (l *Lookout) forget(now time.Time) {
	for id, at := range l.seen {
		if now.Sub(at) > 2*fresh {
			delete(l.seen, id)
		}
	}
}
