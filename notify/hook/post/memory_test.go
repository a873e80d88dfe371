package post_test

import (
	"fmt"
	"log/slog"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/notify/hook/post"
)

// It holds the newest 4096 and no more, however often one of them is added.
func TestMemoryIsBounded(t *testing.T) {
	var m post.Memory
	require.False(t, m.Has("0"))
	for i := range 10_000 {
		m.Add(fmt.Sprint(i))
		m.Add(fmt.Sprint(i))
	}
	for i := range 10_000 {
		require.Equal(t, i >= 10_000-4096, m.Has(fmt.Sprint(i)), "%d", i)
	}
}

// A second sending of a message that all have is accepted without a try.
func TestEachAsksNobodyTwice(t *testing.T) {
	var m post.Memory
	asked := 0
	send := func(string) error { asked++; return nil }
	for range 2 {
		require.NoError(t, m.Each("m1", []string{"a", "b"}, slog.New(slog.DiscardHandler), send))
	}
	require.Equal(t, 2, asked)
	require.NoError(t, m.Each("m2", []string{"a"}, slog.New(slog.DiscardHandler), send))
	require.Equal(t, 3, asked)
}
