package lookout_test

import (
	"bytes"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/go-json-experiment/json"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/notify/hook"
	"earlyage/notify/internal/conformance"
	"earlyage/notify/lookout"
	"earlyage/notify/notice"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// sent is a message that a carrier was given.
type sent struct {
	notice.Message
	after time.Duration // since the test began
}

// carrier is a channel whose answers a test chooses.
type carrier struct {
	name   string
	begun  time.Time
	answer func(n int) error // of the n-th try; nil: accepted

	mu  sync.Mutex
	all []sent
}

func (c *carrier) Name() string { return c.name }

func (c *carrier) Reaches(r notice.Reader) bool {
	return c.name == "mail" && r.Mail != "" || c.name == "hook" && len(r.Hooks) > 0
}

func (c *carrier) Send(ctx context.Context, m notice.Message) error {
	c.mu.Lock()
	c.all = append(c.all, sent{m, time.Since(c.begun)})
	n, answer := len(c.all), c.answer
	c.mu.Unlock()
	if answer == nil {
		return nil
	}
	err := answer(n)
	if errors.Is(err, errHangs) {
		<-ctx.Done()
		return ctx.Err()
	}
	return err
}

func (c *carrier) set(answer func(n int) error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.answer = answer
}

func (c *carrier) got() []sent {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.Clone(c.all)
}

var errHangs = errors.New("it hangs")

var keeper = notice.Reader{Person: "p-keeper", Name: "A keeper", Mail: "keeper@mill.example"}

// stand is a lookout in a bubble, with its carriers.
type stand struct {
	*lookout.Lookout
	mail, hook *carrier
	secret     string
	n          int
	stop       func()
}

func newStand(t *testing.T, readers ...notice.Reader) *stand {
	t.Helper()
	s := &stand{mail: &carrier{name: "mail", begun: time.Now()}, hook: &carrier{name: "hook", begun: time.Now()}, secret: hook.NewSecret()}
	var err error
	s.Lookout, err = lookout.New(lookout.Config{Hub: "Hub of the mill", Secrets: []string{s.secret}, Readers: readers, Channels: []notice.Channel{s.mail, s.hook}})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	s.stop = func() {
		cancel()
		require.NoError(t, <-ended)
	}
	return s
}

// request is a heartbeat that nobody has sent yet.
func request(t *testing.T, secret, id string, at time.Time, h lookout.Health) *http.Request {
	t.Helper()
	sign, err := hook.NewSigner(secret)
	require.NoError(t, err)
	body, err := json.Marshal(map[string]any{"type": "earlyage.hub.beat.v1", "timestamp": at.UTC(), "data": h})
	require.NoError(t, err)
	r, err := sign.Request("https://lookout.example/beat", id, at, body)
	require.NoError(t, err)
	return r
}

func (s *stand) serve(r *http.Request) int {
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w.Code
}

func (s *stand) beat(t *testing.T, h lookout.Health) {
	t.Helper()
	s.n++
	require.Equal(t, http.StatusNoContent, s.serve(request(t, s.secret, fmt.Sprintf("b%d", s.n), time.Now(), h)))
	synctest.Wait()
}

func TestTellsOfSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		other := notice.Reader{Person: "p-other", Mail: "other@mill.example", Hooks: []string{"office"}}
		s := newStand(t, keeper, other)
		for range 10 {
			s.beat(t, good)
			time.Sleep(time.Minute)
		}
		require.Empty(t, s.mail.got())
		time.Sleep(5 * time.Minute)
		synctest.Wait()
		got := s.mail.got()
		require.Len(t, got, 2)
		require.Len(t, s.hook.got(), 1)
		ids := map[string]bool{s.hook.got()[0].ID: true}
		for _, m := range got {
			require.Equal(t, 9*time.Minute+150*time.Second, m.after)
			require.Equal(t, notice.Raised, m.What)
			require.True(t, m.Urgent)
			require.Equal(t, "Hub of the mill is silent since 2000-01-01 00:09 UTC", m.First)
			require.Contains(t, m.Plain, "Call the sites that are pouring")
			require.LessOrEqual(t, len([]rune(m.Short)), 160)
			ids[m.ID] = true
		}
		require.Len(t, ids, 3, "each message has an id of its own")

		time.Sleep(15 * time.Minute)
		synctest.Wait()
		require.Len(t, s.mail.got(), 4)
		s.beat(t, lookout.Health{OK: true, Undelivered: 3})
		got = s.mail.got()
		require.Len(t, got, 6)
		require.Equal(t, notice.Cleared, got[5].What)
		require.False(t, got[5].Urgent)
		require.Contains(t, got[5].First, "is back at 2000-01-01 00:30 UTC: it was silent since 2000-01-01 00:09 UTC")
		require.Contains(t, got[5].Plain, "nobody has had yet: 3")
		require.Equal(t, got[0].Alerts, got[5].Alerts, "the end of the same")
		s.stop()
	})
}

func TestTellsWhatTheHubSaysOfItself(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStand(t, keeper)
		for range 8 {
			s.beat(t, bad)
			time.Sleep(time.Minute)
		}
		require.Len(t, s.mail.got(), 1)
		require.Equal(t, 5*time.Minute, s.mail.got()[0].after)
		require.Contains(t, s.mail.got()[0].Plain, bad.Why)
		// What was due and is not done is not well, whatever the hub says.
		for range 13 {
			s.beat(t, lookout.Health{OK: true, NextDue: time.Now().Add(-6 * time.Minute)})
			time.Sleep(time.Minute)
		}
		require.Len(t, s.mail.got(), 2, "still unwell, and told again")
		require.Contains(t, s.mail.got()[1].Plain, "what was due at")
		s.beat(t, lookout.Health{OK: true, NextDue: time.Now().Add(-4 * time.Minute)})
		require.Len(t, s.mail.got(), 3)
		s.stop()
	})
}

// A channel that fails, or fails after it delivered, is tried again with the same
// message; one that refuses is not.
func TestTriesAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		both := notice.Reader{Person: "p-both", Mail: "both@mill.example", Hooks: []string{"office"}}
		s := newStand(t, both)
		s.mail.set(func(n int) error {
			switch {
			case n == 1:
				return errHangs
			case n < 5:
				return errors.New("delivered, and reported failed")
			}
			return nil
		})
		s.hook.set(func(int) error { return fmt.Errorf("gone: %w", notice.ErrRefused) })
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		got := s.mail.got()
		require.Len(t, got, 5)
		for _, m := range got {
			require.Equal(t, got[0].ID, m.ID)
		}
		require.Len(t, s.hook.got(), 1)
		s.stop()
	})
}

// A message that is still being tried ends when there is something newer to say,
// and a stop ends everything.
func TestTheNewestWordCounts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStand(t, keeper)
		s.mail.set(func(int) error { return errors.New("no way") })
		time.Sleep(5 * time.Minute)
		s.beat(t, good)
		synctest.Wait()
		n := len(s.mail.got())
		require.Equal(t, notice.Cleared, s.mail.got()[n-1].What)
		for range 5 {
			time.Sleep(time.Minute)
			s.beat(t, good)
		}
		for _, m := range s.mail.got()[n:] {
			require.Equal(t, notice.Cleared, m.What, "nobody is told of a silence that is over")
		}
		s.mail.set(func(int) error { return errHangs })
		time.Sleep(20 * time.Minute)
		s.stop()
	})
}

// A heartbeat counts once, in its time, and with the right signature.
func TestWhatDoesNotCount(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newStand(t, keeper)
		copied := func(r *http.Request) *http.Request {
			c := r.Clone(context.Background())
			body, err := r.GetBody()
			require.NoError(t, err)
			c.Body = body
			return c
		}
		first := request(t, s.secret, "first", time.Now(), good)
		require.Equal(t, http.StatusNoContent, s.serve(copied(first)))
		time.Sleep(time.Minute)
		for _, c := range []struct {
			name string
			code int
			r    *http.Request
		}{
			{"had already", 204, copied(first)},
			{"another secret", 401, request(t, hook.NewSecret(), "b1", time.Now(), good)},
			{"too early", 400, request(t, s.secret, "b2", time.Now().Add(301*time.Second), good)},
			{"too late", 400, request(t, s.secret, "b3", time.Now().Add(-301*time.Second), good)},
			{"not posted", 405, httptest.NewRequest(http.MethodGet, "/beat", nil)},
			{"not signed", 401, httptest.NewRequest(http.MethodPost, "/beat", strings.NewReader(`{"type":"earlyage.hub.beat.v1"}`))},
			{"too long", 400, httptest.NewRequest(http.MethodPost, "/beat", bytes.NewReader(make([]byte, 1<<20)))},
			{"changed", 401, func() *http.Request { r := copied(first); r.Header.Set("webhook-id", "second"); return r }()},
			{"younger", 401, func() *http.Request {
				r := copied(first)
				r.Header.Set("webhook-timestamp", fmt.Sprint(time.Now().Unix()))
				return r
			}()},
		} {
			require.Equal(t, c.code, s.serve(c.r), c.name)
		}
		// None of them has held the silence off, a replay every second neither.
		for range 89 {
			time.Sleep(time.Second)
			require.Equal(t, http.StatusNoContent, s.serve(copied(first)))
			require.Empty(t, s.mail.got())
		}
		time.Sleep(time.Second)
		synctest.Wait()
		require.Len(t, s.mail.got(), 1)
		require.Contains(t, s.mail.got()[0].Plain, "off the lookout's clock", "it says what is wrong with those that come")
		// Six minutes later the id is forgotten no sooner than the timestamp keeps it out.
		for range 20 {
			time.Sleep(time.Minute)
			require.Contains(t, []int{204, 400}, s.serve(copied(first)))
		}
		require.Equal(t, http.StatusBadRequest, s.serve(copied(first)))
		synctest.Wait()
		for _, m := range s.mail.got() {
			require.Equal(t, notice.Raised, m.What)
		}
		s.stop()
	})
}

func roots(s *httptest.Server) *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(s.Certificate())
	return pool
}

// Over real sockets: what the hub sends, the lookout takes, and the library of the
// specification believes it as well.
func TestBeatReachesTheLookout(t *testing.T) {
	old, young := hook.NewSecret(), hook.NewSecret()
	l, err := lookout.New(lookout.Config{Secrets: []string{old}, Readers: []notice.Reader{keeper}, Channels: []notice.Channel{&carrier{name: "mail", begun: time.Now()}}})
	require.NoError(t, err)
	foreign, err := standardwebhooks.NewWebhook(young)
	require.NoError(t, err)
	codes, ids := make(chan int, 1000), make(chan string, 1000)
	s := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body := new(bytes.Buffer)
		if _, err := body.ReadFrom(r.Body); err != nil {
			t.Errorf("read: %v", err)
		}
		if err := foreign.Verify(body.Bytes(), r.Header); err != nil {
			t.Errorf("verify: %v", err)
		}
		again := r.Clone(context.Background())
		again.Body = io.NopCloser(body)
		rec := httptest.NewRecorder()
		l.ServeHTTP(rec, again)
		w.WriteHeader(rec.Code)
		codes <- rec.Code
		ids <- r.Header.Get("webhook-id")
	}))
	defer s.Close()
	// While the secret changes the hub signs with both.
	b, err := lookout.NewBeat(lookout.BeatConfig{URL: s.URL + "/beat", Secrets: []string{young, old}, Roots: roots(s), Every: time.Millisecond, Health: func() lookout.Health { return good }})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- b.Run(ctx) }()
	seen := map[string]bool{}
	for range 5 {
		require.Equal(t, http.StatusNoContent, <-codes)
		seen[<-ids] = true
	}
	require.Len(t, seen, 5, "each has an id of its own")
	stop()
	require.NoError(t, <-ended)
}

// A lookout that is away or answers badly does not end the heart, and is said once.
func TestBeatGoesOn(t *testing.T) {
	var mu sync.Mutex
	n := 0
	came := make(chan int, 10_000)
	s := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		if n++; n <= 3 {
			w.WriteHeader(http.StatusBadGateway)
		}
		came <- n
	}))
	defer s.Close()
	var log conformance.Log
	b, err := lookout.NewBeat(lookout.BeatConfig{
		URL: s.URL + "/tok-secret", Secrets: []string{hook.NewSecret()}, Roots: roots(s), Every: 20 * time.Millisecond, Health: func() lookout.Health { return good }, Log: log.Logger(),
	})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- b.Run(ctx) }()
	for <-came < 6 {
	}
	stop()
	require.NoError(t, <-ended)
	require.Equal(t, 1, strings.Count(log.String(), "does not reach the lookout"))
	require.Equal(t, 1, strings.Count(log.String(), "reaches the lookout again"))
	require.NotContains(t, log.String(), "tok-secret")
}
