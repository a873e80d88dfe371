package lookout

import "time"

// What a lookout finds.
const (
	well   = ""
	silent = "silent"
	unwell = "unwell"
)

// word is what the readers are to be told.
type word struct {
	State string // silent, unwell; well: it is over
	Was   string // of an end: what is over
	Turn  int    // 0: for the first time
	Since time.Time
	Last  time.Time // the last heartbeat that counted; zero: none
	Why   string    // the hub's own, or why beats did not count
	Back  Health    // of an end: what the hub says now
}

// watch is the state machine. Its times only ever differ from one another, so they
// may carry a clock that does not jump. It belongs to one goroutine.
type watch struct {
	silentLong, unwellLong time.Duration
	againAfter, againMost  time.Duration
	againTimes             int

	begun    time.Time
	last     time.Time // last heartbeat that counted; zero: none yet
	health   Health
	badSince time.Time // since when every heartbeat said not ok; zero: the last said ok
	refused  string    // why the last signed heartbeat since then did not count

	state string
	since time.Time
	turn  int
	again time.Time // zero: never
}

// beat takes a heartbeat that counts.
func (w *watch) beat(h Health, now time.Time) []word {
	w.last, w.health, w.refused = now, h, ""
	switch {
	case h.OK:
		w.badSince = time.Time{}
	case w.badSince.IsZero():
		w.badSince = now
	}
	return w.tick(now)
}

// stray takes a heartbeat that is signed and does not count.
func (w *watch) stray(why string) { w.refused = why }

// tick judges what stands now, and says what is to be told.
func (w *watch) tick(now time.Time) []word {
	state, since := w.judge(now)
	switch {
	case state == well && w.state == well:
		return nil
	case state == well:
		over := word{Was: w.state, Turn: w.turn, Since: w.since, Last: w.last, Back: w.health}
		w.state, w.since, w.turn, w.again = well, time.Time{}, 0, time.Time{}
		return []word{over}
	case state != w.state:
		w.state, w.since, w.turn = state, since, 0
		w.again = now.Add(w.againAfter)
		return []word{w.say()}
	case w.again.IsZero() || now.Before(w.again):
		return nil
	}
	w.turn++
	w.again = time.Time{}
	if w.turn < w.againTimes {
		w.again = now.Add(w.pause())
	}
	return []word{w.say()}
}

func (w *watch) say() word {
	why := w.health.Why
	if w.state == silent {
		why = w.refused
	}
	return word{State: w.state, Turn: w.turn, Since: w.since, Last: w.last, Why: why}
}

// judge reports what stands, and since when. What stood is over only once a
// heartbeat says that all is well: a hub that comes back unwell is unwell at once.
func (w *watch) judge(now time.Time) (string, time.Time) {
	last := w.last
	if last.IsZero() {
		last = w.begun
	}
	if !now.Before(last.Add(w.silentLong)) {
		return silent, last
	}
	if w.badSince.IsZero() {
		return well, time.Time{}
	}
	if w.state != well || !now.Before(w.badSince.Add(w.unwellLong)) {
		return unwell, w.badSince
	}
	return well, time.Time{}
}

// pause is how long it takes to the next telling: each is twice the one before.
func (w *watch) pause() time.Duration {
	d := w.againAfter
	for range w.turn {
		d = min(2*d, w.againMost)
	}
	return d
}

// next is when time alone may have something to tell.
func (w *watch) next() time.Time {
	last := w.last
	if last.IsZero() {
		last = w.begun
	}
	next := w.again
	earlier := func(t time.Time) {
		if next.IsZero() || t.Before(next) {
			next = t
		}
	}
	if w.state != silent {
		earlier(last.Add(w.silentLong))
	}
	if w.state == well && !w.badSince.IsZero() {
		earlier(w.badSince.Add(w.unwellLong))
	}
	return next
}
