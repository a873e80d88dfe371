package cabinet_test

import (
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/cabinet"
)

var phone = events.Source{Site: "a", Device: "phone-x"}

func begin(t *testing.T, c *cabinet.Cabinet, s cabinet.Session) string {
	t.Helper()
	token, err := c.Begin(s)
	require.NoError(t, err)
	require.Len(t, token, 43)
	return token
}

func TestSessionIsKeptWhole(t *testing.T) {
	c, _, s := newCabinet(t)
	token := begin(t, c, cabinet.Session{Person: "p-a", Device: phone, Made: start.Add(time.Hour), Seen: start.Add(time.Hour)})
	want := cabinet.Session{Person: "p-a", Device: phone, Made: start, Seen: start, Until: start.Add(7 * 24 * time.Hour)}
	got, err := c.Session(token)
	require.NoError(t, err)
	require.Equal(t, want, got)
	again, err := cabinet.New(open(t, copyOf(t, s)), newClock().Now)
	require.NoError(t, err)
	got, err = again.Session(token)
	require.NoError(t, err, "after a restart")
	require.Equal(t, want, got)
	require.NotEqual(t, token, begin(t, c, cabinet.Session{Person: "p-a", Device: phone}))
}

func TestSessionIdle(t *testing.T) {
	c, at, _ := newCabinet(t)
	token := begin(t, c, cabinet.Session{Person: "p-a"})
	at.add(12*time.Hour - 1)
	require.NoError(t, c.Touch(token), "a nanosecond before")
	at.add(12*time.Hour - 1)
	_, err := c.Session(token)
	require.NoError(t, err, "counted from the last use")
	at.add(1)
	_, err = c.Session(token)
	require.ErrorIs(t, err, cabinet.ErrNoSession, "at the very moment")
	require.ErrorIs(t, c.Touch(token), cabinet.ErrNoSession, "a touch does not wake it")
	_, err = c.Session(token)
	require.ErrorIs(t, err, cabinet.ErrNoSession)
}

func TestSessionAbsolute(t *testing.T) {
	for _, tc := range []struct {
		name        string
		until, want time.Duration
	}{
		{"none asked for", 0, 7 * 24 * time.Hour}, {"shorter", time.Hour, time.Hour}, {"longer", 1000 * time.Hour, 7 * 24 * time.Hour},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c, at, _ := newCabinet(t)
			s := cabinet.Session{Person: "p-a"}
			if tc.until != 0 {
				s.Until = start.Add(tc.until)
			}
			token := begin(t, c, s)
			for at.Now().Add(10 * time.Minute).Before(start.Add(tc.want)) {
				at.add(10 * time.Minute)
				require.NoError(t, c.Touch(token))
			}
			at.set(start.Add(tc.want - 1))
			_, err := c.Session(token)
			require.NoError(t, err, "a nanosecond before")
			at.add(1)
			_, err = c.Session(token)
			require.ErrorIs(t, err, cabinet.ErrNoSession, "at the very moment, however busy")
		})
	}
}

func TestTouchWritesSeldom(t *testing.T) {
	c, at, s := newCabinet(t)
	token := begin(t, c, cabinet.Session{Person: "p-a"})
	before := s.writes.Load()
	for range 600 { // a request each second for ten minutes
		at.add(time.Second)
		require.NoError(t, c.Touch(token))
	}
	require.Equal(t, before+10, s.writes.Load())
	got, err := c.Session(token)
	require.NoError(t, err)
	require.Equal(t, at.Now(), got.Seen)

	s.next(1, false)
	at.add(time.Minute)
	require.ErrorIs(t, c.Touch(token), errDisk)
}

func TestShorterLimitsEndWhatIsThere(t *testing.T) {
	c, at, _ := newCabinet(t)
	token := begin(t, c, cabinet.Session{Person: "p-a"})
	short := c.WithLimits(cabinet.Limits{Session: time.Hour})
	at.add(time.Hour)
	_, err := c.Session(token)
	require.NoError(t, err)
	_, err = short.Session(token)
	require.ErrorIs(t, err, cabinet.ErrNoSession)

	code, until, err := c.WithLimits(cabinet.Limits{Invitation: time.Minute}).Invite(invitation())
	require.NoError(t, err)
	require.Equal(t, at.Now().Add(time.Minute), until)
	_, err = c.Peek(code)
	require.NoError(t, err)
}

func TestEnds(t *testing.T) {
	mine := cabinet.Session{Person: "p-a"}
	mineOnPhone := cabinet.Session{Person: "p-a", Device: phone}
	theirs := cabinet.Session{Person: "p-b"}
	station := cabinet.Session{Device: events.Source{Site: "a", Device: "station-x"}}
	for _, tc := range []struct {
		name string
		end  func(c *cabinet.Cabinet, tokens []string) error
		left []bool
	}{
		{"one", func(c *cabinet.Cabinet, tokens []string) error { return c.End(tokens[1]) }, []bool{true, false, true, true}},
		{"of a person", func(c *cabinet.Cabinet, _ []string) error { return c.EndOf("p-a") }, []bool{false, false, true, true}},
		{"of a device", func(c *cabinet.Cabinet, _ []string) error { return c.EndOfDevice(phone) }, []bool{true, false, true, true}},
		{"none", func(c *cabinet.Cabinet, _ []string) error { return c.End("no token") }, []bool{true, true, true, true}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c, _, _ := newCabinet(t)
			var tokens []string
			for _, s := range []cabinet.Session{mine, mineOnPhone, theirs, station} {
				tokens = append(tokens, begin(t, c, s))
			}
			require.NoError(t, tc.end(c, tokens))
			for i, token := range tokens {
				_, err := c.Session(token)
				require.Equal(t, tc.left[i], err == nil, "session %d: %v", i, err)
			}
		})
	}
}

func TestSweep(t *testing.T) {
	c, at, s := newCabinet(t)
	old := begin(t, c, cabinet.Session{Person: "p-a"})
	_, _, err := c.Invite(invitation())
	require.NoError(t, err)
	at.add(12 * time.Hour)
	fresh := begin(t, c, cabinet.Session{Person: "p-a"})
	code, _, err := c.Invite(invitation())
	require.NoError(t, err)
	require.Equal(t, []int{2, 2}, []int{count(t, s, "session"), count(t, s, "invitation")})
	require.NoError(t, c.Sweep())
	require.Equal(t, []int{1, 1}, []int{count(t, s, "session"), count(t, s, "invitation")})
	_, err = c.Session(fresh)
	require.NoError(t, err)
	_, err = c.Peek(code)
	require.NoError(t, err)
	_, err = c.Session(old)
	require.ErrorIs(t, err, cabinet.ErrNoSession)
}

func TestNoToken(t *testing.T) {
	c, _, _ := newCabinet(t)
	begin(t, c, cabinet.Session{Person: "p-a"})
	for _, token := range []string{"", "x", strings.Repeat("A", 43), strings.Repeat("A", 44), strings.Repeat("é", 43)} {
		_, err := c.Session(token)
		require.ErrorIs(t, err, cabinet.ErrNoSession, "%q", token)
		require.ErrorIs(t, c.Touch(token), cabinet.ErrNoSession, "%q", token)
		require.NoError(t, c.End(token))
	}
}

func TestBeginOnAFailingDisk(t *testing.T) {
	c, _, s := newCabinet(t)
	for _, applied := range []bool{false, true} {
		s.next(1, applied)
		token, err := c.Begin(cabinet.Session{Person: "p-a"})
		require.ErrorIs(t, err, errDisk)
		require.Empty(t, token)
	}
}

// Everything at once; the race detector listens.
func TestAllAtOnce(t *testing.T) {
	c, _, _ := newCabinet(t)
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			token, err := c.Begin(cabinet.Session{Person: "p-a", Device: phone})
			if err != nil {
				panic(err)
			}
			for _, f := range []func() error{
				func() error { return c.Touch(token) },
				func() error { return c.SetCard("p-a", cabinet.Card{Name: "A"}) },
				func() error { return c.EraseCard("p-a") },
				func() error { _, err := c.UserHandle("p-a"); return err },
				func() error { return c.Sweep() },
				func() error { return c.End(token) },
			} {
				if err := f(); err != nil {
					panic(err)
				}
			}
		})
	}
	all.Wait()
	handle, err := c.UserHandle("p-a")
	require.NoError(t, err)
	owner, ok, err := c.PersonOf(handle)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, "p-a", owner)
}
