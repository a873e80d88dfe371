package projector_test

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
	"go.uber.org/goleak"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		fmt.Fprintln(os.Stderr, runChild(dir))
		os.Exit(1)
	}
	goleak.VerifyTestMain(m)
}

var monday = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// tape is a stream in memory. It hands out batches of the sizes in cuts, in
// turn, or as large as is allowed.
type tape struct {
	mu    sync.Mutex
	msgs  []stream.Message
	last  uint64
	moved chan struct{}
	cuts  []int
	err   error // what Head and Read answer, if not nil
}

func newTape() *tape { return &tape{moved: make(chan struct{})} }

func (s *tape) change(f func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f()
	close(s.moved)
	s.moved = make(chan struct{})
}

// put records a message and returns its sequence.
func (s *tape) put(subject string, body []byte, signature string) (seq uint64) {
	s.change(func() {
		s.last++
		seq = s.last
		s.msgs = append(s.msgs, stream.Message{
			Seq: seq, Recorded: monday.Add(time.Duration(seq) * time.Second), Subject: subject, Signature: signature, Body: body,
		})
	})
	return seq
}

// lose makes the next n sequences a hole.
func (s *tape) lose(n uint64) { s.change(func() { s.last += n }) }

// shorten forgets what comes after a sequence.
func (s *tape) shorten(last uint64) (rest []stream.Message) {
	s.change(func() {
		i := slices.IndexFunc(s.msgs, func(m stream.Message) bool { return m.Seq > last })
		if i >= 0 {
			rest, s.msgs = slices.Clone(s.msgs[i:]), s.msgs[:i:i]
		}
		s.last = last
	})
	return rest
}

// restore gives back what shorten took.
func (s *tape) restore(rest []stream.Message) {
	s.change(func() { s.msgs = append(s.msgs, rest...); s.last = rest[len(rest)-1].Seq })
}

func (s *tape) fail(err error) { s.change(func() { s.err = err }) }

func (s *tape) Head(context.Context) (first, last uint64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.msgs) > 0 {
		first = s.msgs[0].Seq
	}
	return first, s.last, s.err
}

func (s *tape) Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error {
	if limits.Max <= 0 {
		limits.Max = 1000
	}
	for turn := 0; ; turn++ {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		batch, moved, err := s.batch(after, limits.Max, turn)
		if err != nil {
			return err
		}
		if len(batch) == 0 {
			select {
			case <-moved:
				continue
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		after = batch[len(batch)-1].Seq
		if err := deliver(batch); err != nil {
			return err
		}
	}
}

func (s *tape) batch(after uint64, most, turn int) (batch []stream.Message, moved chan struct{}, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.err != nil {
		return nil, nil, s.err
	}
	if after > s.last {
		return nil, nil, fmt.Errorf("stream ends at %d: %w", s.last, stream.ErrShort)
	}
	if len(s.cuts) > 0 {
		most = s.cuts[turn%len(s.cuts)]
	}
	for _, m := range s.msgs {
		if m.Seq > after && len(batch) < most {
			batch = append(batch, m)
		}
	}
	return batch, s.moved, nil
}

// device makes events as one device does.
type device struct {
	source events.Source
	number uint64
	plain  bool // it gives no numbers
	clock  time.Time
}

func newDevice(site, name string) *device {
	return &device{source: events.Source{Site: site, Device: name}, clock: monday}
}

// event makes the device's next entry.
func (d *device) event(wall string, kind events.Kind, by string, data events.Data) events.Event {
	d.clock = d.clock.Add(time.Minute)
	e := events.Event{ID: d.id(), Source: d.source, Kind: kind, Wall: wall, Time: d.clock, By: by, Data: data, HasOffset: true}
	if !d.plain {
		d.number++
		e.Sequence = d.number
	}
	return e
}

// id makes a UUIDv7 of the device's clock, the same in every run.
func (d *device) id() string {
	sum := sha256.Sum256([]byte(d.source.String() + d.clock.String()))
	id := uuid.UUID(sum[:16])
	for i := range 6 {
		id[i] = byte(d.clock.UnixMilli() >> (40 - 8*i))
	}
	id[6], id[8] = id[6]&0x0f|0x70, id[8]&0x3f|0x80
	return id.String()
}

func ptr[T any](v T) *T { return &v }

func (d *device) lift(wall string, from, to, top float64) events.Event {
	return d.event(wall, "lift.placed", "", &events.LiftPlaced{FromM: &from, ToM: &to, TopM: &top, Vibrated: ptr(true)})
}

func (d *device) reading(wall string, celsius float64) events.Event {
	return d.event(wall, "temperature.read", "", &events.TemperatureRead{Place: "top", Celsius: &celsius})
}

func encode(t require.TestingT, e events.Event) []byte {
	body, err := e.Encode()
	require.NoError(t, err)
	_, err = events.Decode(e.Subject(), body)
	require.NoError(t, err, "event of a test: %s", body)
	return body
}

func (s *tape) add(t require.TestingT, e events.Event) uint64 {
	return s.put(e.Subject(), encode(t, e), "")
}

func (s *tape) addSigned(t require.TestingT, key ed25519.PrivateKey, e events.Event) uint64 {
	body := encode(t, e)
	return s.put(e.Subject(), body, stream.Sign(key, body))
}

// hubKey is the same in every test, so that digests can be compared.
var (
	hubKey    = ed25519.NewKeyFromSeed([]byte("the hub's key of these tests 32B"))
	hubPublic = hubKey.Public().(ed25519.PublicKey)
)

// newConfig is for tests of other things than who says what.
func newConfig(t *testing.T, dir string, source projector.Source) projector.Config {
	t.Helper()
	cfg := signedConfig(t, dir, source)
	cfg.Unsigned = true
	return cfg
}

func signedConfig(t *testing.T, dir string, source projector.Source) projector.Config {
	t.Helper()
	return projector.Config{
		Dir: dir, Stream: source, Key: hubPublic,
		Log: slog.New(slog.NewTextHandler(t.Output(), nil)),
	}
}

// open opens a store; when the test ends it is closed and both files are checked.
func open(t *testing.T, cfg projector.Config) *projector.Projector {
	t.Helper()
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	t.Cleanup(func() {
		require.NoError(t, p.Close())
		checkFiles(t, cfg.Dir)
	})
	return p
}

// checkFiles walks every page of the files that are there.
func checkFiles(t *testing.T, dir string) {
	t.Helper()
	for _, name := range []string{"keep.db", "view.db"} {
		db, err := bbolt.Open(filepath.Join(dir, name), 0o600, &bbolt.Options{Timeout: time.Second})
		require.NoError(t, err, name)
		require.NoError(t, db.View(func(tx *bbolt.Tx) error {
			for err := range tx.Check() {
				require.NoError(t, err, name)
			}
			return nil
		}))
		require.NoError(t, db.Close())
	}
	left, err := filepath.Glob(filepath.Join(dir, "*.new"))
	require.NoError(t, err)
	require.Empty(t, left, "unfinished files")
}

// run runs a projector until stop is called, which waits for the end and
// returns Run's error.
func run(t *testing.T, p *projector.Projector) (stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	var once sync.Once
	var err error
	stop = func() error {
		once.Do(func() { cancel(); err = <-done })
		return err
	}
	t.Cleanup(func() { _ = stop() })
	return stop
}

// reach waits until a message is folded.
func reach(t *testing.T, p *projector.Projector, seq uint64) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	require.NoError(t, p.Wait(ctx, seq))
}

// foldAll opens a store on a tape, folds all of it and leaves it stopped.
func foldAll(t *testing.T, s *tape) *projector.Projector {
	t.Helper()
	p := open(t, newConfig(t, t.TempDir(), s))
	stop := run(t, p)
	reach(t, p, s.last)
	require.NoError(t, stop())
	return p
}

func view(t *testing.T, p *projector.Projector, f func(projector.View)) {
	t.Helper()
	require.NoError(t, p.Read(func(v projector.View) error { f(v); return nil }))
}

func digest(t *testing.T, p *projector.Projector) (d [32]byte) {
	t.Helper()
	view(t, p, func(v projector.View) {
		var err error
		d, err = v.Digest()
		require.NoError(t, err)
	})
	return d
}

// unsynced opens files without waiting for the disk, for tests that open many.
func unsynced(path string, options *bbolt.Options) (projector.Database, error) {
	options.NoSync, options.NoGrowSync = true, true
	return projector.OpenFile(path, options)
}
