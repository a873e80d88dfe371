package stream

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/events"
)

// ask takes the hub's receipt in. One that says less than what is known was
// overtaken by a newer one on its way, or the hub was put back to an older state:
// then it is asked again, and an answer to that which still says less is believed.
func (o *Outbox) ask(ctx context.Context, l link) error {
	for doubted := (*Receipt)(nil); ; {
		c, ok, err := o.askOnce(ctx, l)
		if err != nil || !ok {
			return err
		}
		// A crash here leaves nothing: the next Drain asks again.
		if err := o.step("asked"); err != nil {
			return err
		}
		err = o.locked(func() (err error) {
			doubted, err = o.settle(c, doubted)
			return err
		})
		if err != nil {
			return err
		}
		if doubted == nil {
			return o.step("settled")
		}
	}
}

// askOnce returns what the hub says, or false where it says nothing now and has
// spoken to this folder before.
func (o *Outbox) askOnce(ctx context.Context, l link) (c contact, ok bool, err error) {
	asked := o.cfg.Now()
	r, err := l.Ask(ctx)
	answered := o.cfg.Now()
	if errors.Is(err, ErrNoReceipt) {
		s, statusErr := o.Status()
		if statusErr != nil || s.Known {
			return c, false, statusErr
		}
	}
	if err != nil {
		return c, false, fmt.Errorf("drain outbox %s: %w", o.cfg.Dir, err)
	}
	c = contact{Receipt: r}
	// The hub gave its time somewhere between question and answer: half the round
	// trip after the question, give or take as much.
	if trip := answered.Sub(asked); !r.At.IsZero() && trip >= 0 && trip < longTrip {
		c.HasOffset = true
		c.OffsetMS = r.At.Sub(asked.Add(trip / 2)).Round(time.Millisecond).Milliseconds()
	}
	return c, true, nil
}

// longTrip is a round trip that says too little of the clock.
const longTrip = time.Minute

// Settle takes in a receipt that the hub published. Drain asks for one by itself.
//
// A receipt that says less than one before it changes nothing, and is no error: a
// newer one has overtaken it on its way. If it is the hub that knows less than it
// did, the next Drain finds that out, since it asks.
func (o *Outbox) Settle(r Receipt) error {
	if r.Source != o.cfg.Source.String() {
		return fmt.Errorf("settle outbox of %s: the receipt is for %q", o.cfg.Source, r.Source)
	}
	return o.locked(func() error {
		_, err := o.settle(contact{Receipt: r}, nil)
		return err
	})
}

// settle writes what a receipt changes. Called under the lock.
//
// One that says less than what is known is believed only if it was asked for when
// that was known already: doubted is then the receipt which an answer before it
// fell short of. Otherwise nothing changes, and what it falls short of is returned.
func (o *Outbox) settle(c contact, doubted *Receipt) (falls *Receipt, err error) {
	b, before := &o.book, o.book.contact
	fell := b.known && c.fell(before.Receipt)
	if fell && (doubted == nil || doubted.fell(before.Receipt)) {
		o.cfg.Log.Debug("receipt says less than one before it", "upto", c.UpTo, "through", c.Through, "before", before.UpTo, "before_through", before.Through)
		return &before.Receipt, nil
	}
	if !c.HasOffset {
		c.HasOffset, c.OffsetMS = before.HasOffset, before.OffsetMS
	}
	refused := c.Refused
	c.Refused = nil
	for _, r := range refused { // the others are said by UpTo
		if r.Number > c.UpTo {
			c.Refused = append(c.Refused, RefusedNumber{Number: r.Number})
		}
	}
	b.contact = c
	texts := o.changes(fell, refused)
	if len(texts) > 0 || !b.known || c.worthKeeping(before) {
		text, err := json.Marshal(c)
		if err != nil {
			return nil, fmt.Errorf("settle outbox: %w", err)
		}
		// The receipt stands last: a crash in the middle of the append leaves the
		// one before it, and the next one changes the same again.
		if err := o.write(append(texts, "receipt "+string(text))...); err != nil {
			b.contact = before
			return nil, err
		}
	}
	return nil, o.renumber()
}

// changes returns the lines about the events that a receipt concerns.
func (o *Outbox) changes(fell bool, refused []RefusedNumber) (texts []string) {
	b, now := &o.book, o.cfg.Now().UnixMilli()
	if list := b.overdue(now, fell); len(list) > 0 {
		texts = append(texts, "again "+formatRuns(list))
		o.cfg.Log.Warn("hub does not have what was sent, it is sent again", "numbers", formatRuns(list), "upto", b.contact.UpTo)
	}
	var held []uint64
	for _, e := range b.entries {
		if !e.done && b.settled(e) {
			held = append(held, e.number)
		}
	}
	if len(held) > 0 {
		texts = append(texts, fmt.Sprintf("held %s %d", formatRuns(held), now))
	}
	for _, r := range refused {
		if i, found := b.find(r.Number); found && b.entries[i].tried && b.entries[i].reason == "" {
			texts = append(texts, fmt.Sprintf("aside %d %s", r.Number, strconv.Quote(r.Reason)))
			o.cfg.Log.Warn("hub refused an event, it is set aside", "number", r.Number, "reason", r.Reason)
		}
	}
	return texts
}

// worthKeeping reports whether a contact says more than the one before it; an
// idle outbox then does not grow at every look.
func (c contact) worthKeeping(before contact) bool {
	step := c.OffsetMS - before.OffsetMS
	return c.HasOffset != before.HasOffset || step >= 1000 || step <= -1000 || c.fell(before.Receipt) ||
		c.UpTo != before.UpTo || c.High != before.High ||
		!slices.Equal(c.Missing, before.Missing) || !slices.Equal(c.Refused, before.Refused)
}

// renumber gives new numbers to events that never left this device when the hub
// holds their numbers from elsewhere: the folder was lost, or an old copy of it
// was put back, or a damaged tail was cut. The ids stay. Called under the lock.
//
// A crash in the middle leaves some with old and some with new numbers; the next
// receipt brings them here again.
func (o *Outbox) renumber() error {
	b := &o.book
	if !b.strangers() {
		return nil
	}
	number, walls := max(b.mark, b.contact.top()), b.sentWalls()
	var move []*entry
	for _, e := range b.entries {
		if e.tried {
			number = max(number, e.number)
		} else {
			move = append(move, e)
		}
	}
	texts, err := o.renumbered(move, number, walls)
	if err != nil || len(texts) == 0 {
		return err
	}
	o.cfg.Log.Warn("hub knows numbers of this device that its outbox does not, unsent events are numbered anew", "events", len(texts))
	return o.write(texts...)
}

// renumbered returns the lines of events with numbers after a number. walls holds
// the last number on each wall.
func (o *Outbox) renumbered(move []*entry, number uint64, walls map[string]uint64) (texts []string, err error) {
	for _, en := range move {
		if en.report { // it speaks of the old numbers; a new one is made
			texts = append(texts, fmt.Sprint("drop ", en.number))
			continue
		}
		p, ok := o.stored(en)
		if !ok {
			o.tear(en)
			continue
		}
		e, err := events.Decode(p.Subject, p.Body)
		if err != nil {
			return nil, fmt.Errorf("renumber outbox number %d: %w", en.number, err)
		}
		number++
		e.Sequence, e.WallSequence = number, 0
		if e.Wall != "" {
			e.WallSequence, walls[e.Wall] = walls[e.Wall], number
		}
		text, err := o.line(e, en.number)
		if err != nil {
			return nil, err
		}
		texts = append(texts, text)
	}
	return texts, nil
}
