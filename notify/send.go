package notify

import (
	"context"
	"errors"
	"fmt"
	"time"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// lane is one channel with what waits for it.
type lane struct {
	channel notice.Channel
	queue   []string        // letters, in the order in which they are sent
	waiting map[string]bool // the same, and those that are being sent
	active  int             // being sent
	busy    map[string]bool // persons to whom something is being sent
}

// free ends the sending of a letter.
func (l *lane) free(letter desk.Letter) {
	l.active--
	delete(l.busy, letter.Person)
	delete(l.waiting, letter.ID)
}

// put has a letter wait for its turn, once.
func (l *lane) put(letter string) {
	if !l.waiting[letter] {
		l.waiting[letter] = true
		l.queue = append(l.queue, letter)
	}
}

// start is a message that is noted as being sent and not yet handed over.
type start struct {
	lane    *lane
	letter  desk.Letter
	message notice.Message
}

// queue puts what is due into the lanes of its channels.
func (e *Engine) queue(now time.Time) {
	for _, l := range e.desk.DueOf(now, e.maySend) {
		lane := e.lanes[l.Channel]
		if lane == nil {
			e.refuse(l, "there is no channel "+l.Channel, now)
			continue
		}
		lane.put(l.ID)
	}
}

// refuse gives a letter up without a try.
func (e *Engine) refuse(l desk.Letter, why string, now time.Time) {
	e.answerTo(l.ID, l.Channel, desk.Result{Outcome: desk.Refused, Error: why, Text: l.Text}, now)
}

func (e *Engine) queued() (n int) {
	for _, l := range e.lanes {
		n += len(l.waiting)
	}
	return n
}

// pick takes what can be sent now off the lanes: so many at once on each channel,
// one at a time to each person.
func (e *Engine) pick(now time.Time) {
	for _, lane := range e.lanes {
		rest := lane.queue[:0]
		for _, id := range lane.queue {
			l, ok := e.desk.Letter(id)
			switch {
			case !ok || l.State != desk.Sending: // nothing to be sent any more
				delete(lane.waiting, id)
			case lane.active >= e.cfg.Workers || lane.busy[l.Person] || e.unwritten() && l.Priority != desk.Urgent:
				rest = append(rest, id)
			default:
				e.prepare(lane, l, now)
			}
		}
		clear(lane.queue[len(rest):])
		lane.queue = rest
	}
}

// prepare puts a letter into words and notes it as being sent.
func (e *Engine) prepare(lane *lane, l desk.Letter, now time.Time) {
	reader, ok := e.cfg.Directory.Reader(l.Person, l.Site)
	if !ok || !lane.channel.Reaches(reader) {
		delete(lane.waiting, l.ID)
		e.refuse(l, "the channel has no address of "+l.Person, now)
		return
	}
	m, ok := e.composed(l, reader, now)
	if !ok {
		delete(lane.waiting, l.ID)
		e.refuse(l, "what it tells of is not known any more", now)
		return
	}
	lane.active++
	lane.busy[l.Person] = true
	e.starting = append(e.starting, start{lane, l, m})
	row := e.letters[l.ID]
	row.Letter = l
	e.owed.letters[l.ID] = row
	e.setLetter(row)
}

// launch hands over what is noted as being sent, and what is urgent also where it
// could not be noted for a while. A crash from here on has it sent again, under the
// same id.
func (e *Engine) launch(ctx context.Context, noted bool) {
	var rest []start
	for _, s := range e.starting {
		switch {
		case noted || s.message.Urgent && e.unwritten():
		case e.unwritten(): // nobody waits behind it
			s.lane.free(s.letter)
			s.lane.put(s.letter.ID)
			continue
		default:
			rest = append(rest, s)
			continue
		}
		if l, ok := e.desk.Letter(s.letter.ID); !ok || l.State != desk.Sending { // while the ledger could not be written
			s.lane.free(s.letter)
			continue
		}
		e.sending.Go(func() {
			try, cancel := context.WithTimeout(ctx, e.cfg.Within)
			defer cancel()
			err := send(try, s.lane.channel, s.message)
			e.in.put(result{s.letter, resultOf(err, s.message.Short), err != nil && ctx.Err() != nil})
		})
	}
	e.starting = rest
}

// send hands a message to a channel. A channel that panics is a defect, but must
// not end all others.
func send(ctx context.Context, ch notice.Channel, m notice.Message) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("channel %s: %v", ch.Name(), p)
		}
	}()
	return ch.Send(ctx, m)
}

func resultOf(err error, short string) desk.Result {
	switch {
	case err == nil:
		return desk.Result{Outcome: desk.Done, Text: short}
	case errors.Is(err, notice.ErrRefused):
		return desk.Result{Outcome: desk.Refused, Error: err.Error(), Text: short}
	}
	return desk.Result{Outcome: desk.Again, Error: err.Error(), Text: short}
}

// came takes what came of a try. What was cut off by the end of the engine is not
// known: it is sent again at the next start.
func (e *Engine) came(r result, now time.Time) {
	e.lanes[r.letter.Channel].free(r.letter)
	if !r.stopped {
		e.answerTo(r.letter.ID, r.letter.Channel, r.result, now)
	}
}

func (e *Engine) answerTo(letter, channel string, r desk.Result, now time.Time) {
	e.measure.sent(channel, r)
	if r.Outcome != desk.Done {
		e.cfg.Log.Warn("a message did not get through", "message", letter, "channel", channel, "outcome", r.Outcome, "err", r.Error)
	}
	e.keep(e.desk.Came(letter, r, now), now)
}
