package stream_test

import (
	"crypto/ed25519"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
)

// The example of the DSSE protocol document, version 1.0, section "PAE".
func TestPreAuthenticationEncoding(t *testing.T) {
	require.Equal(t, "DSSEv1 29 http://example.com/HelloWorld 11 hello world",
		string(stream.EncodePAE("http://example.com/HelloWorld", []byte("hello world"))))
	require.Equal(t, "DSSEv1 0  0 ", string(stream.EncodePAE("", nil)))
}

func testKey(seed byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed([]byte(strings.Repeat(string(rune(seed)), ed25519.SeedSize)))
}

func TestSignAndVerify(t *testing.T) {
	key, other := testKey('a'), testKey('b')
	pub, foreign := key.Public().(ed25519.PublicKey), other.Public().(ed25519.PublicKey)
	body := []byte(`{"id":"1"}`)
	s := stream.Sign(key, body)
	require.Regexp(t, `^ed25519 [0-9a-f]{16} [A-Za-z0-9_-]{86}$`, s)
	require.True(t, stream.Verify(pub, s, body))

	require.False(t, stream.Verify(foreign, s, body), "another key")
	require.False(t, stream.Verify(pub, s, []byte(`{"id":"2"}`)), "another body")
	require.False(t, stream.Verify(pub, stream.Sign(other, body), body), "another signer")
	part := strings.Split(s, " ")
	forged := part[0] + " " + stream.KeyID(pub) + " " + strings.Split(stream.Sign(other, body), " ")[2]
	require.False(t, stream.Verify(pub, forged, body), "another signer under this key's id")
	require.False(t, stream.Verify(pub, "ed25519 "+stream.KeyID(foreign)+" "+part[2], body), "another key's id")
	require.False(t, stream.Verify(nil, s, body), "no key")

	raw := ed25519.Sign(key, body)
	require.NotContains(t, s, string(raw), "signed without the encoding")
}

func FuzzVerify(f *testing.F) {
	key := testKey('a')
	pub := key.Public().(ed25519.PublicKey)
	body := []byte("body")
	good := stream.Sign(key, body)
	for _, s := range []string{"", " ", "  ", good, good + " ", " " + good, good + "=", strings.ToUpper(good), "ed25519 x y", good[:40], good + "AA"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		require.Equal(t, s == good, stream.Verify(pub, s, body), "%q", s)
	})
}
