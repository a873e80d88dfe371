package site_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// word is something said of the whole site, as the stream has it.
func word(seq uint64, trusted bool, kind events.Kind, data events.Data) wall.Fact {
	at := time.Date(2026, 1, 15, 6, int(seq), 0, 0, time.UTC)
	return wall.Fact{Seq: seq, Recorded: at, Trusted: trusted, Event: events.Event{
		ID: fmt.Sprint("word-", seq), Source: events.Source{Site: "mill", Device: "hub"}, Kind: kind, Time: at, By: "p-1", Data: data,
	}}
}

// Each sheet of a day stands for itself, and only the hub issues one; of two the
// later in the stream counts.
func TestSheetsAreKeptByNameAndDay(t *testing.T) {
	sheet := func(seq uint64, trusted bool, name string) wall.Fact {
		return word(seq, trusted, "sheet.issued", &events.SheetIssued{Sheet: name, Date: "2026-01-15", At: time.Date(2026, 1, 15, 6, 0, 0, 0, time.UTC), Rules: "1"})
	}
	s := site.New("mill")
	require.Empty(t, s.Sheets())
	s.Add(sheet(1, true, ""))
	before := s.Sheets()
	s.Add(sheet(9, true, events.EveningSheet), sheet(4, true, events.MorningSheet), sheet(5, false, events.WeeklySheet))
	s.Add(sheet(3, true, "")) // late
	require.Equal(t, map[site.SheetDay]uint64{{Sheet: "morning", Date: "2026-01-15"}: 4, {Sheet: "evening", Date: "2026-01-15"}: 9}, s.Sheets())
	require.Len(t, before, 1, "what was given out does not change")
}

// A rest of the whole site covers its walls; and one message may tell of the
// alarms of several walls.
func TestASiteRestsAndTellsForItsWalls(t *testing.T) {
	from := time.Date(2026, 1, 15, 6, 1, 0, 0, time.UTC)
	s := site.New("mill")
	s.Add(
		word(1, false, "alert.out-of-service", &events.AlertOutOfService{Kind: "probe-silent", At: from, Until: from.Add(24 * time.Hour), Reason: "the gateway is being changed"}),
		word(2, true, "alert.told", &events.AlertTold{Message: "m-1", Alerts: []string{"a", "b"}, What: "summary", Person: "p-1", Channel: "mail", Outcome: "accepted", Text: "2 alerts", At: from}),
		word(3, false, "alert.told", &events.AlertTold{Message: "m-2", Alerts: []string{"a"}, What: "raised", Person: "p-1", Channel: "mail", Outcome: "accepted", Text: "a stranger's", At: from}),
	)
	rest, is := wall.Resting(s.Rests(), "probe-silent", "any probe", from.UnixMilli())
	require.True(t, is)
	require.Equal(t, "p-1", rest.By)
	for name, not := range map[string]struct {
		kind string
		at   time.Time
	}{"before": {"probe-silent", from.Add(-1)}, "after": {"probe-silent", from.Add(24 * time.Hour)}, "another kind": {"record-gap", from}} {
		_, is := wall.Resting(s.Rests(), not.kind, "any probe", not.at.UnixMilli())
		require.False(t, is, name)
	}
	require.Len(t, s.Told(), 2)
	for _, alert := range []string{"a", "b"} {
		require.Len(t, s.Told()[alert], 1)
		require.Equal(t, "m-1", s.Told()[alert][0].Message)
	}
	s.Add(word(4, false, "alert.in-service", &events.AlertInService{Kind: "probe-silent"}))
	_, is = wall.Resting(s.Rests(), "probe-silent", "any probe", from.Add(time.Hour).UnixMilli())
	require.False(t, is)
	require.Equal(t, "p-1", s.Rests()[0].EndedBy)
}
