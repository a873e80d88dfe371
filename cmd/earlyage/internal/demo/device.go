package demo

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/uuid"
	"github.com/nats-io/nats.go"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/scheduler"
)

// device takes part in the demo as one would on a site: with a connection of
// its own.
type device interface {
	script() *deviceScript
	add(events.Event) (events.Event, error) // stamps an event and keeps it
	drain(context.Context) error            // sends what it keeps
	close() error
}

func inOrderOfName(devices map[deviceKey]device) []device {
	var list []device
	for _, d := range devices {
		list = append(list, d)
	}
	slices.SortFunc(list, func(a, b device) int { return cmp.Compare(a.script().String(), b.script().String()) })
	return list
}

// phone is a device with an outbox and a key of its own: a person's, or a
// station.
type phone struct {
	*deviceScript
	identity stream.Identity
	box      *stream.Outbox
	nc       *nats.Conn
	fresh    bool // something was added since it last sent
	late     []events.Event
	clock    scheduler.Clock
	told     *nats.Subscription // what the hub tells its person; nil: it has none
}

func newPhone(d *deviceScript, id stream.Identity, url, dir string, clock scheduler.Clock) (*phone, error) {
	box, err := stream.OutboxConfig{Dir: dir, Source: id.Source, Now: clock.Now, Sign: id.Sign, Demo: true}.Open()
	if err != nil {
		return nil, err
	}
	nc, err := stream.DialAs(url, d.String(), nil, id)
	if err != nil {
		return nil, errors.Join(err, box.Close())
	}
	p := &phone{deviceScript: d, identity: id, box: box, nc: nc, clock: clock}
	if d.person != "" {
		if p.told, err = nc.SubscribeSync(stream.ToldSubject(id.Source)); err != nil {
			return nil, errors.Join(err, p.close())
		}
	}
	return p, nil
}

func (p *phone) script() *deviceScript { return p.deviceScript }

func (p *phone) add(e events.Event) (events.Event, error) {
	e, err := p.box.Add(e)
	p.fresh = true
	if now := p.clock.Now(); p.twice && !now.Before(p.offline) && now.Before(p.back) {
		p.late = append(p.late, e)
	}
	return e, err
}

func (p *phone) drain(ctx context.Context) error {
	if !p.fresh {
		return nil
	}
	p.fresh = false
	if err := p.box.Drain(ctx, p.nc); err != nil {
		return err
	}
	again := p.late
	p.late = nil
	return p.repeat(ctx, again)
}

// repeat sends events that have been sent once more, as a phone does that was
// set back to an older state of itself: same keys, other message ids.
func (p *phone) repeat(ctx context.Context, list []events.Event) error {
	for _, e := range list {
		body, err := e.Encode()
		if err != nil {
			return err
		}
		post := stream.Post{Subject: e.Subject(), Body: body, Signature: p.identity.Sign(body), MsgID: stream.NewMsgID(), DemoRecorded: p.clock.Now().Format(time.RFC3339Nano)}
		if _, _, err := stream.Publish(ctx, p.nc, post); err != nil {
			return fmt.Errorf("send again: %w", err)
		}
	}
	return nil
}

func (p *phone) close() error {
	p.nc.Close()
	return p.box.Close()
}

// probe is a sensor that knows nothing but MQTT and its password. It does not
// number its events and keeps none.
type probe struct {
	*deviceScript
	client mqtt.Client
	ear    *ear
	kept   []events.Event
}

const mqttWait = 10 * time.Second

func newProbe(d *deviceScript, secret api.ProbeSecret, addr string, ear *ear) (*probe, error) {
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + addr).SetClientID(d.String()).
		SetUsername(secret.User).SetPassword(secret.Password).SetConnectTimeout(mqttWait))
	if err := done(c.Connect()); err != nil {
		return nil, fmt.Errorf("connect %s over mqtt: %w", d, err)
	}
	return &probe{deviceScript: d, client: c, ear: ear}, nil
}

func done(t mqtt.Token) error {
	if !t.WaitTimeout(mqttWait) {
		return errors.New("no answer in time")
	}
	return t.Error()
}

func (p *probe) script() *deviceScript { return p.deviceScript }

func (p *probe) add(e events.Event) (events.Event, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return e, err
	}
	e.ID = id.String()
	p.kept = append(p.kept, e)
	return e, e.Check()
}

// drain sends what there is and waits until the hub reads it from the stream: an
// MQTT acknowledgement says nothing of that.
func (p *probe) drain(ctx context.Context) error {
	for _, e := range p.kept {
		body, err := e.Encode()
		if err != nil {
			return err
		}
		if err := done(p.client.Publish(strings.ReplaceAll(events.ProbeSubject(e), ".", "/"), 1, false, body)); err != nil {
			return fmt.Errorf("publish over mqtt: %w", err)
		}
		if err := p.ear.heard(ctx, e.ID); err != nil {
			return fmt.Errorf("wait for the reading to arrive: %w", err)
		}
	}
	p.kept = nil
	return nil
}

func (p *probe) close() error {
	p.client.Disconnect(250)
	return nil
}
