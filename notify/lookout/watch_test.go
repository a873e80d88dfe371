package lookout_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/notify/hook"
	"earlyage/notify/lookout"
	"earlyage/notify/notice"
)

var begun = time.Date(2026, 7, 3, 6, 0, 0, 0, time.UTC)

func at(d time.Duration) time.Time { return begun.Add(d) }

var (
	good = lookout.Health{OK: true}
	bad  = lookout.Health{Why: "the stream is shorter than the store", Undelivered: 2}
)

// run steps a machine from one of its own moments to the next until an end, and
// returns when it said what.
func run(t require.TestingT, w *lookout.Watch, from, to time.Duration) map[time.Duration]lookout.Word {
	said := map[time.Duration]lookout.Word{}
	for now := at(from); ; {
		for _, word := range w.Tick(now) {
			said[now.Sub(begun)] = word
		}
		next := w.Next()
		if next.IsZero() || next.After(at(to)) {
			return said
		}
		require.True(t, next.After(now), "it does not stand still: %v after %v", next, now)
		now = next
	}
}

// No heartbeat since the start: told after 150 s, and eight times more, each pause
// twice the one before and none over four hours.
func TestSilentFromTheStart(t *testing.T) {
	w := lookout.NewWatch(begun)
	said := run(t, w, 0, 100*time.Hour)
	want, moment := map[time.Duration]int{}, 150*time.Second
	for i, pause := range []time.Duration{0, 15, 30, 60, 120, 240, 240, 240, 240} {
		moment += pause * time.Minute
		want[moment] = i
	}
	got := map[time.Duration]int{}
	for when, word := range said {
		require.Equal(t, "silent", word.State)
		require.True(t, word.Last.IsZero())
		require.Equal(t, begun, word.Since)
		got[when] = word.Turn
	}
	require.Equal(t, want, got)
	over := w.Beat(good, at(200*time.Hour))
	require.Len(t, over, 1)
	require.Equal(t, "", over[0].State)
	require.Equal(t, "silent", over[0].Was)
}

func TestSilenceAndReturn(t *testing.T) {
	w := lookout.NewWatch(begun)
	for i := range 10 {
		require.Empty(t, w.Beat(good, at(time.Duration(i)*time.Minute)))
	}
	last := 9 * time.Minute
	require.Empty(t, w.Tick(at(last+149*time.Second)))
	said := w.Tick(at(last + 150*time.Second))
	require.Len(t, said, 1)
	require.Equal(t, at(last), said[0].Since)
	require.Empty(t, w.Tick(at(last+151*time.Second)), "once")
	over := w.Beat(good, at(time.Hour))
	require.Len(t, over, 1)
	require.Equal(t, at(last), over[0].Since)
	require.Empty(t, w.Beat(good, at(time.Hour+time.Minute)))
}

// A hub that is unwell for less than five minutes is given the time.
func TestUnwell(t *testing.T) {
	w := lookout.NewWatch(begun)
	beat := func(h lookout.Health, minute int) []lookout.Word {
		return w.Beat(h, at(time.Duration(minute)*time.Minute))
	}
	for i := range 5 {
		require.Empty(t, beat(bad, i))
	}
	require.Empty(t, beat(good, 5))
	for i := 6; i < 11; i++ {
		require.Empty(t, beat(bad, i))
	}
	said := beat(bad, 11)
	require.Len(t, said, 1)
	require.Equal(t, lookout.Word{State: "unwell", Since: at(6 * time.Minute), Why: bad.Why}, clean(said[0]))
	for i := 12; i < 26; i++ {
		require.Empty(t, beat(bad, i), "%d", i)
	}
	require.Len(t, beat(bad, 26), 1, "a quarter of an hour later")
	over := beat(good, 27)
	require.Len(t, over, 1)
	require.Equal(t, "unwell", over[0].Was)
}

func clean(w lookout.Word) lookout.Word {
	w.Last = time.Time{}
	return w
}

// Unwell, then silent, then back and still unwell, then well: each is said.
func TestFromOneToTheOther(t *testing.T) {
	w := lookout.NewWatch(begun)
	for i := range 6 {
		w.Beat(bad, at(time.Duration(i)*time.Minute))
	}
	said := run(t, w, 5*time.Minute, 8*time.Minute)
	require.Equal(t, "silent", said[7*time.Minute+30*time.Second].State)
	back := w.Beat(bad, at(10*time.Minute))
	require.Len(t, back, 1)
	require.Equal(t, "unwell", back[0].State)
	require.Equal(t, bad.Why, back[0].Why)
	require.Equal(t, "unwell", w.Beat(good, at(11*time.Minute))[0].Was)
}

// Whatever comes: silence is told within its time, no more than nine times, and an
// end is said once for what was told and for nothing else.
func TestWatchProperty(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := lookout.NewWatch(begun)
		now, last, standing := begun, begun, ""
		turns := 0
		hear := func(words []lookout.Word) {
			for _, word := range words {
				if word.State == "" {
					require.NotEmpty(rt, standing, "an end of nothing")
					require.Equal(rt, standing, word.Was)
				} else if word.State == standing {
					turns++
					require.Equal(rt, turns, word.Turn)
					require.LessOrEqual(rt, turns, 8)
				} else {
					require.Zero(rt, word.Turn)
					turns = 0
				}
				standing = word.State
			}
		}
		for range rapid.IntRange(1, 60).Draw(rt, "steps") {
			to := now.Add(time.Duration(rapid.IntRange(1, 4000).Draw(rt, "seconds")) * time.Second)
			for next := w.Next(); !next.IsZero() && !next.After(to); next = w.Next() {
				hear(w.Tick(next))
			}
			now = to
			if now.Sub(last) >= 150*time.Second {
				require.Equal(rt, "silent", standing)
			}
			if rapid.Bool().Draw(rt, "beats") {
				h := lookout.Health{OK: rapid.Bool().Draw(rt, "ok")}
				hear(w.Beat(h, now))
				last = now
				require.NotEqual(rt, "silent", standing)
				if h.OK {
					require.Empty(rt, standing)
				}
			}
		}
	})
}

func TestConfig(t *testing.T) {
	secret, health := hook.NewSecret(), func() lookout.Health { return good }
	for want, c := range map[string]lookout.BeatConfig{
		"heartbeat: URL: not https":    {URL: "http://x.example/tok-1", Secrets: []string{secret}, Health: health},
		"heartbeat: no secret":         {URL: "https://x.example/tok-1", Health: health},
		"heartbeat: Health is missing": {URL: "https://x.example/tok-1", Secrets: []string{secret}},
	} {
		_, err := lookout.NewBeat(c)
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), "tok-1")
	}
	mail := []notice.Channel{&carrier{name: "mail"}}
	for want, c := range map[string]lookout.Config{
		"lookout: no secret":                    {Readers: []notice.Reader{keeper}, Channels: mail},
		"lookout: nobody to tell":               {Secrets: []string{secret}, Channels: mail},
		`lookout: no channel reaches "p-other"`: {Secrets: []string{secret}, Readers: []notice.Reader{keeper, {Person: "p-other"}}, Channels: mail},
	} {
		_, err := lookout.New(c)
		require.ErrorContains(t, err, want)
	}
}
