package deploy_test

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector/cabinet"
)

// Decoders that stand at the border, fuzzed from outside as a stranger or a
// damaged disk reaches them.

// sealed is a value as the cabinet stores it: a version, and a checksum over key
// and value.
func sealed(key, value []byte) []byte {
	table := crc32.MakeTable(crc32.Castagnoli)
	b := append([]byte{1}, value...)
	return binary.BigEndian.AppendUint32(b, crc32.Update(crc32.Checksum(key, table), table, b))
}

// FuzzCabinet puts anything into the place of a stored value, with a good
// checksum or without: every way of reading it gives an error that says damage
// and not the value, or an answer. None stops the program.
func FuzzCabinet(f *testing.F) {
	db, err := bbolt.Open(filepath.Join(f.TempDir(), "keep.db"), 0o600, &bbolt.Options{NoSync: true})
	require.NoError(f, err)
	f.Cleanup(func() { require.NoError(f, db.Close()) })
	now := time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)
	c, err := cabinet.New(db, func() time.Time { return now })
	require.NoError(f, err)
	src := events.Source{Site: "mill", Device: "probe-1"}
	require.NoError(f, c.SetCard("p-aaaaaaaa", cabinet.Card{Name: "Aino", Mail: "a@site.example"}))
	require.NoError(f, c.PutPasskey("p-aaaaaaaa", []byte("id"), []byte(`{"x":1}`)))
	require.NoError(f, c.SetSecret(src, "one"))
	handle, err := c.UserHandle("p-aaaaaaaa")
	require.NoError(f, err)
	code, _, err := c.Invite(cabinet.Invitation{Person: "p-aaaaaaaa", Site: "mill", Sort: "phone"})
	require.NoError(f, err)
	token, err := c.Begin(cabinet.Session{Person: "p-aaaaaaaa"})
	require.NoError(f, err)

	type place struct{ bucket, key, value []byte }
	var places []place
	require.NoError(f, db.View(func(tx *bbolt.Tx) error {
		return tx.ForEach(func(name []byte, b *bbolt.Bucket) error {
			return b.ForEach(func(k, v []byte) error {
				places = append(places, place{bytes.Clone(name), bytes.Clone(k), bytes.Clone(v)})
				return nil
			})
		})
	}))
	for i, p := range places {
		f.Add(uint8(i), p.value[1:len(p.value)-4], true)
		f.Add(uint8(i), p.value, false)
	}
	put := func(t *testing.T, p place, value []byte) {
		require.NoError(t, db.Update(func(tx *bbolt.Tx) error { return tx.Bucket(p.bucket).Put(p.key, value) }))
	}
	read := func(t *testing.T) (errs []error) {
		look := func(err error) {
			if err != nil && !errors.Is(err, cabinet.ErrNoInvitation) && !errors.Is(err, cabinet.ErrNoSession) {
				errs = append(errs, err)
			}
		}
		_, err := c.Card("p-aaaaaaaa")
		look(err)
		_, err = c.Cards()
		look(err)
		_, err = c.Passkeys("p-aaaaaaaa")
		look(err)
		_, _, err = c.PasskeyOwner([]byte("id"))
		look(err)
		_, _, err = c.PersonOf(handle)
		look(err)
		_, err = c.Peek(code)
		look(err)
		_, err = c.Session(token)
		look(err)
		require.False(t, c.CheckSecret(src, "two"), "a wrong password is right")
		return errs
	}
	f.Fuzz(func(t *testing.T, at uint8, value []byte, good bool) {
		p := places[int(at)%len(places)]
		defer put(t, p, p.value)
		for _, tail := range []string{"", "Wasserturm"} { // no word of an error
			stored := append(bytes.Clone(value), tail...)
			if good {
				stored = sealed(p.key, stored)
			}
			put(t, p, stored)
			for _, err := range read(t) {
				require.ErrorIs(t, err, cabinet.ErrDamaged)
				require.NotContains(t, err.Error(), "Wasserturm", "the value stands in the error")
			}
		}
	})
}

// FuzzCode types anything as an invitation's code: it is the code, or none.
func FuzzCode(f *testing.F) {
	db, err := bbolt.Open(filepath.Join(f.TempDir(), "keep.db"), 0o600, &bbolt.Options{NoSync: true})
	require.NoError(f, err)
	f.Cleanup(func() { require.NoError(f, db.Close()) })
	c, err := cabinet.New(db, time.Now)
	require.NoError(f, err)
	code, _, err := c.Invite(cabinet.Invitation{Person: "p-aaaaaaaa", Site: "mill", Sort: "phone"})
	require.NoError(f, err)
	plain := strings.NewReplacer("-", "", " ", "", "o", "0", "i", "1", "l", "1")
	f.Add(code)
	f.Add(strings.ToUpper(code))
	f.Add("00000-00000-00000-00000-000000")
	f.Add("")
	f.Fuzz(func(t *testing.T, typed string) {
		_, err := c.Peek(typed)
		if err == nil {
			require.Equal(t, plain.Replace(code), plain.Replace(strings.ToLower(typed)), "another code opens")
			return
		}
		require.ErrorIs(t, err, cabinet.ErrNoInvitation)
	})
}

// FuzzIdentity reads anything as the file of a device's key: an identity that is
// saved and read again as itself, or an error that does not quote the file.
func FuzzIdentity(f *testing.F) {
	dir := f.TempDir()
	id, err := stream.NewIdentity(events.Source{Site: "mill", Device: "phone-1"}, "p-aaaaaaaa")
	require.NoError(f, err)
	require.NoError(f, id.Save(filepath.Join(dir, "good")))
	text, err := os.ReadFile(filepath.Join(dir, "good"))
	require.NoError(f, err)
	f.Add(text)
	f.Add([]byte(`{}`))
	f.Add(bytes.Replace(text, []byte("mill"), []byte("../x"), 1))
	f.Add(bytes.Replace(text, []byte(`"SU`), []byte(`"SA`), 1))
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), "identity")
		require.NoError(t, os.WriteFile(path, text, 0o600))
		read, err := stream.LoadIdentity(path)
		if err != nil {
			if i := bytes.Index(text, []byte(id.Seed)); i >= 0 {
				require.NotContains(t, err.Error(), id.Seed)
			}
			return
		}
		require.True(t, events.IsToken(read.Source.Site) || read.Source.Site == "_", "%q", read.Source.Site)
		require.True(t, events.IsToken(read.Source.Device), "%q", read.Source.Device)
		require.NoError(t, read.Save(path))
		again, err := stream.LoadIdentity(path)
		require.NoError(t, err)
		require.Equal(t, read, again)
	})
}

// nobody lets nobody in.
type nobody struct{}

func (nobody) Admit(stream.Claim) (stream.Admission, error) {
	return stream.Admission{}, stream.ErrNotAdmitted
}

// FuzzFirstBytes sends anything to the three listeners of a guarded server: the
// next one to come is greeted all the same, and nobody is let in.
func FuzzFirstBytes(f *testing.F) {
	srv, err := stream.StartServer(stream.ServerConfig{
		Dir: f.TempDir(), Client: "127.0.0.1:0", Websocket: "127.0.0.1:0", MQTT: "127.0.0.1:0", Guard: nobody{},
		Front: &stream.FrontConfig{PerAddress: 1 << 16, Most: 1 << 16}, MaxConnections: 1 << 16,
	}, nil)
	require.NoError(f, err)
	f.Cleanup(srv.Stop)
	bare := func(url string) string { _, host, _ := strings.Cut(url, "://"); return host }
	at := []string{bare(srv.ClientURL()), bare(srv.WebsocketURL()), srv.MQTTAddr()}
	f.Add(uint8(0), []byte("CONNECT {\"verbose\":false,\"nkey\":\"U\",\"sig\":\"x\"}\r\nPING\r\n"))
	f.Add(uint8(0), []byte("SUB > 1\r\nPUB pour.a.b.hold.placed 1\r\nx\r\n"))
	f.Add(uint8(1), []byte("GET / HTTP/1.1\r\nHost: x\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"))
	f.Add(uint8(2), []byte("\x10\x1b\x00\x04MQTT\x04\xc2\x00\x3c\x00\x03a/b\x00\x03a.b\x00\x02pw"))
	f.Add(uint8(2), []byte{0x10, 0xff, 0xff, 0xff, 0x7f})
	f.Fuzz(func(t *testing.T, which uint8, text []byte) {
		conn, err := net.Dial("tcp", at[int(which)%len(at)])
		require.NoError(t, err)
		_, _ = conn.Write(text) // it may be ended meanwhile
		require.NoError(t, conn.Close())
		next, err := net.Dial("tcp", at[0])
		require.NoError(t, err)
		defer func() { require.NoError(t, next.Close()) }()
		require.NoError(t, next.SetDeadline(time.Now().Add(10*time.Second)))
		line, err := bufio.NewReader(next).ReadString('\n')
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(line, "INFO {"), "%q", line)
	})
}
