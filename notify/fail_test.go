package notify_test

import (
	"context"
	"fmt"
	"iter"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// firstTries does other things with the first tries of each message.
func firstTries(does ...int) func(notice.Message) int {
	tried := map[string]int{}
	return func(m notice.Message) int {
		n := tried[m.ID]
		tried[m.ID]++
		if n < len(does) {
			return does[n]
		}
		return takes
	}
}

func TestAFailedTryIsMadeAgainUnderTheSameID(t *testing.T) {
	for name, does := range map[string][]int{
		"before": {loses, loses}, "after": {unsure, unsure}, "hangs": {hangs}, "panics": {panics}, "all": {loses, unsure, hangs, panics},
	} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, r *rig) {
				r.mail.to = firstTries(does...)
				r.begin()
				r.put(raised(t, "a"))
				wait(100 * time.Second)
				require.Equal(t, []string{"ann: raised a"}, r.mail.shown())
				require.Len(t, r.mail.tries, len(does)+1)
				for _, m := range r.mail.tries {
					require.Equal(t, r.mail.tries[0].ID, m.ID)
				}
				require.Equal(t, []string{"accepted ann: raised a"}, r.outcomes())
				require.EqualValues(t, len(does)+1, r.tape.said(t)[0].Tries)
			})
		})
	}
}

func TestWhatIsRefusedIsSaidAndListed(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		pokes := 0
		r.cfg.Changed = func() { pokes++ }
		r.mail.to = func(m notice.Message) int {
			if m.To.Person == "ann" {
				return refuses
			}
			return takes
		}
		r.begin()
		r.put(raised(t, "a"))
		require.Equal(t, []string{"bob: raised a"}, r.mail.shown(), "a rung of which nobody is reached is no rung")
		require.Equal(t, []string{"failed ann: raised a", "accepted bob: raised a"}, r.outcomes())
		require.Equal(t, []string{"failed ann"}, states(t, r.e, notify.Filter{Undelivered: true}))
		untold := r.e.Untold()
		require.Len(t, untold, 1)
		require.Equal(t, "ann", untold[0].Person)
		require.Equal(t, []string{"mail"}, untold[0].Channels)
		require.Positive(t, pokes)
		before := pokes
		r.put(acknowledged(t, hubKey, events.DeskOf("bob"), "bob", "a", "load-old"))
		require.Empty(t, r.e.Untold())
		require.Greater(t, pokes, before)
	})
}

func TestWhoIsUnknownOrHasNoChannelIsRefused(t *testing.T) {
	for _, c := range []crowd{{rota{[]string{"mail"}}, []string{"nobody"}}, {rota{[]string{"pigeon"}}, []string{"ann"}}} {
		bubble(t, func(t *testing.T, r *rig) {
			r.cfg.Rota = func() desk.Rota { return c }
			r.begin()
			r.put(raised(t, "a"))
			require.Empty(t, r.mail.tries)
			words := r.tape.said(t)
			require.Len(t, words, 1)
			require.Equal(t, "failed", words[0].Outcome)
			require.Equal(t, "Load a is old.", words[0].Text, "what was never put into words")
			require.Len(t, r.e.Untold(), 1)
		})
	}
}

// A person's mailbox that hangs holds up neither another person nor another channel.
func TestAHangingChannelHoldsUpNobodyElse(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		push := newCarrier("hook")
		r.cfg.Channels = append(r.cfg.Channels, push)
		r.cfg.Rota = func() desk.Rota { return crowd{rota{[]string{"mail", "hook"}}, []string{"ann", "bob"}} }
		r.mail.to = func(m notice.Message) int {
			if m.To.Person == "ann" {
				return hangs
			}
			return takes
		}
		r.begin()
		for i := range 3 {
			r.put(raised(t, fmt.Sprint(i)))
		}
		require.Equal(t, []string{"bob: raised 0", "bob: raised 1", "bob: raised 2"}, r.mail.shown())
		require.Len(t, push.shown(), 6)
		require.Equal(t, 1, r.mail.most, "one at a time to each person")
	})
}

// All hang: no more are tried at once than the channel has workers.
func TestAChannelHasSoManyWorkers(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		var many crowd
		for i := range 20 {
			many.persons = append(many.persons, fmt.Sprint("p-", i))
		}
		many.channels = []string{"mail"}
		r.cfg.Rota, r.cfg.Workers = func() desk.Rota { return many }, 4
		r.mail.to = firstTries(hangs)
		r.begin()
		r.put(raised(t, "a"))
		require.Len(t, r.mail.tries, 4)
		wait(30 * time.Second)
		require.Len(t, r.mail.tries, 8)
		wait(10 * time.Minute)
		require.Len(t, r.mail.shown(), 20)
	})
}

// day is what happens in the tests that crash: alerts, answers, ends, a sheet.
// Each step is far from the next, and from every rung.
func day(t *testing.T, r *rig, pass func(time.Duration)) {
	t.Helper()
	ack := func(id string) stream.Message {
		return acknowledged(t, hubKey, events.DeskOf("bob"), "bob", id, "load-old")
	}
	for _, step := range []struct {
		after time.Duration
		list  []stream.Message
	}{
		{30 * time.Second, []stream.Message{raised(t, "a"), raised(t, "b")}},
		{3 * time.Minute, []stream.Message{ack("a")}},
		{30 * time.Second, []stream.Message{cleared(t, "a"), raised(t, "c")}},
		{30 * time.Second, []stream.Message{word(t, hubKey, "hub", "", "sheet.issued", &events.SheetIssued{Date: "2026-01-15", At: start, Rules: "rules-1"})}},
		{18 * time.Minute, []stream.Message{ack("b"), ack("c")}},
		{30 * time.Second, []stream.Message{cleared(t, "b"), cleared(t, "c")}},
	} {
		pass(step.after)
		r.put(step.list...)
	}
	pass(2 * time.Minute)
}

type outcome struct {
	shown, said []string
	heard       map[string]bool
	messages    map[string]string // what was tried, by id
	writes      int
}

// live goes through the day. The write of a number fails, applied or not; a crash
// is an engine that can write no more and is begun again.
func live(t *testing.T, fail int, applied, crash bool) (o outcome) {
	t.Helper()
	bubble(t, func(t *testing.T, r *rig) {
		r.mail.to = firstTries(unsure, loses)
		r.begin()
		r.end()
		r.shelf = r.shelf.again(fail, applied, crash)
		r.beginAnyway()
		day(t, r, func(d time.Duration) {
			for range d / time.Second {
				if fail > 0 && r.shelf.written() >= fail {
					if !crash {
						wait(3 * time.Second) // it is written again, and then the process ends
						r.shelf.end()
					}
					_ = r.stop() // its last write fails
					r.shelf = r.shelf.again(0, false, false)
					fail = 0
					r.begin()
				}
				wait(time.Second)
			}
		})
		_ = r.stop() // its last write may be the one that fails
		o.writes = r.shelf.written()
		o.shown, o.said = r.mail.shown(), r.outcomes()
		slices.Sort(o.shown)
		slices.Sort(o.said)
		o.heard, o.messages = map[string]bool{}, map[string]string{}
		for _, h := range r.ear.heard() {
			o.heard[h] = true
		}
		for _, m := range r.mail.tries {
			o.messages[m.ID] = m.To.Person + ": " + m.What + fmt.Sprint(m.Alerts, m.Step)
		}
	})
	return o
}

// beginAnyway begins an engine whose first writes may fail, as often as it takes.
func (r *rig) beginAnyway() {
	r.t.Helper()
	for {
		r.cfg.Ledger = r.shelf
		e, err := notify.Open(r.t.Context(), r.cfg)
		if err == nil {
			r.run(e)
			return
		}
		require.ErrorIs(r.t, err, errWrite)
		r.shelf = r.shelf.again(0, false, false)
	}
}

// writes goes through the numbers of the writes: with -long all of them, else
// every fourth, from one that is drawn.
func writes(t *testing.T, last int) iter.Seq[int] {
	t.Helper()
	first, stride := 1, 1
	if !*long {
		first, stride = 1+rand.IntN(4), 4
	}
	t.Logf("writes %d, %d, ... of %d", first, first+stride, last)
	return func(yield func(int) bool) {
		for n := first; n <= last && yield(n); n += stride {
		}
	}
}

// Whichever write fails, and however, and though the process ends a moment later,
// the same messages are shown, under the same
// ids, and the same is said of them.
func TestAWriteThatFailsLosesNothing(t *testing.T) {
	want := live(t, 0, false, false)
	require.Greater(t, want.writes, 20)
	require.Contains(t, want.shown, "bob: raised a")
	require.Contains(t, want.shown, "ann: cleared a")
	require.Contains(t, want.shown, "dan: raised b")
	for fail := range writes(t, want.writes) {
		for _, applied := range []bool{false, true} {
			got := live(t, fail, applied, false)
			require.Equal(t, want.messages, got.messages, "write %d, applied %v", fail, applied)
			require.Equal(t, want.shown, got.shown, "write %d, applied %v", fail, applied)
			require.Equal(t, want.heard, got.heard, "write %d, applied %v", fail, applied)
			require.Equal(t, want.said, got.said, "write %d, applied %v", fail, applied)
		}
	}
}

func TestACrashAtAnyWriteLosesNothing(t *testing.T) {
	want := live(t, 0, false, false)
	for fail := range writes(t, want.writes) {
		for _, applied := range []bool{false, true} {
			got := live(t, fail, applied, true)
			for id, what := range want.messages {
				require.Equal(t, what, got.messages[id], "write %d, applied %v: a message is missing", fail, applied)
			}
			require.Equal(t, want.heard, got.heard)
			require.Subset(t, got.shown, want.shown, "write %d, applied %v", fail, applied)
			require.Equal(t, slices.Sorted(maps.Values(got.messages)), slices.Compact(slices.Sorted(maps.Values(got.messages))),
				"write %d, applied %v: one thing under two ids", fail, applied)
			require.Subset(t, got.said, want.said)
		}
	}
}

// The stream is away: what the hub could not publish is told directly, and what is
// to be told already is told. Its own word later tells nothing new.
func TestTheStreamNeedNotBeThere(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.put(raised(t, "a"))
		r.tape.goAway(true)
		wait(time.Second)
		r.e.Direct([]events.Event{raisedEvent(t, "b", "urgent"), eventBy(t, "phone-1", "", "north", "pour.started", &events.Moment{At: start})})
		synctest.Wait()
		require.Equal(t, []string{"ann: raised a", "ann: raised b"}, r.mail.shown())
		wait(2 * time.Minute)
		require.Equal(t, []string{"ann: raised a", "ann: raised b", "bob: raised a", "bob: raised b"}, r.mail.shown())
		require.Equal(t, []string{"raised a", "raised b"}, r.ear.heard())
		require.Equal(t, []string{"accepted ann: raised a"}, r.outcomes())
		r.tape.goAway(false)
		r.put(raised(t, "b"))
		wait(time.Minute)
		require.Len(t, r.mail.tries, 4)
		require.Equal(t, []string{"raised a", "raised b"}, r.ear.heard())
		require.Len(t, r.outcomes(), 4, "what could not be said is said")
		r.put(acknowledged(t, hubKey, events.DeskOf("ann"), "ann", "b", "load-old"), acknowledged(t, hubKey, events.DeskOf("ann"), "ann", "a", "load-old"))
		wait(time.Hour)
		require.Len(t, r.mail.tries, 4)
	})
}

// An engine that is begun while the stream is away tells what its ledger holds.
func TestAnEngineBeginsWithoutTheStream(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.mail.to = func(notice.Message) int { return loses }
		r.begin()
		r.put(raised(t, "a"))
		r.end()
		r.tape.goAway(true)
		r.mail.to = nil
		r.begin()
		r.e.Direct([]events.Event{raisedEvent(t, "b", "urgent")})
		wait(10 * time.Second)
		require.Equal(t, []string{"ann: raised b", "ann: raised a"}, r.mail.shown())
	})
}

// One word that the stream does not take holds up neither the others nor telling.
func TestAWordThatIsNotTakenHoldsUpNothing(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		deaf := true
		r.cfg.Voice = voice(func(e events.Event) error {
			if deaf && e.Data.(*events.AlertTold).Alerts[0] == "a" {
				return errCarrier
			}
			return r.tape.Say(t.Context(), e)
		})
		r.begin()
		r.put(raised(t, "a"))
		r.put(raised(t, "b"), raised(t, "c"))
		require.Len(t, r.mail.shown(), 3)
		wait(10 * time.Second)
		require.ElementsMatch(t, []string{"accepted ann: raised b", "accepted ann: raised c"}, r.outcomes())
		r.end()
		deaf = false
		r.begin()
		require.Len(t, r.outcomes(), 3, "it is said after a restart")
	})
}

type voice func(events.Event) error

func (v voice) Say(_ context.Context, e events.Event) error { return v(e) }

// mute cannot put anything into words.
type mute struct{ plain }

func (mute) Alert(notice.Notice, text.Facts) notice.Message { panic("a defect") }

func TestWhatCannotBePutIntoWordsIsToldInTheHubsOwn(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.cfg.Compose = mute{}
		r.begin()
		r.put(raised(t, "a"))
		require.Equal(t, []string{"ann: Load a is old."}, r.mail.shown())
		require.Equal(t, "Load a is old.", r.mail.got[0].Plain)
	})
}
