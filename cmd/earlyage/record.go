package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
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

	machine
	NATS     string `name:"nats" env:"EARLYAGE_NATS" placeholder:"URL" help:"The hub's NATS server; default that of the hub which the device has joined, else nats://127.0.0.1:4222."`
	Device   string `env:"EARLYAGE_DEVICE" help:"Which of this machine's devices records; needed where several have joined the site."`
	Unsigned bool   `env:"EARLYAGE_UNSIGNED" help:"Keep the entry though this machine has not joined the site: only a hub that was made with --unsigned takes it."`

	Again []uint64 `placeholder:"NUMBER" help:"Send what was set aside because the roles of its person did not cover it, once they do: its number, or several with commas. Without a kind."`

	Wait time.Duration `default:"10s" help:"How long to wait for the hub. What is not sent then waits in the outbox."`
	JSON bool          `name:"json" help:"The events as recorded, as JSON, one to a line."`
}

// Run implements the command.
func (c recordCmd) Run(ctx context.Context, con console) error {
	if err := c.check(); err != nil {
		return err
	}
	ring, err := c.ring()
	if err != nil {
		return err
	}
	who, err := ring.ours(c.Site, c.Device)
	if err != nil {
		return err
	}
	if len(c.Again) > 0 {
		return c.again(ctx, con, ring, who)
	}
	list, err := c.events(con.In, who)
	if err != nil {
		return err
	}
	if err := who.may(ctx, con, list); err != nil {
		return err
	}
	// The hub is asked first: its answer says how far this device's clock is off,
	// and the entries say so.
	link := c.dial(who)
	defer link.close()
	cfg, err := c.outbox(ring, who, link)
	if err != nil {
		return err
	}
	return c.record(ctx, con, cfg, link, list)
}

// record keeps the events in the outbox, sends what waits there, and says how it
// went.
func (c recordCmd) record(ctx context.Context, con console, cfg stream.OutboxConfig, link *link, list []events.Event) error {
	box, err := cfg.Open()
	if err != nil {
		return err
	}
	defer box.Close()
	link.listen(cfg.Source)
	link.drain(ctx, box)
	stamped, err := box.AddAll(list)
	if err != nil {
		return err
	}
	if err := c.tell(con, stamped); err != nil {
		return err
	}
	link.drain(ctx, box)
	link.settle(ctx, box, cfg.Source, stamped)
	return c.left(con, link, box, cfg.Dir, stamped)
}

// again sends what was set aside because it was not allowed then.
func (c recordCmd) again(ctx context.Context, con console, ring ring, who *joined) error {
	link := c.dial(who)
	defer link.close()
	cfg, err := c.outbox(ring, who, link)
	if err != nil {
		return err
	}
	box, err := cfg.Open()
	if err != nil {
		return err
	}
	defer box.Close()
	for _, number := range c.Again {
		if err := box.Retry(number); err != nil {
			return fmt.Errorf("record: %w", err)
		}
	}
	link.drain(ctx, box)
	if link.err != nil {
		fmt.Fprintf(con.Err, "earlyage: not sent: %v\n", link.err)
	}
	left, err := box.SetAside()
	if err != nil {
		return err
	}
	for _, a := range left {
		if a.Denied && slices.Contains(c.Again, a.Event.Sequence) {
			fmt.Fprintf(con.Err, "earlyage: number %d, %s: %s\n", a.Event.Sequence, a.Event.Kind, a.Reason)
			err = errTold
		}
	}
	return err
}

func (c recordCmd) check() error {
	switch {
	case c.Site == "":
		return usagef("record: --site must be given")
	case c.Site != everySite && !events.IsToken(c.Site):
		return usagef("site: %q; allowed: a-z, 0-9 and -, 1 to 40 characters, or _", c.Site)
	case c.Device != "" && !events.IsToken(c.Device):
		return usagef("device: %q; allowed: a-z, 0-9 and -, 1 to 40 characters", c.Device)
	case len(c.Again) > 0 && (c.File != "" || c.Kind != ""):
		return usagef("record: --again stands without a kind and without --file")
	case len(c.Again) > 0:
		return nil
	case (c.File == "") == (c.Kind == ""):
		return usagef("record: give a kind and its values, or --file")
	case c.File != "" && (len(c.Values) > 0 || c.Wall != ""):
		return usagef("record: --file names walls and values by itself")
	}
	return nil
}

// events reads and checks all that is to be recorded: nothing is kept of a
// record that is not whole. A joined device speaks for its own person.
func (c recordCmd) events(in io.Reader, who *joined) ([]events.Event, error) {
	reader := entry.Reader{Wall: c.Wall, By: c.By}
	if who != nil {
		reader.Own, reader.By = true, who.Person
		if c.By != "" && c.By != who.Person {
			return nil, usagef("by: %q; allowed: %s, whose device %s is; leave --by out", c.By, orNobody(who.Person), who.Source.Device)
		}
	}
	if c.Zone != "" {
		zone, err := time.LoadLocation(c.Zone)
		if err != nil || c.Zone == "Local" {
			return nil, usagef("zone: %q; allowed: an IANA time zone, such as Europe/Oslo", c.Zone)
		}
		reader.Zone = zone
	}
	if c.File == "" {
		e, err := reader.Args(events.Kind(c.Kind), c.Values)
		return []events.Event{e}, err
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

func orNobody(person string) string {
	if person == "" {
		return "nobody"
	}
	return person
}

// outbox says where the device keeps its events and how it signs them. A machine
// that has not joined may record where the hub lets everybody in.
func (c recordCmd) outbox(ring ring, who *joined, l *link) (stream.OutboxConfig, error) {
	if who != nil {
		return stream.OutboxConfig{Dir: who.dir, Source: who.Source, Sign: who.Sign}, nil
	}
	name := c.Device
	if name == "" {
		var err error
		if name, err = entry.DeviceName(string(ring)); err != nil {
			return stream.OutboxConfig{}, err
		}
	}
	src := events.Source{Site: c.Site, Device: name}
	cfg := stream.OutboxConfig{Dir: ring.dir(src), Source: src}
	switch _, err := os.Stat(cfg.Dir); {
	case errors.Is(l.err, nats.ErrAuthorization):
		return cfg, fmt.Errorf("record: nothing is kept: the hub takes entries only from devices that have joined, and none of this machine has joined %s: %s", siteWord(c.Site), howToJoin(c.Site))
	case l.err != nil && err != nil && !c.Unsigned:
		return cfg, fmt.Errorf("record: nothing is kept: no device of this machine has joined %s, and the hub cannot be asked whether it takes entries of others (%w): %s. For a hub that was made with --unsigned say --unsigned here too", siteWord(c.Site), l.err, howToJoin(c.Site))
	}
	return cfg, nil
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
