package notify_test

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// lateJudge is a record that has nothing to say before a moment.
type lateJudge struct{ from time.Time }

func (j lateJudge) Holds(context.Context, uint64) (bool, error) {
	if time.Now().Before(j.from) {
		return false, errAway
	}
	return true, nil
}

// behind begins an engine that has much to hear, and waits for the record in its
// midst: an urgent and a high alert, an urgent one that somebody answers, and one
// that is over and answered.
func behind(t *testing.T, r *rig, record time.Duration) {
	t.Helper()
	r.begin()
	r.end()
	r.cfg.Judge = lateJudge{time.Now().Add(record)}
	ack := func(id string) { r.tape.put(acknowledged(t, otherBy, "phone-1", "ann", id, "load-old")) }
	r.tape.put(raised(t, "urgent"), sealed(hubKey, raisedEvent(t, "high", "high")), raised(t, "answered"), raised(t, "over"))
	for range 2500 {
		r.tape.put(reading(t))
	}
	ack("answered")
	ack("over")
	r.tape.put(cleared(t, "over"))
	r.begin()
}

// However long the record takes, within the two minutes nobody is told of what
// somebody has answered further on in the stream, and nobody further up of
// anything.
func TestNothingIsSentBeforeTheHeadIsHeard(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		behind(t, r, 100*time.Second)
		wait(95 * time.Second)
		require.Zero(t, r.mail.tried())
		wait(10 * time.Second)
		require.ElementsMatch(t, []string{"ann: raised urgent", "ann: raised high", "ann: raised answered"}, r.mail.shown(), "what stands, and not what is over")
		wait(3 * time.Minute)
		require.Contains(t, r.mail.shown(), "bob: raised urgent")
		require.NotContains(t, r.mail.shown(), "bob: raised answered")
	})
}

func TestWhatIsUrgentWaitsTwoMinutesForTheHead(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		behind(t, r, time.Hour)
		wait(119 * time.Second)
		require.Zero(t, r.mail.tried())
		wait(2 * time.Second)
		require.Subset(t, r.mail.shown(), []string{"ann: raised urgent", "ann: raised answered", "ann: raised over", "bob: raised urgent"})
		wait(7 * time.Minute)
		require.Contains(t, r.mail.shown(), "cat: raised urgent", "it climbs")
		require.NotContains(t, r.mail.shown(), "ann: raised high")
		wait(time.Minute)
		require.Contains(t, r.mail.shown(), "ann: raised high", "nothing waits for ever")
	})
}

// What the hub knows to stand now, and could not publish, waits for nothing.
func TestWhatComesDirectlyIsSentWhileTheStreamIsHeard(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		behind(t, r, time.Minute)
		r.e.Direct([]events.Event{raisedEvent(t, "fresh", "high")})
		synctest.Wait()
		require.Equal(t, []string{"ann: raised fresh"}, r.mail.shown())
	})
}

// The stream is away at the start: what is urgent goes after 10 s, the rest when
// it is back and heard, where somebody may have answered meanwhile.
func TestWithoutAStreamOnlyWhatIsUrgentGoes(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.mail.to = func(m notice.Message) int { return loses }
		r.begin()
		r.put(raised(t, "urgent"), sealed(hubKey, raisedEvent(t, "high", "high")))
		r.end()
		tries := r.mail.tried()
		r.mail.to = nil
		r.tape.goAway(true)
		r.begin()
		wait(9 * time.Second)
		require.Equal(t, tries, r.mail.tried())
		wait(5 * time.Minute)
		require.Equal(t, []string{"ann: raised urgent", "bob: raised urgent"}, r.mail.shown()[:2])
		require.NotContains(t, r.mail.shown(), "ann: raised high")
		r.tape.put(cleared(t, "high"))
		r.tape.goAway(false)
		wait(time.Minute)
		require.NotContains(t, r.mail.shown(), "ann: raised high")
		r.tape.goAway(true)
		r.e.Direct([]events.Event{raisedEvent(t, "low", "low")})
		wait(time.Second)
		require.Contains(t, r.mail.shown(), "ann: raised low", "once all was heard, a stream that goes holds up nothing")
	})
}

// An hour without the stream: who was told goes by what was known; when it is
// back, what was answered meanwhile climbs no more, at once.
func TestAnHourWithoutTheStream(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.put(raised(t, "a"))
		r.tape.goAway(true)
		wait(4 * time.Minute)
		require.Equal(t, []string{"ann: raised a", "bob: raised a"}, r.mail.shown())
		r.tape.put(acknowledged(t, hubKey, events.DeskOf("bob"), "bob", "a", "load-old"), raised(t, "b"), cleared(t, "b"), raised(t, "c"))
		wait(56 * time.Minute)
		told := r.mail.shown()
		require.Contains(t, told, "dan: raised a", "nobody could hear the answer")
		r.tape.goAway(false)
		wait(10 * time.Second)
		require.ElementsMatch(t, append(told, "ann: cleared b", "ann: raised c"), r.mail.shown(), "b was urgent, and nobody has answered")
		wait(3 * time.Minute)
		require.Contains(t, r.mail.shown(), "bob: raised c")
		require.Len(t, r.mail.shown(), len(told)+3)
	})
}

// Two hubs on one stream, each with a ledger of its own: every message has the
// same id at both, by which a reader has it once.
func TestTwoHubsSendOneMessageUnderOneID(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		other := &rig{t: t, tape: r.tape, shelf: newShelf(t, r.shelf.db.Path()+".other"), mail: r.mail, ear: &listener{}}
		other.cfg = other.config(r.cfg.Clock)
		other.begin()
		defer func() { require.NoError(t, other.stop()) }()
		r.put(raised(t, "a"), raised(t, "b"))
		wait(3 * time.Minute)
		r.put(acknowledged(t, hubKey, events.DeskOf("bob"), "bob", "a", "load-old"), cleared(t, "a"), cleared(t, "b"))
		wait(time.Minute)
		require.Equal(t, 16, r.mail.tried(), "each hub sends")
		require.Len(t, r.mail.shown(), 8, "each reader sees it once")
	})
}

// A channel has a message only once the ledger has it as being sent. While the
// ledger cannot be written nothing is sent, and after 10 s what is urgent all the
// same: an alert is not lost for a full disk.
func TestAMessageIsNotedBeforeItIsSent(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		var noted []string
		r.mail.to = func(m notice.Message) int {
			list, err := r.e.List(notify.Filter{})
			if err == nil && slices.ContainsFunc(list, func(l notify.Told) bool { return l.Message == m.ID && l.State == desk.Sending }) {
				noted = append(noted, m.Short)
			}
			return takes
		}
		r.begin()
		r.put(raised(t, "a"))
		require.Equal(t, []string{"raised a"}, noted)
		r.shelf.end()
		r.put(raised(t, "b"), sealed(hubKey, raisedEvent(t, "c", "high")))
		wait(5 * time.Second)
		require.Equal(t, 1, r.mail.tried())
		wait(time.Minute)
		r.put(raised(t, "d"))
		require.Equal(t, []string{"ann: raised a", "ann: raised b", "ann: raised d"}, r.mail.shown())
		r.put(acknowledged(t, hubKey, events.DeskOf("ann"), "ann", "b", "load-old"))
		wait(150 * time.Second)
		require.Equal(t, []string{"bob: raised a", "bob: raised d"}, r.mail.shown()[3:], "who answered is heard")
		require.NotContains(t, r.ear.heard(), "raised b")
		r.shelf.mu.Lock()
		r.shelf.dead = false
		r.shelf.mu.Unlock()
		wait(10 * time.Second)
		require.Equal(t, []string{"raised a", "raised c"}, noted)
		require.Equal(t, 6, r.mail.tried(), "what was sent without it is not sent again")
		require.Equal(t, []string{"raised a", "raised b", "raised c", "raised d"}, r.ear.heard())
		r.end()
		r.begin()
		require.Equal(t, 6, r.mail.tried())
	})
}
