package merkle_test

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/hex"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	foreign "github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"github.com/transparency-dev/merkle/testonly"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"earlyage/projector/merkle"
)

var (
	hub    = ed25519.NewKeyFromSeed([]byte("a hub's key, for tests, 32 bytes"))
	public = hub.Public().(ed25519.PublicKey)
	key    = merkle.VerifierKey(public)
)

func checkpoint(size int64) merkle.Checkpoint {
	return merkle.Checkpoint{Size: size, Root: merkle.Hash{1, 2, 3}, Through: 17, At: time.Date(2026, 11, 9, 20, 20, 0, 0, time.UTC)}
}

// The leaves and roots are those of the reference implementation of certificate
// transparency (RFC 6962), as github.com/transparency-dev/merkle carries them.
func TestReferenceRoots(t *testing.T) {
	var stored []merkle.Hash
	reader := tlog.HashReaderFunc(func(at []int64) (out []tlog.Hash, err error) {
		for _, i := range at {
			out = append(out, stored[i])
		}
		return out, nil
	})
	roots := testonly.RootHashes()
	for i, leaf := range testonly.LeafInputs() {
		more, err := tlog.StoredHashesForRecordHash(int64(i), merkle.LeafHash(leaf), reader)
		require.NoError(t, err)
		stored = append(stored, more...)
		root, err := tlog.TreeHash(int64(i+1), reader)
		require.NoError(t, err)
		require.Equal(t, roots[i+1], root[:], "%d leaves", i+1)
		in, err := tlog.ProveRecord(int64(i+1), 0, reader)
		require.NoError(t, err)
		require.NoError(t, merkle.CheckInclusion(in, merkle.Checkpoint{Size: int64(i + 1), Root: root}, 0, testonly.LeafInputs()[0]))
		require.Error(t, merkle.CheckInclusion(in, merkle.Checkpoint{Size: int64(i + 1), Root: root}, 0, []byte("another")))
		var hashes [][]byte
		for _, h := range in {
			hashes = append(hashes, h[:])
		}
		require.NoError(t, foreign.VerifyInclusion(rfc6962.DefaultHasher, 0, uint64(i+1), rfc6962.DefaultHasher.HashLeaf(testonly.LeafInputs()[0]), hashes, root[:]))
	}
}

// The form is C2SP tlog-checkpoint: an origin, a decimal size, a base64 root,
// each on a line, and lines of one's own after them; signed as a C2SP signed
// note, here read by golang.org/x/mod's own reader.
func TestCheckpointIsASignedNote(t *testing.T) {
	signed, err := merkle.SignCheckpoint(hub, checkpoint(42))
	require.NoError(t, err)
	lines := strings.Split(string(signed), "\n")
	require.Equal(t, merkle.Origin(public), lines[0])
	require.Equal(t, "42", lines[1])
	root, err := base64.StdEncoding.DecodeString(lines[2])
	require.NoError(t, err)
	require.Equal(t, append([]byte{1, 2, 3}, make([]byte, 29)...), root)
	require.Equal(t, []string{"through 17", "at 2026-11-09T20:20:00Z", ""}, lines[3:6])
	require.True(t, strings.HasPrefix(lines[6], "— "+merkle.Origin(public)+" "), lines[6])
	verifier, err := note.NewVerifier(key)
	require.NoError(t, err)
	opened, err := note.Open(signed, note.VerifierList(verifier))
	require.NoError(t, err)
	require.Len(t, opened.Sigs, 1)
	c, err := merkle.OpenCheckpoint(signed, key)
	require.NoError(t, err)
	want := checkpoint(42)
	want.Origin = merkle.Origin(public)
	require.Equal(t, want, c)
	got, err := merkle.PublicKey(key)
	require.NoError(t, err)
	require.Equal(t, public, got)
}

func TestEveryFlippedBitOfACheckpointIsFound(t *testing.T) {
	signed, err := merkle.SignCheckpoint(hub, checkpoint(42))
	require.NoError(t, err)
	for bit := range 8 * len(signed) {
		changed := append([]byte{}, signed...)
		changed[bit/8] ^= 1 << (bit % 8)
		_, err := merkle.OpenCheckpoint(changed, key)
		require.ErrorIs(t, err, merkle.ErrCheckpoint, "bit %d: %q", bit, changed)
	}
}

func TestNoCheckpoint(t *testing.T) {
	sign := func(text string) []byte {
		signed, err := merkle.Sign(hub, text)
		require.NoError(t, err)
		return signed
	}
	origin := merkle.Origin(public)
	root := base64.StdEncoding.EncodeToString(make([]byte, 32))
	for name, text := range map[string]string{
		"another log":           "earlyage/0011223344556677\n1\n" + root + "\nthrough 1\nat 2026-11-09T20:20:00Z\n",
		"a size below nothing":  origin + "\n-1\n" + root + "\nthrough 1\nat 2026-11-09T20:20:00Z\n",
		"a size with a zero":    origin + "\n01\n" + root + "\nthrough 1\nat 2026-11-09T20:20:00Z\n",
		"half a root":           origin + "\n1\n" + root[:20] + "\nthrough 1\nat 2026-11-09T20:20:00Z\n",
		"no moment":             origin + "\n1\n" + root + "\nthrough 1\n",
		"a moment with offset":  origin + "\n1\n" + root + "\nthrough 1\nat 2026-11-09T20:20:00+01:00\n",
		"one line more":         origin + "\n1\n" + root + "\nthrough 1\nat 2026-11-09T20:20:00Z\nand more\n",
		"something else signed": "a bundle\n",
	} {
		_, err := merkle.OpenCheckpoint(sign(text), key)
		require.ErrorIs(t, err, merkle.ErrCheckpoint, name)
	}
	other := merkle.VerifierKey(ed25519.NewKeyFromSeed(make([]byte, 32)).Public().(ed25519.PublicKey))
	signed, err := merkle.SignCheckpoint(hub, checkpoint(1))
	require.NoError(t, err)
	_, err = merkle.OpenCheckpoint(signed, other)
	require.ErrorIs(t, err, merkle.ErrCheckpoint)
	for _, bad := range []string{"", "a", "a+b+c", strings.Replace(key, "earlyage/", "earlyage/x", 1), key + "="} {
		_, err := merkle.PublicKey(bad)
		require.ErrorIs(t, err, merkle.ErrCheckpoint, bad)
	}
}

// Every log begins with the empty one, whose root is the SHA-256 of nothing
// (RFC 6962, 2.1; the value of FIPS 180-4, from memory); nothing else passes as it.
func TestTheEmptyLog(t *testing.T) {
	root, err := hex.DecodeString("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")
	require.NoError(t, err)
	none := merkle.Checkpoint{Root: merkle.Hash(root)}
	require.NoError(t, merkle.CheckConsistency(nil, checkpoint(42), none))
	require.ErrorIs(t, merkle.CheckConsistency(merkle.Consistency{none.Root}, checkpoint(42), none), merkle.ErrCheckpoint)
	none.Root[0] ^= 1
	require.ErrorIs(t, merkle.CheckConsistency(nil, checkpoint(42), none), merkle.ErrCheckpoint)
}

func FuzzOpenCheckpoint(f *testing.F) {
	signed, err := merkle.SignCheckpoint(hub, checkpoint(42))
	require.NoError(f, err)
	f.Add(signed)
	f.Add([]byte("earlyage/x\n1\n\n— a b\n"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		c, err := merkle.OpenCheckpoint(raw, key)
		if err != nil {
			require.ErrorIs(t, err, merkle.ErrCheckpoint)
			return
		}
		require.Equal(t, int64(42), c.Size, "nobody has the hub's key here")
	})
}
