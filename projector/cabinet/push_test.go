package cabinet_test

import (
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"encoding/base64"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/cabinet"
)

// The keys of the subscription are those of the worked example of RFC 8291,
// appendix A (from memory; that the point is on the curve is checked here).
const (
	exampleKey  = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
	exampleAuth = "BTBZMqHH6r4Tts7J_aSIgg"
)

func subscription(t *testing.T, name string) cabinet.Push {
	t.Helper()
	return cabinet.Push{Endpoint: "https://push.site.example/" + name, P256DH: exampleKey, Auth: exampleAuth}
}

func endpoints(t *testing.T, c *cabinet.Cabinet, person string) (list []string) {
	t.Helper()
	pushes, err := c.Pushes(person)
	require.NoError(t, err)
	for _, p := range pushes {
		list = append(list, strings.TrimPrefix(p.Endpoint, "https://push.site.example/"))
	}
	return list
}

func TestPushes(t *testing.T) {
	c, at, s := newCabinet(t)
	require.Empty(t, endpoints(t, c, "p-a"))
	for i := range cabinet.MaxPushes + 1 {
		at.add(time.Minute)
		require.NoError(t, c.AddPush("p-a", subscription(t, fmt.Sprint(i))))
	}
	require.Equal(t, []string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "10"}, endpoints(t, c, "p-a"), "the oldest has gone")
	require.NoError(t, c.AddPush("p-a", subscription(t, "5")))
	require.Equal(t, []string{"1", "2", "3", "4", "6", "7", "8", "9", "10", "5"}, endpoints(t, c, "p-a"), "the same one again is one")
	list, err := c.Pushes("p-a")
	require.NoError(t, err)
	require.Equal(t, at.Now(), list[9].Made)

	// A browser that another person signs in with is that person's.
	require.NoError(t, c.AddPush("p-b", subscription(t, "5")))
	require.NotContains(t, endpoints(t, c, "p-a"), "5")
	require.Equal(t, []string{"5"}, endpoints(t, c, "p-b"))

	require.NoError(t, c.DropPush("p-a", "https://push.site.example/1"))
	require.NoError(t, c.DropPush("p-a", "https://push.site.example/1"))
	require.NoError(t, c.DropPush("p-b", "https://push.site.example/2"))
	require.Equal(t, []string{"2", "3", "4", "6", "7", "8", "9", "10"}, endpoints(t, c, "p-a"))
	require.NoError(t, c.DropPushes("p-a"))
	require.Empty(t, endpoints(t, c, "p-a"))
	require.Equal(t, 1, count(t, s, "push"))
}

func TestOneSubscriptionOfADevice(t *testing.T) {
	c, _, _ := newCabinet(t)
	p := subscription(t, "before")
	p.Device = phone
	require.NoError(t, c.AddPush("p-a", p))
	require.NoError(t, c.AddPush("p-a", subscription(t, "page")))
	p.Endpoint = "https://push.site.example/after"
	require.NoError(t, c.AddPush("p-a", p))
	require.Equal(t, []string{"page", "after"}, endpoints(t, c, "p-a"))
	require.NoError(t, c.DropPushesOfDevice(events.Source{Site: "x", Device: "y"}))
	require.NoError(t, c.DropPushesOfDevice(phone))
	require.Equal(t, []string{"page"}, endpoints(t, c, "p-a"))
}

func TestBadPushes(t *testing.T) {
	c, _, s := newCabinet(t)
	for name, change := range map[string]func(*cabinet.Push){
		"no endpoint":   func(p *cabinet.Push) { p.Endpoint = "" },
		"plain":         func(p *cabinet.Push) { p.Endpoint = "http://push.site.example/x" },
		"looks like it": func(p *cabinet.Push) { p.Endpoint = "http://127.0.0.1.site.example/x" },
		"a user":        func(p *cabinet.Push) { p.Endpoint = "https://a:b@push.site.example/x" },
		"no host":       func(p *cabinet.Push) { p.Endpoint = "https:///x" },
		"a file":        func(p *cabinet.Push) { p.Endpoint = "file:///etc/passwd" },
		"endless":       func(p *cabinet.Push) { p.Endpoint += strings.Repeat("x", 2048) },
		"no key":        func(p *cabinet.Push) { p.P256DH = "" },
		"off the curve": func(p *cabinet.Push) {
			p.P256DH = base64.RawURLEncoding.EncodeToString(append([]byte{4}, make([]byte, 64)...))
		},
		"short secret":     func(p *cabinet.Push) { p.Auth = "AAAA" },
		"other characters": func(p *cabinet.Push) { p.Auth = "+++++++++++++++++++++w" },
	} {
		p := subscription(t, "x")
		change(&p)
		err := c.AddPush("p-a", p)
		require.ErrorIs(t, err, cabinet.ErrBadPush, name)
		require.NotContains(t, err.Error(), "push.site.example")
	}
	for _, host := range []string{"127.0.0.1:80", "[::1]:80", "localhost"} {
		p := subscription(t, "")
		p.Endpoint = "http://" + host + "/x"
		require.NoError(t, c.AddPush("p-a", p), host)
	}
	require.Equal(t, 1, count(t, s, "push"))
}

func TestPushHidesItself(t *testing.T) {
	p := subscription(t, "unmistakable")
	var b strings.Builder
	slog.New(slog.NewJSONHandler(&b, nil)).Info("push", "push", p)
	_, _ = fmt.Fprintf(&b, "%v %+v %#v %s %v", p, p, p, p, []cabinet.Push{p})
	for _, text := range []string{"unmistakable", exampleKey, exampleAuth} {
		require.NotContains(t, b.String(), text)
	}
}

func TestErasedPersonIsReachedNowhere(t *testing.T) {
	c, _, s := newCabinet(t)
	for i := range 40 {
		require.NoError(t, c.AddPush(fmt.Sprintf("p-%03d", i), subscription(t, fmt.Sprint(i))))
	}
	require.NoError(t, c.AddPush("p-m", subscription(t, "unmistakable")))
	require.True(t, legible(t, s.Path(), "unmistakable"))
	require.NoError(t, c.EraseCard("p-m"))
	require.Empty(t, endpoints(t, c, "p-m"))
	require.False(t, legible(t, s.Path(), "unmistakable"), "the file itself")
	require.False(t, legible(t, compacted(t, s), "unmistakable"), "a compacted copy")
	require.Equal(t, 40, count(t, s, "push"))
}

func TestPushOfAFailingDisk(t *testing.T) {
	for _, applied := range []bool{false, true} {
		c, _, s := newCabinet(t)
		s.next(1, applied)
		require.ErrorIs(t, c.AddPush("p-a", subscription(t, "one")), errDisk)
		require.Len(t, endpoints(t, c, "p-a"), map[bool]int{false: 0, true: 1}[applied])
		require.NoError(t, c.AddPush("p-a", subscription(t, "one")))
		s.next(1, applied)
		require.ErrorIs(t, c.DropPush("p-a", "https://push.site.example/one"), errDisk)
		require.Len(t, endpoints(t, c, "p-a"), map[bool]int{false: 1, true: 0}[applied])
	}
}

func TestVAPIDIsMadeOnce(t *testing.T) {
	c, _, s := newCabinet(t)
	s.next(1, false)
	_, err := c.VAPID()
	require.ErrorIs(t, err, errDisk)
	s.next(1, true)
	_, err = c.VAPID()
	require.ErrorIs(t, err, errDisk)
	var wait sync.WaitGroup
	keys := make([][]byte, 8)
	for i := range keys {
		wait.Go(func() { keys[i], _ = c.VAPID() })
	}
	wait.Wait()
	require.Len(t, keys[0], 32)
	for _, k := range keys {
		require.Equal(t, keys[0], k)
	}
	again, err := cabinet.New(open(t, copyOf(t, s)), newClock().Now)
	require.NoError(t, err)
	same, err := again.VAPID()
	require.NoError(t, err)
	require.Equal(t, keys[0], same)

	// Both of the standard library's readers take it, and see the same key.
	private, err := ecdh.P256().NewPrivateKey(same)
	require.NoError(t, err)
	signing, err := ecdsa.ParseRawPrivateKey(elliptic.P256(), same)
	require.NoError(t, err)
	public, err := signing.PublicKey.Bytes()
	require.NoError(t, err)
	require.Equal(t, private.PublicKey().Bytes(), public)
}
