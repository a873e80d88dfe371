package hub

import (
	"context"
	"strings"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/notify/lookout"
)

// startBeat sends the lookout a heartbeat every minute.
func (h *Hub) startBeat(context.Context) error {
	if h.cfg.Beat.URL == "" {
		return nil
	}
	secret, err := secretIn(h.cfg.Beat.SecretFile)
	if err != nil {
		return err
	}
	beat, err := lookout.NewBeat(lookout.BeatConfig{
		URL: h.cfg.Beat.URL, Secrets: strings.Fields(secret), Health: h.pulse, Roots: h.cfg.Roots, Log: h.log,
	})
	if err != nil {
		return err
	}
	h.run("beat", beat.Run)
	return nil
}

// pulse is what the lookout is told of the hub's health.
func (h *Hub) pulse() lookout.Health {
	var now api.Health
	if err := h.look(everything, func(p pictured) error { now = h.healthIn(p); return nil }); err != nil {
		return lookout.Health{Why: "the record cannot be read: " + err.Error()}
	}
	out := lookout.Health{OK: now.OK, Why: strings.Join(now.Problems, "; "), Undelivered: now.Undelivered}
	if !h.demo { // a demo's clock is not the lookout's
		out.NextDue = h.NextDue()
	}
	return out
}

// healthIn is the hub's health, and that of its telling. A route file that is not
// in force and a channel that cannot be set up are problems: people may not be
// told as somebody believes.
func (h *Hub) healthIn(p pictured) api.Health {
	out := p.health(h.demo)
	out.Undelivered = h.told.Undelivered()
	if wrong := h.toldProblems(); len(wrong) > 0 {
		out.Problems, out.OK = append(out.Problems, wrong...), false
	}
	return out
}
