package main

import (
	"bytes"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
)

// recorded leaves a folder in which a hub has folded some readings.
func recorded(t *testing.T) (dir string) {
	t.Helper()
	dir, client := t.TempDir(), freePort(t)
	p := serve(t, "--data", dir, "--http", freePort(t), "--client", client, "--metrics=", "--unsigned")
	nc, js := connect(t, client)
	for n := uint64(1); n <= 20; n++ {
		require.NoError(t, publishNumbered(t.Context(), js, n))
	}
	receiptOf(t, nc, 20)
	require.Equal(t, 0, p.stop(syscall.SIGTERM))
	return dir
}

// rebuild --check says by its exit status that the view is what the record
// gives; rebuild puts a view right that is not.
func TestRebuildFindsAndMends(t *testing.T) {
	dir := recorded(t)
	status, text := earlyage(t, "rebuild", "--check", "--data", dir)
	require.Equal(t, exitDone, status, text)
	require.Contains(t, text, "The view that was there is the same")
	require.Regexp(t, `Folded \d+ events from the keep through \d+ in .*, \d+ a second\.`, text)

	db, err := bbolt.Open(filepath.Join(dir, "view.db"), 0o600, &bbolt.Options{Timeout: time.Second})
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		c := tx.Bucket([]byte("wall")).Cursor()
		if key, _ := c.First(); key == nil {
			return os.ErrNotExist
		}
		return c.Delete()
	}))
	require.NoError(t, db.Close())
	status, text = earlyage(t, "rebuild", "--check", "--data", dir)
	require.Equal(t, exitFailure, status, text)
	require.Contains(t, text, "The view that was there differs")
	require.Contains(t, text, "wall mill/a")
	require.NotContains(t, text, "The new view is in its place")

	status, text = earlyage(t, "rebuild", "--data", dir)
	require.Equal(t, exitDone, status, text)
	require.Contains(t, text, "The new view is in its place")
	status, text = earlyage(t, "rebuild", "--check", "--from", "stream", "--data", dir)
	require.Equal(t, exitDone, status, text)
}

// A stream that is not the kept record is named, message by message, and is put
// in no view's place.
func TestRebuildFromAnotherStream(t *testing.T) {
	dir, other := recorded(t), recorded(t)
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "stream")))
	require.NoError(t, os.CopyFS(filepath.Join(dir, "stream"), os.DirFS(filepath.Join(other, "stream"))))
	status, text := earlyage(t, "rebuild", "--from", "stream", "--data", dir)
	require.Equal(t, exitFailure, status, text)
	require.Contains(t, text, "Stream and kept bytes differ: message 1 has other bytes")
	require.NotContains(t, text, "The new view is in its place")
	status, text = earlyage(t, "rebuild", "--check", "--data", dir)
	require.Equal(t, exitDone, status, text)
}

func TestTheBarShowsHowFarItIs(t *testing.T) {
	var out bytes.Buffer
	began := time.Date(2026, 11, 2, 6, 0, 0, 0, time.UTC)
	now := began.Add(10 * time.Second)
	b := &bar{w: &out, now: func() time.Time { return now }, began: began}
	b.show(0, 0)
	require.Empty(t, out.String(), "nothing is known of the end")
	b.show(250, 1000)
	now = now.Add(100*time.Millisecond - 1)
	b.show(251, 1000)
	require.Contains(t, out.String(), "[##########..............................] 250 of 1000, 25 a second")
	require.NotContains(t, out.String(), "251", "not so often that it slows the work")
	now = now.Add(1)
	b.show(252, 1000)
	require.Contains(t, out.String(), "252 of 1000, 25 a second")
	now = began.Add(20 * time.Second)
	b.show(999, 1000)
	b.show(1000, 1000)
	b.end()
	require.Contains(t, out.String(), "[########################################] 1000 of 1000, 50 a second \n")
	file, err := os.Create(filepath.Join(t.TempDir(), "log"))
	require.NoError(t, err)
	defer file.Close()
	quiet := newBar(file)
	quiet.show(1, 2)
	quiet.end()
	info, err := file.Stat()
	require.NoError(t, err)
	require.Zero(t, info.Size(), "a file is no terminal")
}
