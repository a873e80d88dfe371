package hub

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"maps"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/notify/phone"
	"earlyage/notify/routes"
	"earlyage/projector"
	"earlyage/projector/people"
	"earlyage/scheduler"
)

// openTold opens the ledger of telling and sets the channels up. Nothing is told
// before startTold.
func (h *Hub) openTold(ctx context.Context) error {
	handset, err := phone.New(phone.Config{Conn: h.nc})
	if err != nil {
		return err
	}
	h.outlets = newOutlets(h)
	h.routes = routes.Open(routes.Config{Path: h.cfg.Routes, Dir: readers{h}, Sites: readers{h}.sites, Log: h.log})
	h.outlets.refresh(h.routes.Status().File)
	h.rota = func() *routes.Rota { return h.routes.Status().File.Rota(readers{h}, readers{h}.zone) }

	ledger, err := h.projector.Drawer("told")
	if err != nil {
		return err
	}
	h.told, err = notify.Open(ctx, notify.Config{
		Stream: h.stream, Ledger: ledger, Key: h.projector.HubKey().Public().(ed25519.PublicKey), Judge: judge{h.projector}, Clock: h.clock,
		Directory: toldReaders{readers{h}}, Rota: func() desk.Rota { return h.rotaNow() }, Channels: append(h.outlets.all(), handset),
		Compose: composer{hub: h}, Delay: func(kind string) time.Duration { return scheduler.AlertKinds[kind].OnDelay },
		Voice: toldVoice{h}, Teller: notify.NATS{Conn: h.nc}, Link: h.link, Log: h.log, Demo: h.demo,
		Changed: h.untoldChanged, Old: filepath.Join(h.cfg.Dir, "told.db"),
	})
	if err != nil {
		return err
	}
	h.steps.started("told", func(context.Context) error { return h.told.Close() })
	return nil
}

// startTold tells, and reads the route file again when it changes. It starts
// before the scheduler and stops after it, so that no word of the scheduler's is
// left lying.
func (h *Hub) startTold(context.Context) error {
	h.run("notify", h.told.Run)
	h.run("routes", h.watchRoutes)
	return nil
}

// watchRoutes looks again and again at the route file, and at the secrets that it
// names.
func (h *Hub) watchRoutes(ctx context.Context) error {
	again := time.NewTicker(routesEvery)
	defer again.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-again.C:
			h.LookAtRoutes()
		}
	}
}

const routesEvery = 2 * time.Second

// LookAtRoutes reads the route file now. It is read every two seconds anyway.
func (h *Hub) LookAtRoutes() {
	h.routes.Look()
	h.outlets.refresh(h.routes.Status().File)
}

// toldProblems says what is wrong with how people are told.
func (h *Hub) toldProblems() (list []string) {
	if err := h.routes.Status().Refused; err != nil {
		list = append(list, "the route file is not in force: "+err.Error())
	}
	return append(list, h.outlets.problems()...)
}

// toldReaders is who is told: people, and the web hooks of the route file.
type toldReaders struct{ readers }

// Reader implements notify.Directory.
func (d toldReaders) Reader(person, site string) (notice.Reader, bool) {
	for _, hook := range d.h.rotaNow().Hooks() {
		if hook.Person == person {
			return hook, true
		}
	}
	return d.readers.Reader(person, site)
}

// Walls implements notify.Directory.
func (d toldReaders) Walls(site string, tokens []string) map[string]string {
	names := map[string]string{}
	err := d.h.projector.Read(func(v projector.View) error {
		for _, token := range tokens {
			if s := v.Wall(projector.Ref{Site: site, Wall: token}); s != nil && s.Holding.Name != "" {
				names[token] = s.Holding.Name
			}
		}
		return nil
	})
	if err != nil {
		return nil // what a view shows counts only without one; tokens are said then
	}
	return names
}

// link is the page that shows an alert: its wall's, or the board.
func (h *Hub) link(site, wall, _ string) string {
	base := strings.TrimRight(h.address, "/")
	switch {
	case wall != "":
		return base + wallpage.Path(site, wall)
	case site != "" && site != people.Company:
		return base + board.PathAlerts + "?site=" + url.QueryEscape(site)
	}
	return base + board.PathAlerts
}

// untold are the alerts about people whom alerts on a site do not reach, one for
// each person, and one for each reason why alerts reach nobody. They rest on the engine alone.
// It is called while the record is read, so names are not looked up: whose wall's
// name is not known yet waits for untoldChanged, which follows at once.
func (h *Hub) untold(site string) (list []scheduler.Alert) {
	seen := map[string]bool{}
	for _, t := range h.told.Untold() { // the oldest first
		name, known := h.placed.name(notice.Place{Site: t.Site, Wall: t.Wall})
		if !known {
			continue
		}
		a := untoldAlert(t, name)
		if t.Site == site && !seen[a.Cause] {
			seen[a.Cause] = true
			list = append(list, a)
		}
	}
	return list
}

const callThem = " Call by voice, the person or whoever is next on the site."

// untoldAlert does not repeat what the channel answered: that changes from try to
// try, and may hold an address.
func untoldAlert(t desk.Trouble, wall string) scheduler.Alert {
	about := t.Kind
	if wall != "" {
		about += " on " + wall
	}
	about += ", " + t.Priority
	a := scheduler.Alert{Kind: scheduler.AlertUntold, Since: t.Since}
	switch {
	case t.Person == "":
		a.Cause, a.Text = "nobody: "+t.Text, fmt.Sprintf("%s: %s.", about, t.Text)
	case slices.Equal(t.Channels, []string{desk.NoChannel}):
		a.Cause, a.Text = "person "+t.Person, fmt.Sprintf("%s: nothing reaches %s: no phone here, no browser, no mail.", about, t.Person)
	default:
		a.Cause, a.Text = "person "+t.Person, fmt.Sprintf("%s: %s was not reached by %s.", about, t.Person, strings.Join(t.Channels, ", "))
	}
	a.Text += callThem
	return a
}

// handed are the alerts that were told beside the stream, and of which it has said
// nothing since.
func (h *Hub) handed() (list []events.Event) {
	for _, c := range h.told.Cases() {
		if n := c.Notice; c.Of == desk.OfAlert && n.State == notice.Raised && n.Seq == 0 && c.Cleared.IsZero() {
			list = append(list, events.Event{
				Source: events.Source{Site: n.Site, Device: events.HubDevice}, Kind: "alert.raised", Wall: n.Wall, Time: n.Since,
				Data: &events.AlertRaised{Alert: n.Alert, Kind: n.Kind, Cause: n.Cause, Priority: n.Priority, Since: n.Since, Text: n.Text, About: n.About},
			})
		}
	}
	return list
}

// untoldChanged lets the scheduler look again at the sites where somebody cannot
// be told, or could not. It is called from the engine's goroutine.
func (h *Hub) untoldChanged() {
	now, untold := map[string]bool{}, h.told.Untold()
	for _, t := range untold {
		now[t.Site] = true
	}
	h.placed.set(untold, toldReaders{readers{h}}.Walls)
	before := h.troubled
	h.troubled = maps.Clone(now)
	maps.Copy(now, before)
	for site := range now {
		h.pokes.Add(1)
		h.loop.Poke(site)
	}
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

// Measured says how fast and how much was told from one moment to another.
func (h *Hub) Measured(from, to time.Time) (notify.Measures, error) { return h.told.Between(from, to) }
