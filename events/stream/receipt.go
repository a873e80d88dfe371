package stream

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats.go"

	"earlyage/events"
)

// ErrNoReceipt is wrapped by AskReceipt, and by Drain on a first contact, when
// no hub answers or the hub can give none now.
var ErrNoReceipt = errors.New("no receipt from the hub")

// Span is a run of numbers, both ends included.
type Span struct {
	From uint64 `json:"from"`
	To   uint64 `json:"to"`
}

// RefusedNumber is a number whose event was refused. It counts as held.
type RefusedNumber struct {
	Number uint64 `json:"number"`
	Reason string `json:"reason,omitzero"`
}

// Receipt is the hub's word that a device may forget events: they are folded
// and on the hub's disk. Nothing else is such a promise.
type Receipt struct {
	Source  string          `json:"source"`           // the device, /site/<site>/device/<device>
	UpTo    uint64          `json:"upto"`             // every number up to it is folded, refused or written off
	Refused []RefusedNumber `json:"refused,omitzero"` // the newest, in order of number
	Through uint64          `json:"through"`          // stream sequence that the hub has folded through
	At      time.Time       `json:"at"`               // the hub's clock when it gave the receipt

	// High is the greatest number that the hub holds or has been told of, and
	// Missing are the numbers up to it that never came, written off or not. A hub
	// that gives no High lets a device forget by UpTo alone; then a number over a
	// gap is sent again now and then, and one that was written off while it lay
	// half sent is forgotten.
	High    uint64 `json:"high,omitzero"`
	Missing []Span `json:"missing,omitzero"`
}

// Holds reports whether the hub has the event with this number, folded or refused.
func (r Receipt) Holds(number uint64) bool {
	if slices.ContainsFunc(r.Missing, func(s Span) bool { return s.From <= number && number <= s.To }) {
		return false
	}
	return number <= max(r.UpTo, r.High) ||
		slices.ContainsFunc(r.Refused, func(n RefusedNumber) bool { return n.Number == number })
}

// top is the greatest number that the hub knows of.
func (r Receipt) top() uint64 {
	top := max(r.UpTo, r.High)
	for _, n := range r.Refused {
		top = max(top, n.Number)
	}
	return top
}

// ReceiptSubject is where the hub publishes a device's receipts.
func ReceiptSubject(src events.Source) string { return "receipt." + src.Site + "." + src.Device }

// AskSubject is where a device asks for its receipt.
func AskSubject(src events.Source) string { return "ask.receipt." + src.Site + "." + src.Device }

// PublishReceipts publishes receipts on core NATS: who does not listen misses
// them, and asks. It returns when the server has taken them.
func PublishReceipts(ctx context.Context, nc *nats.Conn, list []Receipt) error {
	for _, r := range list {
		src, err := events.ParseSource(r.Source)
		if err != nil {
			return fmt.Errorf("publish receipt: %w", err)
		}
		body, err := r.encode(nc.MaxPayload())
		if err != nil {
			return err
		}
		if err := nc.Publish(ReceiptSubject(src), body); err != nil {
			return fmt.Errorf("publish receipt of %s: %w", r.Source, err)
		}
	}
	if err := flush(ctx, nc); err != nil {
		return fmt.Errorf("publish %d receipts: %w", len(list), err)
	}
	return nil
}

// flush waits until the server has taken what was published.
func flush(ctx context.Context, nc *nats.Conn) error {
	ctx, cancel := context.WithTimeout(ctx, publishTry)
	defer cancel()
	return nc.FlushWithContext(ctx)
}

// encode drops the oldest refused numbers until the receipt fits a message.
func (r Receipt) encode(most int64) ([]byte, error) {
	for {
		body, err := json.Marshal(answer{Receipt: r})
		if err != nil {
			return nil, fmt.Errorf("encode receipt of %s: %w", r.Source, err)
		}
		if int64(len(body)) <= most || len(r.Refused) == 0 {
			return body, nil
		}
		r.Refused = r.Refused[(len(r.Refused)+1)/2:]
	}
}

// answer is a receipt or the reason why there is none.
type answer struct {
	Receipt
	Error string `json:"error,omitzero"`
}

// ParseReceipt reads what was published to a device's receipt subject or
// answered to its question.
func ParseReceipt(src events.Source, body []byte) (Receipt, error) {
	var a answer
	if err := json.Unmarshal(body, &a); err != nil {
		return Receipt{}, fmt.Errorf("receipt of %s: %w", src, err)
	}
	if a.Error != "" {
		return Receipt{}, fmt.Errorf("receipt of %s: %w: %s", src, ErrNoReceipt, a.Error)
	}
	if a.Source != src.String() {
		return Receipt{}, fmt.Errorf("receipt of %s: it is for %q", src, a.Source)
	}
	return a.Receipt, nil
}

// AnswerReceipts answers every device that asks for its receipt. give returns
// the receipt, false for a device that the hub has nothing from (the answer is
// then a receipt up to 0), and false with a zero At when no receipt can be given
// now. At is the hub's time when it answers; devices set their clock offset by
// it. give is called from one goroutine. stop ends the answering and returns
// when give has returned.
func AnswerReceipts(nc *nats.Conn, give func(events.Source) (Receipt, bool, error)) (stop func(), err error) {
	ended := make(chan struct{})
	sub, err := nc.Subscribe("ask.receipt.*.*", func(m *nats.Msg) {
		part := strings.Split(m.Subject, ".")
		src, err := events.ParseSource(events.Source{Site: part[2], Device: part[3]}.String())
		if err != nil || m.Reply == "" {
			return
		}
		// An answer that cannot be sent is the asker's timeout; it asks again.
		_ = m.Respond(answerFor(src, nc.MaxPayload(), give))
	})
	if err != nil {
		return nil, fmt.Errorf("answer receipts: %w", err)
	}
	sub.SetClosedHandler(func(string) { close(ended) })
	if err := nc.Flush(); err != nil {
		return nil, fmt.Errorf("answer receipts: %w", errors.Join(err, sub.Unsubscribe()))
	}
	return func() {
		if sub.Unsubscribe() == nil {
			// The server then knows that nobody answers, and says so to who asks. If
			// it cannot be told, its own time without an answer is what they get.
			_ = nc.FlushTimeout(time.Second)
			<-ended
		}
	}, nil
}

func answerFor(src events.Source, most int64, give func(events.Source) (Receipt, bool, error)) []byte {
	r, ok, err := give(src)
	switch {
	case err != nil:
		return refuseReceipt(src, err.Error())
	case !ok && r.At.IsZero():
		return refuseReceipt(src, "none can be given now")
	}
	r.Source = src.String()
	body, err := r.encode(most)
	if err != nil {
		return refuseReceipt(src, err.Error())
	}
	return body
}

func refuseReceipt(src events.Source, why string) []byte {
	// Strings only: this cannot fail.
	body, _ := json.Marshal(answer{Receipt: Receipt{Source: src.String()}, Error: why}, json.FormatNilSliceAsNull(true))
	return body
}

// AskReceipt asks the hub for a device's receipt. It asks once.
func AskReceipt(ctx context.Context, nc *nats.Conn, src events.Source) (Receipt, error) {
	m, err := nc.RequestWithContext(ctx, AskSubject(src), nil)
	if errors.Is(err, nats.ErrNoResponders) {
		return Receipt{}, fmt.Errorf("ask receipt of %s: %w: %w", src, ErrNoReceipt, err)
	}
	if err != nil {
		return Receipt{}, fmt.Errorf("ask receipt of %s: %w", src, err)
	}
	return ParseReceipt(src, m.Data)
}
