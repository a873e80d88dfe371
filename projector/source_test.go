package projector_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
	"earlyage/projector"
)

// sourceUnderTest is a Source with a way to publish.
type sourceUnderTest struct {
	projector.Source
	put func(subject string, body []byte) uint64
}

// TestSourcesAgree runs one conformance test on the tape of these tests and on
// the real stream: what the projector is tested against is what it reads.
func TestSourcesAgree(t *testing.T) {
	for name, make := range map[string]func(t *testing.T) sourceUnderTest{
		"tape": func(*testing.T) sourceUnderTest {
			s := newTape()
			return sourceUnderTest{s, func(subject string, body []byte) uint64 { return s.put(subject, body, "") }}
		},
		"stream": func(t *testing.T) sourceUnderTest {
			s := startServer(t)
			return sourceUnderTest{s.stream, func(subject string, body []byte) uint64 {
				seq, _, err := stream.PublishOne(t.Context(), s.nc, subject, body, "")
				require.NoError(t, err)
				return seq
			}}
		},
	} {
		t.Run(name, func(t *testing.T) { testSource(t, make(t)) })
	}
}

func testSource(t *testing.T, s sourceUnderTest) {
	first, last, err := s.Head(t.Context())
	require.NoError(t, err)
	require.Zero(t, first)
	require.Zero(t, last)
	require.ErrorIs(t, s.Read(t.Context(), 1, stream.Limits{}, nil), stream.ErrShort)

	body := func(i int) string { return fmt.Sprint("body ", i) }
	for i := range 10 {
		require.EqualValues(t, i+1, s.put("pour.alder.w1.lift.placed", []byte(body(i+1))))
	}
	first, last, err = s.Head(t.Context())
	require.NoError(t, err)
	require.EqualValues(t, 1, first)
	require.EqualValues(t, 10, last)

	// In order, each once, cut to the limit, and on with what comes later.
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var seen []uint64
	err = s.Read(ctx, 3, stream.Limits{Max: 4}, func(batch []stream.Message) error {
		require.NotEmpty(t, batch)
		require.LessOrEqual(t, len(batch), 4)
		for _, m := range batch {
			seen = append(seen, m.Seq)
			require.Equal(t, body(int(m.Seq)), string(m.Body))
			require.Equal(t, "pour.alder.w1.lift.placed", m.Subject)
			require.False(t, m.Recorded.IsZero())
		}
		switch {
		case slices.Contains(seen, 11):
			cancel()
		case slices.Contains(seen, 10):
			s.put("pour.alder.w1.lift.placed", []byte(body(11)))
		}
		return nil
	})
	require.ErrorIs(t, err, context.Canceled)
	require.Equal(t, []uint64{4, 5, 6, 7, 8, 9, 10, 11}, seen)

	enough := errors.New("enough")
	require.ErrorIs(t, s.Read(t.Context(), 0, stream.Limits{}, func([]stream.Message) error { return enough }), enough)
	require.ErrorIs(t, s.Read(t.Context(), 12, stream.Limits{}, nil), stream.ErrShort)
}
