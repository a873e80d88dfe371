package bundle_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	"earlyage/cmd/earlyage/internal/bundle"
	"earlyage/projector"
	"earlyage/projector/merkle"
	"earlyage/scheduler"
)

// forged is a bundle that somebody with a key of their own made: every line, proof
// and signature is right, the messages are whatever they like.
func forged(t testing.TB, key ed25519.PrivateKey, leaves ...projector.Leaf) []byte {
	t.Helper()
	var rows hashes
	for i, l := range leaves {
		more, err := tlog.StoredHashes(int64(i), l.Append(nil), &rows)
		require.NoError(t, err)
		rows = append(rows, more...)
	}
	size := int64(len(leaves))
	root, err := tlog.TreeHash(size, &rows)
	require.NoError(t, err)
	public := key.Public().(ed25519.PublicKey)
	c := merkle.Checkpoint{Size: size, Root: root, Through: leaves[size-1].Seq, At: time.Date(2026, 11, 2, 7, 0, 0, 0, time.UTC)}
	note, err := merkle.SignCheckpoint(key, c)
	require.NoError(t, err)
	var out bytes.Buffer
	line := func(v any) {
		raw, err := json.Marshal(v, json.Deterministic(true))
		require.NoError(t, err)
		out.Write(append(raw, '\n'))
	}
	line(bundle.Head{Bundle: bundle.Version, Key: merkle.VerifierKey(public), Site: "mill", Wall: "a", Made: c.At, Rules: scheduler.Rules, SignedFrom: 1})
	line(struct {
		Checkpoint  string        `json:"checkpoint"`
		Consistency []merkle.Hash `json:"consistency"`
	}{string(note), []merkle.Hash{}})
	for i, l := range leaves {
		proof, err := tlog.ProveRecord(size, int64(i), &rows)
		require.NoError(t, err)
		line(struct {
			Index int           `json:"index"`
			Leaf  []byte        `json:"leaf"`
			Proof []merkle.Hash `json:"proof"`
		}{i, l.Append(nil), append([]merkle.Hash{}, proof...)})
	}
	sum := sha256.Sum256(out.Bytes())
	sealed, err := merkle.Sign(key, fmt.Sprintf("earlyage bundle\n%s\n%d lines\n", hex.EncodeToString(sum[:]), bytes.Count(out.Bytes(), []byte("\n"))))
	require.NoError(t, err)
	line(map[string]string{"seal": string(sealed)})
	return out.Bytes()
}

type hashes []tlog.Hash

func (h *hashes) ReadHashes(indexes []int64) (out []tlog.Hash, err error) {
	for _, i := range indexes {
		out = append(out, (*h)[i])
	}
	return out, nil
}

func leaf(seq uint64, recorded time.Time, subject, body string) projector.Leaf {
	return projector.Leaf{Seq: seq, Recorded: recorded, Subject: subject, Body: []byte(body)}
}

var monday = time.Date(2026, 11, 2, 6, 0, 0, 0, time.UTC)

// Files that were cut, packed, rewritten or are something else: said in plain
// words, and nothing is said a thousand times.
func TestFilesThatAreNotAsTheyWere(t *testing.T) {
	m := theBundle(t)
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, err := z.Write(m.raw)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	for name, raw := range map[string]io.Reader{
		"empty": strings.NewReader(""), "packed": &packed, "a line break": strings.NewReader("\n"),
		"zeros without end": io.LimitReader(zeros{}, 1<<31), "half a head": strings.NewReader(`{"earlyage_`),
	} {
		_, err := bundle.Check(raw, bundle.Options{})
		require.ErrorIs(t, err, bundle.ErrNoBundle, name)
	}
	_, err = bundle.Check(io.MultiReader(bytes.NewReader(m.few), io.LimitReader(zeros{}, 1<<31)), bundle.Options{})
	require.ErrorContains(t, err, "longer than any line of a bundle")
	torn := errors.New("the disk is torn")
	_, err = bundle.Check(iotest.ErrReader(torn), bundle.Options{})
	require.ErrorIs(t, err, torn)
	require.NotErrorIs(t, err, bundle.ErrNoBundle)

	check := func(raw []byte) []string {
		t.Helper()
		r, err := bundle.Check(bytes.NewReader(raw), bundle.Options{Key: m.key})
		require.NoError(t, err)
		require.Less(t, len(failed(r)), 40)
		return failed(r)
	}
	ends := check(bytes.ReplaceAll(m.few, []byte("\n"), []byte("\r\n")))
	require.Contains(t, ends[0], "changed the ends of its lines")
	require.Equal(t, fmt.Sprintf("And so %d more lines", bytes.Count(m.few, []byte("\n"))-1), ends[1], "said once")
	require.Contains(t, strings.Join(check(m.few[:len(m.few)/2]), "\n"), "The seal is missing")
	require.NotEmpty(t, check(m.few[:len(m.few)-1]), "the last line break")
	require.Contains(t, strings.Join(check(append(bytes.Clone(m.few), bytes.Repeat([]byte("\n"), 1<<16)...)), "\n"), "more lines")
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// Whoever made a file with a key of their own can put anything into it. It is
// read to its end, and the folder of the fold is taken away again.
func TestABundleByAStranger(t *testing.T) {
	for name, c := range map[string]struct {
		leaf projector.Leaf
		bad  string
	}{
		"nothing that decodes":  {leaf(1, monday, "pour.mill.a.lift.placed", "{}"), "nothing of the wall"},
		"a number without end":  {leaf(1<<62, monday, "pour.mill.a.lift.placed", "{}"), "greater than that of the last message"},
		"a subject of no sort":  {leaf(1, monday, "\x00\xff", "\x00"), "nothing of the wall"},
		"the greatest number":   {leaf(1<<36, monday, "pour.mill.a.lift.placed", "{}"), ""},
		"recorded in year 9999": {leaf(1, time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), "pour.mill.a.lift.placed", "{}"), ""},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			r, err := bundle.Verify(t.Context(), bytes.NewReader(forged(t, otherKey, c.leaf)), bundle.Options{Dir: dir})
			require.NoError(t, err)
			require.Contains(t, strings.Join(failed(r), "\n"), c.bad)
			require.Empty(t, below(t, dir))
		})
	}
}

// A fold that fails ends the check with why, and leaves nothing behind.
func TestAFoldThatFails(t *testing.T) {
	dir := t.TempDir()
	// A time of no calendar cannot be written to a store.
	raw := forged(t, otherKey, leaf(1, time.UnixMilli(1<<60), "pour.mill.a.lift.placed", "{}"))
	_, err := bundle.Verify(t.Context(), bytes.NewReader(raw), bundle.Options{Dir: dir})
	require.ErrorContains(t, err, "fold the bundle")
	require.Empty(t, below(t, dir))

	ctx, stop := context.WithCancel(t.Context())
	stop()
	_, err = bundle.Verify(ctx, bytes.NewReader(theBundle(t).raw), bundle.Options{Dir: dir})
	require.ErrorIs(t, err, context.Canceled)
	require.Empty(t, below(t, dir))
	_, err = bundle.Verify(t.Context(), bytes.NewReader(theBundle(t).raw), bundle.Options{Dir: dir + "/none"})
	require.ErrorIs(t, err, os.ErrNotExist)
}

func below(t *testing.T, dir string) (names []string) {
	t.Helper()
	list, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range list {
		names = append(names, e.Name())
	}
	return names
}

// Whatever the file is, it is refused or reported, and what is reported to hold
// is a file as this program writes it.
func FuzzCheck(f *testing.F) {
	good := forged(f, otherKey, leaf(1, monday, "pour.mill.a.lift.placed", "{}"), leaf(3, monday, "pour.mill.a.lift.placed", `{"id":"x"}`))
	key := merkle.VerifierKey(otherHub)
	r, err := bundle.Check(bytes.NewReader(good), bundle.Options{Key: key})
	require.NoError(f, err)
	require.True(f, r.Holds(), "%+v", r.Findings)
	f.Add(good, []byte(nil))
	f.Add(good[:len(good)/2], good)
	f.Add([]byte("{\"earlyage_bundle\":1}\n{\"index\":-1}\n{\"seal\":\"\"}\n"), []byte("earlyage/0\n0\n\n"))
	f.Fuzz(func(t *testing.T, raw, checkpoint []byte) {
		r, err := bundle.Check(bytes.NewReader(raw), bundle.Options{Key: key, Checkpoints: [][]byte{checkpoint}})
		if err != nil {
			return
		}
		require.False(t, r.Holds() && !bytes.Equal(raw, good))
		again, err := bundle.Check(bytes.NewReader(raw), bundle.Options{})
		require.NoError(t, err)
		require.Equal(t, r.Messages, again.Messages)
	})
}
