package notify_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify"
)

// A case whose row is damaged is made anew from the stream: it climbs on, nobody
// has a message twice under two ids, and who was told of it is told of its end.
func TestADamagedCaseIsMadeAnewFromTheStream(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.put(reading(t), raised(t, "a"), raised(t, "answered"), sealed(hubKey, raisedEvent(t, "over", "high")))
		wait(time.Minute)
		r.put(acknowledged(t, hubKey, events.DeskOf("bob"), "bob", "answered", "load-old"), cleared(t, "over"))
		told := r.mail.shown()
		heard := len(r.ear.heard())
		r.end()
		require.Equal(t, 3, damage(t, r.shelf, "case"))
		r.begin()
		require.Empty(t, r.e.Untold(), "nothing is lost")
		require.Equal(t, told, r.mail.shown())
		require.Equal(t, len(told), r.mail.tried(), "nothing is sent again")
		require.Len(t, r.ear.heard(), heard)
		wait(3 * time.Minute)
		require.Equal(t, append(told, "bob: raised a"), r.mail.shown())
		r.put(acknowledged(t, hubKey, events.DeskOf("bob"), "bob", "a", "load-old"), cleared(t, "a"))
		wait(20 * time.Minute)
		require.ElementsMatch(t, append(told, "bob: raised a", "ann: cleared a", "bob: cleared a"), r.mail.shown())
		r.end()
		r.begin()
		require.Len(t, r.e.Cases(), 2, "the rows are whole again; one stands, one returned unacknowledged")
	})
}

// The process is killed while the stream is heard again: it is heard again anew.
func TestADamagedCaseIsMadeAnewOverACrash(t *testing.T) {
	for fail := 1; fail < 5; fail++ {
		bubble(t, func(t *testing.T, r *rig) {
			r.begin()
			r.put(raised(t, "a"), reading(t))
			r.end()
			damage(t, r.shelf, "case")
			r.shelf = r.shelf.again(fail, false, true)
			r.beginAnyway()
			_ = r.stop()
			r.shelf = r.shelf.again(0, false, false)
			r.begin()
			wait(3 * time.Minute)
			require.Equal(t, []string{"ann: raised a", "bob: raised a"}, r.mail.shown())
		})
	}
}

// Of a letter only the id is left: somebody has to look. The row is kept.
func TestADamagedLetterIsSaidForADay(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		pokes := 0
		r.cfg.Changed = func() { pokes++ }
		r.begin()
		r.put(sealed(hubKey, raisedEvent(t, "a", "high")))
		r.end()
		require.Equal(t, 1, damage(t, r.shelf, "letter"))
		r.begin()
		require.Positive(t, pokes)
		look := func() {
			require.Len(t, r.e.Untold(), 1)
			require.Equal(t, "_", r.e.Untold()[0].Site)
			require.Equal(t, "somebody may not have been told of what stands: damaged rows of who was told of what: 1", r.e.Untold()[0].Text)
		}
		look()
		wait(time.Hour)
		r.end()
		r.begin()
		look()
		require.Zero(t, rows(t, r.shelf, "letter"))
		require.Equal(t, 1, rows(t, r.shelf, "damaged"))
		before := pokes
		wait(23 * time.Hour)
		require.Empty(t, r.e.Untold())
		require.Greater(t, pokes, before)
		_, err := r.e.List(notify.Filter{})
		require.NoError(t, err)
	})
}

// What came directly has no place in the stream: that its row is lost is said, and
// the stream's own word is taken when it comes.
func TestADamagedCaseThatTheStreamHasNot(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.e.Direct([]events.Event{raisedEvent(t, "a", "urgent")})
		wait(time.Second)
		r.end()
		damage(t, r.shelf, "case")
		r.begin()
		require.Len(t, r.e.Untold(), 1)
		r.put(raised(t, "a"))
		wait(3 * time.Minute)
		require.Equal(t, []string{"ann: raised a", "bob: raised a"}, r.mail.shown())
		require.Equal(t, 2, r.mail.tried())
		require.Equal(t, 1, rows(t, r.shelf, "case"))
	})
}

// With everything gone but the place, nothing ends.
func TestAllRowsDamaged(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.put(raised(t, "a"))
		r.end()
		for _, name := range []string{"meta", "case", "letter", "heard"} {
			damage(t, r.shelf, name)
		}
		r.begin()
		require.NotEmpty(t, r.e.Untold())
		r.put(raised(t, "b"))
		require.Contains(t, r.mail.shown(), "ann: raised b")
	})
}
