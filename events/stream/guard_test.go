package stream_test

import (
	"fmt"
	"net/http"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

// register is the guard of the tests.
type register struct {
	mu      sync.Mutex
	keys    map[string]stream.Admission
	secrets map[string]string // user to password
	probes  map[string]stream.Admission
	claims  []stream.Claim
	asked   func(stream.Claim) // called before the answer
}

func newRegister() *register {
	return &register{keys: map[string]stream.Admission{}, secrets: map[string]string{}, probes: map[string]stream.Admission{}}
}

func (r *register) Admit(c stream.Claim) (stream.Admission, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.claims = append(r.claims, c)
	if r.asked != nil {
		r.asked(c)
	}
	if a, ok := r.keys[c.Key]; ok && c.Key != "" {
		return a, nil
	}
	if a, ok := r.probes[c.User]; ok && c.User != "" && r.secrets[c.User] == c.Password {
		return a, nil
	}
	return stream.Admission{}, fmt.Errorf("key %q user %q: %w", c.Key, c.User, stream.ErrNotAdmitted)
}

// device enrols a device of a site that may say what some roles may.
func (r *register) device(t testing.TB, site, device string, roles ...events.Role) stream.Identity {
	t.Helper()
	id, err := stream.NewIdentity(events.Source{Site: site, Device: device}, "p-abcdefgh")
	require.NoError(t, err)
	public, err := id.Public()
	require.NoError(t, err)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.keys[public] = stream.Admission{Source: id.Source, Kinds: events.KindsOf(roles...)}
	return id
}

// probe enrols a device that cannot sign.
func (r *register) probe(site, device, wall string, kinds ...events.Kind) stream.Admission {
	a := stream.Admission{Source: events.Source{Site: site, Device: device}, Probe: true, Wall: wall, Kinds: kinds}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.probes[site+"."+device], r.secrets[site+"."+device] = a, "secret-of-"+device
	return a
}

// asks are the claims that the guard has heard.
func (r *register) asks() []stream.Claim {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.Clone(r.claims)
}

func (r *register) onAsk(f func(stream.Claim)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.asked = f
}

func (r *register) admit(public string, a stream.Admission) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.keys[public] = a
}

func (r *register) revoke(id stream.Identity) {
	public, _ := id.Public()
	r.mu.Lock()
	defer r.mu.Unlock()
	delete(r.keys, public)
}

// guarded is a server with a guard, its stream and a hub that answers.
type guarded struct {
	running
	reg *register
}

func guard(t testing.TB, set func(*stream.ServerConfig)) guarded {
	t.Helper()
	reg := newRegister()
	cfg := stream.ServerConfig{Dir: t.TempDir(), Client: "127.0.0.1:0", Guard: reg}
	if set != nil {
		set(&cfg)
	}
	srv := startServerOn(t, cfg)
	hub := connectHub(t, srv)
	return guarded{running{srv, hub, openStream(t, hub)}, reg}
}

// as connects a device, and hands its errors to a channel.
func (g guarded) as(t testing.TB, id stream.Identity, opts ...nats.Option) (*nats.Conn, chan error) {
	t.Helper()
	return dialAs(t, g.srv.ClientURL(), id, opts...)
}

func dialAs(t testing.TB, url string, id stream.Identity, opts ...nats.Option) (*nats.Conn, chan error) {
	t.Helper()
	said := make(chan error, 1000)
	opts = append(opts, nats.Timeout(patience), nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
		select {
		case said <- err:
		default: // a test that provokes so many looks at the first
		}
	}))
	nc, err := stream.DialAs(url, "test", testLog(t), id, opts...)
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	return nc, said
}

// next waits for an error of a connection.
func next(t testing.TB, said chan error) error {
	t.Helper()
	select {
	case err := <-said:
		return err
	case <-time.After(patience):
		t.Fatal("the server refused nothing")
		return nil
	}
}

// subjectsOf lists what the stream holds.
func subjectsOf(t testing.TB, st stream.Reader) []string {
	t.Helper()
	subjects := []string{}
	for _, m := range readAll(t, st) {
		subjects = append(subjects, m.Subject)
	}
	return subjects
}

// wallOf gives a wall that a kind may be about.
func wallOf(k events.Kind) string {
	if k.SiteWide() {
		return "_"
	}
	return "w1"
}

// Each role stores every kind that it may record, and no other.
func TestGuardKindsOfEveryRole(t *testing.T) {
	g := guard(t, nil)
	want := []string{}
	for _, role := range events.Roles() {
		id := g.reg.device(t, "a", "phone-"+string(role), role)
		nc, said := g.as(t, id)
		allowed := events.KindsOf(role)
		require.NotEmpty(t, allowed)
		for _, k := range events.Kinds() {
			subject := fmt.Sprintf("pour.a.%s.%s", wallOf(k), k)
			if slices.Contains(allowed, k) {
				_, _, err := stream.PublishOne(testContext(t), nc, subject, []byte("x"), "")
				require.NoError(t, err, "%s may not record %s", role, k)
				want = append(want, subject)
				continue
			}
			require.NoError(t, nc.Publish(subject, []byte("x")))
			require.ErrorContains(t, next(t, said), `Permissions Violation for Publish to "`+subject+`"`)
		}
		for _, subject := range []string{
			"pour.b.w1.pour.started", "pour._._.site.opened", "pour.a.w1.no.kind", "probe.a.phone-crew.w1.temperature.read", "probe.a.p.w1.temperature.read",
			"receipt.a.phone-crew", "alert.a.w1", "told.a.phone-crew", "told.a.other", "ask.receipt.a.other", "ask.receipt.b.phone-crew", "_INBOX.a.other.x", "_R_.x",
			"$JS.API.INFO", "$JS.API.STREAM.INFO.POURS", "$JS.API.STREAM.MSG.GET.POURS", "$JS.API.CONSUMER.CREATE.POURS", "$JS.ACK.x", "$SYS.REQ.SERVER.PING", "$MQTT.sess.x",
		} {
			require.NoError(t, nc.Publish(subject, []byte("x")))
			require.ErrorContains(t, next(t, said), `Permissions Violation for Publish to "`+subject+`"`)
		}
		require.NoError(t, nc.Flush())
		require.Empty(t, said)
	}
	require.Equal(t, want, subjectsOf(t, g.st))
}

// A device hears its own receipts, its site's alerts and what it is told, and
// nothing else.
func TestGuardSubscriptions(t *testing.T) {
	g := guard(t, nil)
	nc, said := g.as(t, g.reg.device(t, "a", "phone-1", events.Officer))
	for _, subject := range []string{
		">", "*.>", "*.*.*", "pour.>", "pour.a.>", "probe.>", "receipt.>", "receipt.a.*", "receipt.a.phone-2", "receipt.b.phone-1", "alert.>", "alert.b.>", "alert.*.w1",
		"told.>", "told.a.>", "told.a.*", "told.*.phone-1", "told.a.phone-2", "told.b.phone-1", "told.a.phone-1.x", "ask.>", "ask.receipt.a.phone-1", "_INBOX.>", "_INBOX.a.>", "_INBOX.a.phone-2.>", "_INBOX.a.*.x", "_R_.>", "$JS.>", "$JS.API.>", "$SYS.>", "$SYS.ACCOUNT.>", "$MQTT.>", "$KV.>",
	} {
		_, err := nc.SubscribeSync(subject)
		require.NoError(t, err)
		require.ErrorContains(t, next(t, said), `Permissions Violation for Subscription to "`+subject+`"`)
	}
	alerts, err := nc.SubscribeSync("alert.a.>")
	require.NoError(t, err)
	receipts, err := nc.SubscribeSync("receipt.a.phone-1")
	require.NoError(t, err)
	told, err := nc.SubscribeSync("told.a.phone-1")
	require.NoError(t, err)
	require.NoError(t, nc.Flush())
	require.Empty(t, said)
	for _, subject := range []string{
		"alert.b.w1", "receipt.a.phone-2", "told.a.phone-2", "told.b.phone-1", "alert.a.w1", "receipt.a.phone-1", "told.a.phone-1",
	} {
		require.NoError(t, g.hub.Publish(subject, []byte(subject)))
	}
	for sub, want := range map[*nats.Subscription]string{alerts: "alert.a.w1", receipts: "receipt.a.phone-1", told: "told.a.phone-1"} {
		m, err := sub.NextMsg(patience)
		require.NoError(t, err)
		require.Equal(t, want, m.Subject)
		require.Equal(t, want, string(m.Data))
	}
	require.NoError(t, nc.Flush())
	for _, sub := range []*nats.Subscription{alerts, receipts, told} {
		n, _, err := sub.Pending()
		require.NoError(t, err)
		require.Zero(t, n, "somebody else's was heard")
	}
}

// An outbox works through the account of its device: receipts asked for, atomic
// batches, a report, a receipt that the hub pushes.
func TestGuardOutbox(t *testing.T) {
	g := guard(t, nil)
	id := g.reg.device(t, "a", "phone-1", events.Foreman)
	nc, _ := g.as(t, id)
	f := newFold()
	box, err := stream.OutboxConfig{Dir: t.TempDir(), Source: id.Source, Sign: id.Sign, Log: testLog(t)}.Open()
	require.NoError(t, err)
	defer func() { require.NoError(t, box.Close()) }()
	_, err = box.AddAll(moments(5))
	require.NoError(t, err)
	require.ErrorIs(t, box.Drain(testContext(t), nc), stream.ErrNoReceipt, "nobody answers, and that is said at once")

	stop, err := stream.AnswerReceipts(g.hub, func(src events.Source) (stream.Receipt, bool, error) {
		r, ok := f.receipt(src, time.Now())
		return r, ok, nil
	})
	require.NoError(t, err)
	defer stop()
	require.NoError(t, box.Drain(testContext(t), nc))
	all := readAll(t, g.st)
	require.Len(t, all, 6)
	key, err := id.Public()
	require.NoError(t, err)
	public, err := stream.PublicKeyOf(key)
	require.NoError(t, err)
	for _, m := range all {
		require.True(t, stream.Verify(public, m.Signature, m.Body))
		f.take(m.Seq, m.Subject, m.Body)
	}

	pushed, err := nc.SubscribeSync(stream.ReceiptSubject(id.Source))
	require.NoError(t, err)
	require.NoError(t, nc.Flush())
	r, _ := f.receipt(id.Source, time.Now())
	require.NoError(t, stream.PublishReceipts(testContext(t), g.hub, []stream.Receipt{r}))
	m, err := pushed.NextMsg(patience)
	require.NoError(t, err)
	got, err := stream.ParseReceipt(id.Source, m.Data)
	require.NoError(t, err)
	require.EqualValues(t, 6, got.UpTo)
	require.NoError(t, box.Settle(got))
	s, err := box.Status()
	require.NoError(t, err)
	require.Equal(t, 6, s.Settled)

	// A full batch, and a duplicate in one, which is answered as without accounts.
	posts := make([]stream.Post, stream.MaxBatch)
	for i := range posts {
		posts[i] = stream.Post{Subject: "pour.a.w1.lift.placed", Body: []byte("x"), MsgID: stream.NewMsgID()}
	}
	last, err := stream.PublishBatch(testContext(t), nc, posts)
	require.NoError(t, err)
	require.EqualValues(t, 6+stream.MaxBatch, last)
	_, err = stream.PublishBatch(testContext(t), nc, posts[:2])
	require.ErrorIs(t, err, stream.ErrDuplicateInBatch)
	_, dup, err := stream.Publish(testContext(t), nc, posts[0])
	require.NoError(t, err)
	require.True(t, dup)
}

func moments(n int) []events.Event {
	list := make([]events.Event, n)
	for i := range list {
		list[i] = events.Event{Kind: "pour.started", Wall: "w1", Data: &events.Moment{}}
	}
	return list
}

// What a device receives as acknowledgement it may have sent anywhere, for the
// server does not check a reply subject. In an account of the device's own there
// is nowhere to go.
func TestGuardReplySubjects(t *testing.T) {
	g := guard(t, nil)
	stop, err := stream.AnswerReceipts(g.hub, func(events.Source) (stream.Receipt, bool, error) {
		return stream.Receipt{At: time.Now()}, false, nil
	})
	require.NoError(t, err)
	defer stop()
	evil, _ := g.as(t, g.reg.device(t, "a", "phone-1", events.Crew))
	heard := map[string]*nats.Subscription{}
	victim, _ := g.as(t, g.reg.device(t, "a", "phone-2", events.Officer))
	for _, subject := range []string{"alert.a.>", "receipt.a.phone-2", "told.a.phone-2", "_INBOX.a.phone-2.>"} {
		sub, err := victim.SubscribeSync(subject)
		require.NoError(t, err)
		heard["a phone of the site, "+subject] = sub
	}
	for _, subject := range []string{"alert.>", "receipt.>", "told.>", "_INBOX.a.>", "$JS.API.STREAM.DELETE.*"} {
		sub, err := g.hub.SubscribeSync(subject)
		require.NoError(t, err)
		heard["the hub, "+subject] = sub
	}
	require.NoError(t, victim.Flush())
	require.NoError(t, g.hub.Flush())

	replies := []string{
		"pour.b.w1.pour.started", "pour.b.w1.permit.issued", "probe.b.p.w1.temperature.read", // another site
		"pour.a.w1.permit.issued", "pour.a.w1.pour.started", "pour.a._.site.amended", "probe.a.p.w1.temperature.read", // its own
		"pour._._.site.opened", "alert.a.w1", "alert.b.w1", "receipt.a.phone-2", "receipt.a.phone-1", "told.a.phone-2", "told.a.phone-1", "_INBOX.a.phone-2.x",
		"ask.receipt.a.phone-1", "ask.receipt.a.phone-2", "$JS.API.STREAM.DELETE.POURS", "$SYS.REQ.SERVER.PING", "$MQTT.sess.x",
	}
	stored := 0
	for _, reply := range replies {
		for _, subject := range []string{"pour.a.w1.pour.started", "ask.receipt.a.phone-1"} {
			require.NoError(t, evil.PublishRequest(subject, reply, []byte("x")))
			m := nats.NewMsg(subject)
			m.Reply, m.Data = reply, []byte("x")
			// Where the server reports the way of a message. This subject is checked: what
			// the device may not publish on is refused, message and all.
			m.Header.Set("Nats-Trace-Dest", "pour.a.w1.permit.issued")
			require.NoError(t, evil.PublishMsg(m))
		}
		stored++
	}
	// The hub answers in order: when it has answered this, it has answered all above.
	// What that could have led to is acknowledged before what is published then.
	_, err = stream.AskReceipt(testContext(t), evil, events.Source{Site: "a", Device: "phone-1"})
	require.NoError(t, err)
	for range 2 {
		_, _, err := stream.PublishOne(testContext(t), evil, "pour.a.w1.pour.started", []byte("x"), "")
		require.NoError(t, err)
		stored++
	}
	require.NoError(t, evil.Flush())
	for _, m := range readAll(t, g.st) {
		require.Equal(t, "pour.a.w1.pour.started", m.Subject)
		require.Equal(t, "x", string(m.Body), "an acknowledgement was stored as an event")
	}
	require.Len(t, readAll(t, g.st), stored)
	require.NoError(t, victim.Flush())
	require.NoError(t, g.hub.Flush())
	for who, sub := range heard {
		n, _, err := sub.Pending()
		require.NoError(t, err)
		require.Zero(t, n, "%s heard an answer to somebody else", who)
	}
}

// Without an account of its own a device would have an acknowledgement stored
// under another site: that is what the test above would see.
func TestReplySubjectsWithoutAGuard(t *testing.T) {
	r := run(t)
	evil := dial(t, r.srv.ClientURL())
	require.NoError(t, evil.PublishRequest("pour.a.w1.pour.started", "pour.b.w1.permit.issued", []byte("x")))
	require.Equal(t, "pour.b.w1.permit.issued", waitFor(t, r.st, 2)[1].Subject)
}

// Only who signs this connection's nonce with an enrolled key comes in.
func TestGuardClaims(t *testing.T) {
	g := guard(t, nil)
	id := g.reg.device(t, "a", "phone-1", events.Crew)
	public, err := id.Public()
	require.NoError(t, err)
	pair, err := nkeys.FromSeed([]byte(id.Seed))
	require.NoError(t, err)
	stranger, err := stream.NewIdentity(events.Source{Site: "a", Device: "phone-1"}, "")
	require.NoError(t, err)
	strange, err := stranger.Options()
	require.NoError(t, err)
	strangePair, err := nkeys.FromSeed([]byte(stranger.Seed))
	require.NoError(t, err)
	var seen []byte // a signature of another connection's nonce
	nc, _ := dialAs(t, g.srv.ClientURL(), id, nats.Nkey(public, func(nonce []byte) ([]byte, error) {
		seen, err = pair.Sign(nonce)
		return seen, err
	}))
	require.True(t, nc.IsConnected())
	before := len(g.reg.asks())
	for name, opts := range map[string][]nats.Option{
		"no name":          nil,
		"password":         {nats.UserInfo("a.phone-1", "x")},
		"token":            {nats.Token("x")},
		"another's nonce":  {nats.Nkey(public, func([]byte) ([]byte, error) { return seen, nil })},
		"another's key":    {nats.Nkey(public, strangePair.Sign)},
		"no signature":     {nats.Nkey(public, func([]byte) ([]byte, error) { return []byte{}, nil })},
		"key and password": {nats.Nkey(public, pair.Sign), nats.UserInfo("a", "b")},
	} {
		_, err := nats.Connect(g.srv.ClientURL(), append(opts, nats.Timeout(patience))...)
		require.ErrorIs(t, err, nats.ErrAuthorization, name)
	}
	require.Len(t, g.reg.asks(), before, "the guard was asked about a claim that is not proven")
	_, err = nats.Connect(g.srv.ClientURL(), append(strange, nats.Timeout(patience))...)
	require.ErrorIs(t, err, nats.ErrAuthorization)
	require.Equal(t, before+1, len(g.reg.asks()), "the guard decides about a key that is proven")

	nc.Close()
	g.reg.revoke(id)
	own, err := id.Options()
	require.NoError(t, err)
	_, err = nats.Connect(g.srv.ClientURL(), append(own, nats.Timeout(patience))...)
	require.ErrorIs(t, err, nats.ErrAuthorization, "a revoked key comes in")
}

// What one connection may ask of the server has an end.
func TestGuardSubscriptionsHaveAnEnd(t *testing.T) {
	g := guard(t, nil)
	id := g.reg.device(t, "a", "phone-1", events.Crew)
	nc, said := g.as(t, id, nats.NoReconnect())
	for i := range 10_000 {
		if _, err := nc.SubscribeSync(fmt.Sprintf("%s.%d", stream.InboxPrefix(id.Source), i)); err != nil {
			break // it was cut off already
		}
	}
	require.ErrorContains(t, next(t, said), "maximum subscriptions exceeded")
}

// Too large a message ends its connection, and nobody else's.
func TestGuardOversizedPayload(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) { c.Front = &stream.FrontConfig{} })
	id := g.reg.device(t, "a", "phone-1", events.Crew)
	conn, r := rawConnect(t, g.srv.ClientURL(), id)
	_, err := fmt.Fprintf(conn, "PUB pour.a.w1.pour.started %d\r\n", 50<<20)
	require.NoError(t, err)
	require.Contains(t, untilClosed(t, r), "Maximum Payload Violation")
	nc, _ := g.as(t, id)
	_, _, err = stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.started", []byte("x"), "")
	require.NoError(t, err)
	require.Len(t, readAll(t, g.st), 1)
}

// The hub speaks for itself through a guard, in process and over loopback.
func TestGuardLetsTheHubIn(t *testing.T) {
	g := guard(t, nil)
	inside, err := g.srv.ConnectInProcess()
	require.NoError(t, err)
	defer inside.Close()
	for _, nc := range []*nats.Conn{g.hub, inside} {
		publish(t, nc, 2)
		js, err := jetstream.New(nc)
		require.NoError(t, err)
		_, err = js.AccountInfo(testContext(t))
		require.NoError(t, err)
	}
	require.Empty(t, g.reg.asks(), "the guard was asked about the hub")
}

// What was stored before there was a guard is there with one, and MQTT sessions
// in their own account do not come into its way after a restart.
func TestGuardOverAnOldStore(t *testing.T) {
	dir := t.TempDir()
	srv := startServer(t, dir)
	hub := connectHub(t, srv)
	js, err := jetstream.New(hub)
	require.NoError(t, err)
	_, err = js.CreateStream(testContext(t), jetstream.StreamConfig{
		Name: stream.Name, Subjects: []string{"pour.>"}, DenyDelete: true, DenyPurge: true, AllowAtomicPublish: true, Duplicates: stream.DuplicateWindow,
	})
	require.NoError(t, err)
	publish(t, hub, 3)
	hub.Close()
	srv.Stop()
	for i := range 2 {
		reg := newRegister()
		srv := startServerOn(t, stream.ServerConfig{Dir: dir, Client: "127.0.0.1:0", MQTT: "127.0.0.1:0", Guard: reg})
		st := openStream(t, connectHub(t, srv))
		c := probeClient(srv, reg.probe("a", "probe-7", "", "temperature.read"), "secret-of-probe-7", nil)
		wait(t, c.Connect())
		wait(t, c.Publish("probe/a/probe-7/w1/temperature/read", 1, false, "reading"))
		require.Equal(t, "probe.a.probe-7.w1.temperature.read", waitFor(t, st, 4+i)[3+i].Subject)
		c.Disconnect(100)
		srv.Stop()
	}
}

// Whoever answers as a guard cannot be made to admit what is no device.
func TestGuardAnswersThatMakeNoSense(t *testing.T) {
	g := guard(t, nil)
	for name, a := range map[string]stream.Admission{
		"no device":           {},
		"a device of no name": {Source: events.Source{Site: "a", Device: "*"}},
		"a probe with a key":  {Source: events.Source{Site: "a", Device: "p"}, Probe: true},
	} {
		id := g.reg.device(t, "a", "phone-1", events.Crew)
		public, err := id.Public()
		require.NoError(t, err)
		g.reg.admit(public, a)
		own, err := id.Options()
		require.NoError(t, err)
		_, err = nats.Connect(g.srv.ClientURL(), append(own, nats.Timeout(patience))...)
		require.ErrorIs(t, err, nats.ErrAuthorization, name)
	}
}

func TestPermissions(t *testing.T) {
	phone := events.Source{Site: "a", Device: "phone-1"}
	publish, subscribe := stream.Permissions(stream.Admission{Source: phone, Kinds: []events.Kind{"site.opened", "lift.placed", "window.stated", "no.kind"}})
	require.Equal(t, []string{"ask.receipt.a.phone-1", "pour.a.*.lift.placed", "pour.a._.site.opened"}, publish)
	require.Equal(t, []string{"_INBOX.a.phone-1.>", "alert.a.>", "receipt.a.phone-1", "told.a.phone-1"}, subscribe)
	publish, subscribe = stream.Permissions(stream.Admission{Source: events.Source{Site: "a", Device: "p"}, Probe: true, Wall: "w1", Kinds: []events.Kind{"temperature.read", "weather.forecast"}})
	require.Equal(t, []string{"probe.a.p.w1.temperature.read"}, publish)
	require.Empty(t, subscribe)
	publish, subscribe = stream.Permissions(stream.Admission{Source: events.Source{Site: "a", Device: "p"}, Probe: true})
	require.Empty(t, publish)
	require.Empty(t, subscribe)
}

// A page's websocket needs an origin that is named, and a key.
func TestGuardWebsocket(t *testing.T) {
	g := guard(t, func(c *stream.ServerConfig) {
		c.Websocket, c.Origins = "127.0.0.1:0", []string{"https://hub.example"}
		c.Front = &stream.FrontConfig{}
	})
	id := g.reg.device(t, "a", "phone-1", events.Crew)
	from := func(origin string) nats.Option {
		return nats.WebSocketConnectionHeadersHandler(func() (http.Header, error) { return http.Header{"Origin": {origin}}, nil })
	}
	nc, _ := dialAs(t, g.srv.WebsocketURL(), id, from("https://hub.example"))
	_, _, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.started", []byte("x"), "")
	require.NoError(t, err)
	_, err = stream.DialAs(g.srv.WebsocketURL(), "test", nil, id, from("https://elsewhere.example"))
	require.Error(t, err)
}
