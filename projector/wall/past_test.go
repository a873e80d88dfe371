package wall_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/wall"
)

// Statements come in the order of the stream, the hub's own alone; what was voided
// is listed once a second person let the void count.
func TestPastOfAWall(t *testing.T) {
	at := time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)
	seq := uint64(0)
	fact := func(device, by string, trusted bool, kind events.Kind, d events.Data) wall.Fact {
		seq++
		return wall.Fact{Event: events.Event{
			ID: fmt.Sprintf("e%d", seq), Source: events.Source{Site: "mill", Device: device}, Time: at.Add(time.Duration(seq) * time.Minute), By: by, Wall: "a", Kind: kind, Data: d,
		}, Seq: seq, Recorded: at.Add(time.Duration(seq) * time.Minute), Trusted: trusted}
	}
	target := func(f wall.Fact) events.Target { return events.Target{Source: f.Source.String(), ID: f.ID} }
	first := fact(events.HubDevice, "", true, "window.stated", &events.WindowStated{Governs: "floor"})
	forged := fact("phone", "p-1", false, "window.stated", &events.WindowStated{Governs: "none", Open: true})
	second := fact(events.HubDevice, "", true, "window.stated", &events.WindowStated{Governs: "temperature"})
	strip := fact("phone", "p-1", false, "brace.stripped", &events.BraceStripped{All: true})
	void := fact("office", "p-2", false, "record.voided", &events.RecordVoided{Target: target(strip), Reason: "another wall"})
	own := fact("office", "p-2", false, "record.countersigned", &events.RecordCountersigned{Target: target(void), Role: "officer"})
	signed := fact("office", "p-3", false, "record.countersigned", &events.RecordCountersigned{Target: target(void), Role: "officer"})

	s := wall.New("mill", "a")
	require.Empty(t, s.Statements())
	require.Empty(t, s.Voided())
	s.Add(second, forged, first)
	var governs []string
	for _, x := range s.Statements() {
		governs = append(governs, x.Governs)
	}
	require.Equal(t, []string{"floor", "temperature"}, governs)
	s.Add(strip, void, own)
	require.Empty(t, s.Voided(), "nobody lets their own void count")
	s.Add(signed)
	gone := s.Voided()
	require.Len(t, gone, 1)
	require.Equal(t, strip.ID, gone[0].ID)
	require.Equal(t, "p-2", gone[0].By.By)
}
