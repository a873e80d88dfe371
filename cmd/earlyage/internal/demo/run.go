package demo

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/scheduler"
)

// Config says how a demo is played.
type Config struct {
	Scripts fs.FS
	Dir     string  // folder of the hub and of the devices
	Speed   float64 // demo seconds to a second; 0: as fast as it goes
	Live    bool    // go on from the scripts' live moment, at Speed, until ctx ends; up to there as fast as it goes
	HTTP    string  // where the hub answers; default any port of this machine alone
	Units   string  // si, us, or empty for what each site has set
	All     bool    // statements that only move an expected time too
	Out     io.Writer
	Log     *slog.Logger // of the hub; default: none

	mailed func(letter) // sees every letter that was taken; nil: nobody
}

// play is one run.
type play struct {
	cfg     Config
	script  *script
	maker   *maker
	clock   *scheduler.Stepped
	hub     *hub.Hub
	office  *office
	devices map[deviceKey]device // that have joined
	ear     *ear
	page    face.Page
	told    map[string]told // by wall
	tells   tells
	mail    *postOffice
	held    int       // statements that were not shown
	began   time.Time // by the machine's clock
	from    time.Time // by the demo's
}

const (
	anyPort    = "127.0.0.1:0"
	before     = time.Minute     // of the first entry: when the demo's clock begins
	settleWait = 2 * time.Minute // for the hub to take in what was sent
)

// Run plays the scripts to their end and writes what is said, and the walls as
// they stand then. The folder is left marked as a demo's.
func Run(ctx context.Context, cfg Config) (err error) {
	s, err := load(cfg.Scripts)
	if err != nil {
		return err
	}
	air, err := newClimate(s)
	if err != nil {
		return err
	}
	entries := inOrder(s.entries)
	if len(entries) == 0 {
		return errors.New("play demo: the scripts hold no entry")
	}
	p := &play{
		cfg: cfg, script: s, maker: newMaker(s, air), devices: map[deviceKey]device{}, ear: newEar(), told: map[string]told{}, tells: newTells(),
		page: face.Page{Sites: map[string]face.Site{}, Units: cfg.Units}, began: time.Now(), from: entries[0].at.Add(-before),
	}
	if cfg.Live {
		p.cfg.Speed = 0
	}
	p.clock = scheduler.NewStepped(p.from)
	for name, site := range s.sites {
		p.page.Sites[name] = face.Site{Site: name, Zone: site.zone.String()}
	}
	if err := p.start(ctx); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, p.stop()) }()
	left, err := p.until(ctx, entries, s.live)
	if err != nil {
		return err
	}
	if err := p.end(); err != nil || !cfg.Live {
		return err
	}
	return p.live(ctx, left, cfg.Speed)
}

func (p *play) start(ctx context.Context) (err error) {
	// The mark comes first: a demo that is cut short leaves a folder that says
	// what it is.
	if p.mail, err = openPostOffice(p.cfg.mailed); err != nil {
		return err
	}
	routes, err := p.mail.writeRoutes(p.cfg.Dir)
	if err != nil {
		return errors.Join(err, p.mail.close())
	}
	p.hub, err = hub.Start(ctx, hub.Config{
		Dir: p.cfg.Dir, Client: anyPort, Websocket: anyPort, MQTT: anyPort, HTTP: cmp.Or(p.cfg.HTTP, anyPort), Address: address(p.cfg.HTTP),
		Clock: p.clock, Demo: true, Synchronised: func() bool { return true }, Log: p.cfg.Log, Tap: p.ear.hear,
		Routes: routes, Roots: p.mail.roots,
	})
	if err != nil {
		return errors.Join(err, p.mail.close())
	}
	if err := p.mark(p.from); err != nil {
		return errors.Join(err, p.hub.Stop(), p.mail.close())
	}
	if p.office, err = newOffice(p.hub.HTTPURL(), p.hub.Socket()); err != nil {
		return errors.Join(err, p.hub.Stop(), p.mail.close())
	}
	return nil
}

func (p *play) mark(at time.Time) error {
	return hub.WriteMark(p.cfg.Dir, hub.Mark{At: at, Signed: true})
}

// stop closes the devices, then the hub, and marks the folder with the moment
// that the demo has come to.
func (p *play) stop() error {
	var failed []error
	for _, d := range p.devices {
		failed = append(failed, d.close())
	}
	p.office.close()
	return errors.Join(append(failed, p.hub.Stop(), p.mail.close(), p.mark(p.clock.Now()))...)
}

// until plays the entries up to a moment, one moment after the other, and returns
// those that are left.
func (p *play) until(ctx context.Context, entries []entry, end time.Time) ([]entry, error) {
	for len(entries) > 0 && !entries[0].at.After(end) {
		n := 1
		for n < len(entries) && entries[n].at.Equal(entries[0].at) {
			n++
		}
		if err := p.walk(ctx, entries[0].at); err != nil {
			return nil, err
		}
		if err := p.send(ctx, entries[:n]); err != nil {
			return nil, err
		}
		entries = entries[n:]
	}
	return entries, p.walk(ctx, end)
}

// walk lets the demo's time pass until a moment. The clock stops wherever
// something is due, so that all is said at its own time.
func (p *play) walk(ctx context.Context, until time.Time) error {
	for {
		next := until
		if due := p.hub.NextDue(); !due.IsZero() && due.Before(next) {
			next = due
		}
		if answer := p.tells.next(); !answer.IsZero() && answer.Before(next) {
			next = answer
		}
		for _, d := range p.devices {
			for _, turn := range []time.Time{d.script().offline, d.script().back} {
				if turn.After(p.clock.Now()) && turn.Before(next) {
					next = turn
				}
			}
		}
		if err := p.pace(ctx, next); err != nil {
			return err
		}
		p.clock.StepTo(next)
		if err := p.turns(); err != nil {
			return err
		}
		if err := p.answer(); err != nil {
			return err
		}
		if err := p.drain(ctx); err != nil {
			return err
		}
		if err := p.settle(ctx); err != nil {
			return err
		}
		if !next.Before(until) {
			return nil
		}
	}
}

// turns writes which devices lose their signal now, and which have it again.
func (p *play) turns() error {
	for _, d := range inOrderOfName(p.devices) {
		var err error
		switch s := d.script(); {
		case p.clock.Now().Equal(s.offline):
			err = p.signal(s, "has no signal; what is entered waits in its outbox")
		case p.clock.Now().Equal(s.back) && s.twice:
			err = p.signal(s, "has a signal again and sends what it kept, all of it twice")
		case p.clock.Now().Equal(s.back):
			err = p.signal(s, "has a signal again and sends what it kept")
		}
		if err != nil {
			return fmt.Errorf("play demo: %w", err)
		}
	}
	return nil
}

// pace waits until the machine's clock has come as far as the speed says.
func (p *play) pace(ctx context.Context, next time.Time) error {
	if p.cfg.Speed <= 0 {
		return ctx.Err()
	}
	wait := time.Duration(float64(next.Sub(p.from))/p.cfg.Speed) - time.Since(p.began)
	if wait <= 0 {
		return ctx.Err()
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// send hands the entries of one moment to their devices and lets those with a
// signal send them.
func (p *play) send(ctx context.Context, entries []entry) error {
	for _, e := range entries {
		if err := p.do(ctx, e); err != nil {
			return fmt.Errorf("demo entry %s %s %s: %w", e.at.Format("2006-01-02 15:04"), e.device, e.kind, err)
		}
	}
	if err := p.drain(ctx); err != nil {
		return err
	}
	return p.settle(ctx)
}

// do does one entry. What is no event sees all that was sent before it.
func (p *play) do(ctx context.Context, e entry) error {
	if e.isEvent() {
		return p.enter(e)
	}
	if err := p.drain(ctx); err != nil {
		return err
	}
	if err := p.settle(ctx); err != nil {
		return err
	}
	switch e.kind {
	case appoints:
		return p.appoint(ctx, e)
	case joins:
		return p.join(ctx, p.script.devices[e.device])
	case lost:
		return p.lose(ctx, e)
	case tries:
		return p.try(ctx, e)
	default:
		return p.look(e)
	}
}

// enter hands an event to its device.
func (p *play) enter(e entry) error {
	d := p.devices[e.device]
	if d == nil {
		return errors.New("the device has not joined")
	}
	ev, err := p.maker.event(e)
	if err != nil {
		return err
	}
	if ev, err = d.add(ev); err != nil {
		return err
	}
	p.maker.sent(e, ev)
	if e.say == "" {
		return nil
	}
	return p.tell(e, d.script().device+" of "+e.by+": "+e.say)
}

func (p *play) drain(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, settleWait)
	defer cancel()
	for _, d := range inOrderOfName(p.devices) {
		if s := d.script(); p.clock.Now().Before(s.back) && !p.clock.Now().Before(s.offline) {
			continue
		}
		if err := d.drain(ctx); err != nil {
			return fmt.Errorf("demo device %s: %w", d.script(), err)
		}
	}
	return nil
}

// settle waits until the hub has taken all in and told everybody, lets the phones
// show what has come to them, and writes what was said.
func (p *play) settle(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, settleWait)
	defer cancel()
	for {
		if err := p.hub.Settle(ctx); err != nil {
			return fmt.Errorf("play demo: %w", err)
		}
		words := p.ear.take()
		if err := p.write(words); err != nil {
			return err
		}
		shown, err := p.show(ctx, words)
		if err != nil {
			return fmt.Errorf("play demo: %w", err)
		}
		if !shown {
			return nil
		}
		if err := p.drain(ctx); err != nil {
			return err
		}
	}
}

func (p *play) write(words []word) error {
	lines := []string{}
	for _, w := range words {
		if line := p.line(w); line != "" {
			lines = append(lines, line)
		}
	}
	for _, line := range append(lines, p.tells.take(p, words)...) {
		if _, err := fmt.Fprintln(p.cfg.Out, line); err != nil {
			return fmt.Errorf("play demo: %w", err)
		}
	}
	return nil
}

// end writes how all stands: the alerts, what the cold holds, the walls.
func (p *play) end() error {
	walls, err := p.hub.Walls("")
	if err != nil {
		return err
	}
	alerts, err := p.hub.Alerts("", false)
	if err != nil {
		return err
	}
	page := walls.Page(p.cfg.Units)
	page.Names = p.script.names()
	out := bufio.NewWriter(p.cfg.Out)
	if p.held > 0 {
		fmt.Fprintf(out, "\n%d more statements only moved an expected time by less than %.0f hours (--all shows them).\n", p.held, movedMuch.Hours())
	}
	fmt.Fprintln(out)
	if err := page.Alarms(out, alerts.Alerts, alerts.Refused); err != nil {
		return err
	}
	fmt.Fprintln(out)
	for _, w := range walls.Walls {
		if line := page.HeldByCold(walls.At.Time, w); line != "" {
			fmt.Fprintln(out, line)
		}
	}
	fmt.Fprintln(out)
	if err := p.tells.end(out, p); err != nil {
		return err
	}
	fmt.Fprintln(out)
	if err := page.Walls(out, walls.At.Time, walls.Walls); err != nil {
		return err
	}
	return out.Flush()
}
