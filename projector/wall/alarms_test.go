package wall_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
)

var spoken = time.Date(2026, 1, 15, 6, 0, 0, 0, time.UTC)

// kinds are the kinds of the words, by their data.
var kinds = map[string]events.Kind{
	"*events.WindowStated": "window.stated", "*events.AlertRaised": "alert.raised", "*events.AlertCleared": "alert.cleared",
	"*events.AlertAcknowledged": "alert.acknowledged", "*events.AlertShelved": "alert.shelved", "*events.AlertUnshelved": "alert.unshelved",
	"*events.AlertOutOfService": "alert.out-of-service", "*events.AlertInService": "alert.in-service",
	"*events.AlertShown": "alert.shown", "*events.RecordVoided": "record.voided", "*events.AlertTold": "alert.told", "*events.SheetIssued": "sheet.issued",
}

// said is a word of the hub on mill/a, as it stands in the stream.
func said(seq uint64, trusted bool, data events.Data) wall.Fact {
	kind, known := kinds[fmt.Sprintf("%T", data)]
	if !known {
		panic(fmt.Sprintf("%T is no word", data))
	}
	return wall.Fact{Seq: seq, Recorded: spoken, Trusted: trusted, Event: events.Event{
		ID: fmt.Sprint("word-", seq), Source: events.Source{Site: "mill", Device: "hub"}, Kind: kind, Wall: "a", Time: spoken, Data: data,
	}}
}

func stated(governs string, preceding uint64) *events.WindowStated {
	return &events.WindowStated{At: spoken, State: "curing", Governs: governs, Text: "shut", Rules: "r", Digest: "00", Preceding: preceding}
}

// What the hub said last counts, in whatever order the words are folded; what a
// stranger says does not.
func TestTheHubsLastStatementCounts(t *testing.T) {
	facts := []wall.Fact{
		said(3, true, stated("floor", 0)), said(4, true, stated("wind", 0)), // crossed
		said(7, true, stated("hold", 4)), said(8, false, stated("permit", 7)), // and a stranger
	}
	rapid.Check(t, func(rt *rapid.T) {
		w := wall.New("mill", "a")
		w.Add(rapid.Permutation(facts).Draw(rt, "facts")...)
		got, ok := w.Said()
		require.True(rt, ok)
		require.EqualValues(rt, 7, got.Seq)
		require.Equal(rt, "hold", got.Governs)
	})
}

// An alert that two hubs put in other words is one; its end ends it, in whatever
// order the words are folded, and a stranger neither raises nor clears.
func TestAlarmsAreFoldedFromTheHubsWordsInAnyOrder(t *testing.T) {
	raised := func(alert, text string) *events.AlertRaised {
		return &events.AlertRaised{Alert: alert, Kind: "frozen", Cause: "c", Priority: "urgent", Since: spoken, Text: text, Rules: "r"}
	}
	cleared := func(alert string) *events.AlertCleared {
		return &events.AlertCleared{Alert: alert, Kind: "frozen", Cause: "c", At: spoken, Rules: "r"}
	}
	facts := []wall.Fact{
		said(1, true, raised("one", "as one hub says it")), said(2, true, raised("one", "as the other says it")),
		said(3, false, cleared("one")), said(5, true, cleared("one")), said(6, true, cleared("one")),
		said(7, true, raised("two", "again")), said(8, false, raised("three", "a stranger's")),
	}
	rapid.Check(t, func(rt *rapid.T) {
		w := wall.New("mill", "a")
		for _, f := range rapid.Permutation(facts).Draw(rt, "facts") {
			w.Add(f)
		}
		alarms := w.Alarms()
		require.Len(rt, alarms, 2)
		require.Equal(rt, "as one hub says it", alarms[0].Text)
		require.EqualValues(rt, 5, alarms[0].ClearedSeq)
		require.True(rt, alarms[1].Stands())
		require.Equal(rt, []string{"one", "two"}, []string{alarms[0].ID, alarms[1].ID})
		require.True(rt, slices.IsSortedFunc(alarms, func(a, b wall.Alarm) int { return int(a.RaisedSeq) - int(b.RaisedSeq) }))
	})
}

// Who may answer goes by the alert's kind: an answer that names another kind is
// none, and one of the time before the kind was asked for still is one.
func TestAnAnswerToAnotherKindOfAlertIsNone(t *testing.T) {
	answer := func(seq uint64, data events.Data) wall.Fact {
		f := said(seq, false, data)
		f.Source.Device, f.By = "phone-7", fmt.Sprint("p-", seq)
		return f
	}
	shelved := func(kind string, hours int) *events.AlertShelved {
		return &events.AlertShelved{Alert: "one", Kind: kind, At: spoken, Until: spoken.Add(time.Duration(hours) * time.Hour), Reason: "r"}
	}
	raise := said(2, true, &events.AlertRaised{Alert: "one", Kind: "strip-early", Cause: "c", Priority: "urgent", Since: spoken, Text: "t", Rules: "r"})
	for _, c := range []struct {
		name    string
		answers []wall.Fact
		by      string
		until   time.Time
	}{
		{"of another kind", []wall.Fact{answer(3, &events.AlertAcknowledged{Alert: "one", Kind: "joint-closing"}), answer(4, shelved("joint-closing", 1))}, "", time.Time{}},
		{"of its kind", []wall.Fact{answer(3, &events.AlertAcknowledged{Alert: "one", Kind: "strip-early"}), answer(4, shelved("strip-early", 2))}, "p-3", spoken.Add(2 * time.Hour)},
		{"of no kind", []wall.Fact{answer(3, &events.AlertAcknowledged{Alert: "one"}), answer(4, shelved("", 3))}, "p-3", spoken.Add(3 * time.Hour)},
		{"of another kind first", []wall.Fact{answer(3, &events.AlertAcknowledged{Alert: "one", Kind: "frozen"}), answer(4, &events.AlertAcknowledged{Alert: "one", Kind: "strip-early"}),
			answer(5, shelved("strip-early", 2)), answer(6, shelved("frozen", 8))}, "p-4", spoken.Add(2 * time.Hour)},
		{"to another alert", []wall.Fact{answer(3, &events.AlertAcknowledged{Alert: "two", Kind: "strip-early"})}, "", time.Time{}},
		// Told beside the stream, and answered before the stream had it.
		{"before it was raised", []wall.Fact{answer(1, &events.AlertAcknowledged{Alert: "one", Kind: "strip-early"})}, "p-1", time.Time{}},
		{"of another kind before it was raised", []wall.Fact{answer(1, &events.AlertAcknowledged{Alert: "one", Kind: "frozen"})}, "", time.Time{}},
	} {
		w := wall.New("mill", "a")
		w.Add(append(c.answers, raise)...)
		alarms := w.Alarms()
		require.Len(t, alarms, 1, c.name)
		require.Equal(t, c.by, alarms[0].AcknowledgedBy, c.name)
		require.Equal(t, c.by != "", alarms[0].Acknowledged != 0, c.name)
		if c.until.IsZero() {
			require.Zero(t, alarms[0].ShelvedUntil, c.name)
			continue
		}
		require.Equal(t, c.until.UnixMilli(), alarms[0].ShelvedUntil, c.name)
	}
}

// TestAVoidTakesAnAnswerBack: an answer, a shelving and an out-of-service that
// somebody voided end at once, whoever voided them, in whatever order the three
// messages came; who had answered stays known, and the void raises no doubt. Those
// that end a putting off are not taken back: that would tell fewer.
func TestAVoidTakesAnAnswerBack(t *testing.T) {
	at := func(minutes int) time.Time { return spoken.Add(time.Duration(minutes) * time.Minute) }
	word := func(seq uint64, trusted bool, data events.Data, minutes int) wall.Fact {
		f := said(seq, trusted, data)
		f.Recorded, f.Time = at(minutes), at(minutes)
		return f
	}
	void := func(seq uint64, of wall.Fact, minutes int) wall.Fact {
		return word(seq, false, &events.RecordVoided{Target: events.Target{Source: of.Source.String(), ID: of.ID}, Reason: "another wall"}, minutes)
	}
	raised := word(1, true, &events.AlertRaised{Alert: "a", Kind: "strip-early", Cause: "b1", Priority: "urgent", Text: "x", Since: at(0)}, 0)
	ack := word(2, false, &events.AlertAcknowledged{Alert: "a", Kind: "strip-early", At: at(1), Note: "seen"}, 1)
	cleared := word(3, true, &events.AlertCleared{Alert: "a", Kind: "strip-early", Cause: "b1", At: at(2)}, 2)
	shelved := word(4, false, &events.AlertShelved{Alert: "a", Kind: "strip-early", At: at(3), Until: at(200), Reason: "rain"}, 3)
	rest := word(5, false, &events.AlertOutOfService{Kind: "probe-silent", At: at(4), Until: at(2000), Reason: "works"}, 4)
	facts := []wall.Fact{raised, ack, cleared, shelved, rest, void(6, ack, 10), void(7, shelved, 11), void(8, rest, 12)}
	var digest [32]byte
	for i, order := range [][]int{{0, 1, 2, 3, 4, 5, 6, 7}, {7, 6, 5, 4, 3, 2, 1, 0}, {0, 5, 1, 6, 3, 7, 4, 2}} {
		s := wall.New("mill", "a")
		for _, n := range order {
			s.Add(facts[n])
		}
		a := s.Alarms()[0]
		require.True(t, a.Stands(), "it waits for its answer again")
		require.Zero(t, a.Acknowledged)
		require.Equal(t, []wall.TakenBack{{By: ack.By, At: at(1).UnixMilli(), VoidBy: ack.By, VoidAt: at(10).UnixMilli(), Reason: "another wall"}}, a.TakenBack)
		require.Equal(t, wall.StateLatchedUnacknowledged, a.StateAt(at(20).UnixMilli(), nil))
		require.True(t, a.ShelvedAt(at(5).UnixMilli()))
		require.False(t, a.ShelvedAt(at(11).UnixMilli()))
		_, resting := wall.Resting(s.Rests(), "probe-silent", "t1", at(5).UnixMilli())
		require.True(t, resting)
		_, resting = wall.Resting(s.Rests(), "probe-silent", "t1", at(12).UnixMilli())
		require.False(t, resting)
		require.Empty(t, s.Doubts())
		if i > 0 {
			require.Equal(t, digest, s.Digest())
		}
		digest = s.Digest()

		s.Add(word(9, false, &events.AlertAcknowledged{Alert: "a", Kind: "strip-early", At: at(30), Note: "out"}, 30))
		require.Equal(t, at(30).UnixMilli(), s.Alarms()[0].Acknowledged, "another answer counts")
	}
}
