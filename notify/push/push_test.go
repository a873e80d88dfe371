package push_test

import (
	"crypto/ecdh"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/notify/hook/post"
	"earlyage/notify/internal/conformance"
	"earlyage/notify/notice"
	"earlyage/notify/push"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const path = "/send/c4pab1l1ty"

func newKeys(t testing.TB) push.Keys {
	t.Helper()
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	require.NoError(t, err)
	enc := base64.RawURLEncoding
	return push.Keys{Public: enc.EncodeToString(key.PublicKey().Bytes()), Private: enc.EncodeToString(key.Bytes())}
}

func newPush(t testing.TB, s *httptest.Server, set func(*push.Config)) *push.Push {
	t.Helper()
	pool := x509.NewCertPool()
	pool.AddCert(s.Certificate())
	c := push.Config{Keys: newKeys(t), Contact: "mailto:hub@mill.example", Roots: pool, Private: true}
	set(&c)
	p, err := push.New(c)
	require.NoError(t, err)
	return p
}

// arrived is a message as a browser gets it.
type arrived struct {
	head http.Header
	body notice.Body
	size int
}

// open checks a request and decrypts it.
func open(b browser, public, origin string, head http.Header, body []byte) (arrived, error) {
	a := arrived{head: head, size: len(body)}
	if _, err := believe(head, public, origin, time.Now()); err != nil {
		return a, err
	}
	if head.Get("Content-Encoding") != "aes128gcm" || head.Get("TTL") == "" {
		return a, fmt.Errorf("headers %v", head)
	}
	text, err := b.decrypt(body)
	if err != nil {
		return a, err
	}
	return a, json.Unmarshal(text, &a.body)
}

func TestConformance(t *testing.T) {
	conformance.Run(t, func(t *testing.T) conformance.Bench {
		keys, b := newKeys(t), newBrowser(t)
		var web *conformance.Web
		web = conformance.NewWeb(t, func(r conformance.Request) (string, error) {
			a, err := open(b, keys.Public, web.URL, r.Header, r.Bytes)
			return a.body.ID, err
		})
		var log conformance.Log
		p := newPush(t, web.Server, func(c *push.Config) { c.Keys, c.Log = keys, log.Logger() })
		sub := b.subscribe(web.URL + path)
		broken := []notice.Reader{}
		for _, spoil := range []func(*notice.Push){
			func(s *notice.Push) { s.Endpoint = strings.Replace(s.Endpoint, "https", "http", 1) },
			func(s *notice.Push) { s.P256DH = "BP4z" },
			func(s *notice.Push) { s.P256DH = strings.Repeat("A", 87) },
			func(s *notice.Push) { s.Auth = "%" },
			func(s *notice.Push) { s.Auth = "AAAA" },
		} {
			s := sub
			spoil(&s)
			broken = append(broken, notice.Reader{Pushes: []notice.Push{s}})
		}
		return conformance.Bench{
			Channel: p, Reader: notice.Reader{Person: "p-1", Pushes: []notice.Push{sub}}, Nobody: broken,
			Set: web.Set, Taken: web.Taken, Reached: web.Reached, Secrets: []string{path, sub.Auth, sub.P256DH, keys.Private}, Log: log.String,
		}
	})
}

// service is a push service whose answers a test chooses.
type service struct {
	*httptest.Server
	browser browser
	keys    push.Keys
	sub     notice.Push

	mu     sync.Mutex
	answer func(arrived) int
	came   []arrived
}

func newService(t *testing.T) *service {
	s := &service{browser: newBrowser(t), keys: newKeys(t), answer: func(arrived) int { return http.StatusCreated }}
	s.Server = httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body := make([]byte, 0, 5000)
		buf := make([]byte, 1000)
		for {
			n, err := r.Body.Read(buf)
			body = append(body, buf[:n]...)
			if err != nil {
				break
			}
		}
		a, err := open(s.browser, s.keys.Public, s.URL, r.Header, body)
		if err != nil {
			t.Errorf("a request that does not hold: %v", err)
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		s.came = append(s.came, a)
		w.WriteHeader(s.answer(a))
	}))
	t.Cleanup(s.Close)
	s.sub = s.browser.subscribe(s.URL + path)
	return s
}

func (s *service) message(id string) notice.Message {
	return conformance.Message(id, notice.Reader{Pushes: []notice.Push{s.sub}}, "push")
}

func (s *service) last(t *testing.T) arrived {
	t.Helper()
	require.NotEmpty(t, s.came)
	return s.came[len(s.came)-1]
}

func TestHeaders(t *testing.T) {
	s := newService(t)
	now := time.Date(2026, 7, 3, 9, 5, 0, 0, time.UTC)
	p := newPush(t, s.Server, func(c *push.Config) { c.Keys, c.Now = s.keys, func() time.Time { return now } })
	topics := map[string]string{}
	for name, c := range map[string]struct {
		change       func(*notice.Message)
		ttl, urgency string
	}{
		"urgent":       {func(*notice.Message) {}, "1200", "high"},
		"high":         {func(m *notice.Message) { m.Urgent, m.Priority = false, "high" }, "1200", "high"},
		"medium":       {func(m *notice.Message) { m.Urgent, m.Priority = false, "medium" }, "1200", "normal"},
		"low":          {func(m *notice.Message) { m.Urgent, m.Priority = false, "low" }, "1200", "low"},
		"no end":       {func(m *notice.Message) { m.Until = time.Time{} }, "43200", "high"},
		"over":         {func(m *notice.Message) { m.Until = now.Add(-time.Hour) }, "0", "high"},
		"far":          {func(m *notice.Message) { m.Until = now.AddDate(1, 0, 0) }, "2419200", "high"},
		"cleared":      {func(m *notice.Message) { m.What = notice.Cleared }, "1200", "high"},
		"second alert": {func(m *notice.Message) { m.Alerts = []string{"other"} }, "1200", "high"},
		"sheet":        {func(m *notice.Message) { m.Alerts, m.What = nil, notice.Sheet }, "1200", "high"},
	} {
		m := s.message("m-" + strings.ReplaceAll(name, " ", "-"))
		m.Alerts = []string{"one"}
		c.change(&m)
		require.NoError(t, p.Send(t.Context(), m), name)
		a := s.last(t)
		require.Equal(t, c.ttl, a.head.Get("TTL"), name)
		require.Equal(t, c.urgency, a.head.Get("Urgency"), name)
		// RFC 8030, 5.4: at most 32 characters of the base64url alphabet.
		require.Regexp(t, `^[A-Za-z0-9_-]{1,32}$`, a.head.Get("Topic"), name)
		require.Equal(t, m.Body(), a.body, name)
		topics[name] = a.head.Get("Topic")
	}
	require.Equal(t, topics["urgent"], topics["cleared"], "the end of an alert takes its place")
	require.NotEqual(t, topics["urgent"], topics["second alert"])
	require.NotEqual(t, topics["urgent"], topics["sheet"])
}

// RFC 8030, 7.2: a service takes 4096 bytes, and may take more.
func TestSize(t *testing.T) {
	s := newService(t)
	p := newPush(t, s.Server, func(c *push.Config) { c.Keys = s.keys })
	for _, n := range []int{0, 1, 500, 3000, 4000, 100_000} {
		m := s.message(fmt.Sprintf("m-%d", n))
		m.Plain = strings.Repeat("é", n)
		require.NoError(t, p.Send(t.Context(), m))
		a := s.last(t)
		require.Equal(t, 4096, a.size, "every message is as long as another")
		require.Equal(t, m.First, a.body.First)
		require.Equal(t, n <= 500, a.body.Plain == m.Plain, "%d", n)
	}
	m := s.message("m-first")
	m.First, m.Plain = strings.Repeat("ß", 5000), strings.Repeat("x", 9000)
	require.NoError(t, p.Send(t.Context(), m))
	require.True(t, strings.HasSuffix(s.last(t).body.First, "ß…"), "cut between two characters")

	// One that takes little gets what matters.
	s.answer = func(a arrived) int {
		if a.size > 2048 {
			return http.StatusRequestEntityTooLarge
		}
		return http.StatusCreated
	}
	m = s.message("m-small")
	m.Plain = strings.Repeat("x", 2000)
	require.NoError(t, p.Send(t.Context(), m))
	require.Equal(t, 1024, s.last(t).size)
	require.Equal(t, m.Short, s.last(t).body.Short)
	require.Empty(t, s.last(t).body.Plain)
	s.answer = func(arrived) int { return http.StatusRequestEntityTooLarge }
	require.ErrorIs(t, p.Send(t.Context(), s.message("m-none")), notice.ErrRefused)
}

func TestAnswers(t *testing.T) {
	s := newService(t)
	var gone []notice.Push
	p := newPush(t, s.Server, func(c *push.Config) {
		c.Keys, c.Gone = s.keys, func(g notice.Push) { gone = append(gone, g) }
	})
	send := func(code int) error {
		s.answer = func(arrived) int { return code }
		return p.Send(t.Context(), s.message(fmt.Sprintf("m-%d", code)))
	}
	for _, code := range []int{200, 201, 202} {
		require.NoError(t, send(code))
	}
	for _, code := range []int{404, 410} {
		gone = nil
		err := send(code)
		require.ErrorIs(t, err, notice.ErrRefused)
		var g *push.Gone
		require.ErrorAs(t, err, &g)
		require.Equal(t, s.sub, g.Push)
		require.Equal(t, []notice.Push{s.sub}, gone, "it is forgotten")
	}
	gone = nil
	for _, code := range []int{400, 405, 413, 422} {
		require.ErrorIs(t, send(code), notice.ErrRefused, "%d", code)
	}
	for _, code := range []int{401, 403} {
		err := send(code)
		require.False(t, errors.Is(err, notice.ErrRefused), "%d", code)
		require.ErrorContains(t, err, "the hub's key or clock is not believed")
	}
	for _, code := range []int{302, 429, 500, 503} {
		err := send(code)
		require.False(t, errors.Is(err, notice.ErrRefused), "%d", code)
		require.ErrorContains(t, err, fmt.Sprint(code))
	}
	require.Empty(t, gone)
}

// One browser of a reader that is gone does not keep the message from the other.
func TestSeveralBrowsers(t *testing.T) {
	s := newService(t)
	second := s.sub
	second.Endpoint += "-2"
	var gone []notice.Push
	p := newPush(t, s.Server, func(c *push.Config) {
		c.Keys, c.Gone = s.keys, func(g notice.Push) { gone = append(gone, g) }
	})
	m := s.message("m1")
	m.To.Pushes = []notice.Push{s.sub, second}
	n := 0
	s.answer = func(arrived) int {
		n++
		return map[bool]int{true: http.StatusGone, false: http.StatusCreated}[n == 1]
	}
	require.NoError(t, p.Send(t.Context(), m))
	require.Equal(t, []notice.Push{s.sub}, gone)
	require.Len(t, s.came, 2)
}

// A subscription is what somebody's browser says: it may not lead into the hub's
// own network.
func TestNotIntoOwnNetwork(t *testing.T) {
	s := newService(t)
	p := newPush(t, s.Server, func(c *push.Config) { c.Keys, c.Private = s.keys, false })
	err := p.Send(t.Context(), s.message("m1"))
	require.ErrorIs(t, err, post.ErrNotPublic)
	require.Empty(t, s.came)
}

func TestConfig(t *testing.T) {
	a, b := newKeys(t), newKeys(t)
	for want, c := range map[string]push.Config{
		"private key is not base64url":                    {Keys: push.Keys{Private: "%", Public: a.Public}, Contact: "mailto:a@b.example"},
		"private key is not one of P-256":                 {Keys: push.Keys{Private: "AAAA", Public: a.Public}, Contact: "mailto:a@b.example"},
		"public key does not belong to the private one":   {Keys: push.Keys{Private: a.Private, Public: b.Public}, Contact: "mailto:a@b.example"},
		"Contact: neither mailto: nor a URL":              {Keys: a, Contact: "a@b.example"},
		"Contact: not an e-mail address":                  {Keys: a, Contact: "mailto:Hub <a@b.example>"},
		"Contact: neither mailto: nor a URL: not a URL":   {Keys: a, Contact: "https://\x7f"},
		"Contact: neither mailto: nor a URL: not https":   {Keys: a, Contact: "http://x.example"},
		"Contact: neither mailto: nor a URL: no host":     {Keys: a, Contact: "https://"},
		"Contact: neither mailto: nor a URL: a user name": {Keys: a, Contact: "https://u@x.example"},
	} {
		_, err := push.New(c)
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), a.Private)
	}
	_, err := push.New(push.Config{Keys: a, Contact: "https://mill.example/contact"})
	require.NoError(t, err)
}
