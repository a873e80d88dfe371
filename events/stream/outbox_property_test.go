package stream_test

import (
	"context"
	"errors"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/events/stream"
)

// sea is a stream and its hub in memory: messages, the ids of the duplicate
// window, and a fold that may lag behind.
type sea struct {
	posts   []stream.Post
	stored  []time.Time
	ids     map[string]uint64
	fold    *fold
	asleep  bool
	now     time.Time
	settled bool // the stream lost nothing and no id was forgotten: each message stands once
}

func newSea() *sea {
	return &sea{ids: map[string]uint64{}, fold: newFold(), now: time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC), settled: true}
}

func (s *sea) level() {
	for int(s.fold.through) < len(s.posts) && !s.asleep {
		p := s.posts[s.fold.through]
		s.fold.take(s.fold.through+1, p.Subject, p.Body)
	}
}

func (s *sea) Ask(context.Context) (stream.Receipt, error) {
	s.level()
	r, _ := s.fold.receipt(phone, s.now)
	return r, nil
}

func (s *sea) known(p stream.Post) (uint64, bool) {
	seq, ok := s.ids[p.MsgID]
	return seq, ok && s.now.Sub(s.stored[seq-1]) < stream.DuplicateWindow
}

func (s *sea) Batch(_ context.Context, posts []stream.Post) (uint64, error) {
	for _, p := range posts {
		if _, dup := s.known(p); dup {
			return 0, stream.ErrDuplicateInBatch
		}
	}
	for _, p := range posts {
		s.store(p)
	}
	return uint64(len(s.posts)), nil
}

func (s *sea) One(_ context.Context, p stream.Post) (uint64, error) {
	if seq, dup := s.known(p); dup {
		return seq, nil
	}
	return s.store(p), nil
}

func (s *sea) store(p stream.Post) uint64 {
	s.posts, s.stored = append(s.posts, p), append(s.stored, s.now)
	s.ids[p.MsgID] = uint64(len(s.posts))
	return uint64(len(s.posts))
}

// putBack restores the stream and its hub to an earlier state.
func (s *sea) putBack(n int) {
	bare := s.fold.bare
	clashes := s.fold.clashes
	s.posts, s.stored, s.ids, s.fold = s.posts[:n:n], s.stored[:n:n], map[string]uint64{}, newFold()
	s.fold.bare, s.fold.clashes, s.settled = bare, clashes, false
	for i, p := range s.posts {
		s.ids[p.MsgID] = uint64(i + 1)
	}
	s.level()
}

// Whatever happens to server, hub and device, in whatever order, every event
// that Add returned ends up at the hub under the number that Add gave it, no
// number is two events, and as long as the stream loses nothing and its
// duplicate window lasts each stands in it once.
func TestOutboxProperty(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := newModel(rt)
		defer m.close()
		rt.Repeat(map[string]func(*rapid.T){
			"add":       m.add,
			"drain":     m.drain,
			"crash":     m.crash,
			"tear":      m.tear,
			"sleep":     func(rt *rapid.T) { m.sea.asleep = rapid.Bool().Draw(rt, "asleep") },
			"time":      m.pass,
			"put back":  m.putBack,
			"late":      m.late,
			"cross":     m.cross,
			"":          m.check,
			"drain all": func(rt *rapid.T) { require.NoError(rt, m.pick(rt).DrainOver(context.Background(), m.sea)) },
		})
		m.finish()
	})
}

type model struct {
	rt    *rapid.T
	dir   string
	sea   *sea
	boxes [2]*stream.Outbox // two processes on one folder
	added map[uint64]string // number to id
	said  []stream.Receipt  // by the hub, at any time
}

func newModel(rt *rapid.T) *model {
	dir, err := os.MkdirTemp("", "outbox")
	require.NoError(rt, err)
	m := &model{rt: rt, dir: dir, sea: newSea(), added: map[uint64]string{}}
	m.sea.fold.bare = rapid.Bool().Draw(rt, "bare")
	for i := range m.boxes {
		m.open(i)
	}
	return m
}

func (m *model) open(i int) {
	var err error
	m.boxes[i], err = stream.OutboxConfig{Dir: m.dir, Source: phone, Now: func() time.Time { return m.sea.now }}.Open()
	require.NoError(m.rt, err)
}

func (m *model) close() {
	for _, o := range m.boxes {
		require.NoError(m.rt, o.Close())
	}
	require.NoError(m.rt, os.RemoveAll(m.dir))
}

func (m *model) pick(rt *rapid.T) *stream.Outbox {
	return m.boxes[rapid.IntRange(0, 1).Draw(rt, "process")]
}

func (m *model) add(rt *rapid.T) {
	list := make([]events.Event, rapid.IntRange(1, 4).Draw(rt, "events"))
	for i := range list {
		list[i] = started(rapid.SampledFrom([]string{"w1", "w2"}).Draw(rt, "wall"))
	}
	stamped, err := m.pick(rt).AddAll(list)
	require.NoError(rt, err)
	for _, e := range stamped {
		require.Empty(rt, m.added[e.Sequence], "number %d is given twice", e.Sequence)
		m.added[e.Sequence] = e.ID
	}
}

func (m *model) drain(rt *rapid.T) {
	f := &faulty{Link: m.sea, at: rapid.IntRange(1, 8).Draw(rt, "failing call"), applied: rapid.Bool().Draw(rt, "applied")}
	err := m.pick(rt).DrainOver(context.Background(), f)
	if len(f.calls) >= f.at {
		require.ErrorIs(rt, err, errFault)
	} else {
		require.NoError(rt, err)
	}
}

func (m *model) crash(rt *rapid.T) {
	i, left := rapid.IntRange(0, 1).Draw(rt, "process"), rapid.IntRange(1, 10).Draw(rt, "step")
	m.boxes[i].OnStep(func(string) error {
		if left--; left == 0 {
			return errCrash
		}
		return nil
	})
	err := m.boxes[i].DrainOver(context.Background(), m.sea)
	if !errors.Is(err, errCrash) {
		require.NoError(rt, err)
	}
	require.NoError(rt, m.boxes[i].Close())
	m.open(i)
}

// tear leaves what a process leaves that dies in the middle of an append.
func (m *model) tear(rt *rapid.T) {
	f, err := os.OpenFile(logOf(m.dir), os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(rt, err)
	half := stream.LogLine("send secret 1-3")
	_, err = f.Write(half[:rapid.IntRange(1, len(half)-1).Draw(rt, "bytes")])
	require.NoError(rt, errors.Join(err, f.Close()))
}

func (m *model) pass(rt *rapid.T) {
	m.sea.now = m.sea.now.Add(time.Duration(rapid.IntRange(1, 200).Draw(rt, "minutes")) * time.Minute)
	m.sea.settled = false
}

func (m *model) putBack(rt *rapid.T) {
	m.sea.putBack(rapid.IntRange(0, len(m.sea.posts)).Draw(rt, "messages left"))
}

// late has a receipt of any time before arrive, or the newest.
func (m *model) late(rt *rapid.T) {
	m.said = append(m.said, m.sea.says())
	r := m.said[rapid.IntRange(0, len(m.said)-1).Draw(rt, "receipt")]
	require.NoError(rt, m.pick(rt).Settle(r))
}

// cross has the answer to a question overtaken by a receipt of what the hub has
// folded meanwhile.
func (m *model) cross(rt *rapid.T) {
	o := m.pick(rt)
	m.sea.level()
	m.sea.asleep = true
	m.add(rt)
	require.NoError(rt, o.DrainOver(context.Background(), m.sea))
	require.NoError(rt, o.DrainOver(context.Background(), &crossing{sea: m.sea, box: o, other: m.pick(rt)}))
}

// says is the receipt of what the hub has folded.
func (s *sea) says() stream.Receipt {
	r, _ := s.fold.receipt(phone, s.now)
	return r
}

// crossing is a link on which the first answer comes after a newer receipt.
type crossing struct {
	*sea
	box, other *stream.Outbox
	asked      int
}

func (c *crossing) Ask(ctx context.Context) (stream.Receipt, error) {
	if c.asked++; c.asked > 1 {
		return c.sea.Ask(ctx)
	}
	old := c.says()
	c.asleep = false
	c.level()
	return old, errors.Join(c.box.Settle(c.says()), c.other.Settle(c.says()))
}

func (m *model) check(rt *rapid.T) {
	m.sea.level()
	require.Empty(rt, m.sea.fold.clashes)
	if !m.sea.settled {
		return
	}
	seen := map[uint64]bool{}
	for _, p := range m.sea.posts {
		e, err := events.Decode(p.Subject, p.Body)
		require.NoError(rt, err)
		require.False(rt, seen[e.Sequence], "number %d stands twice", e.Sequence)
		seen[e.Sequence] = true
	}
}

// finish lets everything work, and time pass.
func (m *model) finish() {
	m.sea.asleep = false
	for range 6 {
		for _, o := range m.boxes {
			require.NoError(m.rt, o.DrainOver(context.Background(), m.sea))
		}
		m.sea.now = m.sea.now.Add(25 * time.Hour)
	}
	m.check(m.rt)
	for number, id := range m.added {
		require.Equal(m.rt, id, m.sea.fold.first[phone][number], "number %d", number)
	}
	s, err := m.boxes[0].Status()
	require.NoError(m.rt, err)
	require.Zero(m.rt, s.Waiting+s.Sent)
	require.Len(m.rt, m.sea.fold.held[phone], int(s.Last), "numbers without a gap")
}
