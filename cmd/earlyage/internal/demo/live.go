package demo

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
)

// tick is how often the demo's clock moves on while people look on.
const tick = 200 * time.Millisecond

// address is how this machine's browsers reach the hub: by the name that
// passkeys and service workers ask for. Empty: as the hub says itself.
func address(listen string) string {
	_, port, err := net.SplitHostPort(listen)
	if err != nil || port == "" || port == "0" || !OnlyHere(listen) {
		return ""
	}
	return "http://localhost:" + port
}

// OnlyHere reports whether an address to listen on is of this machine alone:
// whoever reaches a demo may come in.
func OnlyHere(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil || host == "" || host == "localhost" {
		return err == nil
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// live lets the demo's clock run at a speed, plays the entries that are left as
// their time comes, and ends with ctx.
func (p *play) live(ctx context.Context, left []entry, speed float64) error {
	if speed <= 0 {
		speed = 1
	}
	from := p.clock.Now()
	err := p.links(ctx, speed)
	if err != nil {
		return ignoreEnd(ctx, err)
	}
	began := time.Now()
	beat := time.NewTicker(tick)
	defer beat.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-beat.C:
		}
		now := from.Add(time.Duration(float64(time.Since(began)) * speed))
		if left, err = p.goOn(ctx, left, now); err != nil {
			return ignoreEnd(ctx, err)
		}
	}
}

// goOn plays to a moment, and says so where the scripts end.
func (p *play) goOn(ctx context.Context, left []entry, now time.Time) ([]entry, error) {
	if left == nil || now.Before(p.script.end) {
		return p.until(ctx, left, now)
	}
	if _, err := p.until(ctx, left, p.script.end); err != nil {
		return nil, err
	}
	if _, err := fmt.Fprintln(p.cfg.Out, scriptsOver); err != nil {
		return nil, err
	}
	return p.until(ctx, nil, now)
}

// ignoreEnd takes no notice of what was cut short since the demo was stopped.
func ignoreEnd(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return err
}

const scriptsOver = "The scripts are over; the hub goes on until it is interrupted."

// visitors are whose eyes one may look through.
var visitors = []struct {
	role       events.Role
	sort, what string
}{
	{events.Dispatcher, roster.Page, "dispatcher's board"}, {events.Foreman, roster.Phone, "foreman's phone"},
	{events.Officer, roster.Page, "safety officer's pages"},
}

// links writes the ways in.
func (p *play) links(ctx context.Context, speed float64) error {
	site, wall, err := p.placing()
	if err != nil {
		return err
	}
	pace := "at the pace of the clock"
	if speed != 1 {
		pace = fmt.Sprintf("%g times as fast as the clock", speed)
	}
	_, err = fmt.Fprintf(p.cfg.Out, "\nLive from %s, %s: %s is being placed.\nThis is a demo: no passkey is needed, and each link is good as often as you like.\n",
		face.Past(p.clock.Now(), p.zone(site)), pace, place(site, wall))
	if err != nil {
		return err
	}
	for _, v := range visitors {
		q, ok := p.holder(v.role, site)
		if !ok {
			continue
		}
		at := q.site
		if v.sort == roster.Phone {
			at = site
		}
		var t api.Ticket
		if err := p.office.desk().Post(ctx, api.PathInvitations, api.NewInvitation{Person: q.id, Site: at, Sort: v.sort}, &t); err != nil {
			return fmt.Errorf("invite %s: %w", q.id, err)
		}
		if _, err := fmt.Fprintf(p.cfg.Out, "  %-32s %s\n", v.what+", as "+q.name, t.Link); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintln(p.cfg.Out, "It runs until it is interrupted (Ctrl-C).")
	return err
}

// placing finds the wall that is being placed.
func (p *play) placing() (site, wall string, err error) {
	walls, err := p.hub.Walls("")
	if err != nil {
		return "", "", err
	}
	for _, w := range walls.Walls {
		if w.State == "placing" {
			return w.Site, w.Wall, nil
		}
	}
	return "", "", errors.New("go live: no wall of the scripts is being placed then")
}

// holder finds a person with a role on a site: with one there before one with a
// role on every site.
func (p *play) holder(role events.Role, site string) (found personScript, ok bool) {
	for _, at := range []string{everySite, site} {
		for _, q := range p.script.people {
			if q.site == at && slices.Contains(q.roles, role) && (!ok || found.site != at) {
				found, ok = q, true
			}
		}
	}
	return found, ok
}
