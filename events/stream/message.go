package stream

import (
	"context"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Message is one record of the stream as a consumer sees it.
type Message struct {
	Seq          uint64    // the stream's own sequence
	Recorded     time.Time // the stream's own timestamp, UTC
	Subject      string
	Signature    string // the header SignatureHeader, as it came: verify it
	DemoRecorded string // the header DemoRecordedHeader, as it came: anyone can write one
	Body         []byte
}

// Reader reads the stream. *Stream is one.
type Reader interface {
	// Head returns the first and the last sequence of the stream; both 0 while it
	// never held a message.
	Head(ctx context.Context) (first, last uint64, err error)
	// Read hands every message after a sequence to deliver, in order, from the
	// calling goroutine. It returns when ctx ends, with deliver's error, or with
	// ErrShort.
	Read(ctx context.Context, after uint64, limits Limits, deliver func([]Message) error) error
}

var _ Reader = (*Stream)(nil)

// messageOf copies nothing: the client made body and headers for this message.
func messageOf(m jetstream.Msg, md *jetstream.MsgMetadata) Message {
	h := m.Headers()
	return Message{
		Seq: md.Sequence.Stream, Recorded: md.Timestamp.UTC(), Subject: m.Subject(),
		Signature: header(h, SignatureHeader), DemoRecorded: header(h, DemoRecordedHeader), Body: m.Data(),
	}
}

// header returns a header's only value: with several, which one counts would be
// a matter of taste, so none does.
func header(h nats.Header, name string) string {
	if v := h[name]; len(v) == 1 {
		return v[0]
	}
	return ""
}
