package desk_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

func keyed(id string) events.Key {
	return events.Key{Source: "/site/north/device/phone-1", ID: id}
}

func (b *bench) acknowledge(alert, by, id string) {
	b.take(notice.Notice{State: notice.Acknowledged, Alert: alert, By: by, At: b.now, Key: keyed(id)})
}

func (b *bench) void(id string) {
	b.take(notice.Notice{State: notice.Voided, By: "eve", At: b.now, Key: keyed("void-" + id), Target: keyed(id)})
}

var firstRung = []string{"raised a1 to ada by mail step 0", "raised a1 to ada by phone step 0"}

// The figures are those of the climb: 2, 5 and 10 minutes (routes.Latest).
func TestAVoidedAcknowledgementRestartsTheClimb(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.wait(2 * time.Minute)
	b.send(desk.Done)
	b.acknowledge("a1", "ben", "ack-1")
	b.wait(3 * time.Hour)
	require.Empty(t, b.open())
	b.void("ack-1")
	require.Zero(t, b.theCase("a1").Acknowledged)
	require.Empty(t, b.theCase("a1").AckBy)
	require.Equal(t, firstRung, b.send(desk.Done), "from the first rung, the moment the void is known")
	for _, rung := range []struct {
		after  time.Duration
		person string
		step   int
	}{{2 * time.Minute, "ben", 1}, {3 * time.Minute, "cleo", 2}} {
		b.wait(rung.after - time.Second)
		require.Empty(t, b.open())
		b.wait(time.Second)
		require.Equal(t, []string{fmt.Sprintf("raised a1 to %s by mail step %d", rung.person, rung.step), fmt.Sprintf("raised a1 to %s by phone step %d", rung.person, rung.step)}, b.send(desk.Done))
	}
	b.wait(5*time.Minute - time.Second)
	require.Empty(t, b.open())
	b.wait(time.Second)
	require.Contains(t, strings.Join(b.send(desk.Done), "\n"), "dora", "at 10 minutes whoever watches every site")
	b.acknowledge("a1", "dora", "ack-2")
	require.Equal(t, "dora", b.theCase("a1").AckBy)
	b.wait(3 * time.Hour)
	require.Empty(t, b.open())
}

func TestAnotherAnswerStandsInForTheOneThatIsVoided(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.acknowledge("a1", "ada", "ack-1")
	b.wait(time.Minute)
	b.acknowledge("a1", "ben", "ack-2")
	require.Equal(t, "ada", b.theCase("a1").AckBy)
	b.void("ack-1")
	require.Equal(t, "ben", b.theCase("a1").AckBy)
	b.wait(time.Hour)
	require.Empty(t, b.open())
	b.void("ack-2")
	require.Equal(t, firstRung, b.send(desk.Done))
}

func TestAVoidThatComesBeforeItsWordCountsToo(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	for _, id := range []string{"ack-1", "shelf-1", "rest-1"} {
		b.void(id)
	}
	b.acknowledge("a1", "ada", "ack-1")
	b.take(notice.Notice{State: notice.Shelved, Alert: "a1", At: b.now, Until: b.now.Add(time.Hour), Key: keyed("shelf-1")})
	require.Zero(t, b.theCase("a1").Acknowledged)
	b.wait(2 * time.Minute)
	require.Len(t, b.send(desk.Done), 2, "it climbs on")
	b.take(notice.Notice{State: notice.OutOfService, Kind: "record-gap", At: b.now, Until: b.now.Add(time.Hour), Key: keyed("rest-1")})
	b.raise("a2", "record-gap", desk.High)
	require.Contains(t, b.open(), "raised a2 to ada by phone step 0")
}

// A void is on its target's wall: one of another wall takes nothing out.
func TestAVoidOfAnotherWallIsNone(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.acknowledge("a1", "ada", "ack-1")
	b.take(notice.Notice{State: notice.Voided, Site: "north", Wall: "w2", Target: keyed("ack-1")})
	b.take(notice.Notice{State: notice.Voided, Site: "north", Wall: "w1", Target: events.Key{Source: "/site/north/device/phone-2", ID: "ack-1"}})
	require.Equal(t, "ada", b.theCase("a1").AckBy)
	b.wait(time.Hour)
	require.Empty(t, b.open())
}

// What latches stands until it is answered, be its condition over or not: days
// later, when only a short row is left of it, it is told with its text.
func TestAVoidBringsBackWhatLatchesAndNotWhatIsOver(t *testing.T) {
	for _, later := range []time.Duration{time.Minute, 20 * 24 * time.Hour} {
		b := at(t, fourRungs())
		b.raise("a1", "strip-early", desk.Urgent)
		b.raise("a2", "rise-fast", desk.Urgent)
		b.send(desk.Done)
		b.acknowledge("a1", "ada", "ack-1")
		b.acknowledge("a2", "ada", "ack-2")
		b.word(notice.Cleared, "a1", "")
		b.word(notice.Cleared, "a2", "")
		b.send(desk.Done)
		b.wait(later)
		require.False(t, b.theCase("a1").Ended.IsZero())
		b.void("ack-1")
		b.void("ack-2")
		require.Equal(t, firstRung, b.send(desk.Done), "and nothing of a2, which is over")
		require.Equal(t, "a1", b.theCase("a1").Notice.Text)
		b.wait(2 * time.Minute)
		require.Len(t, b.send(desk.Done), 2)
		require.True(t, b.theCase("a2").Returned(), "nobody has acknowledged it")
		b.acknowledge("a1", "ada", "ack-3")
		require.False(t, b.theCase("a1").Ended.IsZero())
	}
}

// Over and answered before anybody was told, nobody is told. When the answer is taken
// back it is as one that returned unacknowledged: urgent, it is told as being over.
func TestAVoidedAcknowledgementOfWhatNobodyWasToldOf(t *testing.T) {
	for _, c := range []struct {
		priority string
		after    time.Duration // of the void
		told     bool
	}{{desk.Urgent, time.Minute, true}, {desk.Urgent, 3 * time.Hour, true}, {desk.Urgent, 25 * time.Hour, false}, {desk.High, time.Minute, false}} {
		for _, seen := range []bool{false, true} {
			b := at(t, fourRungs())
			b.raise("a1", "rise-fast", c.priority)
			if seen {
				b.send(desk.Done)
			}
			b.word(notice.Cleared, "a1", "")
			b.acknowledge("a1", "ben", "ack-1")
			b.send(desk.Done)
			b.wait(c.after)
			b.Desk = b.loaded()
			b.void("ack-1")
			if c.told && !seen {
				require.Equal(t, firstRung, b.send(desk.Done))
				require.Equal(t, "a1", b.theCase("a1").Notice.Text)
				require.True(t, b.theCase("a1").Returned())
			}
			b.wait(time.Hour)
			require.Empty(t, b.open(), "%+v", c)
		}
	}
}

func TestAVoidedAcknowledgementOfWhatIsShelvedIsToldAfterwards(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.shelve("a1", time.Hour)
	b.acknowledge("a1", "ada", "ack-1")
	b.void("ack-1")
	b.wait(time.Hour - time.Second)
	require.Empty(t, b.open())
	b.wait(time.Second)
	require.Equal(t, firstRung, b.send(desk.Done))
	b.wait(2 * time.Minute)
	require.Len(t, b.open(), 2, "and it climbs")
}

func TestAVoidedShelvingIsOver(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	shelve := func(id string) {
		b.take(notice.Notice{State: notice.Shelved, Alert: "a1", By: "ada", At: b.now, Until: b.now.Add(4 * time.Hour), Key: keyed(id)})
	}
	shelve("shelf-1")
	b.wait(time.Hour)
	b.void("shelf-1")
	require.Equal(t, firstRung, b.send(desk.Done))
	b.wait(2 * time.Minute)
	require.Len(t, b.send(desk.Done), 2)

	shelve("shelf-2")
	b.take(notice.Notice{State: notice.Unshelved, Alert: "a1", By: "ada", At: b.now, Key: keyed("unshelf-2")})
	require.Equal(t, firstRung, b.send(desk.Done))
	b.void("unshelf-2")
	require.Zero(t, b.theCase("a1").Mute, "fewer people would be told: that is no matter of a void")
	b.wait(2 * time.Minute)
	require.Len(t, b.send(desk.Done), 2)
}

func TestAVoidedOutOfServiceIsOver(t *testing.T) {
	rest := func(b *bench, state, cause, id string) {
		b.take(notice.Notice{State: state, Kind: "record-gap", Cause: cause, Site: "north", Wall: "w1", At: b.now, Until: b.now.Add(72 * time.Hour), Key: keyed(id)})
	}
	b := at(t, fourRungs())
	rest(b, notice.OutOfService, "", "rest-1")
	b.raise("a1", "record-gap", desk.High)
	require.Empty(t, b.open())
	b.void("rest-1")
	require.Equal(t, []string{"raised a1 to ada by phone step 0"}, b.send(desk.Done))
	rest(b, notice.OutOfService, "", "rest-2")
	rest(b, notice.InService, "", "in-2")
	b.void("in-2")
	require.Zero(t, b.theCase("a1").Mute)

	rest(b, notice.OutOfService, "cause a1", "rest-3")
	require.NotZero(t, b.theCase("a1").Mute)
	rest(b, notice.InService, "", "in-3")
	require.Zero(t, b.theCase("a1").Mute, "one that names no cause ends those of every cause, as in the record")
}

func TestAnAnswerOfTheTimeBeforeAnswersWereKept(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.acknowledge("a1", "ada", "ack-1")
	ack := notice.Notice{State: notice.Acknowledged, Alert: "a1", By: "ada", At: b.now, Recorded: b.now, Key: keyed("ack-1"), Site: "north", Wall: "w1"}
	old := b.theCase("a1")
	old.Answers = nil
	b.cases["a1"] = encode(t, old)
	b.Desk = b.loaded()
	b.wait(time.Minute)
	b.acknowledge("a1", "ben", "ack-2")
	b.void("ack-2")
	b.wait(time.Hour)
	require.Empty(t, b.open(), "it stands")
	b.write(b.Take(ack, b.now)) // heard again
	b.void("ack-1")
	require.Equal(t, firstRung, b.open())
}

func TestOfVeryManyAnswersTheFirstAreKept(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	for i := range 30 {
		b.acknowledge("a1", "ada", fmt.Sprint("ack-", i))
	}
	require.Len(t, b.theCase("a1").Answers, 20)
	for i := range 20 {
		require.Empty(t, b.open())
		b.void(fmt.Sprint("ack-", i))
	}
	require.Equal(t, firstRung, b.open(), "when in doubt it is told")
}

// A rung and an acknowledgement at one moment: the acknowledgement is first,
// whichever of the two came here first. One that was recorded after the rung is
// after it.
func TestAnAcknowledgementAtTheMomentOfARung(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rung := rapid.SampledFrom([]time.Duration{2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 20 * time.Minute}).Draw(rt, "rung")
		apart := rapid.SampledFrom([]time.Duration{-time.Minute, -1, 0, 1, time.Second}).Draw(rt, "apart")
		late := rapid.SampledFrom([]time.Duration{0, 1, time.Second}).Draw(rt, "late")
		tickFirst := rapid.Bool().Draw(rt, "tick first")
		handedOut := rapid.Bool().Draw(rt, "queued")
		b := at(t, fourRungs())
		b.raise("a1", "rise-fast", desk.Urgent)
		b.wait(rung - time.Second)
		b.send(desk.Done)
		due := noon.Add(rung)
		answered := due.Add(apart)
		b.now = due.Add(max(0, apart) + late) // both are known by then
		take := func() {
			b.take(notice.Notice{State: notice.Acknowledged, Alert: "a1", By: "ben", Recorded: answered, Key: keyed("ack-1")})
		}
		var queued []desk.Letter // handed out, and waiting for a channel's turn
		tick := func() {
			if !tickFirst {
				b.write(b.Tick(b.now))
				return
			}
			b.write(b.Tick(due))
			if handedOut {
				queued = b.Due(due)
			}
		}
		if tickFirst {
			tick()
			take()
		} else {
			take()
			tick()
		}
		sent := names(b.Due(b.now))
		for _, l := range queued {
			if now, _ := b.Letter(l.ID); now.State == desk.Sending {
				sent = append(sent, names([]desk.Letter{l})...)
			}
		}
		if tickFirst && apart > 0 {
			require.NotEmpty(rt, sent, "told before it was answered")
		} else {
			require.Empty(rt, sent)
		}
		step := b.theCase("a1").Step
		b.wait(3 * time.Hour)
		require.Equal(rt, step, b.theCase("a1").Step, "it climbs no further")
	})
}
