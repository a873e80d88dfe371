package bundle_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"
	foreign "github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"go.uber.org/goleak"
	"golang.org/x/mod/sumdb/note"

	"earlyage/cmd/earlyage/internal/bundle"
	"earlyage/cmd/earlyage/internal/demo/week"
	"earlyage/projector"
	"earlyage/projector/merkle"
	"earlyage/scheduler"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(tests{m}) }

// tests are those of the package; what they share is gone after the last.
type tests struct{ *testing.M }

func (t tests) Run() int {
	code := t.M.Run()
	if weekDir != "" {
		_ = os.RemoveAll(filepath.Dir(weekDir))
	}
	return code
}

var (
	otherKey = ed25519.NewKeyFromSeed([]byte("another hub's key of 32 bytes...")) // #nosec G101 -- for tests
	otherHub = otherKey.Public().(ed25519.PublicKey)
)

// The wall of the demo whose bracing came off early.
var early = projector.Ref{Site: "alder-court", Wall: "north-2"}

// played is the store that the demo leaves, made once for all tests.
var played = sync.OnceValues(func() (string, error) {
	var err error
	weekDir, err = week.Make(context.Background())
	return weekDir, err
})

var weekDir string // empty: it was not played

// made is a bundle of the wall, with an earlier checkpoint and the key.
type made struct {
	raw     []byte
	key     string
	earlier []byte // a checkpoint of before the last messages
	few     []byte // a bundle of the first messages and few checkpoints, for tests that read it a thousand times
	sign    bundle.Signer
}

// opened hands out the demo's store with what a bundle of a wall is made of.
func opened(at projector.Ref, make func(p *projector.Projector, c bundle.Contents, sign bundle.Signer) error) error {
	dir, err := played()
	if err != nil {
		return err
	}
	p, err := projector.Open(projector.Config{Dir: dir})
	if err != nil {
		return err
	}
	defer p.Close()
	signed, err := p.Checkpoint()
	if err != nil {
		return err
	}
	list, err := p.Checkpoints(0, 1000)
	if err != nil {
		return err
	}
	head := bundle.Head{Bundle: bundle.Version, Key: p.VerifierKey(), Site: at.Site, Wall: at.Wall, Made: signed.At, Rules: scheduler.Rules, SignedFrom: 1, Demo: true}
	c := bundle.Contents{Head: head, Checkpoints: list}
	if err = p.Read(func(v projector.View) (err error) { c.Leaves, err = bundle.Gather(v, at); return err }); err != nil {
		return err
	}
	hub := p.HubKey()
	return make(p, c, func(text string) ([]byte, error) { return merkle.Sign(hub, text) })
}

var bundled = sync.OnceValues(func() (m made, err error) {
	err = opened(early, func(p *projector.Projector, c bundle.Contents, sign bundle.Signer) error {
		m.key, m.earlier, m.sign = c.Head.Key, c.Checkpoints[0].Note, sign
		var whole, few bytes.Buffer
		defer func() { m.raw, m.few = whole.Bytes(), few.Bytes() }()
		return p.Tree(func(tree projector.Tree) error {
			if err := bundle.Write(&whole, c, tree, sign); err != nil {
				return err
			}
			c.Leaves, c.Checkpoints = c.Leaves[:30], slices.Concat(c.Checkpoints[:2], c.Checkpoints[len(c.Checkpoints)-1:])
			return bundle.Write(&few, c, tree, sign)
		})
	})
	return m, err
})

func theBundle(t *testing.T) made {
	t.Helper()
	m, err := bundled()
	require.NoError(t, err)
	return m
}

func verify(t *testing.T, raw []byte, o bundle.Options) bundle.Report {
	t.Helper()
	o.Dir = t.TempDir()
	r, err := bundle.Verify(t.Context(), bytes.NewReader(raw), o)
	require.NoError(t, err)
	return r
}

func failed(r bundle.Report) (list []string) {
	for _, f := range r.Findings {
		if !f.Holds {
			list = append(list, f.What)
		}
	}
	return list
}

func TestTheWallThatWasStrippedEarly(t *testing.T) {
	m := theBundle(t)
	r := verify(t, m.raw, bundle.Options{Key: m.key, Checkpoints: [][]byte{m.earlier}})
	require.Empty(t, failed(r))
	require.True(t, r.Holds())
	require.Greater(t, r.Messages, 100)
	require.Greater(t, r.Statements, 3)
	require.Equal(t, r.Statements, r.Recomputed)
	require.False(t, r.KeyFromFile)
	require.True(t, verify(t, m.raw, bundle.Options{}).KeyFromFile)
}

// A verifier that is not ours (github.com/transparency-dev/merkle, and
// golang.org/x/mod's reader of signed notes) takes the same file, read with
// nothing of this program, and comes to the same.
func TestAnotherVerifierAgrees(t *testing.T) {
	m := theBundle(t)
	v, err := note.NewVerifier(m.key)
	require.NoError(t, err)
	var root []byte
	var size uint64
	proofs := 0
	lines := bytes.Split(bytes.TrimSuffix(m.raw, []byte("\n")), []byte("\n"))
	type line struct {
		Checkpoint  string   `json:"checkpoint"`
		Consistency []string `json:"consistency"`
		Index       uint64   `json:"index"`
		Leaf        string   `json:"leaf"`
		Proof       []string `json:"proof"`
	}
	hashes := func(list []string) (out [][]byte) {
		for _, s := range list {
			h, err := base64.StdEncoding.DecodeString(s)
			require.NoError(t, err)
			out = append(out, h)
		}
		return out
	}
	read := func(raw []byte) (l line) {
		require.NoError(t, json.Unmarshal(raw, &l))
		return l
	}
	open := func(text string) (size uint64, root []byte) {
		n, err := note.Open([]byte(text), note.VerifierList(v))
		require.NoError(t, err)
		parts := strings.Split(n.Text, "\n")
		_, err = fmt.Sscan(parts[1], &size)
		require.NoError(t, err)
		root, err = base64.StdEncoding.DecodeString(parts[2])
		require.NoError(t, err)
		return size, root
	}
	for _, raw := range lines[1 : len(lines)-1] {
		if l := read(raw); l.Checkpoint != "" {
			size, root = open(l.Checkpoint)
		}
	}
	for _, raw := range lines[1 : len(lines)-1] {
		l := read(raw)
		if l.Checkpoint != "" {
			earlier, before := open(l.Checkpoint)
			require.NoError(t, foreign.VerifyConsistency(rfc6962.DefaultHasher, earlier, size, hashes(l.Consistency), before, root))
			continue
		}
		leaf, err := base64.StdEncoding.DecodeString(l.Leaf)
		require.NoError(t, err)
		require.NoError(t, foreign.VerifyInclusion(rfc6962.DefaultHasher, l.Index, size, rfc6962.DefaultHasher.HashLeaf(leaf), hashes(l.Proof), root))
		proofs++
	}
	require.Equal(t, verify(t, m.raw, bundle.Options{}).Messages, proofs)
}

// Any single bit of the file: found, and the line named. 1,000 of them.
func TestAnyFlippedBitOfABundleIsFound(t *testing.T) {
	m := theBundle(t)
	random := rand.New(rand.NewPCG(6962, 48)) // #nosec G404 -- repeatable on purpose
	named := regexp.MustCompile(`^(line \d+|The seal is missing)`)
	for range 1000 {
		bit := random.IntN(8 * len(m.few))
		changed := bytes.Clone(m.few)
		changed[bit/8] ^= 1 << (bit % 8)
		r, err := bundle.Check(bytes.NewReader(changed), bundle.Options{Key: m.key})
		if err != nil {
			require.ErrorIs(t, err, bundle.ErrNoBundle, "bit %d", bit)
			continue
		}
		bad := failed(r)
		require.NotEmpty(t, bad, "bit %d", bit)
		at := 1 + bytes.Count(m.few[:bit/8], []byte("\n"))
		require.True(t, slices.ContainsFunc(bad, named.MatchString), "bit %d in line %d: %q", bit, at, bad)
	}
}

// Whoever has the hub's key can seal a file again, and whoever knows the form can
// write each line as a hub does; the log still says what does not belong.
func TestDroppedReorderedBackdatedAndInsertedMessages(t *testing.T) {
	m := theBundle(t)
	lines := strings.SplitAfter(strings.TrimSuffix(string(m.raw), "\n"), "\n")
	first := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, `{"index":`) })
	tamper := func(change func(lines []string) []string) []string {
		changed := strings.Join(change(slices.Clone(lines)), "")
		r, err := bundle.Check(strings.NewReader(changed), bundle.Options{Key: m.key})
		require.NoError(t, err)
		return failed(r)
	}
	dropped := strings.Join(tamper(func(l []string) []string { return slices.Delete(l, first+5, first+6) }), "\n")
	require.Contains(t, dropped, "the seal is of another file")
	require.Contains(t, dropped, fmt.Sprintf("it was put on %d lines, and here are %d", len(lines)-1, len(lines)-2))
	swapped := tamper(func(l []string) []string { l[first+5], l[first+6] = l[first+6], l[first+5]; return l })
	require.Contains(t, strings.Join(swapped, "\n"), "not in its place")
	twice := tamper(func(l []string) []string { return slices.Insert(l, first+5, l[first+5]) })
	require.Contains(t, strings.Join(twice, "\n"), "not in its place")
	back := tamper(func(l []string) []string { l[first+9] = moved(t, l[first+9], -time.Hour); return l })
	require.Contains(t, strings.Join(back, "\n"), fmt.Sprintf("line %d, message", first+10))
	require.Contains(t, strings.Join(back, "\n"), "its time")
	cut := tamper(func(l []string) []string { return l[:len(l)-1] })
	require.Contains(t, strings.Join(cut, "\n"), "The seal is missing")
}

// moved back-dates a message and writes the line as a hub would.
func moved(t *testing.T, line string, by time.Duration) string {
	t.Helper()
	var l struct {
		Index int64          `json:"index"`
		Leaf  []byte         `json:"leaf"`
		Proof jsontext.Value `json:"proof"`
	}
	require.NoError(t, json.Unmarshal([]byte(line), &l))
	leaf, err := projector.ParseLeaf(l.Leaf)
	require.NoError(t, err)
	leaf.Recorded = leaf.Recorded.Add(by)
	l.Leaf = leaf.Append(nil)
	raw, err := json.Marshal(l, json.Deterministic(true))
	require.NoError(t, err)
	return string(raw) + "\n"
}

func TestAnotherHubAndAnotherRecord(t *testing.T) {
	m := theBundle(t)
	other := merkle.VerifierKey(otherHub)
	require.Contains(t, strings.Join(failed(verify(t, m.raw, bundle.Options{Key: other})), "\n"), "of another hub")
	forged, err := merkle.SignCheckpoint(otherKey, merkle.Checkpoint{Size: 10})
	require.NoError(t, err)
	require.Contains(t, strings.Join(failed(verify(t, m.raw, bundle.Options{Checkpoints: [][]byte{forged}})), "\n"), "not one of this hub")
	_, err = bundle.Verify(t.Context(), strings.NewReader("a letter\n"), bundle.Options{})
	require.ErrorIs(t, err, bundle.ErrNoBundle)
}
