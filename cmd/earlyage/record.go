package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/nats-io/nats.go"

	"earlyage/cmd/earlyage/internal/entry"
	"earlyage/events"
	"earlyage/events/stream"
)

type recordCmd struct {
	Kind   string   `arg:"" optional:"" help:"Kind of event, thing.what, such as lift.placed; earlyage schema --list shows all."`
	Values []string `arg:"" optional:"" placeholder:"KEY=VALUE" help:"Its data: top_m=0.6, or with a unit: top_m=2ft. earlyage schema KIND --members shows all keys."`

	File string `placeholder:"FILE" help:"Record a file: JSON, one event to a line, with type, subject, by, time and data; - reads from the standard input."`
	Site string `help:"The site; _ is the whole company."`
	Wall string `help:"The wall; without it the whole site."`
	By   string `help:"Random id of the person who answers for it." env:"EARLYAGE_BY"`
	Zone string `placeholder:"ZONE" help:"Time zone of times without an offset, such as Europe/Oslo; without it every time needs its offset."`

	NATS   string        `name:"nats" default:"nats://127.0.0.1:4222" env:"EARLYAGE_NATS" placeholder:"URL" help:"The hub's NATS server."`
	Outbox string        `env:"EARLYAGE_OUTBOX" type:"path" placeholder:"DIR" help:"Folder of the outboxes; default ~/.local/state/earlyage/outbox."`
	Device string        `env:"EARLYAGE_DEVICE" help:"Name of this device; default a random one that the folder keeps. No two devices of a site may have one name."`
	Wait   time.Duration `default:"10s" help:"How long to wait for the hub. What is not sent then waits in the outbox."`
	JSON   bool          `name:"json" help:"The events as recorded, as JSON, one to a line."`
}

// Run implements the command.
func (c recordCmd) Run(ctx context.Context, con console) error {
	list, err := c.events(con.In)
	if err != nil {
		return err
	}
	src, dir, err := c.device()
	if err != nil {
		return err
	}
	box, err := stream.OpenOutbox(dir, src)
	if err != nil {
		return err
	}
	defer box.Close()
	// The hub is asked first: its answer says how far this device's clock is off,
	// and the entries say so.
	link := c.dial(ctx, box)
	defer link.close()
	stamped, err := box.AddAll(list)
	if err != nil {
		return err
	}
	if err := c.tell(con, stamped); err != nil {
		return err
	}
	link.drain(ctx, box)
	return c.left(con, link, box, dir)
}

// events reads and checks all that is to be recorded: nothing is kept of a
// record that is not whole.
func (c recordCmd) events(in io.Reader) ([]events.Event, error) {
	reader := entry.Reader{Wall: c.Wall, By: c.By}
	if c.Zone != "" {
		zone, err := time.LoadLocation(c.Zone)
		if err != nil || c.Zone == "Local" {
			return nil, usagef("zone: %q; allowed: an IANA time zone, such as Europe/Oslo", c.Zone)
		}
		reader.Zone = zone
	}
	switch {
	case c.Site == "":
		return nil, usagef("record: --site must be given")
	case c.Site != "_" && !events.IsToken(c.Site):
		return nil, usagef("site: %q; allowed: a-z, 0-9 and -, 1 to 40 characters, or _", c.Site)
	case (c.File == "") == (c.Kind == ""):
		return nil, usagef("record: give a kind and its values, or --file")
	case c.File == "":
		e, err := reader.Args(events.Kind(c.Kind), c.Values)
		return []events.Event{e}, err
	case len(c.Values) > 0 || c.Wall != "":
		return nil, usagef("record: --file names walls and values by itself")
	}
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return nil, usageError{fmt.Errorf("record: %w", err)}
		}
		defer f.Close()
		in = f
	}
	return reader.Lines(in)
}

// device gives this device's name on the site, and the folder of its outbox.
func (c recordCmd) device() (events.Source, string, error) {
	root := c.Outbox
	if root == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return events.Source{}, "", fmt.Errorf("record: no --outbox and no home folder: %w", err)
		}
		root = filepath.Join(home, ".local", "state", "earlyage", "outbox")
	}
	name := c.Device
	if name == "" {
		var err error
		if name, err = entry.DeviceName(root); err != nil {
			return events.Source{}, "", err
		}
	}
	if !events.IsToken(name) {
		return events.Source{}, "", usagef("device: %q; allowed: a-z, 0-9 and -, 1 to 40 characters", name)
	}
	return events.Source{Site: c.Site, Device: name}, filepath.Join(root, c.Site, name), nil
}

func (c recordCmd) tell(con console, list []events.Event) error {
	for _, e := range list {
		if c.JSON {
			body, err := e.Encode()
			if err != nil {
				return err
			}
			if err := line(con.Out, body); err != nil {
				return err
			}
			continue
		}
		place := e.Source.Site
		if e.Wall != "" {
			place += "/" + e.Wall
		}
		if _, err := fmt.Fprintf(con.Out, "recorded %s on %s as number %d of %s, id %s\n", e.Kind, place, e.Sequence, e.Source.Device, e.ID); err != nil {
			return fmt.Errorf("record: %w", err)
		}
	}
	return nil
}

// link is the way to the hub, as long as it is there.
type link struct {
	nc   *nats.Conn // nil: there is none
	wait time.Duration
	err  error // why there is none any more
}

// dial connects and sends what still waits in the outbox.
func (c recordCmd) dial(ctx context.Context, box *stream.Outbox) *link {
	l := &link{wait: c.Wait}
	l.nc, l.err = stream.Dial(c.NATS, "earlyage record", nil)
	l.drain(ctx, box)
	return l
}

func (l *link) drain(ctx context.Context, box *stream.Outbox) {
	if l.err != nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, l.wait)
	defer cancel()
	l.err = box.Drain(ctx, l.nc)
}

func (l *link) close() {
	if l.nc != nil {
		l.nc.Close()
	}
}

// left says what could not be sent now, and what the hub has refused. Neither is
// a failure: what waits is on the disk and goes with the next record.
func (c recordCmd) left(con console, l *link, box *stream.Outbox, dir string) error {
	if l.err != nil {
		fmt.Fprintf(con.Err, "earlyage: not sent: %v\n", l.err)
	}
	status, err := box.Status()
	if err != nil {
		return err
	}
	if status.Waiting > 0 {
		fmt.Fprintf(con.Err, "earlyage: %d events wait in %s and go with the next record\n", status.Waiting, dir)
	}
	aside, err := box.SetAside()
	for _, a := range aside {
		fmt.Fprintf(con.Err, "earlyage: the hub refused number %d, %s: %s\n", a.Event.Sequence, a.Event.Kind, a.Reason)
	}
	return err
}
