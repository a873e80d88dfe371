package notify_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// rota tells ann first, bob after 2 minutes, cat after 5, dan after 10, each by
// the channels given.
type rota struct{ channels []string }

func (r rota) Ladder(notice.Notice, time.Time) (ladder []desk.Rung) {
	for i, person := range []string{"ann", "bob", "cat", "dan"} {
		ladder = append(ladder, desk.Rung{After: []time.Duration{0, 2, 5, 10}[i] * time.Minute, Choices: []desk.Choice{{Person: person, Channels: r.channels}}, Why: "rung " + fmt.Sprint(i)})
	}
	return ladder
}

func (r rota) Sheet(string, string, time.Time) []desk.Choice {
	return []desk.Choice{{Person: "ann", Channels: r.channels}}
}

func (r rota) Quiet(notice.Notice, string, time.Time) time.Time { return time.Time{} }

// crowd tells all its persons at once.
type crowd struct {
	rota
	persons []string
}

func (c crowd) Ladder(notice.Notice, time.Time) []desk.Rung {
	rung := desk.Rung{Why: "all"}
	for _, p := range c.persons {
		rung.Choices = append(rung.Choices, desk.Choice{Person: p, Channels: c.channels})
	}
	return []desk.Rung{rung}
}

type directory struct{}

func (directory) Reader(person, site string) (notice.Reader, bool) {
	return notice.Reader{Person: person, Name: "Name of " + person, Mail: person + "@site.example"}, person != "nobody"
}

func (directory) Walls(site string, tokens []string) map[string]string {
	names := map[string]string{}
	for _, token := range tokens {
		if site == "mill" && token == "north" {
			names[token] = "North 2"
		}
	}
	return names
}

func (directory) Site(token string) notice.Site {
	return notice.Site{Token: token, Name: token, Zone: time.UTC, Units: "si"}
}

// plain puts into words what the tests look for.
type plain struct{}

func (plain) Alert(n notice.Notice, f text.Facts) notice.Message {
	return notice.Message{Short: n.State + " " + n.Alert, Plain: fmt.Sprint(f.Told, f.Next)}
}

func (plain) Summary(list []notice.Notice, _ text.Facts) notice.Message {
	return notice.Message{Short: fmt.Sprint("summary of ", len(list))}
}

func (plain) Sheet(n notice.Notice, _ text.Facts) notice.Message {
	return notice.Message{Short: "sheet " + n.Issued.Date}
}

func (plain) Test(text.Facts) notice.Message { return notice.Message{Short: "a test"} }

// What a channel does with a try.
const (
	takes   = iota
	loses   // fails, and nothing was delivered
	unsure  // delivers, and fails all the same
	hangs   // until it is given up
	refuses // for good
	panics
)

var errCarrier = errors.New("the carrier does not answer")

// carrier is a channel.
type carrier struct {
	name string
	to   func(notice.Message) int // nil: takes

	mu    sync.Mutex
	tries []notice.Message // mu
	got   []notice.Message // mu
	at    []time.Time      // of got; mu
	now   map[string]int   // sends under way, by person; mu
	most  int              // of one person; mu
}

func newCarrier(name string) *carrier { return &carrier{name: name, now: map[string]int{}} }

func (c *carrier) Name() string                 { return c.name }
func (c *carrier) Reaches(r notice.Reader) bool { return r.Mail != "" }

func (c *carrier) Send(ctx context.Context, m notice.Message) error {
	c.mu.Lock()
	c.tries = append(c.tries, m)
	c.now[m.To.Person]++
	c.most = max(c.most, c.now[m.To.Person])
	does := takes
	if c.to != nil {
		does = c.to(m)
	}
	if does == takes || does == unsure {
		c.got, c.at = append(c.got, m), append(c.at, time.Now())
	}
	c.mu.Unlock()
	defer func() {
		c.mu.Lock()
		c.now[m.To.Person]--
		c.mu.Unlock()
	}()
	switch does {
	case hangs:
		<-ctx.Done()
		return ctx.Err()
	case refuses:
		return fmt.Errorf("no such address: %w", notice.ErrRefused)
	case panics:
		panic("a defect")
	case takes:
		return nil
	}
	return errCarrier
}

// shown lists what its readers saw: each id once.
func (c *carrier) shown() (list []string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	seen := map[string]bool{}
	for _, m := range c.got {
		if !seen[m.ID] {
			seen[m.ID] = true
			list = append(list, m.To.Person+": "+m.Short)
		}
	}
	return list
}

// tried is how often it was tried. Between two waits the list itself is not for a
// test to read.
func (c *carrier) tried() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.tries)
}

// listener is a Teller.
type listener struct {
	mu   sync.Mutex
	list []notice.Notice
	fail []error
}

func (o *listener) Tell(_ context.Context, n notice.Notice) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	var err error
	if len(o.fail) > 0 {
		err, o.fail = o.fail[0], o.fail[1:]
	}
	if !errors.Is(err, errLost) {
		o.list = append(o.list, n)
	}
	return err
}

var errLost, errUnsure = errors.New("not told"), errors.New("told, and not known to be")

func (o *listener) heard() (list []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, n := range o.list {
		list = append(list, n.State+" "+n.Alert)
	}
	return list
}

// shelf is a ledger whose writes fail as they are told to.
type shelf struct {
	db *bbolt.DB

	mu      sync.Mutex
	writes  int  // mu
	fail    int  // this write fails; 0: none; mu
	applied bool // and is on the disk all the same; mu
	dead    bool // all after it fail too, and do nothing: the process has ended; mu
}

var (
	errWrite = errors.New("injected")
	drawer   = []byte("told")
)

func newShelf(t *testing.T, path string) *shelf {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second, NoSync: true})
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		_, err := tx.CreateBucketIfNotExists(drawer)
		return err
	}))
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	return &shelf{db: db}
}

func (s *shelf) View(f func(*bbolt.Bucket) error) error {
	return s.db.View(func(tx *bbolt.Tx) error { return f(tx.Bucket(drawer)) })
}

func (s *shelf) Update(f func(*bbolt.Bucket) error) error {
	s.mu.Lock()
	s.writes++
	fails := s.writes == s.fail
	gone := s.dead && s.fail > 0 && s.writes > s.fail
	applied := s.applied
	s.mu.Unlock()
	if gone || fails && !applied {
		return errWrite
	}
	err := s.db.Update(func(tx *bbolt.Tx) error { return f(tx.Bucket(drawer)) })
	if fails && err == nil {
		return errWrite
	}
	return err
}

func (s *shelf) written() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.writes
}

// end lets nothing more be written.
func (s *shelf) end() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fail, s.dead = s.writes, true
}

func (s *shelf) again(fail int, applied, dead bool) *shelf {
	return &shelf{db: s.db, fail: fail, applied: applied, dead: dead}
}
