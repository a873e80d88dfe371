package hub

import (
	"context"
	"crypto/ed25519"
	"path/filepath"
	"time"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/projector"
)

// startNotify tells alerts to the log and to alert.<site>.<wall>, and keeps what
// was told in the store.
func (h *Hub) startNotify(ctx context.Context) error {
	ledger, err := h.projector.Drawer("told")
	if err != nil {
		return err
	}
	n, err := notify.Open(ctx, notify.Config{
		Stream: h.stream, Ledger: ledger, Key: h.projector.HubKey().Public().(ed25519.PublicKey), Judge: judge{h.projector}, Clock: h.clock,
		Directory: nobody{}, Rota: func() desk.Rota { return nobody{} }, Voice: toldVoice{h}, Teller: notify.NATS{Conn: h.nc}, Log: h.log,
		Demo: h.demo,
		Old:  filepath.Join(h.cfg.Dir, "told.db"),
	})
	if err != nil {
		return err
	}
	h.steps.started("told", func(context.Context) error { return n.Close() })
	h.run("notify", n.Run)
	return nil
}

// judge asks the record which of people's words it has taken in.
type judge struct{ p *projector.Projector }

// judgeWithin is how long the record is waited for at once.
const judgeWithin = 10 * time.Second

func (j judge) Holds(ctx context.Context, seq uint64) (held bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, judgeWithin)
	defer cancel()
	if err := j.p.Wait(ctx, seq); err != nil {
		return false, err
	}
	err = j.p.Read(func(v projector.View) error {
		_, refused := v.RefusedAt(seq)
		held = !refused
		return nil
	})
	return held, err
}

// toldVoice publishes what came of telling.
type toldVoice struct{ h *Hub }

func (v toldVoice) Say(ctx context.Context, e events.Event) error {
	body, err := e.Encode()
	if err != nil {
		return err
	}
	if err := v.h.fits(); err != nil {
		return err
	}
	_, err = v.h.publish(ctx, e.Subject(), body, stream.Sign(v.h.projector.HubKey(), body))
	return err
}

// nobody is told by name: who listens on alert.<site>.<wall> hears everything.
type nobody struct{}

func (nobody) Reader(string, string) (notice.Reader, bool) { return notice.Reader{}, false }
func (nobody) Site(token string) notice.Site {
	return notice.Site{Token: token, Name: token, Zone: time.UTC}
}
func (nobody) Ladder(notice.Notice, time.Time) []desk.Rung   { return nil }
func (nobody) Sheet(string, string, time.Time) []desk.Choice { return nil }
func (nobody) Quiet(string, string, time.Time) time.Time     { return time.Time{} }
