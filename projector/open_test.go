package projector_test

import (
	"bytes"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/projector"
)

func TestTwoHubsOnOneFolder(t *testing.T) {
	cfg := newConfig(t, t.TempDir(), newTape())
	open(t, cfg)
	_, err := projector.Open(cfg)
	require.ErrorIs(t, err, projector.ErrLocked)
	require.ErrorContains(t, err, "another hub has this folder open")
	_, err = projector.Check(t.Context(), cfg, projector.Keep, nil)
	require.ErrorIs(t, err, projector.ErrLocked)
}

func TestConfigIsChecked(t *testing.T) {
	for field, change := range map[string]func(*projector.Config){
		"Dir":      func(c *projector.Config) { c.Dir = "" },
		"BatchMax": func(c *projector.Config) { c.BatchMax = 50_001 },
		"WallsMax": func(c *projector.Config) { c.WallsMax = -1 },
		"Key":      func(c *projector.Config) { c.Key = c.Key[:7] },
	} {
		cfg := newConfig(t, t.TempDir(), newTape())
		change(&cfg)
		_, err := projector.Open(cfg)
		require.ErrorContains(t, err, field)
	}
}

func TestHubKeyIsKept(t *testing.T) {
	cfg := newConfig(t, t.TempDir(), newTape())
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	key := p.HubKey()
	require.NoError(t, p.Close())
	require.Equal(t, key, open(t, cfg).HubKey())
	require.NotEqual(t, key, open(t, newConfig(t, t.TempDir(), newTape())).HubKey())
}

func TestOwnKeyIsTheDefault(t *testing.T) {
	s := newTape()
	cfg := newConfig(t, t.TempDir(), s)
	cfg.Key = nil
	p := open(t, cfg)
	s.addSigned(t, p.HubKey(), raised(t, "hub", "w1"))
	s.addSigned(t, hubKey, raised(t, "hub", "w2"))
	stop := run(t, p)
	reach(t, p, 2)
	require.NoError(t, stop())
	view(t, p, func(v projector.View) { require.Equal(t, verdicts{1, 0, 1}, verdictsOf(v)) })
}

func TestInventedTimesCountInADemoOnly(t *testing.T) {
	for _, demo := range []bool{false, true} {
		s := newTape()
		d := newDevice("alder", "phone-1")
		e := d.reading("w1", 10)
		s.put(e.Subject(), encode(t, e), "")
		s.msgs[0].DemoRecorded = "2027-01-02T03:04:05.006Z"
		cfg := newConfig(t, t.TempDir(), s)
		cfg.Demo = demo
		p, err := projector.Open(cfg)
		require.NoError(t, err)
		stop := run(t, p)
		reach(t, p, 1)
		require.NoError(t, stop())
		h := hub(t, p)
		require.Equal(t, demo, h.Demo)
		require.Equal(t, demo, h.Recorded.Year() == 2027, "recorded %s", h.Recorded)
		require.NoError(t, p.Close())

		// What a store is it stays.
		cfg.Demo = false
		p, err = projector.Open(cfg)
		require.NoError(t, err)
		require.Equal(t, demo, hub(t, p).Demo)
		require.NoError(t, p.Close())
		cfg.Demo = true
		p, err = projector.Open(cfg)
		if !demo {
			require.ErrorContains(t, err, "not a demo's")
			continue
		}
		require.NoError(t, err)
		require.NoError(t, p.Close())
	}
}

// logged is a store whose log can be read.
func logged(t *testing.T, cfg projector.Config) (projector.Config, *bytes.Buffer) {
	var log bytes.Buffer
	cfg.Log = slog.New(slog.NewTextHandler(io.MultiWriter(&log, t.Output()), nil))
	return cfg, &log
}

// closed makes a store of a few sites, and closes it.
func closed(t *testing.T) (projector.Config, [32]byte) {
	s := newTape()
	for _, site := range []string{"alder", "birch"} {
		d := newDevice(site, "phone-1")
		for i := range 30 {
			s.add(t, d.reading("w1", float64(i)))
			s.add(t, d.lift("w2", 0, 6, 0.1*float64(i+1)))
		}
		s.put("pour."+site+".w3.lift.placed", []byte("{}"), "")
	}
	cfg := newConfig(t, t.TempDir(), s)
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	stop := run(t, p)
	reach(t, p, s.last)
	require.NoError(t, stop())
	d := digest(t, p)
	require.NoError(t, p.Close())
	return cfg, d
}

// edit changes view.db behind the projector's back.
func edit(t *testing.T, cfg projector.Config, f func(tx *bbolt.Tx) error) {
	t.Helper()
	db, err := bbolt.Open(filepath.Join(cfg.Dir, "view.db"), 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(f))
	require.NoError(t, db.Close())
}

// flip changes one byte of a file, in every place where a text stands in it.
func flip(t *testing.T, path, text string) {
	t.Helper()
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	raw, err := io.ReadAll(file)
	require.NoError(t, err)
	require.Positive(t, bytes.Count(raw, []byte(text)))
	for at := 0; ; at++ {
		i := bytes.Index(raw[at:], []byte(text))
		if i < 0 {
			break
		}
		at += i + len(text) - 1
		_, err := file.WriteAt([]byte{raw[at] ^ 1}, int64(at))
		require.NoError(t, err)
	}
	require.NoError(t, file.Close())
}

func TestViewThatCannotBeUsedIsBuiltAnew(t *testing.T) {
	for name, harm := range map[string]struct {
		do   func(t *testing.T, cfg projector.Config)
		said string
		away bool
	}{
		"missing": {func(t *testing.T, cfg projector.Config) {
			require.NoError(t, os.Remove(filepath.Join(cfg.Dir, "view.db")))
		}, "view built from the kept messages", false},
		"other version": {func(t *testing.T, cfg projector.Config) {
			p, err := projector.Open(projector.Config{Dir: cfg.Dir, Key: make([]byte, 32)})
			require.NoError(t, err)
			require.NoError(t, p.Close())
		}, "view is of another version", true},
		"flipped bit": {func(t *testing.T, cfg projector.Config) {
			flip(t, filepath.Join(cfg.Dir, "view.db"), `"top_m":0.3`)
		}, "file is damaged", true},
		"lost bucket": {func(t *testing.T, cfg projector.Config) {
			edit(t, cfg, func(tx *bbolt.Tx) error { return tx.DeleteBucket([]byte("wall")) })
		}, "file is damaged", true},
		"cut off": {func(t *testing.T, cfg projector.Config) {
			require.NoError(t, os.Truncate(filepath.Join(cfg.Dir, "view.db"), 3*4096))
		}, "cannot be used", true},
		"garbage": {func(t *testing.T, cfg projector.Config) {
			require.NoError(t, os.WriteFile(filepath.Join(cfg.Dir, "view.db"), bytes.Repeat([]byte("no"), 9000), 0o600))
		}, "file is damaged", true},
	} {
		t.Run(name, func(t *testing.T) {
			cfg, want := closed(t)
			harm.do(t, cfg)
			cfg, log := logged(t, cfg)
			p := open(t, cfg)
			require.Equal(t, want, digest(t, p))
			require.Contains(t, log.String(), harm.said)
			_, err := os.Stat(filepath.Join(cfg.Dir, "view.db.away"))
			require.Equal(t, harm.away, err == nil, "the old view is put away")
		})
	}
}

func TestViewAheadOfTheKeptMessagesIsNotBelieved(t *testing.T) {
	cfg, _ := closed(t)
	s := cfg.Stream.(*tape)
	backup, err := os.ReadFile(filepath.Join(cfg.Dir, "keep.db"))
	require.NoError(t, err)
	s.add(t, newDevice("cedar", "phone-1").reading("w1", 1))
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	stop := run(t, p)
	reach(t, p, s.last)
	require.NoError(t, stop())
	want := digest(t, p)
	require.NoError(t, p.Close())
	require.NoError(t, os.WriteFile(filepath.Join(cfg.Dir, "keep.db"), backup, 0o600))

	cfg, log := logged(t, cfg)
	p = open(t, cfg)
	require.Contains(t, log.String(), "view stands at")
	require.EqualValues(t, s.last-1, hub(t, p).Through)
	stop = run(t, p)
	reach(t, p, s.last)
	require.NoError(t, stop())
	require.Equal(t, want, digest(t, p))
}

func TestDamagedRecordDoesNotOpen(t *testing.T) {
	cfg, _ := closed(t)
	flip(t, filepath.Join(cfg.Dir, "keep.db"), `"top_m":0.3`)
	_, err := projector.Open(cfg)
	require.ErrorIs(t, err, projector.ErrDamaged)
	require.ErrorContains(t, err, "leaf")
}

// TestDamageWhileRunning: a wall that cannot be read ends Run, makes Read fail
// and is mended by the next Open.
func TestDamageWhileRunning(t *testing.T) {
	cfg, want := closed(t)
	cfg.WallsMax = 1
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	stop := run(t, p)
	flip(t, filepath.Join(cfg.Dir, "view.db"), `"top_m":0.3`)
	err = p.Read(func(v projector.View) error {
		v.Wall(projector.Ref{"alder", "w2"})
		v.Wall(projector.Ref{"birch", "w2"})
		return nil
	})
	require.ErrorIs(t, err, projector.ErrDamaged)
	for !strings.Contains(hub(t, p).Why, "projector gives up") {
		// Run is told and ends by itself.
	}
	require.ErrorIs(t, stop(), projector.ErrGiveUp)
	require.False(t, hub(t, p).Level)
	require.NoError(t, p.Close())
	require.Equal(t, want, digest(t, open(t, cfg)))
}
