package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
	"earlyage/events/stream"
)

// A link holds the hub's address and, where no server sees it, the code. What is
// refused is not repeated: it may hold the code.
func TestSplitLink(t *testing.T) {
	for link, want := range map[string][2]string{
		"https://hub.example/join#ab-cd":            {"https://hub.example", "ab-cd"},
		"https://hub.example:8480/join#ab":          {"https://hub.example:8480", "ab"},
		"http://127.0.0.1:8480/join":                {"http://127.0.0.1:8480", ""},
		"https://hub.example/below/join/?a=b#ab-cd": {"https://hub.example/below", "ab-cd"},
	} {
		hub, code, err := splitLink(link)
		require.NoError(t, err, link)
		require.Equal(t, want, [2]string{hub, code}, link)
	}
	for _, link := range []string{"ftp://hub.example/join#secret", "https:///join#secret", "https://hub example/join#secret", "://#secret"} {
		_, _, err := splitLink(link)
		require.Error(t, err, link)
		require.NotContains(t, err.Error(), "secret")
	}
}

// A device publishes where it was told to, else on its hub's host, encrypted
// where the hub is.
func TestNATSURL(t *testing.T) {
	for _, c := range []struct{ hub, nats, want string }{
		{"https://hub.example", "", "tls://hub.example:4222"},
		{"https://hub.example:8443", "", "tls://hub.example:4222"},
		{"http://127.0.0.1:8480", "", "nats://127.0.0.1:4222"},
		{"http://[::1]:8480", "", "nats://[::1]:4222"},
		{"https://hub.example", "wss://hub.example:443", "wss://hub.example:443"},
		{"", "", defaultNATS},
	} {
		j := &joined{told: told{Hub: c.hub, NATS: c.nats}}
		require.Equal(t, c.want, j.natsURL(), "%+v", c)
	}
	require.Equal(t, defaultNATS, (*joined)(nil).natsURL())
}

// Into the configuration of an external server goes who may say something now:
// nobody who was shut out or has no role, no probe without a password there.
func TestConfDevices(t *testing.T) {
	people := []api.Person{
		{Person: "p-a", Roles: api.Roles{"mill": {events.Crew}, "_": {events.Officer}}},
		{Person: "p-b", Roles: api.Roles{"quay": {events.Foreman}}},
		{Person: "p-c", Roles: api.Roles{"mill": {events.Foreman}}, Retired: true},
	}
	devices := []api.Device{
		{Site: "mill", Device: "a", Person: "p-a", Sort: "phone", Key: "UA"},
		{Site: "mill", Device: "b", Person: "p-b", Sort: "phone", Key: "UB"},
		{Site: "mill", Device: "c", Person: "p-c", Sort: "phone", Key: "UC"},
		{Site: "mill", Device: "d", Person: "p-a", Sort: "phone", Key: "UD", Revoked: true},
		{Site: "mill", Device: "logger", Sort: "station", Key: "UE", Kinds: []events.Kind{"wind.read"}},
		{Site: "mill", Device: "top-1", Sort: "probe", Wall: "w"},
		{Site: "mill", Device: "top-2", Sort: "probe"},
	}
	list, without := confDevices(devices, people, map[string]string{"mill.top-1": "hash"})
	require.Equal(t, []string{"mill.top-2"}, without)
	source := func(device string) events.Source { return events.Source{Site: "mill", Device: device} }
	require.Equal(t, []stream.ConfDevice{
		{Admission: stream.Admission{Source: source("a"), Kinds: events.KindsOf(events.Crew, events.Officer)}, Key: "UA"},
		{Admission: stream.Admission{Source: source("logger"), Kinds: []events.Kind{"wind.read"}}, Key: "UE"},
		{Admission: stream.Admission{Source: source("top-1"), Kinds: events.KindsOf(events.Probe), Probe: true, Wall: "w"}, User: "mill.top-1", PasswordHash: "hash"},
	}, list)
}
