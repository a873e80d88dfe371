package hub_test

import (
	"context"
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"fmt"
	"io"
	"log"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats.go"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify/hook"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// outside is what a hub tells by: a real mail server (emersion/go-smtp), a
// receiver of web hooks that checks the signature with the specification's own
// library, and a push service.
type outside struct {
	t      *testing.T
	roots  *x509.CertPool
	port   int // of the mail server
	hooks  *httptest.Server
	pushes *httptest.Server
	secret string

	mu     sync.Mutex
	mails  []string
	hooked []string
	pushed []http.Header
}

func openOutside(t *testing.T) *outside {
	t.Helper()
	o := &outside{t: t, secret: hook.NewSecret()}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	c := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, c, c, key.Public(), key)
	require.NoError(t, err)
	leaf, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	o.roots = x509.NewCertPool()
	o.roots.AddCert(leaf)
	conf := &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}, MinVersion: tls.VersionTLS12}

	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	o.port = l.Addr().(*net.TCPAddr).Port
	server := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return &inbox{o: o}, nil }))
	server.Domain, server.ErrorLog, server.TLSConfig = "mx.example", log.New(io.Discard, "", 0), conf
	ended := make(chan struct{})
	go func() { defer close(ended); _ = server.Serve(l) }()
	t.Cleanup(func() { _ = server.Close(); <-ended })

	secure := func(f http.HandlerFunc) *httptest.Server {
		s := httptest.NewUnstartedServer(f)
		s.TLS = conf.Clone()
		s.StartTLS()
		t.Cleanup(s.Close)
		return s
	}
	o.hooks, o.pushes = secure(o.hook), secure(o.push)
	return o
}

type inbox struct {
	o  *outside
	to string
}

func (*inbox) Reset()                               {}
func (*inbox) Logout() error                        { return nil }
func (*inbox) Mail(string, *smtp.MailOptions) error { return nil }
func (x *inbox) Rcpt(to string, _ *smtp.RcptOptions) error {
	x.to = to
	return nil
}

func (x *inbox) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	x.o.mu.Lock()
	defer x.o.mu.Unlock()
	x.o.mails = append(x.o.mails, x.to+"\n"+string(text))
	return err
}

func (o *outside) hook(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	verifier, err2 := standardwebhooks.NewWebhook(o.secret)
	if err != nil || err2 != nil || verifier.Verify(body, r.Header) != nil {
		w.WriteHeader(http.StatusUnauthorized)
		return
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	o.hooked = append(o.hooked, string(body))
}

func (o *outside) push(w http.ResponseWriter, r *http.Request) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.pushed = append(o.pushed, r.Header.Clone())
	w.WriteHeader(http.StatusCreated)
}

// had counts what came that has all of some words.
func (o *outside) had(list *[]string, words ...string) (n int) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, text := range *list {
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) }) {
			n++
		}
	}
	return n
}

func (o *outside) hadPushes() int {
	o.mu.Lock()
	defer o.mu.Unlock()
	return len(o.pushed)
}

// routes writes a route file that uses all of it.
func (o *outside) routes(dir string) string {
	o.t.Helper()
	require.NoError(o.t, os.WriteFile(filepath.Join(dir, "screen.secret"), []byte(o.secret), 0o600))
	path := filepath.Join(dir, "routes.yaml")
	require.NoError(o.t, os.WriteFile(path, fmt.Appendf(nil, goodRoutes, o.hooks.URL, o.port), 0o600))
	return path
}

const goodRoutes = `
routes:
  - name: all
    sites: [mill]
    ladder:
      - roles: [foreman]
        hooks: [screen]
      - after: 2m
        roles: [dispatcher]
hooks:
  - name: screen
    url: %s/alerts
    secret_file: screen.secret
mail:
  server: 127.0.0.1
  port: %d
  tls: starttls
  from: hub@builder.example
push:
  contact: mailto:keeper@builder.example
`

// readPush makes a subscription as a browser does.
func readPush() (*ecdh.PrivateKey, api.PushSubscription, error) {
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		return nil, api.PushSubscription{}, err
	}
	enc := base64.RawURLEncoding
	return key, api.PushSubscription{Endpoint: "https://push.example/1", P256DH: enc.EncodeToString(key.PublicKey().Bytes()), Auth: enc.EncodeToString(make([]byte, 16))}, nil
}

// toldCompany is a company whose foreman has a phone, a mailbox and a browser.
type toldCompany struct {
	*company
	out   *outside
	id    stream.Identity // of the foreman's phone
	nc    *nats.Conn
	phone *nats.Subscription
	mail  string
}

func openTold(t *testing.T, change func(*hub.Config)) *toldCompany {
	t.Helper()
	out := openOutside(t)
	conf := t.TempDir()
	tc := &toldCompany{out: out}
	tc.company = openCompany(t, func(c *hub.Config) {
		c.Routes, c.Roots, c.PushPrivate = out.routes(conf), out.roots, true
		if change != nil {
			change(c)
		}
	})
	ana := tc.person("Ana", api.Roles{"mill": {events.Foreman}})
	tc.mail = "ana@builder.example"
	require.NoError(t, tc.local.Post(t.Context(), api.PersonPath(ana)+"/contact", api.Contact{Mail: &tc.mail}, nil))
	tc.person("Ike", api.Roles{"mill": {events.Dispatcher}})
	tc.id = tc.company.phone(ana, "mill")
	tc.listen()
	tc.hub.LookAtRoutes() // now that there is somebody whom the file can name
	return tc
}

func (c *toldCompany) listen() {
	c.t.Helper()
	var err error
	c.nc, err = stream.DialAs(c.hub.ClientURL(), "phone", nil, c.id, nats.Timeout(patience))
	require.NoError(c.t, err)
	c.t.Cleanup(c.nc.Close)
	c.phone, err = c.nc.SubscribeSync(stream.ToldSubject(c.id.Source))
	require.NoError(c.t, err)
	require.NoError(c.t, c.nc.Flush())
}

func (c *toldCompany) next() (body notice.Body) {
	c.t.Helper()
	m, err := c.phone.NextMsg(patience)
	require.NoError(c.t, err)
	require.NoError(c.t, json.Unmarshal(m.Data, &body))
	return body
}

// say records an event on the foreman's phone.
func (c *toldCompany) say(kind events.Kind, wall string, data events.Data) {
	c.t.Helper()
	body := encodedBody(c.t, made(c.id, kind, wall, data))
	_, err := c.as(c.id).PostEvent(c.t.Context(), body, c.id.Sign(body))
	require.NoError(c.t, err)
}

// moved lays a wall out and reports a form that gave way: an urgent alert.
func (c *toldCompany) moved() {
	c.t.Helper()
	c.say("wall.laid-out", "a", laidOut("North 2"))
	c.gives()
}

// laidOut is a layout of a wall that people have a name for.
func laidOut(name string) events.Data {
	d := *layout().(*events.WallLaidOut)
	d.Name = name
	return &d
}

func (c *toldCompany) gives() {
	c.t.Helper()
	at, by := 2.0, 40.0
	c.say("form.moved", "a", &events.FormMoved{AtM: &at, MM: &by, What: "bulge"})
}

func (c *toldCompany) listed(query url.Values) []api.ToldRow {
	c.t.Helper()
	var out api.Told
	_, err := c.local.Get(c.t.Context(), api.PathTold, query, &out)
	require.NoError(c.t, err)
	return out.Told
}

func (c *toldCompany) settle() {
	c.t.Helper()
	ctx, cancel := context.WithTimeout(c.t.Context(), time.Minute)
	defer cancel()
	require.NoError(c.t, c.hub.Settle(ctx))
}

func (c *toldCompany) eventually(what string, holds func() bool) {
	c.t.Helper()
	require.Eventually(c.t, holds, time.Minute, 50*time.Millisecond, what)
}

func (c *toldCompany) states() map[string]string {
	states := map[string]string{}
	for _, t := range c.listed(url.Values{"site": {"mill"}}) {
		if t.What == "raised" && t.Kind == "form-moved" {
			states[t.Channel] = t.State
		}
	}
	return states
}

// An urgent alert of a real event reaches everybody by everything: a phone, mail,
// a browser, a web hook. What came of it is in the record. A restart tells nobody
// anything again.
func TestUrgentAlertReachesAll(t *testing.T) {
	c := openTold(t, nil)
	_, browser, err := readPush()
	require.NoError(t, err)
	browser.Endpoint = c.out.pushes.URL + "/browser-1"
	require.NoError(t, c.as(c.id).Post(t.Context(), api.PathPush, browser, nil))
	c.moved()

	body := c.next()
	require.Equal(t, "form-moved", body.Kind)
	require.True(t, body.Urgent)
	require.Contains(t, body.First, ": mill, North 2,", "a site that was never opened has a token alone")
	require.Contains(t, body.Link, "/walls/mill/a")
	c.eventually("all four", func() bool { return len(c.states()) == 4 })
	c.eventually("accepted by all four", func() bool {
		s := c.states()
		return s["phone"] == "accepted" && s["mail"] == "accepted" && s["push"] == "accepted" && s["hook"] == "accepted"
	})
	require.Equal(t, 1, c.out.had(&c.out.mails, c.mail, "From: ", "North 2"))
	require.Equal(t, 1, c.out.had(&c.out.hooked, `"kind":"form-moved"`, `"type":"earlyage.told.raised.v1"`))
	require.Equal(t, 1, c.out.hadPushes())

	c.settle()
	var alerts api.Alerts
	_, err = c.local.Get(t.Context(), api.PathAlerts, nil, &alerts)
	require.NoError(t, err)
	require.Len(t, alerts.Alerts, 1)
	var channels []string
	for _, told := range alerts.Alerts[0].Told {
		channels = append(channels, told.Channel)
	}
	require.ElementsMatch(t, []string{"phone", "mail", "push", "hook"}, channels)

	// Only what the page says it has shown has been seen.
	c.say("alert.shown", "a", &events.AlertShown{Alert: body.Alerts[0], Kind: body.Kind, State: notice.Raised, Message: body.ID, At: time.Now().UTC()})
	c.eventually("shown", func() bool { return c.states()["phone"] == "shown" })

	// A foreman sees their own, somebody of another site nothing.
	var own api.Told
	_, err = c.as(c.id).Get(t.Context(), api.PathTold, nil, &own)
	require.NoError(t, err)
	require.Len(t, own.Told, 3)
	require.Equal(t, "Ana", own.Told[0].Name)
	elsewhere := c.one(events.Foreman, "yard")
	_, err = c.as(elsewhere).Get(t.Context(), api.PathTold, nil, &own)
	require.NoError(t, err)
	require.Empty(t, own.Told)

	var before api.Told
	_, err = c.local.Get(t.Context(), api.PathTold, nil, &before)
	require.NoError(t, err)
	c.nc.Close()
	c.stop()
	c.start()
	c.listen()
	c.settle()
	require.Len(t, c.listed(nil), len(before.Told))
	require.Equal(t, 1, c.out.had(&c.out.mails, c.mail))
	require.Equal(t, 1, c.out.had(&c.out.hooked, `"kind":"form-moved"`))
	require.Equal(t, 1, c.out.hadPushes())
	require.NoError(t, c.nc.Flush())
	waiting, _, err := c.phone.Pending()
	require.NoError(t, err)
	require.Zero(t, waiting)
}

// Who takes an acknowledgement back has everybody told anew. The record judges who
// may: a void of another's wall is none.
func TestAVoidedAcknowledgementTellsAnew(t *testing.T) {
	c := openTold(t, nil)
	c.moved()
	first := c.next()
	ack := made(c.id, "alert.acknowledged", "a", &events.AlertAcknowledged{Alert: first.Alerts[0], Kind: first.Kind, At: time.Now().UTC()})
	body := encodedBody(t, ack)
	_, err := c.as(c.id).PostEvent(t.Context(), body, c.id.Sign(body))
	require.NoError(t, err)
	c.settle()
	c.say("record.voided", "b", &events.RecordVoided{Target: events.Target(ack.Key()), Reason: "of a wall that it is not on"})
	c.settle()
	require.Equal(t, 1, c.out.had(&c.out.mails, c.mail, "North 2"))
	c.say("record.voided", "a", &events.RecordVoided{Target: events.Target(ack.Key()), Reason: "pressed with a glove"})
	again := c.next()
	for !slices.Equal(first.Alerts, again.Alerts) { // a void that names nothing raises alerts of its own
		again = c.next()
	}
	require.NotEqual(t, first.ID, again.ID)
	c.eventually("mail too", func() bool { return c.out.had(&c.out.mails, c.mail, "North 2") == 2 })
}

// Somebody whom nothing reaches is an alert of its own, told to the dispatcher.
func TestUnroutableAlertIsSaid(t *testing.T) {
	c := openTold(t, func(cfg *hub.Config) { cfg.Routes = "" })
	crew, noor := c.one(events.Crew, "mill"), c.person("Noor", api.Roles{"mill": {events.Dispatcher}})
	require.NoError(t, c.local.Post(t.Context(), api.DevicePath(c.id.Source)+"/revoke", api.Revocation{Reason: "lost"}, nil))
	c.id = c.company.phone(noor, "mill")
	c.nc.Close()
	c.listen()
	listening := c.id
	c.say("wall.laid-out", "a", laidOut("North 2"))
	c.id = crew
	c.gives()
	c.id = listening

	body := c.next()
	require.Equal(t, scheduler.AlertUntold, body.Kind)
	c.eventually("it stands in the record", func() bool {
		var alerts api.Alerts
		_, err := c.local.Get(t.Context(), api.PathAlerts, nil, &alerts)
		require.NoError(t, err)
		return slices.ContainsFunc(alerts.Alerts, func(a face.Alarm) bool {
			return a.Kind == scheduler.AlertUntold && strings.Contains(a.Text, "form-moved on North 2, ") && strings.Contains(a.Text, "nothing reaches p-") && a.Cleared.IsZero()
		})
	})
	require.NotEmpty(t, c.listed(url.Values{"undelivered": {"1"}}))
	var well api.Health
	_, err := c.local.Get(t.Context(), api.PathHealth, nil, &well)
	require.NoError(t, err)
	require.Positive(t, well.Undelivered)
}

// A route file that is refused leaves the one before in force, and the hub says so
// with the line; so does a secret that is not there.
func TestRefusedRouteFileStaysOut(t *testing.T) {
	conf := ""
	c := openTold(t, func(cfg *hub.Config) { conf = cfg.Routes })
	problems := func() string {
		var h api.Health
		_, err := c.local.Get(t.Context(), api.PathHealth, nil, &h)
		require.NoError(t, err)
		return strings.Join(h.Problems, "\n")
	}
	require.Empty(t, problems())
	good, err := os.ReadFile(conf)
	require.NoError(t, err)
	reaches := func() (channels []string) {
		var out api.Routes
		_, err := c.local.Get(t.Context(), api.PathRoutes, url.Values{"site": {"mill"}, "kind": {"form-moved"}}, &out)
		require.NoError(t, err)
		require.NotEmpty(t, out.File)
		return out.Told[0].Rungs[0].Whom[0].Channels
	}
	require.Equal(t, []string{"phone", "mail"}, reaches())

	bad := strings.Replace(string(good), "roles: [foreman]", "roles: [foremen]", 1)
	require.NoError(t, os.WriteFile(conf, []byte(bad), 0o600))
	c.hub.LookAtRoutes()
	require.Contains(t, problems(), "routes.yaml:6: ")
	require.Contains(t, problems(), "foremen")
	require.Equal(t, []string{"phone", "mail"}, reaches())

	gone := strings.Replace(string(good), "secret_file: screen.secret", "secret_file: gone.secret", 1)
	require.NoError(t, os.WriteFile(conf, []byte(gone), 0o600))
	c.hub.LookAtRoutes()
	require.Contains(t, problems(), "hook cannot be set up")
	require.NotContains(t, problems(), c.out.secret)

	require.NoError(t, os.WriteFile(conf, good, 0o600))
	c.hub.LookAtRoutes()
	require.Empty(t, problems())
	c.moved()
	require.Equal(t, "form-moved", c.next().Kind)
	c.eventually("the web hook", func() bool { return c.out.had(&c.out.hooked, `"kind":"form-moved"`) == 1 })
}

// Telling a person that it is a test says what came of each way.
func TestToldTest(t *testing.T) {
	c := openTold(t, nil)
	var out api.Told
	require.NoError(t, c.local.Post(t.Context(), api.PathToldTest, api.ToldTest{Person: c.id.Person}, &out))
	require.Len(t, out.Told, 2)
	for _, row := range out.Told {
		require.Equal(t, "accepted", row.State, "%+v", row)
	}
	require.Equal(t, "test", c.next().What)
	require.Equal(t, 1, c.out.had(&c.out.mails, c.mail))
	require.Error(t, c.local.Post(t.Context(), api.PathToldTest, api.ToldTest{Person: "p-none"}, &out))
}
