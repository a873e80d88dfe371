package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	"github.com/nats-io/nats.go"

	"earlyage/events"
	"earlyage/events/stream"
)

// link is the way to the hub, as long as it is there.
type link struct {
	nc       *nats.Conn // nil: there is none
	receipts *nats.Subscription
	wait     time.Duration
	err      error // why there is none any more
}

const defaultNATS = "nats://127.0.0.1:4222"

// dial connects, as the device that records.
func (c recordCmd) dial(who *joined) *link {
	l := &link{wait: c.Wait}
	address := c.NATS
	if address == "" {
		address = who.natsURL()
	}
	if who == nil {
		l.nc, l.err = stream.Dial(address, "earlyage record", nil)
		return l
	}
	l.nc, l.err = stream.DialAs(address, "earlyage record", nil, who.Identity)
	if errors.Is(l.err, nats.ErrAuthorization) {
		l.err = fmt.Errorf("the hub does not let %s/%s in: it was shut out, or has another key now; earlyage whoami says more: %w", who.Source.Site, who.Source.Device, l.err)
	}
	return l
}

// natsURL is where a device publishes: where it was told to, or on the machine
// that it joined.
func (j *joined) natsURL() string {
	if j == nil || j.told.Hub == "" && j.told.NATS == "" {
		return defaultNATS
	}
	if j.told.NATS != "" {
		return j.told.NATS
	}
	u, err := url.Parse(j.told.Hub)
	if err != nil {
		return defaultNATS
	}
	scheme := "nats"
	if u.Scheme == "https" {
		scheme = "tls"
	}
	return scheme + "://" + net.JoinHostPort(u.Hostname(), "4222")
}

// listen waits for what the hub says of this device from now on.
func (l *link) listen(src events.Source) {
	if l.err == nil {
		l.receipts, l.err = l.nc.SubscribeSync(stream.ReceiptSubject(src))
	}
}

func (l *link) drain(ctx context.Context, box *stream.Outbox) {
	if l.err != nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, l.wait)
	defer cancel()
	l.err = box.Drain(ctx, l.nc)
}

// settle waits until the hub has folded what was recorded, so that what it set
// aside can be shown. Without a receipt in time nothing is lost: the next
// record, or the next drain, hears of it.
func (l *link) settle(ctx context.Context, box *stream.Outbox, src events.Source, list []events.Event) {
	if l.err != nil || len(list) == 0 {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, min(l.wait, settleMost))
	defer cancel()
	r, err := stream.AskReceipt(ctx, l.nc, src)
	for err == nil {
		if err = box.Settle(r); err != nil || r.Holds(list[len(list)-1].Sequence) {
			break
		}
		r, err = l.next(ctx, src, r.Through)
	}
	if err != nil && ctx.Err() == nil && !errors.Is(err, stream.ErrNoReceipt) {
		l.err = err
	}
}

// next waits for a receipt that says more than one through a sequence: those that
// were published before it come after it, and would look as if the hub had lost
// something.
func (l *link) next(ctx context.Context, src events.Source, through uint64) (stream.Receipt, error) {
	for {
		m, err := l.receipts.NextMsgWithContext(ctx)
		if err != nil {
			return stream.Receipt{}, err
		}
		if r, err := stream.ParseReceipt(src, m.Data); err != nil || r.Through > through {
			return r, err
		}
	}
}

// settleMost is how long the hub's word on what was just recorded is waited for.
const settleMost = 5 * time.Second

func (l *link) close() {
	if l.nc != nil {
		l.nc.Close()
	}
}

// left says what could not be sent now, and what the hub has set aside. What
// waits is no failure: it is on the disk and goes with the next record. That
// something of this very record was set aside is one.
func (c recordCmd) left(con console, l *link, box *stream.Outbox, dir string, list []events.Event) error {
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
	now, denied := false, false
	for _, a := range aside {
		fmt.Fprintf(con.Err, "earlyage: the hub set aside number %d, %s: %s\n", a.Event.Sequence, a.Event.Kind, a.Reason)
		if a.Event.Sequence >= list[0].Sequence {
			now, denied = true, denied || a.Denied
		}
	}
	if err == nil && denied {
		fmt.Fprintln(con.Err, "earlyage: the person's roles do not cover it now (earlyage whoami): its number is missing at the hub, and windows stay shut until it comes; with the role given, earlyage record --again NUMBER")
		return errTold
	}
	if err == nil && now {
		fmt.Fprintln(con.Err, "earlyage: it does not count, and shuts the wall that it names until it is settled; record what is right, or let somebody who may")
		return errTold
	}
	return err
}
