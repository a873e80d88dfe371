package scheduler_test

import (
	"context"
	"crypto/ed25519"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/scheduler"
)

type published struct {
	subject   string
	body      []byte
	signature string
}

func cleared(id, wall string) events.Event {
	return events.Event{
		ID: id, Source: events.Source{Site: "mill", Device: scheduler.HubDevice}, Kind: "alert.cleared", Wall: wall, Time: day,
		Data: &events.AlertCleared{Alert: "alert-1", Kind: "load-old", Cause: "load 7", At: day, Rules: scheduler.Rules},
	}
}

func TestTheSpeakerSignsWhatItSays(t *testing.T) {
	public, private, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	var out []published
	s := scheduler.NewSpeaker(private, stream.Sign, func(_ context.Context, subject string, body []byte, signature string) (uint64, error) {
		out = append(out, published{subject, body, signature})
		return uint64(40 + len(out)), nil
	})
	last, err := s.Say(context.Background(), []events.Event{cleared("a", "north"), cleared("b", "")})
	require.NoError(t, err)
	require.Equal(t, uint64(42), last)
	require.Len(t, out, 2)
	require.Equal(t, []string{"pour.mill.north.alert.cleared", "pour.mill._.alert.cleared"}, []string{out[0].subject, out[1].subject})
	for _, p := range out {
		require.True(t, stream.Verify(public, p.signature, p.body))
		e, err := events.Decode(p.subject, p.body)
		require.NoError(t, err)
		require.True(t, e.Time.Equal(day))
	}
	require.False(t, stream.Verify(public, out[0].signature, out[1].body))
}

func TestTheSpeakerStopsAtTheFirstFailure(t *testing.T) {
	_, private, err := ed25519.GenerateKey(nil)
	require.NoError(t, err)
	n := 0
	s := scheduler.NewSpeaker(private, stream.Sign, func(context.Context, string, []byte, string) (uint64, error) {
		if n++; n == 2 {
			return 0, errPublish
		}
		return uint64(n), nil
	})
	last, err := s.Say(context.Background(), []events.Event{cleared("a", "north"), cleared("b", "south"), cleared("c", "east")})
	require.ErrorIs(t, err, errPublish)
	require.ErrorContains(t, err, "say alert.cleared on pour.mill.south.alert.cleared: ")
	require.Equal(t, uint64(1), last, "what was stored is said")
	require.Equal(t, 2, n)
}

// Two hubs that never heard of each other say the same thing in the same bytes.
func TestTwoHubsSayTheSameBytes(t *testing.T) {
	said := func(late time.Duration) (bodies []string) {
		bubble(t, func(t *testing.T, h *fakeHub) {
			r := h.begin()
			defer r.end()
			due := day.Add(3*time.Hour + 123456*time.Nanosecond)
			h.ask(north, func(now time.Time) scheduler.Assessment {
				if !now.Before(due) {
					return with(open(due), alert(quick, "load 7", due))
				}
				a := curing()
				a.Next = due
				return a
			})
			r.settle()
			r.step(3*time.Hour + late)
			for _, e := range h.words() {
				body, err := e.Encode()
				require.NoError(t, err)
				bodies = append(bodies, string(body))
			}
		})
		return bodies
	}
	first := said(time.Second)
	require.Len(t, first, 3)
	require.Equal(t, first, said(3*time.Millisecond))
	require.Equal(t, first, said(7*time.Minute))
}
