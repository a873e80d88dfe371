package stream

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Name is the name of the stream.
const Name = "POURS"

// Subjects are what the stream holds: what devices publish, and what comes from
// devices that cannot sign.
func Subjects() []string { return []string{"pour.>", "probe.>"} }

// firstSubjects are those of a stream that was made before devices that cannot
// sign had subjects of their own.
func firstSubjects() []string { return Subjects()[:1] }

// DuplicateWindow is how long the stream knows a message id. It is only the
// first net: readers remember the numbers of a device for ever.
const DuplicateWindow = 10 * time.Minute

// ErrConfig is wrapped by Open when a stream of that name exists with settings
// that could lose or change what was acknowledged.
var ErrConfig = errors.New("stream is not set up as it must be")

// ErrShort is wrapped by Read when the stream ends before the sequence that the
// reader has read through, is gone, or is another one: the reader's store knows
// more than the stream.
var ErrShort = errors.New("stream is shorter than what was read of it")

// Config says how the stream is made.
type Config struct {
	// Replicas is how many servers hold a copy, 1 to 5. Default for a new stream: 3
	// in a cluster, 1 elsewhere; an existing one keeps its own.
	Replicas int

	Log *slog.Logger // default: none
}

// Stream is the record as one NATS connection sees it.
type Stream struct {
	nc  *nats.Conn
	js  jetstream.JetStream
	log *slog.Logger
	cfg Config

	headEvery time.Duration // how often the head of a silent stream is looked at
}

// Open makes the stream, or checks the one that is there: Later, and Make.
func Open(ctx context.Context, nc *nats.Conn, cfg Config) (*Stream, error) {
	s, err := Later(nc, cfg)
	if err != nil {
		return nil, err
	}
	if err := s.Make(ctx); err != nil {
		return nil, err
	}
	return s, nil
}

// Later gives the stream of a server that may be away: nothing is asked of it
// before Make, and nothing may be read or published before Make returned nil.
func Later(nc *nats.Conn, cfg Config) (*Stream, error) {
	if cfg.Replicas < 0 || cfg.Replicas > 5 {
		return nil, fmt.Errorf("open stream: Replicas is %d, allowed 1 to 5", cfg.Replicas)
	}
	js, err := jetstream.New(nc)
	if err != nil {
		return nil, fmt.Errorf("open stream: %w", err)
	}
	s := &Stream{nc: nc, js: js, log: cfg.Log, cfg: cfg, headEvery: headEvery}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	return s, nil
}

// Make makes the stream, or checks the one that is there. An existing stream is
// not changed, but for one that lacks probe.>, which is added: what is wrong with
// it is named in an error that wraps ErrConfig. After another error it can be
// tried again.
func (s *Stream) Make(ctx context.Context) error {
	have, err := s.js.Stream(ctx, Name)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		have, err = s.js.CreateStream(ctx, wanted(s.cfg.replicas(s.nc)))
		if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) { // another hub was faster
			have, err = s.js.Stream(ctx, Name)
		}
	}
	if err == nil && slices.Equal(have.CachedInfo().Config.Subjects, firstSubjects()) {
		cfg := have.CachedInfo().Config
		cfg.Subjects = Subjects()
		have, err = s.js.UpdateStream(ctx, cfg)
	}
	if err != nil {
		return fmt.Errorf("open stream %s: %w", Name, err)
	}
	// What was just made is checked too: a server may change what it was asked for.
	if err := check(have.CachedInfo().Config, s.cfg.Replicas); err != nil {
		return fmt.Errorf("open stream %s: %w", Name, err)
	}
	return nil
}

func (cfg Config) replicas(nc *nats.Conn) int {
	switch {
	case cfg.Replicas > 0:
		return cfg.Replicas
	case nc.ConnectedClusterName() != "":
		return 3
	}
	return 1
}

func wanted(replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:        Name,
		Description: "every event of every pour, append only",
		Subjects:    Subjects(),
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardNew, // no limit is set; should one bite, the newcomer is refused and the record stands
		MaxMsgs:     -1,
		MaxBytes:    -1,
		Replicas:    replicas,
		Duplicates:  DuplicateWindow,
		// Neither can be switched off again, and both refuse rollup and ages per
		// message. Trimming by a changed limit and deletion of the whole stream
		// stay possible: the server must deny both to all but the hub.
		DenyDelete: true,
		DenyPurge:  true,
		// Outboxes send in batches of which all is stored or nothing; with sync
		// always they are what makes a drain fast.
		AllowAtomicPublish: true,
	}
}

// check compares with what the record needs. Each line says why.
func check(c jetstream.StreamConfig, replicas int) error {
	rules := []struct {
		wrong bool
		field string
		have  any
		want  string
	}{
		{!slices.Equal(c.Subjects, Subjects()), "subjects", c.Subjects, fmt.Sprint(Subjects()) + ", or events are missed"},
		{c.Storage != jetstream.FileStorage, "storage", c.Storage, "file, or a restart loses it"},
		{c.Retention != jetstream.LimitsPolicy, "retention", c.Retention, "limits, or reading deletes"},
		{c.PersistMode == jetstream.AsyncPersistMode, "persist_mode", "async", "default: async acknowledges before the disk has it, whatever sync_interval says"},
		{c.NoAck, "no_ack", c.NoAck, "false, or nothing is acknowledged"},
		{c.Sealed, "sealed", c.Sealed, "false, or nothing can be published"},
		{!c.DenyDelete, "deny_delete", c.DenyDelete, "true: the record is append only"},
		{!c.DenyPurge, "deny_purge", c.DenyPurge, "true: the record is append only"},
		{c.MaxMsgs > 0, "max_msgs", c.MaxMsgs, "no limit"},
		{c.MaxBytes > 0, "max_bytes", c.MaxBytes, "no limit"},
		{c.MaxAge != 0, "max_age", c.MaxAge, "no limit"},
		{c.MaxMsgsPerSubject > 0, "max_msgs_per_subject", c.MaxMsgsPerSubject, "no limit"},
		{c.MaxMsgSize > 0, "max_msg_size", c.MaxMsgSize, "no limit but the server's: an unacceptable event is kept and shown"},
		{!c.AllowAtomicPublish, "allow_atomic", c.AllowAtomicPublish, "true: outboxes send in atomic batches"},
		{c.AllowRollup, "allow_rollup_hdrs", c.AllowRollup, "false: a rollup deletes"},
		{c.AllowMsgTTL, "allow_msg_ttl", c.AllowMsgTTL, "false: a publisher could let its event expire"},
		{c.SubjectDeleteMarkerTTL != 0, "subject_delete_marker_ttl", c.SubjectDeleteMarkerTTL, "none"},
		{c.AllowMsgSchedules, "allow_msg_schedules", c.AllowMsgSchedules, "false: it switches deny_purge off"},
		{c.AllowMsgCounter, "allow_msg_counter", c.AllowMsgCounter, "false: bodies are events, not counters"},
		{c.AllowDirect, "allow_direct", c.AllowDirect, "false: forged headers mislead a direct get"},
		{c.Mirror != nil, "mirror", c.Mirror, "none: a mirror takes no events"},
		{len(c.Sources) > 0, "sources", len(c.Sources), "none"},
		{c.SubjectTransform != nil, "subject_transform", c.SubjectTransform, "none: an event's subject is part of it"},
		{c.FirstSeq > 1, "first_seq", c.FirstSeq, "1: the record begins at its beginning"},
		{c.Duplicates < DuplicateWindow, "duplicate_window", c.Duplicates, DuplicateWindow.String() + " or longer"},
		{replicas > 0 && c.Replicas != replicas, "num_replicas", c.Replicas, fmt.Sprint(replicas)},
	}
	var errs []error
	for _, r := range rules {
		if r.wrong {
			errs = append(errs, fmt.Errorf("%w: %s is %v, must be %s", ErrConfig, r.field, r.have, r.want))
		}
	}
	return errors.Join(errs...)
}

// Head returns the first and the last sequence of the stream; both 0 while it
// never held a message.
func (s *Stream) Head(ctx context.Context) (first, last uint64, err error) {
	st, err := s.js.Stream(ctx, Name)
	if err != nil {
		return 0, 0, fmt.Errorf("head of %s: %w", Name, err)
	}
	state := st.CachedInfo().State
	if state.LastSeq == 0 {
		return 0, 0, nil
	}
	return state.FirstSeq, state.LastSeq, nil
}

// ErrNoMessage is wrapped by Message when the stream has no message with the
// sequence.
var ErrNoMessage = errors.New("stream has no such message")

// Message returns the message with one sequence, as Read would deliver it: for
// healing, and to compare a store with the stream. It asks the stream's leader,
// never a direct get, whose answer a forged header can change.
func (s *Stream) Message(ctx context.Context, seq uint64) (Message, error) {
	st, err := s.js.Stream(ctx, Name)
	if err != nil {
		return Message{}, fmt.Errorf("message %d: %w", seq, err)
	}
	raw, err := st.GetMsg(ctx, seq)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return Message{}, fmt.Errorf("message %d: %w", seq, ErrNoMessage)
	}
	if err != nil {
		return Message{}, fmt.Errorf("message %d: %w", seq, err)
	}
	if raw.Sequence != seq {
		return Message{}, fmt.Errorf("message %d: the server gave %d", seq, raw.Sequence)
	}
	return Message{
		Seq: raw.Sequence, Recorded: raw.Time.UTC(), Subject: raw.Subject,
		Signature: header(raw.Header, SignatureHeader), DemoRecorded: header(raw.Header, DemoRecordedHeader), Body: raw.Data,
	}, nil
}
