package projector

import (
	"slices"
	"sync"
	"time"
)

// Hole is a run of missing sequences of the stream that no keeper has accepted.
type Hole struct {
	From  uint64    `json:"from"`
	To    uint64    `json:"to"`
	Since time.Time `json:"since"` // when the message after it was recorded
}

// acceptHoles takes a range out of the holes that are known. Holes that come
// later are not accepted in advance.
func acceptHoles(holes []Hole, from, to uint64) []Hole {
	var left []Hole
	for _, h := range holes {
		if h.To < from || h.From > to {
			left = append(left, h)
			continue
		}
		if h.From < from {
			left = append(left, Hole{h.From, from - 1, h.Since})
		}
		if h.To > to {
			left = append(left, Hole{to + 1, h.To, h.Since})
		}
	}
	return left
}

// HubState is what concerns every site: how the store stands to the stream.
type HubState struct {
	Through    uint64    // stream sequence that is folded
	Recorded   time.Time // recorded time of that message; zero: none is folded
	Head       uint64    // last sequence of the stream when it was last looked at
	LevelAt    time.Time
	Level      bool   // the head was reached, and looked at within the last 15 s
	Short      bool   // the stream ends before the store, or holds something else
	Why        string // why not level, in words
	Holes      []Hole // not accepted yet
	Demo       bool
	Unsigned   bool   // events need no signature: whoever reaches the stream is believed
	SignedFrom uint64 // otherwise the first message that had to be signed
	Folded     uint64 // events accepted
	Duplicates uint64 // messages passed over as repeated
	Refused    uint64 // messages refused
}

const (
	lookEvery = 2 * time.Second
	levelFor  = 15 * time.Second
)

// level keeps what is known of the stream's head. Its times are of the
// process's own monotonic clock.
type level struct {
	now func() time.Time // for LevelAt only

	mu      sync.Mutex
	looked  bool      // the stream has been looked at; mu, as all below
	head    uint64    // at the last look
	lookAt  time.Time // when it was asked for
	through uint64    // committed
	levelAt time.Time // last look whose head is folded; zero: none
	stamp   time.Time // the same by the configured clock
	sure    bool      // the last kept message is the stream's
	short   string    // why the stream does not fit the store
	stopped string    // why Run ended
}

// kept is the last message that is committed.
func (l *level) kept() uint64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.through
}

// look notes the head. It reports whether the stream is shorter than what was kept
// when the head was asked for: what was committed since came after that answer.
func (l *level) look(head, kept uint64, asked time.Time) (short bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.looked, l.head, l.lookAt = true, head, asked
	l.reach()
	return head < kept
}

func (l *level) commit(through uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.through = through
	l.reach()
}

func (l *level) reach() {
	if l.looked && l.through >= l.head && l.lookAt.After(l.levelAt) {
		l.levelAt, l.stamp = l.lookAt, l.now().UTC()
	}
}

// fits notes that the stream holds the last kept message. It reports whether
// that is news.
func (l *level) fits() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	news := !l.sure
	l.sure, l.short = true, ""
	return news
}

// misfit notes why the stream does not fit the store. It reports whether that is news.
func (l *level) misfit(why string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	news := l.short == ""
	l.sure, l.short = false, why
	return news
}

func (l *level) misfits() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.short != ""
}

func (l *level) start() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sure, l.stopped = false, ""
}

func (l *level) stop(why string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sure, l.stopped = false, why
}

func (l *level) is() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.why() == ""
}

// wanting reports whether a new look at the head is all that is missing: the one
// that is known is reached, but was seen too long ago.
func (l *level) wanting() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.looked && l.sure && l.through >= l.head && time.Since(l.lookAt) > lookEvery && l.why() != ""
}

// why says what keeps the store from being level; empty: nothing. The caller
// holds mu.
func (l *level) why() string {
	switch {
	case l.short != "":
		return l.short
	case l.stopped != "":
		return l.stopped
	case !l.sure:
		return "not compared with the stream yet"
	case l.levelAt.IsZero():
		return "catching up with the stream"
	case time.Since(l.levelAt) > levelFor && l.through < l.head:
		return "behind the stream"
	case time.Since(l.levelAt) > levelFor:
		return "the stream cannot be seen"
	}
	return ""
}

func (l *level) state(s stand, k *keep) HubState {
	l.mu.Lock()
	defer l.mu.Unlock()
	why := l.why()
	return HubState{
		Through: s.Through, Recorded: s.Recorded, Head: l.head, LevelAt: l.stamp, Level: why == "", Short: l.short != "", Why: why,
		Holes: slices.Clone(s.Holes), Demo: k.demo, Unsigned: k.unsigned, SignedFrom: k.signedFrom, Folded: s.Folded, Duplicates: s.Duplicates, Refused: s.Refused,
	}
}
