package hub

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"

	"github.com/nats-io/nats.go"

	"earlyage/events/stream"
)

// awaited is the stream. When the hub starts, a server of its own may be away:
// until it has answered, and was found to sync and to hold the stream as it must
// be, nothing is read from it and nothing published. The hub shows what its store
// has, marked as not level, and hands alerts on beside the stream.
type awaited struct {
	*stream.Stream
	there chan struct{} // closed once the server has passed
}

var errAwaited = errors.New("the NATS server has not answered since the hub was started")

func (a awaited) passed() bool {
	select {
	case <-a.there:
		return true
	default:
		return false
	}
}

// Head implements the Source of the projector and of telling.
func (a awaited) Head(ctx context.Context) (first, last uint64, err error) {
	if !a.passed() {
		return 0, 0, errAwaited
	}
	return a.Stream.Head(ctx)
}

// Read implements the Source of the projector and of telling.
func (a awaited) Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error {
	if !a.passed() {
		return errAwaited
	}
	return a.Stream.Read(ctx, after, limits, deliver)
}

const (
	awaitFirst = 250 * time.Millisecond // between two tries; doubled each time
	awaitMost  = 5 * time.Second        // the longest such time
)

// awaitDelay is the time before a further try.
func awaitDelay(tries int) time.Duration {
	return min(awaitFirst<<min(max(tries, 0), 8), awaitMost)
}

// isAway reports whether nobody answered. A server that answered and refused is
// not away: to try again does not help.
func isAway(err error) bool {
	var unreached net.Error
	return errors.Is(err, nats.ErrNoServers) || errors.Is(err, nats.ErrTimeout) || errors.As(err, &unreached)
}

// dialLater connects as soon as the server is there.
func (h *Hub) dialLater(cause error, opts []nats.Option) (err error) {
	h.log.Error("the NATS server is away: the hub starts without it, shows what it has as not level, and goes on trying", "cause", cause.Error())
	h.waits.Store(new(errAwaited.Error()))
	opts = append(opts, nats.RetryOnFailedConnect(true), nats.CustomReconnectDelay(awaitDelay))
	h.nc, err = stream.Dial(h.cfg.NATS, "earlyage-hub", h.log, opts...)
	return err
}

// await tries the server until it has passed. One that may never pass ends the
// hub, as it would have at the start.
func (h *Hub) await(ctx context.Context) error {
	for tries := 0; ; tries++ {
		err := h.pass(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case err == nil:
			h.log.Info("the NATS server is there: the record is brought level with the stream")
			h.waits.Store(nil)
			<-ctx.Done()
			return nil
		case errors.Is(err, stream.ErrNotSynced), errors.Is(err, stream.ErrConfig), h.nc.IsClosed():
			return err
		}
		h.waits.Store(new(err.Error()))
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(awaitDelay(tries)):
		}
	}
}

// pass checks the server and makes the stream.
func (h *Hub) pass(ctx context.Context) error {
	if !h.nc.IsConnected() {
		if err := h.nc.LastError(); err != nil {
			return fmt.Errorf("%w: %w", errAwaited, err)
		}
		return errAwaited
	}
	if err := stream.CheckSyncOf(ctx, h.nc, h.cfg.Monitor); err != nil {
		return fmt.Errorf("the NATS server is there and cannot be checked: %w", err)
	}
	if err := h.stream.Make(ctx); err != nil {
		return err
	}
	close(h.stream.there)
	return nil
}

// answerLater answers for receipts once the server is there.
func (h *Hub) answerLater(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return nil
	case <-h.stream.there:
	}
	stop, err := stream.AnswerReceipts(h.nc, h.projector.Receipt)
	if err != nil {
		return err
	}
	<-ctx.Done()
	stop()
	return nil
}

// hinted says what to do about a server that is away when it may not be.
func hinted(err error) error {
	if errors.Is(err, errAwaited) {
		return fmt.Errorf("%w; at its first start a hub must see the stream, to know from where on it tells: start the NATS server, then the hub", err)
	}
	return err
}
