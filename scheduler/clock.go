package scheduler

import (
	"fmt"
	"sync"
	"time"
)

// A Clock says what time it is. It is safe for concurrent use.
type Clock interface {
	// Now is the wall clock's time in UTC, without a monotonic reading. It may jump.
	Now() time.Time
	// Until returns a channel that is closed once Now is at or after t, within a
	// second of it, also when the wall clock jumped meanwhile.
	Until(t time.Time) <-chan struct{}
	// Elapsed is the time since some fixed start by a clock that never jumps.
	Elapsed() time.Duration
}

// lookEvery is how often a waiting clock is compared with the wall clock.
const lookEvery = time.Second

// Real is the machine's clock. The zero value is not usable; see NewReal.
type Real struct {
	wall  func() time.Time
	start time.Time // with its monotonic reading
}

// NewReal returns the machine's clock. wall is the source of the wall clock's
// time; nil means time.Now.
func NewReal(wall func() time.Time) *Real {
	if wall == nil {
		wall = time.Now
	}
	return &Real{wall: wall, start: time.Now()}
}

// Now implements Clock. The monotonic reading is taken off, because with it the
// comparison of two times would not see that the wall clock jumped.
func (r *Real) Now() time.Time { return r.wall().Round(0).UTC() }

// Elapsed implements Clock.
func (r *Real) Elapsed() time.Duration { return time.Since(r.start) }

// Until implements Clock. A channel that nobody waits for any more costs a
// timer until t has come, and no goroutine.
func (r *Real) Until(t time.Time) <-chan struct{} {
	done := make(chan struct{})
	r.arm(t, done)
	return done
}

func (r *Real) arm(t time.Time, done chan struct{}) {
	left := t.Sub(r.Now())
	if left <= 0 {
		close(done)
		return
	}
	time.AfterFunc(min(left, lookEvery), func() { r.arm(t, done) })
}

// Stepped is a clock that moves only when it is told to: for tests and for the
// demo. It is safe for concurrent use.
type Stepped struct {
	mu      sync.Mutex
	now     time.Time
	elapsed time.Duration
	waiting map[time.Time]chan struct{}
}

// NewStepped returns a clock that stands at start.
func NewStepped(start time.Time) *Stepped {
	return &Stepped{now: start.Round(0).UTC(), waiting: map[time.Time]chan struct{}{}}
}

// Now implements Clock.
func (s *Stepped) Now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

// Elapsed implements Clock. A jump of the wall clock does not move it.
func (s *Stepped) Elapsed() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.elapsed
}

// Until implements Clock.
func (s *Stepped) Until(t time.Time) <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	t = t.Round(0).UTC()
	done, ok := s.waiting[t]
	if !ok {
		done = make(chan struct{})
		s.waiting[t] = done
		s.ring()
	}
	return done
}

// Step lets d pass. It panics on a negative d: time does not pass backwards
// (see Jump).
func (s *Stepped) Step(d time.Duration) {
	if d < 0 {
		panic(fmt.Sprintf("scheduler: step of %v", d))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.elapsed += d
	s.now = s.now.Add(d)
	s.ring()
}

// StepTo lets time pass until t; it does nothing if t has passed.
func (s *Stepped) StepTo(t time.Time) {
	if d := t.Sub(s.Now()); d > 0 {
		s.Step(d)
	}
}

// Jump sets the wall clock forward or back by d while no time passes.
func (s *Stepped) Jump(d time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = s.now.Add(d)
	s.ring()
}

// ring closes what is due. s.mu is held.
func (s *Stepped) ring() {
	for t, done := range s.waiting {
		if !t.After(s.now) {
			close(done)
			delete(s.waiting, t)
		}
	}
}
