package stream

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/nats-io/nats.go"
)

// Snapshot says which stream a copy is of, as the server describes it. Restore
// gives it back as it was.
type Snapshot struct {
	Config jsontext.Value `json:"config"`
	State  jsontext.Value `json:"state"`
}

// Through is the last sequence of the copied stream.
func (s Snapshot) Through() (uint64, error) {
	var state struct {
		Last uint64 `json:"last_seq"`
	}
	if err := json.Unmarshal(s.State, &state); err != nil {
		return 0, fmt.Errorf("state of the copied stream: %w", err)
	}
	return state.Last, nil
}

const (
	snapshotAPI   = "$JS.API.STREAM.SNAPSHOT." + Name
	restoreAPI    = "$JS.API.STREAM.RESTORE." + Name
	snapshotChunk = 128 << 10
	// snapshotWait is how long one step of a copy may take.
	snapshotWait = time.Minute
)

// apiError is how a JetStream server says that it did not do it.
type apiError struct {
	Error *struct {
		Code        int    `json:"code"`
		Description string `json:"description"`
	} `json:"error,omitzero"`
}

func (e apiError) err() error {
	if e.Error == nil {
		return nil
	}
	return fmt.Errorf("server: %s (%d)", e.Error.Description, e.Error.Code)
}

// Copy writes a copy of the stream as it is at one moment, each message checked
// by the server, while others go on publishing. The bytes are the server's own
// form of a stream's copy.
func Copy(ctx context.Context, nc *nats.Conn, w io.Writer) (s Snapshot, err error) {
	inbox := nc.NewRespInbox()
	chunks, err := nc.SubscribeSync(inbox)
	if err != nil {
		return s, fmt.Errorf("copy stream: %w", err)
	}
	defer func() { err = errors.Join(err, chunks.Unsubscribe()) }()
	if err := chunks.SetPendingLimits(-1, -1); err != nil {
		return s, fmt.Errorf("copy stream: %w", err)
	}
	var answer struct {
		apiError
		Snapshot
	}
	asked := struct {
		Deliver     string `json:"deliver_subject"`
		NoConsumers bool   `json:"no_consumers"`
		Chunk       int    `json:"chunk_size"`
		Check       bool   `json:"jsck"`
	}{inbox, true, snapshotChunk, true}
	if err := ask(ctx, nc, snapshotAPI, asked, &answer); err != nil {
		return s, fmt.Errorf("copy stream: %w", err)
	}
	if err := answer.err(); err != nil {
		return s, fmt.Errorf("copy stream: %w", err)
	}
	for {
		m, err := next(ctx, chunks)
		if err != nil {
			return s, fmt.Errorf("copy stream: %w", err)
		}
		if len(m.Data) == 0 {
			if status := m.Header.Get("Status"); status != "" && status != "204" {
				return s, fmt.Errorf("copy stream: server: %s %s", status, m.Header.Get("Description"))
			}
			return answer.Snapshot, nil
		}
		if _, err := w.Write(m.Data); err != nil {
			return s, fmt.Errorf("copy stream: %w", err)
		}
		if m.Reply != "" {
			if err := m.Respond(nil); err != nil {
				return s, fmt.Errorf("copy stream: %w", err)
			}
		}
	}
}

// Restore makes the stream anew from a copy, with the sequences and times that
// its messages had. A server that has the stream already refuses.
func Restore(ctx context.Context, nc *nats.Conn, s Snapshot, r io.Reader) error {
	var begun struct {
		apiError
		Deliver string `json:"deliver_subject"`
	}
	if err := ask(ctx, nc, restoreAPI, s, &begun); err != nil {
		return fmt.Errorf("restore stream: %w", err)
	}
	if err := begun.err(); err != nil {
		return fmt.Errorf("restore stream: %w", err)
	}
	chunk := make([]byte, snapshotChunk)
	for {
		n, err := io.ReadFull(r, chunk)
		if n > 0 {
			if err := send(ctx, nc, begun.Deliver, chunk[:n]); err != nil {
				return fmt.Errorf("restore stream: %w", err)
			}
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("restore stream: %w", err)
		}
	}
	if err := send(ctx, nc, begun.Deliver, nil); err != nil {
		return fmt.Errorf("restore stream: %w", err)
	}
	return nil
}

// send hands on a piece of a copy and waits until the server has taken it; an
// empty piece is the end.
func send(ctx context.Context, nc *nats.Conn, subject string, piece []byte) error {
	ctx, cancel := context.WithTimeout(ctx, snapshotWait)
	defer cancel()
	m, err := nc.RequestWithContext(ctx, subject, piece)
	if err != nil || len(m.Data) == 0 {
		return err
	}
	var answer apiError
	if err := json.Unmarshal(m.Data, &answer); err != nil {
		return err
	}
	return answer.err()
}

func ask(ctx context.Context, nc *nats.Conn, subject string, body, into any) error {
	ctx, cancel := context.WithTimeout(ctx, snapshotWait)
	defer cancel()
	raw, err := json.Marshal(body)
	if err != nil {
		return err
	}
	m, err := nc.RequestWithContext(ctx, subject, raw)
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("no answer on %s, which the server must allow the hub: %w", subject, err)
	}
	if err != nil {
		return err
	}
	return json.Unmarshal(m.Data, into)
}

func next(ctx context.Context, sub *nats.Subscription) (*nats.Msg, error) {
	ctx, cancel := context.WithTimeout(ctx, snapshotWait)
	defer cancel()
	return sub.NextMsgWithContext(ctx)
}
