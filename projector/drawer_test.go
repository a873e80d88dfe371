package projector_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
)

// A drawer is kept in keep.db: it outlives a restart, is apart from another one,
// and a change that fails leaves nothing.
func TestADrawerIsKept(t *testing.T) {
	dir, s := t.TempDir(), newTape()
	p := open(t, newConfig(t, dir, s))
	d, err := p.Drawer("told")
	require.NoError(t, err)
	other, err := p.Drawer("other")
	require.NoError(t, err)
	require.NoError(t, d.Update(func(b *bbolt.Bucket) error { return b.Put([]byte("key"), []byte("value")) }))
	failed := errors.New("injected")
	require.ErrorIs(t, d.Update(func(b *bbolt.Bucket) error {
		require.NoError(t, b.Put([]byte("key"), []byte("another")))
		return failed
	}), failed)
	require.NoError(t, p.Close())

	p = open(t, newConfig(t, dir, s))
	d, err = p.Drawer("told")
	require.NoError(t, err)
	require.NoError(t, d.View(func(b *bbolt.Bucket) error {
		require.Equal(t, "value", string(b.Get([]byte("key"))))
		return nil
	}))
	require.Error(t, other.View(func(*bbolt.Bucket) error { return nil }), "its file is closed")
}

func TestADrawerThatCannotBeWrittenIsAnError(t *testing.T) {
	for _, applied := range []bool{false, true} {
		s := newTape()
		f := &fault{file: "keep.db", applied: applied, err: errors.New("injected"), after: -1}
		cfg := newConfig(t, t.TempDir(), s)
		cfg.OpenWith(f.open)
		p := open(t, cfg)
		d, err := p.Drawer("told")
		require.NoError(t, err)
		f.arm(0)
		require.ErrorIs(t, d.Update(func(b *bbolt.Bucket) error { return b.Put([]byte("key"), []byte("value")) }), f.err)
		require.NoError(t, d.View(func(b *bbolt.Bucket) error {
			require.Equal(t, applied, b.Get([]byte("key")) != nil)
			return nil
		}))
		f.arm(0)
		_, err = p.Drawer("another")
		require.ErrorIs(t, err, f.err)
	}
}
