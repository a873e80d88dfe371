package notify_test

import (
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// town is a directory that people leave.
type town struct {
	directory
	left map[string]bool
}

func (d town) Reader(person, site string) (notice.Reader, bool) {
	r, ok := d.directory.Reader(person, site)
	return r, ok && !d.left[person]
}

// Who leaves between being chosen and being told is told nothing, and the next one
// is told at once.
func TestWhoLeavesBeforeTheSending(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		d := town{left: map[string]bool{}}
		r.cfg.Directory = d
		r.mail.to = func(m notice.Message) int {
			if m.To.Person == "ann" {
				d.left["ann"] = true
				return loses
			}
			return takes
		}
		r.begin()
		r.put(raised(t, "a"))
		require.Equal(t, 1, r.mail.tried())
		wait(time.Second)
		require.Equal(t, []string{"bob: raised a"}, r.mail.shown())
		require.Equal(t, []string{"failed ann"}, states(t, r.e, notify.Filter{Undelivered: true}))
		require.Equal(t, "ann", r.e.Untold()[0].Person)
	})
}

// exchanged is the rota in force, which a test exchanges while an engine runs.
type exchanged struct{ now atomic.Pointer[desk.Rota] }

func (x *exchanged) put(r desk.Rota) { x.now.Store(&r) }
func (x *exchanged) get() desk.Rota  { return *x.now.Load() }

// empty is a rota of a site where nobody works.
type empty struct{ rota }

func (empty) Ladder(notice.Notice, time.Time) []desk.Rung { return nil }

// Nobody to tell: it is listed, counted and in the record, and the first who
// comes is told.
func TestASiteWithNobodyIsSaid(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		var inForce exchanged
		inForce.put(empty{})
		r.cfg.Rota = inForce.get
		r.begin()
		r.put(raised(t, "a"))
		require.Equal(t, 1, r.e.Undelivered())
		require.Len(t, states(t, r.e, notify.Filter{Undelivered: true}), 1)
		require.Len(t, r.e.Untold(), 1)
		require.Equal(t, []string{"failed : Load a is old."}, r.outcomes())
		wait(25 * time.Minute)
		require.Len(t, r.outcomes(), 1, "once")
		inForce.put(rota{[]string{"mail"}})
		wait(10 * time.Minute)
		require.Contains(t, r.mail.shown(), "ann: raised a")
		require.Empty(t, r.e.Untold())
	})
}

// The route file is exchanged in the midst of a climb, for a shorter ladder and
// back: somebody is always told next, and it does not stop unsaid.
func TestTheRotaIsExchangedInTheMidstOfAClimb(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		var inForce exchanged
		inForce.put(rota{[]string{"mail"}})
		r.cfg.Rota = inForce.get
		r.begin()
		r.put(raised(t, "a"))
		wait(6 * time.Minute)
		require.Len(t, r.mail.shown(), 3)
		inForce.put(crowd{rota{[]string{"mail"}}, []string{"eve"}})
		wait(10 * time.Minute)
		require.Equal(t, "eve: raised a", r.mail.shown()[3])
		inForce.put(rota{[]string{"mail"}})
		wait(10 * time.Minute)
		require.Contains(t, r.mail.shown(), "dan: raised a")
		inForce.put(crowd{rota{[]string{"mail"}}, []string{"eve"}})
		wait(3 * time.Hour)
		require.NotEmpty(t, r.e.Untold(), "told to the end, and nobody has answered")
	})
}

// The clock is put forward and back by hours: every rung is told, none later than
// if the clock had been left alone, and nothing twice under two ids.
func TestAClockThatJumps(t *testing.T) {
	for _, jump := range []time.Duration{-5 * time.Hour, -time.Hour, time.Hour, 26 * time.Hour, 40 * 24 * time.Hour} {
		bubble(t, func(t *testing.T, r *rig) {
			clock := scheduler.NewStepped(start)
			r.cfg = r.config(clock)
			r.begin()
			r.tape.put(raised(t, "a"))
			require.NoError(t, r.e.Settle(t.Context()))
			require.Equal(t, []string{"ann: raised a"}, r.mail.shown())
			r.end()
			clock = scheduler.NewStepped(start.Add(jump))
			r.cfg.Clock = clock
			r.begin()
			require.NoError(t, r.e.Settle(t.Context()))
			for range 11 {
				clock.Step(time.Minute)
				require.NoError(t, r.e.Settle(t.Context()))
			}
			require.Subset(t, r.mail.shown(), []string{"ann: raised a", "bob: raised a", "cat: raised a", "dan: raised a"}, "jump %v", jump)
			ids := map[string]string{}
			for _, m := range r.mail.tries {
				key := m.To.Person + fmt.Sprint(m.Step)
				if id, before := ids[key]; before {
					require.Equal(t, id, m.ID)
				}
				ids[key] = m.ID
			}
		})
	}
}

// A thousand urgent alerts at once: each is told to each person singly, and none
// is withheld or gathered.
func TestAThousandUrgentAlerts(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		var list []stream.Message
		for i := range 1000 {
			list = append(list, raised(t, fmt.Sprint(i)))
		}
		r.put(list...)
		require.Len(t, r.mail.shown(), 1000)
		wait(2 * time.Minute)
		require.Len(t, r.mail.shown(), 2000)
		r.put(acknowledged(t, hubKey, events.DeskOf("ann"), "ann", "7", "load-old"))
		wait(4 * time.Minute)
		require.Len(t, r.mail.shown(), 2999)
		for _, m := range r.mail.got {
			require.Equal(t, "raised", m.What)
		}
	})
}

// Every channel of everybody fails: all rungs are tried within moments, it is
// trouble, and the first channel that comes back tells.
func TestEveryChannelFails(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		hook := newCarrier("hook")
		var up atomic.Bool
		r.mail.to = func(notice.Message) int {
			if !up.Load() {
				return refuses
			}
			return takes
		}
		hook.to = r.mail.to
		r.cfg.Channels = append(r.cfg.Channels, hook)
		r.cfg.Rota = func() desk.Rota { return rota{[]string{"mail", "hook"}} }
		r.begin()
		r.put(raised(t, "a"))
		wait(time.Second)
		require.Equal(t, 4, r.mail.tried())
		require.Equal(t, 4, hook.tried())
		require.Len(t, r.e.Untold(), 4)
		up.Store(true)
		wait(10 * time.Minute)
		require.Equal(t, []string{"dan: raised a"}, r.mail.shown(), "the last rung is told again")
	})
}

// A flood over two sites comes as one summary, which is said in the record of the
// company; nothing is told under two ids, also over a restart in its middle.
func TestAFloodIsOneSummary(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		for i := range 30 {
			e := raisedEvent(t, fmt.Sprint(i), "high")
			if i%2 == 1 {
				e.Source.Site = "quay"
			}
			r.put(sealed(hubKey, e))
			if i == 15 {
				r.end()
				r.begin()
			}
		}
		wait(time.Minute)
		r.end()
		r.begin()
		wait(20 * time.Minute)
		told, summaries := map[string]int{}, 0
		for _, m := range r.mail.got {
			if m.What == "summary" {
				summaries++
			}
			for _, a := range m.Alerts {
				told[a]++
			}
		}
		require.Len(t, told, 30)
		require.Positive(t, summaries)
		require.Less(t, len(r.mail.got), 25)
		said := map[string]int{}
		for _, w := range r.tape.said(t) {
			if w.Outcome == "accepted" {
				said[w.What]++
			}
		}
		require.Equal(t, summaries, said["summary"])
		require.Equal(t, len(r.mail.got), said["summary"]+said["raised"])
		m, err := r.e.Measured()
		require.NoError(t, err)
		require.Equal(t, "ann", m.Reader)
		require.Less(t, m.Most, 25)
	})
}

// An end that cannot be published comes directly too: it ends the climbing, and
// who was told is told of it.
func TestAnEndThatComesDirectly(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.tape.goAway(true)
		r.e.Direct([]events.Event{raisedEvent(t, "a", "urgent")})
		wait(time.Minute)
		r.e.Direct([]events.Event{eventBy(t, "hub", "", "north", "alert.cleared",
			&events.AlertCleared{Alert: "a", Kind: "load-old", Cause: "load a", At: start, Rules: "rules-1"})})
		wait(time.Hour)
		require.Equal(t, []string{"ann: raised a", "ann: cleared a"}, r.mail.shown())
	})
}
