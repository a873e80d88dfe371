package stream_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"earlyage/events/stream"
)

// unsynced counts the pages of the stream's own message files that the kernel
// has not yet handed to the disk (cachestat, Linux 6.5).
func unsynced(t testing.TB, dir string) (pages uint64) {
	t.Helper()
	files := 0
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, ".blk") || !strings.Contains(path, "/streams/POURS/msgs/") {
			return err
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		var stat unix.Cachestat_t
		if err := unix.Cachestat(uint(f.Fd()), &unix.CachestatRange{}, &stat, 0); err != nil {
			return err
		}
		files++
		pages += stat.Dirty + stat.Writeback
		return nil
	}))
	require.NotZero(t, files, "no message files in %s", dir)
	return pages
}

// kernelTells reports whether unsynced means anything in this folder: a file
// system in memory has nothing to write, and older kernels do not tell.
func kernelTells(t testing.TB, dir string) bool {
	t.Helper()
	var fsys unix.Statfs_t
	require.NoError(t, unix.Statfs(dir, &fsys))
	f, err := os.CreateTemp(dir, "")
	require.NoError(t, err)
	defer f.Close()
	err = unix.Cachestat(uint(f.Fd()), &unix.CachestatRange{}, &unix.Cachestat_t{}, 0)
	return fsys.Type != unix.TMPFS_MAGIC && err == nil
}

// When an acknowledgement comes, no page of the message files waits to be
// written: the disk has been told to keep them. A server with default settings
// is the control, and shows that the test can see the difference. Where the
// kernel does not tell, what is left is TestCheckSyncAcceptsAlways: our server
// says that it syncs always.
func TestAcknowledgedPagesAreClean(t *testing.T) {
	dir := t.TempDir()
	if !kernelTells(t, dir) {
		t.Log("this kernel or file system does not tell which pages are clean")
		return
	}
	hub := connectHub(t, startServer(t, dir))
	openStream(t, hub)
	for range 20 {
		_, _, err := stream.PublishOne(testContext(t), hub, "pour.a.w1.pour.started", []byte("x"), "")
		require.NoError(t, err)
		require.Zero(t, unsynced(t, dir), "acknowledged before it was on the disk")
		publish(t, hub, 30)
		require.Zero(t, unsynced(t, dir), "batch acknowledged before it was on the disk")
	}

	plain := startForeign(t, server.Options{ServerName: "plain", JetStream: true})
	nc, err := nats.Connect(plain.ClientURL(), nats.Timeout(patience))
	require.NoError(t, err)
	defer nc.Close()
	openStream(t, nc)
	dirty := uint64(0)
	for range 20 {
		_, _, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.started", []byte("x"), "")
		require.NoError(t, err)
		dirty += unsynced(t, plain.StoreDir())
	}
	require.NotZero(t, dirty, "the control shows no difference")
}
