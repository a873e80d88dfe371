package stream_test

import (
	"crypto/ed25519"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nkeys"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

func newIdentity(t testing.TB, device string) stream.Identity {
	t.Helper()
	id, err := stream.NewIdentity(events.Source{Site: "a", Device: device}, "p-abcdefgh")
	require.NoError(t, err)
	return id
}

func publicKey(t testing.TB, id stream.Identity) ed25519.PublicKey {
	t.Helper()
	public, err := id.Public()
	require.NoError(t, err)
	key, err := stream.PublicKeyOf(public)
	require.NoError(t, err)
	return key
}

// An identity is the same after it was saved, only its owner can read the file,
// and saving again replaces it whole.
func TestIdentitySaves(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "identity.json")
	for _, device := range []string{"phone-1", "phone-1"} {
		id := newIdentity(t, device)
		require.NoError(t, id.Save(path))
		info, err := os.Stat(path)
		require.NoError(t, err)
		require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
		got, err := stream.LoadIdentity(path)
		require.NoError(t, err)
		require.Equal(t, id, got)
	}
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, files, 1, "a half written file was left")
}

func TestIdentityRefusesWhatIsNone(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "identity.json")
	id := newIdentity(t, "phone-1")
	require.NoError(t, id.Save(path))
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.Chmod(path, 0o640))
	_, err = stream.LoadIdentity(path)
	require.ErrorContains(t, err, "its mode must be 0600")
	account, err := nkeys.CreateAccount()
	require.NoError(t, err)
	seed, err := account.Seed()
	require.NoError(t, err)
	for text, want := range map[string]string{
		string(good[:20]): "not an identity's JSON",
		`{"source":"/site/a/device/phone-1","seed":"` + id.Seed[1:] + `"}`:      "key of /site/a/device/phone-1",
		`{"source":"/site/a/device/phone-1","seed":"` + string(seed) + `"}`:     "not one of a user",
		`{"source":"phone-1","seed":"` + id.Seed + `"}`:                         "source",
		`{"source":"/site/a/device/p","person":"A B","seed":"` + id.Seed + `"}`: "person",
	} {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		require.NoError(t, os.Chmod(path, 0o600))
		_, err := stream.LoadIdentity(path)
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), id.Seed[5:], "a key in an error")
	}
	_, err = stream.LoadIdentity(filepath.Join(dir, "none.json"))
	require.ErrorIs(t, err, os.ErrNotExist)
	require.Error(t, stream.Identity{}.Save(path))
	require.Error(t, id.Save(filepath.Join(dir, "none", "identity.json")))
	_, err = stream.DialAs("nats://127.0.0.1:1", "test", nil, stream.Identity{})
	require.Error(t, err)
}

// One key answers the server's nonce and signs bodies.
func TestIdentitySigns(t *testing.T) {
	id := newIdentity(t, "phone-1")
	body := []byte(`{"id":"1"}`)
	require.True(t, stream.Verify(publicKey(t, id), id.Sign(body), body))
	require.False(t, stream.Verify(publicKey(t, newIdentity(t, "phone-1")), id.Sign(body), body))
	pair, err := nkeys.FromSeed([]byte(id.Seed))
	require.NoError(t, err)
	nonce, err := pair.Sign([]byte("nonce"))
	require.NoError(t, err)
	require.True(t, ed25519.Verify(publicKey(t, id), []byte("nonce"), nonce))
	require.Empty(t, stream.Identity{}.Sign(body))
	_, err = stream.PublicKeyOf("UNOKEY")
	require.Error(t, err)
}

// What waits in an outbox is signed when it is sent: after a rotation by the new
// key, the report that the outbox makes as well.
func TestOutboxSignsWhenItSends(t *testing.T) {
	r := run(t)
	f := newFold()
	stop, err := stream.AnswerReceipts(r.hub, func(src events.Source) (stream.Receipt, bool, error) {
		got, ok := f.receipt(src, time.Now())
		return got, ok, nil
	})
	require.NoError(t, err)
	defer stop()
	old, current := newIdentity(t, "phone-1"), newIdentity(t, "phone-1")
	use := old
	box, err := stream.OutboxConfig{Dir: t.TempDir(), Source: old.Source, Sign: func(body []byte) string { return use.Sign(body) }}.Open()
	require.NoError(t, err)
	defer func() { require.NoError(t, box.Close()) }()
	add := func(n int) {
		_, err := box.AddAll(moments(n))
		require.NoError(t, err)
	}
	add(2)
	require.NoError(t, box.Drain(testContext(t), r.hub))
	add(3) // signed by nobody yet
	use = current
	require.NoError(t, box.Drain(testContext(t), r.hub))
	all := readAll(t, r.st)
	require.Len(t, all, 7)
	for i, m := range all {
		by, not := old, current
		if i >= 3 {
			by, not = current, old
		}
		require.True(t, stream.Verify(publicKey(t, by), m.Signature, m.Body), "message %d", i+1)
		require.False(t, stream.Verify(publicKey(t, not), m.Signature, m.Body), "message %d", i+1)
	}
}

// A publication that was tried under the old key and whose answer was lost is
// sent again under the new one, with the same message ids: nothing is doubled.
func TestOutboxRotatesInTheMiddle(t *testing.T) {
	r := run(t)
	stop, err := stream.AnswerReceipts(r.hub, func(events.Source) (stream.Receipt, bool, error) {
		return stream.Receipt{At: time.Now()}, false, nil
	})
	require.NoError(t, err)
	defer stop()
	old, current := newIdentity(t, "phone-1"), newIdentity(t, "phone-1")
	use := old
	box, err := stream.OutboxConfig{Dir: t.TempDir(), Source: old.Source, Sign: func(body []byte) string { return use.Sign(body) }}.Open()
	require.NoError(t, err)
	defer func() { require.NoError(t, box.Close()) }()
	_, err = box.AddAll(moments(3))
	require.NoError(t, err)
	box.OnStep(func(step string) error {
		if step == "published" {
			return errEnough
		}
		return nil
	})
	require.ErrorIs(t, box.Drain(testContext(t), r.hub), errEnough)
	box.OnStep(func(string) error { return nil })
	use = current
	require.NoError(t, box.Drain(testContext(t), r.hub))
	all := readAll(t, r.st)
	require.Len(t, all, 4)
	for i, m := range all {
		by := old
		if i == 3 {
			by = current // the report
		}
		require.True(t, stream.Verify(publicKey(t, by), m.Signature, m.Body), "message %d", i+1)
	}
}

// An outbox of before holds signatures in its log. They go out as they are where
// there is no key, and are made anew where there is one.
func TestOutboxOfBefore(t *testing.T) {
	for _, sign := range []bool{false, true} {
		r := run(t)
		stop, err := stream.AnswerReceipts(r.hub, func(events.Source) (stream.Receipt, bool, error) {
			return stream.Receipt{At: time.Now()}, false, nil
		})
		require.NoError(t, err)
		id, dir := newIdentity(t, "phone-1"), t.TempDir()
		e := testEvent("phone-1", "w1")
		e.ID, e.Sequence = "e-1", 1
		body, err := e.Encode()
		require.NoError(t, err)
		text := append(stream.LogLine("outbox 1 "+id.Source.String()), stream.LogLine("event 1 0 "+e.Subject()+" ed25519,key,sig "+string(body))...)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "outbox.log"), text, 0o600))
		cfg, want := stream.OutboxConfig{Dir: dir, Source: id.Source}, "ed25519 key sig"
		if sign {
			cfg.Sign, want = id.Sign, id.Sign(body)
		}
		box, err := cfg.Open()
		require.NoError(t, err)
		require.NoError(t, box.Drain(testContext(t), r.hub))
		require.NoError(t, box.Close())
		m := readAll(t, r.st)[0]
		require.Equal(t, string(body), string(m.Body))
		require.Equal(t, want, m.Signature)
		stop()
	}
}
