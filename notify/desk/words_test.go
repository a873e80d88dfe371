package desk_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

func TestWhoWasToldIsToldOfTheEndAndNobodyElse(t *testing.T) {
	for _, priority := range []string{desk.Urgent, desk.High, desk.Medium, desk.Low} {
		b := at(t, &rota{rungs: []desk.Rung{rung(0, by("ada", "mail"), by("ben", "phone"))}})
		b.raise("a1", "line-out", priority)
		b.send(desk.Done)
		b.word(notice.Acknowledged, "a1", "ada")
		require.Empty(t, b.open())
		b.word(notice.Cleared, "a1", "")
		if priority == desk.Urgent || priority == desk.High {
			require.Equal(t, []string{"cleared a1 to ada by mail step 0"}, b.send(desk.Done), priority)
		}
		require.Empty(t, b.open(), priority)
		require.False(t, b.theCase("a1").Ended.IsZero(), priority)
	}
}

func TestWhatWasClearedBeforeItWasToldIsNotTold(t *testing.T) {
	for _, c := range []struct {
		kind, priority string
		told           bool
	}{
		{"line-due", desk.High, false},
		{"brace-overdue", desk.Medium, false},
		{"rise-fast", desk.Urgent, true},       // returned unacknowledged
		{"strip-unpermitted", desk.High, true}, // latched
	} {
		b := at(t, oneRung(by("ada", "mail")))
		b.now = b.now.Add(3 * time.Hour) // the hub was down; it reads all that is there
		b.take(notice.Notice{State: notice.Raised, Alert: "a1", Kind: c.kind, Priority: c.priority, Since: noon, Recorded: noon})
		b.take(notice.Notice{State: notice.Cleared, Alert: "a1", Kind: c.kind, At: noon.Add(time.Hour)})
		require.True(t, b.theCase("a1").Returned(), c.kind)
		if !c.told {
			require.Empty(t, b.open(), c.kind)
			require.Len(t, b.in(desk.Dropped), 1)
			continue
		}
		require.Equal(t, notice.Cleared, b.theCase("a1").Word().State)
		require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.send(desk.Done), c.kind)
		require.Empty(t, b.open(), "one letter, which says both")
		require.True(t, b.letter("ada", "mail").Returned)
	}
}

func TestAWordReadLateIsToldWhileTheAlertStands(t *testing.T) {
	b := at(t, fourRungs())
	b.now = b.now.Add(40 * time.Hour)
	b.take(notice.Notice{State: notice.Raised, Alert: "a1", Kind: "rise-fast", Priority: desk.Urgent, Since: noon, Recorded: noon})
	require.Len(t, b.send(desk.Done), 2)
	b.wait(2 * time.Minute)
	require.Len(t, b.open(), 2, "the rungs count from when it was told first")
}

func TestSentWhileItWasClearedIsFollowedByTheEnd(t *testing.T) {
	for _, priority := range []string{desk.Urgent, desk.High} {
		b := at(t, oneRung(by("ada", "mail")))
		b.raise("a1", "line-out", priority)
		l := b.Due(b.now)[0]
		b.word(notice.Cleared, "a1", "")
		b.write(b.Came(l.ID, desk.Result{Outcome: desk.Done}, b.now))
		require.Equal(t, []string{"cleared a1 to ada by mail step 0"}, b.send(desk.Done), "what she read said that it stands")
	}
}

func TestALatchedAlertClimbsUntilItIsAcknowledged(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "strip-early", desk.Urgent)
	b.send(desk.Done)
	b.word(notice.Cleared, "a1", "")
	b.send(desk.Done)
	b.wait(2 * time.Minute)
	require.Equal(t, []string{"raised a1 to ben by mail step 1", "raised a1 to ben by phone step 1"}, b.send(desk.Done))
	b.wait(50 * time.Hour)
	require.True(t, b.theCase("a1").Ended.IsZero())
	b.send(desk.Done)
	b.word(notice.Acknowledged, "a1", "cleo")
	b.send(desk.Done)
	require.False(t, b.theCase("a1").Ended.IsZero())
}

func TestReturnedUnacknowledgedStaysADay(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.word(notice.Cleared, "a1", "")
	b.send(desk.Done)
	b.wait(24*time.Hour - time.Second)
	require.True(t, b.theCase("a1").Returned())
	require.True(t, b.theCase("a1").Ended.IsZero())
	require.Empty(t, b.open(), "the condition is over: it does not climb")
	b.wait(time.Second)
	require.False(t, b.theCase("a1").Ended.IsZero())
}

func TestSheetsAreToldOnceAndNotWhenTheyAreStale(t *testing.T) {
	sheet := func(b *bench, name, date string, issued time.Time) {
		b.take(notice.Notice{State: notice.Sheet, Site: "north", Issued: &events.SheetIssued{Sheet: name, Date: date, At: issued}})
	}
	b := at(t, &rota{sheets: []desk.Choice{by("ada", "mail", "phone"), by("ben", "phone", "mail")}})
	sheet(b, "", "2026-06-03", b.now)
	sheet(b, "morning", "2026-06-03", b.now)
	require.Equal(t, []string{"sheet  to ada by mail step 0", "sheet  to ben by phone step 0"}, b.send(desk.Done))
	require.False(t, b.theCase("sheet north morning 2026-06-03").Ended.IsZero())
	b.wait(6 * time.Minute)
	b.wait(20 * time.Minute)
	require.Equal(t, []string{"sheet  to ben by mail step 0"}, b.send(desk.Done), "no page has shown it")
	sheet(b, "evening", "2026-06-02", b.now.Add(-12*time.Hour-time.Second))
	sheet(b, "weekly", "2026-05-31", b.now.Add(-3*24*time.Hour-time.Second))
	require.Empty(t, b.open())
	require.Len(t, b.in(desk.Dropped), 4)
	require.Contains(t, b.letter("ada", "mail").Error+b.letter("ben", "phone").Error, "older than")
	sheet(b, "weekly", "2026-06-01", b.now.Add(-2*24*time.Hour))
	require.Len(t, b.send(desk.Done), 2)
	b.wait(31 * 24 * time.Hour)
	require.Empty(t, b.Cases())
}

func TestAWordReadTwiceTellsNobodyAnything(t *testing.T) {
	b := at(t, fourRungs())
	raised := notice.Notice{State: notice.Raised, Alert: "a1", Kind: "rise-fast", Priority: desk.Urgent, Site: "north", Recorded: noon}
	b.write(b.Take(raised, b.now))
	require.NotEmpty(t, b.open(), "directly")
	raised.Seq = 7
	ch := b.Take(raised, b.now)
	require.Empty(t, ch.Letters, "and from the stream")
	require.EqualValues(t, 7, ch.Cases[0].Notice.Seq, "where it stands is known now")
	b.write(ch)
	require.True(t, b.Take(raised, b.now).Empty())
	words := []notice.Notice{raised,
		{State: notice.Shelved, Alert: "a1", Site: "north", Seq: 8, At: noon, Until: noon.Add(time.Hour)},
		{State: notice.Unshelved, Alert: "a1", Site: "north", Seq: 9, At: noon},
		{State: notice.Acknowledged, Alert: "a1", Site: "north", Seq: 10, At: noon, By: "ada"},
		{State: notice.Cleared, Alert: "a1", Site: "north", Seq: 11, At: noon}}
	for _, w := range words {
		b.write(b.Take(w, b.now))
	}
	b.send(desk.Done)
	letters := len(b.Letters())
	for _, w := range words {
		require.Empty(t, b.Take(w, b.now).Letters, w.State)
	}
	require.Len(t, b.Letters(), letters)
	b.wait(29 * 24 * time.Hour)
	for _, w := range words {
		require.True(t, b.Take(w, b.now).Empty(), "%s, 29 days later", w.State)
	}
	require.Empty(t, b.Letters(), "the letters are history")
	b.wait(2 * 24 * time.Hour)
	require.Empty(t, b.Cases())
}

func TestWordsBeforeTheOneThatRaisedIt(t *testing.T) {
	b := at(t, fourRungs())
	b.word(notice.Cleared, "a1", "")
	b.raise("a1", "line-due", desk.High)
	require.Empty(t, b.open(), "it was over before it was heard of")
	b.word(notice.Acknowledged, "a2", "ada")
	b.raise("a2", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.wait(time.Hour)
	require.Empty(t, b.open(), "acknowledged: it does not climb")
	b.take(notice.Notice{State: notice.Acknowledged, Alert: "a4", Kind: "line-due", By: "ada"})
	b.take(notice.Notice{State: notice.Shelved, Alert: "a4", Kind: "line-due", By: "ada", At: b.now, Until: b.now.Add(time.Hour)})
	b.raise("a4", "strip-early", desk.Urgent)
	b.send(desk.Done)
	b.wait(3 * time.Minute)
	require.Len(t, b.open(), 2, "an answer to another kind is none")
	b.word(notice.Acknowledged, "a4", "cleo")
	b.send(desk.Done)
	b.word(notice.Acknowledged, "a3", "ada")
	b.wait(31 * 24 * time.Hour)
	_, known := b.Case("a3")
	require.False(t, known, "an answer to what was never heard of is forgotten")
}

// The fold of a wall hears what was entered on that wall. An answer to its alert that
// was entered elsewhere, maybe by somebody who has no say here, ends no climbing that
// the page shows as unanswered; it may come before the alert does.
func TestAnAnswerOnAnotherWallIsNone(t *testing.T) {
	for _, before := range []bool{false, true} {
		for _, place := range []notice.Place{{Site: "north", Wall: "w2"}, {Site: "south", Wall: "w1"}, {Site: "north"}} {
			b := at(t, fourRungs())
			steps := []func(){
				func() { b.raise("a1", "rise-fast", desk.Urgent) },
				func() {
					for _, state := range []string{notice.Acknowledged, notice.Shelved} {
						b.take(notice.Notice{State: state, Alert: "a1", Kind: "rise-fast", Site: place.Site, Wall: place.Wall, By: "eve", At: b.now, Until: b.now.Add(time.Hour)})
					}
				},
			}
			if before {
				slices.Reverse(steps)
			}
			for _, step := range steps {
				step()
			}
			b.send(desk.Done)
			b.wait(2 * time.Minute)
			require.Contains(t, b.open(), "raised a1 to ben by mail step 1", "%v", place)
			require.True(t, b.theCase("a1").Acknowledged.IsZero())
		}
	}
}

func TestAnAlertOfTheCompanyIsAnsweredFromAnySite(t *testing.T) {
	b := at(t, fourRungs())
	b.take(notice.Notice{State: notice.Raised, Alert: "a1", Kind: "clock-doubtful", Cause: "c", Site: "_", Priority: desk.Urgent, Since: b.now, Text: "text"})
	b.send(desk.Done)
	b.take(notice.Notice{State: notice.Acknowledged, Alert: "a1", Kind: "clock-doubtful", Site: "north", By: "ada", At: b.now})
	b.wait(time.Hour)
	require.Empty(t, b.open())
}

// A wrong answer that came first does not keep the right one from counting.
func TestEarlyAnswersAreJudgedOneByOne(t *testing.T) {
	b := at(t, fourRungs())
	b.take(notice.Notice{State: notice.Acknowledged, Alert: "a1", Kind: "line-due", By: "eve", At: b.now, Key: keyed("one")})
	b.take(notice.Notice{State: notice.Acknowledged, Alert: "a1", Kind: "rise-fast", By: "ada", At: b.now, Key: keyed("two")})
	b.void("three") // of another word
	b.raise("a1", "rise-fast", desk.Urgent)
	require.Equal(t, "ada", b.theCase("a1").AckBy)
	b.void("two")
	b.send(desk.Done)
	b.wait(2 * time.Minute)
	require.Contains(t, b.open(), "raised a1 to ben by mail step 1")
}

// What is put off by a clock that runs ahead, or late, is put off from its recording
// on for no longer than was meant: the page shows the same.
func TestAPuttingOffIsNeverLongerThanWasMeant(t *testing.T) {
	for _, ahead := range []time.Duration{-30 * time.Minute, 0, time.Hour, 20 * time.Hour} {
		b := at(t, oneRung(by("ada", "mail")))
		b.raise("a1", "rise-fast", desk.Urgent)
		b.send(desk.Done)
		b.take(notice.Notice{State: notice.Shelved, Alert: "a1", By: "ada", At: b.now.Add(ahead), Until: b.now.Add(ahead + 2*time.Hour)})
		require.Equal(t, b.now.Add(2*time.Hour+min(ahead, 0)), b.theCase("a1").Shelf.Until)
	}
}

// What the hub told directly and then never put into the stream gets no clearing. It
// climbs till somebody answers, and is forgotten a day later.
func TestWhatTheStreamNeverHadEndsADayAfterItsAnswer(t *testing.T) {
	for _, published := range []bool{false, true} {
		b := at(t, fourRungs())
		n := notice.Notice{State: notice.Raised, Alert: "a1", Kind: "rise-fast", Priority: desk.Urgent, Site: "north", Recorded: noon}
		b.write(b.Take(n, b.now))
		b.send(desk.Done)
		b.wait(30 * time.Hour)
		require.Zero(t, b.theCase("a1").Ended)
		if n.Seq = 3; published {
			b.write(b.Take(n, b.now))
		}
		b.write(b.Take(notice.Notice{State: notice.Acknowledged, Alert: "a1", Site: "north", Seq: 4, Recorded: b.now, By: "ada"}, b.now))
		b.send(desk.Done)
		b.wait(25 * time.Hour)
		require.Equal(t, published, b.theCase("a1").Ended.IsZero())
	}
}

func TestWhatLatchesIsWhatTheTableOfKindsSays(t *testing.T) {
	for kind, known := range scheduler.AlertKinds {
		require.Equal(t, known.Latch, events.Latches(kind), kind)
	}
}

func TestOfMoreThanAHundredThousandEndedCasesTheOldestAreForgotten(t *testing.T) {
	d := desk.New(&rota{})
	closed := 0
	for i := range 100_003 {
		d.Take(notice.Notice{State: notice.Acknowledged, Alert: fmt.Sprintf("%06d", i), Site: "north", Recorded: noon}, noon.Add(time.Duration(i)))
	}
	for _, d2 := range []time.Duration{25 * time.Hour, 26 * time.Hour} {
		closed += len(d.Tick(noon.Add(d2)).Closed)
	}
	require.Equal(t, 3, closed)
	_, known := d.Case("000002")
	require.False(t, known)
	_, known = d.Case("000003")
	require.True(t, known)
}
