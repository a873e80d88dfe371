package lookout

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"time"

	"earlyage/notify/notice"
)

const (
	tryWithin = time.Minute     // one try
	tryPause  = time.Second     // before another; doubled each time
	tryLong   = 5 * time.Minute // the longest such pause
)

// round is the deliveries of the newest word. They go on until the next word is
// told: what is said last is what counts. It belongs to Run's goroutine.
type round struct {
	lookout *Lookout
	cancel  context.CancelFunc
	working sync.WaitGroup
}

func (r *round) end() {
	if r.cancel != nil {
		r.cancel()
	}
	r.working.Wait()
}

func (r *round) tell(ctx context.Context, w word) {
	l := r.lookout
	if r.cancel != nil {
		r.cancel()
	}
	ctx, r.cancel = context.WithCancel(ctx)
	l.cfg.Log.Warn("the hub is watched", "hub", l.cfg.Hub, "state", w.State, "was", w.Was, "turn", w.Turn, "since", w.Since, "why", w.Why)
	now := l.cfg.Now()
	for _, reader := range l.cfg.Readers {
		for _, c := range reaching(l.cfg.Channels, reader) {
			m := l.message(w, reader, c.Name(), now)
			r.working.Go(func() { l.deliver(ctx, c, m) })
		}
	}
}

// deliver tries until the channel has the message, or refuses it, or ctx ends.
func (l *Lookout) deliver(ctx context.Context, c notice.Channel, m notice.Message) {
	for wait := tryPause; ; wait = min(2*wait, tryLong) {
		try, cancel := context.WithTimeout(ctx, tryWithin)
		err := c.Send(try, m)
		cancel()
		if err == nil {
			return
		}
		refused := errors.Is(err, notice.ErrRefused)
		l.cfg.Log.Warn("a reader could not be told of the hub", "person", m.To.Person, "channel", m.Channel, "again", !refused, "err", err.Error())
		if refused {
			return
		}
		timer := time.NewTimer(wait)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		}
	}
}

// message makes what a reader is told. Its ID is the same for the same finding.
func (l *Lookout) message(w word, to notice.Reader, channel string, now time.Time) notice.Message {
	what, first, todo := notice.Raised, "", ""
	hour := func(t time.Time) string { return t.In(l.cfg.Zone).Format("2006-01-02 15:04 MST") }
	switch {
	case w.State == silent:
		first = fmt.Sprintf("%s is silent since %s", l.cfg.Hub, hour(w.Since))
		if w.Last.IsZero() {
			first = fmt.Sprintf("%s: no heartbeat came since the lookout began at %s", l.cfg.Hub, hour(w.Since))
		}
		todo = "Nobody may be told of joints, forms, frost or bracing while this lasts. Call the sites that are pouring or that wait to strip: " +
			"no bracing comes off on an answer that is not fresh. Then look at the hub: power, network, disk, clock."
	case w.State == unwell:
		first = fmt.Sprintf("%s is not well since %s", l.cfg.Hub, hour(w.Since))
		todo = "The hub is running and says so itself. Until it is mended call the sites that are pouring or that wait to strip."
	default:
		what = notice.Cleared
		first = fmt.Sprintf("%s is back at %s: it was %s since %s", l.cfg.Hub, hour(now), map[string]string{silent: "silent", unwell: "not well"}[w.Was], hour(w.Since))
		todo = fmt.Sprintf("Alerts of that time may reach their people late. Messages that nobody has had yet: %d.", w.Back.Undelivered)
	}
	plain := first + ".\n\n" + todo + "\n"
	if w.Why != "" {
		plain += "\nThe last that is known: " + w.Why + "\n"
	}
	if w.State != well && w.Turn > 0 {
		plain += "\nThis is message number " + strconv.Itoa(w.Turn+1) + " about it.\n"
	}
	return notice.Message{
		ID: l.id(w, to.Person, channel), What: what, Channel: channel, To: to, Alerts: []string{l.id(word{Since: w.Since}, "", "")},
		Site: "_", Priority: "urgent", Urgent: w.State != well, At: now, Step: w.Turn, Why: "lookout", First: first, Short: clip(first), Plain: plain,
	}
}

const shortMost = 159

func clip(text string) string {
	if r := []rune(text); len(r) > shortMost {
		return string(r[:shortMost-1]) + "…"
	}
	return text
}

func (l *Lookout) id(w word, person, channel string) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%s\x00%d\x00%d\x00%s\x00%s", l.cfg.Hub, w.State, w.Was, w.Turn, w.Since.UnixMilli(), person, channel))
	return "lookout-" + hex.EncodeToString(sum[:16])
}
