package phone_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify/internal/conformance"
	"earlyage/notify/notice"
	"earlyage/notify/phone"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const patience = time.Minute

// gate lets the devices in that were enrolled.
type gate map[string]stream.Admission

// Admit implements stream.Guard.
func (g gate) Admit(c stream.Claim) (stream.Admission, error) {
	a, ok := g[c.Key]
	if !ok {
		return a, stream.ErrNotAdmitted
	}
	return a, nil
}

// net is a real server with phones.
type net struct {
	srv  *stream.Server
	hub  *nats.Conn
	ids  map[events.Source]stream.Identity
	said chan error
}

var (
	one     = events.Source{Site: "mill", Device: "phone-1"}
	two     = events.Source{Site: "mill", Device: "phone-2"}
	another = events.Source{Site: "quay", Device: "phone-1"}
)

func start(t *testing.T) *net {
	t.Helper()
	n := &net{ids: map[events.Source]stream.Identity{}, said: make(chan error, 100)}
	g := gate{}
	for _, src := range []events.Source{one, two, another} {
		id, err := stream.NewIdentity(src, "p-abcdefgh")
		require.NoError(t, err)
		public, err := id.Public()
		require.NoError(t, err)
		g[public], n.ids[src] = stream.Admission{Source: src, Kinds: events.KindsOf(events.Crew)}, id
	}
	var err error
	n.srv, err = stream.StartServer(stream.ServerConfig{Dir: t.TempDir(), Client: "127.0.0.1:0", Guard: g}, nil)
	require.NoError(t, err)
	t.Cleanup(n.srv.Stop)
	n.hub, err = n.srv.Connect()
	require.NoError(t, err)
	t.Cleanup(n.hub.Close)
	return n
}

// as connects a phone.
func (n *net) as(t *testing.T, src events.Source) *nats.Conn {
	t.Helper()
	opts, err := n.ids[src].Options()
	require.NoError(t, err)
	nc, err := nats.Connect(n.srv.ClientURL(), append(opts, nats.Timeout(patience), nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { n.said <- err }))...)
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	return nc
}

// hear subscribes a phone to what it is told.
func (n *net) hear(t *testing.T, src events.Source) *nats.Subscription {
	t.Helper()
	nc := n.as(t, src)
	sub, err := nc.SubscribeSync(stream.ToldSubject(src))
	require.NoError(t, err)
	require.NoError(t, nc.Flush())
	return sub
}

// faulty is the hub's connection with faults: publications that fail before or
// after they are out, and a flush that never ends.
type faulty struct {
	phone.Conn
	reached chan struct{}

	mu     sync.Mutex
	manner conformance.Manner
}

func (f *faulty) set(m conformance.Manner) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.manner = m
}

func (f *faulty) get() conformance.Manner {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.manner
}

func (f *faulty) Publish(subject string, data []byte) error {
	switch f.get() {
	case conformance.Trouble:
		return nats.ErrConnectionReconnecting
	case conformance.Hang:
		return nil
	}
	return f.Conn.Publish(subject, data)
}

func (f *faulty) FlushWithContext(ctx context.Context) error {
	switch f.get() {
	case conformance.Lose:
		return errors.Join(f.Conn.FlushWithContext(ctx), nats.ErrConnectionClosed)
	case conformance.Hang:
		f.reached <- struct{}{}
		<-ctx.Done()
		return ctx.Err()
	}
	return f.Conn.FlushWithContext(ctx)
}

func TestConformance(t *testing.T) {
	conformance.Run(t, func(t *testing.T) conformance.Bench {
		n := start(t)
		sub := n.hear(t, one)
		f := &faulty{Conn: n.hub, reached: make(chan struct{}, 10)}
		p, err := phone.New(phone.Config{Conn: f})
		require.NoError(t, err)
		return conformance.Bench{
			Channel: p, Reader: notice.Reader{Person: "p-1", Devices: []events.Source{one}},
			Nobody: []notice.Reader{{Devices: []events.Source{another}}, {Devices: []events.Source{{Site: "mill", Device: "*"}, {Site: "mill", Device: ">"}, {Site: "mill", Device: "a.b"}}}},
			Set:    f.set, Reached: f.reached, Secrets: []string{"p-abcdefgh"},
			Never: map[conformance.Manner]string{conformance.Refuse: "a NATS server refuses no publication of the hub's for good"},
			Taken: func() []string { return heard(t, n, sub) },
		}
	})
}

// heard returns the ids that have come to a phone. What the server was given
// before its own word here is there by then.
func heard(t *testing.T, n *net, sub *nats.Subscription) (ids []string) {
	t.Helper()
	last := []byte(`{"id":"the last"}`)
	require.NoError(t, n.hub.Publish(sub.Subject, last))
	for {
		m, err := sub.NextMsg(patience)
		require.NoError(t, err)
		if string(m.Data) == string(last) {
			return ids
		}
		var b notice.Body
		require.NoError(t, json.Unmarshal(m.Data, &b))
		ids = append(ids, b.ID)
	}
}

// Every device of the reader on that site hears it, and nobody else's.
func TestOwnDevicesAlone(t *testing.T) {
	n := start(t)
	subs := map[events.Source]*nats.Subscription{one: n.hear(t, one), two: n.hear(t, two), another: n.hear(t, another)}
	p, err := phone.New(phone.Config{Conn: n.hub})
	require.NoError(t, err)
	for _, c := range []struct {
		site string
		to   []events.Source
		want []events.Source
	}{
		{"mill", []events.Source{one}, []events.Source{one}},
		{"mill", []events.Source{one, two, another}, []events.Source{one, two}},
		{"quay", []events.Source{one, another}, []events.Source{another}},
		{"_", []events.Source{one, another}, []events.Source{one, another}},
	} {
		m := conformance.Message("m-"+c.site+fmt.Sprint(len(c.to)), notice.Reader{Devices: c.to}, "phone")
		m.Site = c.site
		require.NoError(t, p.Send(t.Context(), m))
		var got []events.Source
		for _, src := range []events.Source{one, two, another} {
			if ids := heard(t, n, subs[src]); len(ids) > 0 {
				require.Equal(t, []string{m.ID}, ids)
				got = append(got, src)
			}
		}
		require.Equal(t, c.want, got, "%v", c)
	}
}

// A phone hears its own subject alone, and speaks on none of them.
func TestPermissions(t *testing.T) {
	n := start(t)
	own := n.hear(t, one)
	evil := n.as(t, two)
	refused := func(what string) {
		t.Helper()
		select {
		case err := <-n.said:
			require.ErrorContains(t, err, what)
		case <-time.After(patience):
			require.FailNow(t, "it was allowed", what)
		}
	}
	for _, subject := range []string{"told.>", "told.mill.>", "told.mill.*", "told.*.phone-2", "told.mill.phone-1", "told.quay.phone-2"} {
		_, err := evil.SubscribeSync(subject)
		require.NoError(t, err)
		refused(`Permissions Violation for Subscription to "` + subject + `"`)
	}
	for _, subject := range []string{"told.mill.phone-1", "told.mill.phone-2", "told.quay.phone-1"} {
		require.NoError(t, evil.Publish(subject, []byte("{}")))
		refused(`Permissions Violation for Publish to "` + subject + `"`)
		// Nor by way of an answer to what it may ask.
		require.NoError(t, evil.PublishRequest(stream.AskSubject(two), subject, []byte("{}")))
	}
	require.NoError(t, evil.Flush())
	require.Empty(t, heard(t, n, own))
}

// What a page is given, member by member.
func TestBody(t *testing.T) {
	n := start(t)
	sub := n.hear(t, one)
	p, err := phone.New(phone.Config{Conn: n.hub})
	require.NoError(t, err)
	m := conformance.Message("m1", notice.Reader{Person: "p-secret", Name: "Inés", Mail: "ines@crew.example", Devices: []events.Source{one}}, "phone")
	require.NoError(t, p.Send(t.Context(), m))
	got, err := sub.NextMsg(patience)
	require.NoError(t, err)
	require.JSONEq(t, `{"id":"m1","what":"raised","alerts":["alert-m1"],"kind":"joint-closing","site":"mill","wall":"north","priority":"urgent","urgent":true,
		"at":"2026-07-03T09:05:00Z","until":"2026-07-03T09:25:00Z","step":1,
		"first":"Mill house, wall north: 20 min left on the joint at 4.0 m","short":"Mill house north: joint 4.0 m, 20 min. Place or vibrate now.",
		"plain":"Mill house, wall north: 20 min left on the joint at 4.0 m.\n\nPlace the next lift by 09:25 MST.\n","link":"https://hub.example/w/mill/north"}`, string(got.Data))

	m.ID, m.Plain = "m2", strings.Repeat("x", 2<<20)
	require.NoError(t, p.Send(t.Context(), m), "too long for the server")
	got, err = sub.NextMsg(patience)
	require.NoError(t, err)
	var b notice.Body
	require.NoError(t, json.Unmarshal(got.Data, &b))
	require.Equal(t, m.Short, b.Short)
	require.Empty(t, b.Plain)
}

func TestConfig(t *testing.T) {
	_, err := phone.New(phone.Config{})
	require.ErrorContains(t, err, "Conn is missing")
}
