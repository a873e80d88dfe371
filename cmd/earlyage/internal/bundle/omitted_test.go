package bundle_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/bundle"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/merkle"
	"earlyage/scheduler"
)

// shown is a message of a bundle's line.
type shown struct {
	at    int // in the lines
	seq   uint64
	event events.Event
}

// messagesOf lists a bundle's messages that decode.
func messagesOf(t *testing.T, lines []string) (list []shown) {
	t.Helper()
	for at, line := range lines {
		if !strings.HasPrefix(line, `{"index":`) {
			continue
		}
		var l struct {
			Leaf []byte `json:"leaf"`
		}
		require.NoError(t, json.Unmarshal([]byte(line), &l))
		leaf, err := projector.ParseLeaf(l.Leaf)
		require.NoError(t, err)
		if e, err := events.Decode(leaf.Subject, leaf.Body); err == nil {
			list = append(list, shown{at, leaf.Seq, e})
		}
	}
	return list
}

// without takes lines out of a bundle and seals it anew, as an operator who has
// the hub's key can. The seal's text is written here a second time on purpose.
func (m made) without(t *testing.T, at ...int) []byte {
	t.Helper()
	lines := strings.SplitAfter(strings.TrimSuffix(string(m.raw), "\n"), "\n")
	lines = lines[:len(lines)-1]
	slices.Sort(at)
	for _, i := range slices.Backward(at) {
		lines = slices.Delete(lines, i, i+1)
	}
	return m.sealed(t, lines)
}

func (m made) sealed(t *testing.T, lines []string) []byte {
	t.Helper()
	text := strings.Join(lines, "")
	sum := sha256.Sum256([]byte(text))
	note, err := m.sign(fmt.Sprintf("earlyage bundle\n%s\n%d lines\n", hex.EncodeToString(sum[:]), len(lines)))
	require.NoError(t, err)
	raw, err := json.Marshal(map[string]string{"seal": string(note)})
	require.NoError(t, err)
	return []byte(text + string(raw) + "\n")
}

// An operator who has the hub's key leaves out what does not suit, and seals the
// file anew.
func TestWhatWasLeftOut(t *testing.T) {
	m := theBundle(t)
	list := messagesOf(t, strings.SplitAfter(string(m.raw), "\n"))
	require.True(t, func() bool { r := verify(t, m.without(t), bundle.Options{Key: m.key}); return r.Holds() }(), "sealed anew as it was")
	one := func(which func(s shown) bool) shown {
		t.Helper()
		at := slices.IndexFunc(list, which)
		require.GreaterOrEqual(t, at, 0)
		return list[at]
	}
	ofWall := func(kind events.Kind) func(shown) bool {
		return func(s shown) bool { return s.event.Kind == kind && s.event.Wall == early.Wall }
	}
	var stated []shown
	for _, s := range list {
		if ofWall("window.stated")(s) {
			stated = append(stated, s)
		}
	}
	require.Greater(t, len(stated), 3)
	last := stated[len(stated)-1].seq
	check := func(out shown) (bad, open string, whole bool) {
		t.Helper()
		r := verify(t, m.without(t, out.at), bundle.Options{Key: m.key, Checkpoints: [][]byte{m.earlier}})
		return strings.Join(failed(r), "\n"), strings.Join(r.NotShown, "\n"), r.Holds()
	}

	bad, open, _ := check(one(ofWall("lift.placed")))
	require.Contains(t, bad, "is not what the messages give")
	require.Contains(t, open, "not in the bundle and not written off")
	bad, _, _ = check(stated[1])
	require.Contains(t, bad, fmt.Sprintf("the statement before it, message %d, is not in the bundle", stated[1].seq))
	bad, _, _ = check(one(func(s shown) bool {
		d, ok := s.event.Data.(*events.AlertRaised)
		return ok && s.event.Wall == early.Wall && d.Kind == scheduler.AlertStripEarly
	}))
	require.Contains(t, bad, "the hub's word about it is not in the bundle")

	// After the last statement a device's own numbers still show it, as a gap.
	bad, open, whole := check(one(func(s shown) bool { return s.seq > last && s.event.Sequence != 0 && s.event.Kind != "device.reported" }))
	require.Empty(t, bad)
	require.True(t, whole)
	require.Contains(t, open, "not in the bundle and not written off")
	// What bears no number shows in nothing: the report says so.
	_, open, whole = check(one(func(s shown) bool { return s.seq > last && s.event.Sequence == 0 && s.event.Kind == "alert.told" }))
	require.True(t, whole)
	require.Contains(t, open, "could be missing after it without a trace")
	require.NotContains(t, open, "not written off")
}

// Whoever has the hub's key can make another record and seal it, checkpoints and
// all. A checkpoint that lies elsewhere shows it; without one the report says so.
func TestARecordMadeAnew(t *testing.T) {
	m := theBundle(t)
	r := verify(t, m.few, bundle.Options{Key: m.key})
	require.Contains(t, strings.Join(r.NotShown, "\n"), "give one with --checkpoint")
	kept, err := merkle.OpenCheckpoint(m.earlier, m.key)
	require.NoError(t, err)
	given := func(change func(*merkle.Checkpoint)) string {
		other := kept
		change(&other)
		note, err := m.sign(other.Text())
		require.NoError(t, err)
		r, err := bundle.Check(bytes.NewReader(m.few), bundle.Options{Key: m.key, Checkpoints: [][]byte{note}})
		require.NoError(t, err)
		return strings.Join(failed(r), "\n")
	}
	require.Empty(t, given(func(*merkle.Checkpoint) {}))
	require.Contains(t, given(func(c *merkle.Checkpoint) { c.Root[3] ^= 1 }), "is of another record")
	require.Contains(t, given(func(c *merkle.Checkpoint) { c.Size-- }), "it is another record")
	require.Contains(t, given(func(c *merkle.Checkpoint) { c.Size = 1 << 30 }), "is of a longer record")
}

// A wall's record that is as the hub kept it holds.
func TestOtherWallsOfTheDemoHold(t *testing.T) {
	for _, wall := range []string{"north-1", "east-1"} {
		var raw bytes.Buffer
		require.NoError(t, opened(projector.Ref{Site: early.Site, Wall: wall}, func(p *projector.Projector, c bundle.Contents, sign bundle.Signer) error {
			return p.Tree(func(tree projector.Tree) error { return bundle.Write(&raw, c, tree, sign) })
		}))
		r := verify(t, raw.Bytes(), bundle.Options{})
		require.Empty(t, failed(r), wall)
		require.Positive(t, r.Statements, wall)
	}
}

// A hub's clock can be set back: the checkpoints still follow one another by what
// they hold, and the report says that their dates do not.
func TestAClockThatWasSetBack(t *testing.T) {
	m := theBundle(t)
	lines := strings.SplitAfter(strings.TrimSuffix(string(m.few), "\n"), "\n")
	lines = lines[:len(lines)-1]
	var p struct {
		Checkpoint  string   `json:"checkpoint"`
		Consistency []string `json:"consistency"`
	}
	require.NoError(t, json.Unmarshal([]byte(lines[1]), &p))
	c, err := merkle.OpenCheckpoint([]byte(p.Checkpoint), m.key)
	require.NoError(t, err)
	c.At = c.At.AddDate(50, 0, 0)
	note, err := m.sign(c.Text())
	require.NoError(t, err)
	p.Checkpoint = string(note)
	raw, err := json.Marshal(p)
	require.NoError(t, err)
	lines[1] = string(raw) + "\n"
	r, err := bundle.Check(bytes.NewReader(m.sealed(t, lines)), bundle.Options{Key: m.key})
	require.NoError(t, err)
	require.Empty(t, failed(r))
	require.Contains(t, strings.Join(r.NotShown, "\n"), "the hub's clock was set back")
}
