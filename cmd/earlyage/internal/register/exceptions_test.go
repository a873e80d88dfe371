package register_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/cmd/earlyage/internal/register"
	"earlyage/scheduler"
)

// Every sort of exception by a case, and a brace with none.
func TestEverySort(t *testing.T) {
	const strip = "2026-10-08 10:00 phone p-crew brace.stripped a braces=b2"
	permit := func(text string) string {
		return "2026-10-08 09:00 office p-boss permit.issued a number=s-1 for=strip " + text + "\n"
	}
	for _, c := range []struct {
		name, lines string
		want        []string
		text        string
	}{
		{"none", permit("") + strip + " permit=s-1", nil, ""},
		{"early", "2026-10-06 09:00 office p-boss permit.issued a number=s-1 for=strip\n2026-10-06 10:00 phone p-crew brace.stripped a braces=b2", []string{register.StrippedEarly, register.PermitVoid}, "taken off "},
		{"no permit", strip, []string{register.NoPermit}, "taken off without a permit to strip"},
		{"over", permit("until=2026-10-08T09:30") + strip, []string{register.PermitLapsed}, "taken off after permit s-1 lapsed Thu 8 Oct 09:30 CEST"},
		{"withdrawn", permit("") + "2026-10-08 09:40 office p-boss permit.withdrawn a number=s-1 reason=gusts\n" + strip, []string{register.PermitLapsed}, "taken off after permit s-1 was withdrawn"},
		{"for others", permit("braces=b1,b3") + strip, []string{register.OutsidePermit}, "taken off outside permit s-1, which is for braces b1, b3"},
		{"shaken", "2026-10-06 09:10 office p-boss permit.issued a number=s-1 for=strip\n" + strip, []string{register.PermitVoid}, "taken off under permit s-1, which did not stand: issued before the window opened"},
		{"too late", strip + "\n2026-10-08 10:30 office p-boss permit.issued a number=s-1 for=strip", []string{register.OutsidePermit}, "permit s-1 counts only from Thu 8 Oct 2026 10:30 CEST"},
		{"with others", permit("braces=b2") + "2026-10-08 10:00 phone p-crew brace.stripped a braces=b1,b2", []string{register.OutsidePermit}, "taken off outside permit s-1, which is for braces b2"},
		{"late entry", permit("") + "2026-10-08 12:00 phone p-crew brace.stripped a braces=b2 at=@10:00", []string{register.LateEntry}, "the strip of Thu 8 Oct 2026 10:00 CEST was entered 2:00 h after"},
		{"set amended", permit("") + strip, []string{register.Amended}, "waits for a second person"},
		{"set amended for good", permit("") + strip, []string{register.Amended}, "a second person let it count"},
		{"doubt", permit("") + strip + "\n2026-10-08 10:20 office p-boss record.voided a target.source=/site/mill/device/phone target.id=none reason=gone", []string{register.Doubtful}, "nobody answered: "},
		{"never looked at", permit("") + strip, []string{register.NeverSound}, "nobody recorded"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWorld(t, "Europe/Oslo").opened()
			w.pour("a", "2026-10-05", "10:00", "2026-10-09@12:00", 20)
			if c.name == "never looked at" {
				w.facts = append(w.facts[:6:6], w.facts[7:]...) // the inspection is not there
				require.Equal(t, "brace.set", string(w.facts[5].Kind))
			}
			w.record("2026-10-06 09:00 phone p-crew wind.read - gust_mps=3\n2026-10-08 08:50 phone p-crew wind.read - gust_mps=3")
			if c.name != "none" && c.want[0] == register.Amended {
				w.amend("2026-10-05@11:00", "p-boss", "a", "a-set", "brace.set", "change", "braces=b1:2,b2:6.1,b3:10", "at=2026-10-05T08:30")
				if c.name == "set amended for good" {
					w.record("2026-10-05 12:00 office p-second record.countersigned a of=change role=officer")
				}
			}
			w.record(c.lines)
			r := row(t, w.register("2026-10-08@13:00", register.Query{}), "a", "b2", 0)
			if c.name == "never looked at" {
				require.Zero(t, r.Looks)
				require.Contains(t, sorts(r), register.NeverSound)
				return
			}
			require.Equal(t, c.want, sorts(r), "%v", r.Exceptions)
			for _, x := range r.Exceptions {
				require.Contains(t, x.Text, c.text)
			}
			require.Equal(t, slices.ContainsFunc(c.want, func(sort string) bool {
				return slices.Contains([]string{register.NoPermit, register.PermitLapsed, register.OutsidePermit, register.PermitVoid}, sort)
			}), r.Unpermitted)
		})
	}
}

// A brace that stands is judged now.
func TestStanding(t *testing.T) {
	w := newWorld(t, "Europe/Oslo").opened()
	w.pour("a", "2026-10-05", "10:00", "2026-10-09@12:00", 20)
	w.record("2026-10-08 08:50 phone p-crew wind.read - gust_mps=3")
	early := row(t, w.register("2026-10-06@10:00", register.Query{}), "a", "b1", 0)
	require.Equal(t, scheduler.BraceStanding, early.State)
	require.True(t, early.Opened.IsZero())
	require.False(t, early.Margin.Known)
	require.Equal(t, int64(24*3600), early.KeptS)
	later := row(t, w.register("2026-10-08@10:00", register.Query{}), "a", "b1", 0)
	require.Equal(t, "2026-10-07 10:00", later.Opened.In(w.zone).Format("2006-01-02 15:04"))
	require.Equal(t, int64(72*3600), later.KeptS)
	require.Empty(t, later.Permit.Number)

	w.record("2026-10-08 10:10 office p-boss permit.issued a number=s-1 for=strip until=2026-10-09T10:00")
	r := row(t, w.register("2026-10-08@10:30", register.Query{}), "a", "b1", 0)
	require.Equal(t, scheduler.BraceMayStrip, r.State)
	require.True(t, r.Permit.Stood)
	require.Equal(t, "=SUM(A1)", r.Permit.Name)
}

// drawn is a site of walls with strips at any time, by any entry, with and without
// permits, voids, braces set again.
func drawn(t *testing.T, seed uint64) *world {
	rng := rand.New(rand.NewPCG(seed, 3))
	w := newWorld(t, []string{"Europe/Oslo", "America/New_York"}[rng.IntN(2)]).opened(fmt.Sprintf("policy.permit_needed=%t", rng.IntN(2) == 0))
	for i := range 1 + rng.IntN(3) {
		on := string(rune('a' + i))
		w.pour(on, "2026-10-23", fmt.Sprintf("%02d:%02d", 9+rng.IntN(8), rng.IntN(60)), "2026-10-31@10:00", []float64{4, 10, 20}[rng.IntN(3)])
		at := w.moment("2026-10-24@08:00")
		for n := range rng.IntN(7) {
			at = at.Add(time.Duration(rng.IntN(40*60)) * time.Minute)
			when := at.Format("2006-01-02 15:04")
			brace := fmt.Sprintf("b%d", 1+rng.IntN(4)) // the fourth was never set
			switch rng.IntN(8) {
			case 0:
				w.record(when + " office p-boss permit.issued " + on + " for=strip number=" + fmt.Sprintf("s-%s-%d", on, n))
			case 1:
				w.record(when + " phone p-crew brace.set " + on + " braces=" + brace + ":5")
			case 2:
				w.record(when + " phone p-crew brace.stripped " + on + " all=true")
			case 3:
				w.record(when + " phone p-crew wind.read " + on + " gust_mps=3")
			case 4:
				w.record(when + " phone p-crew brace.stripped " + on + " braces=" + brace + " as=gone")
				w.record(when + " office p-boss record.voided " + on + " of=gone reason=wrong as=void")
				if rng.IntN(2) == 0 {
					w.record(when + " office p-second record.countersigned " + on + " of=void role=officer")
				}
			default:
				w.record(when + " phone p-crew brace.stripped " + on + " braces=" + brace)
			}
		}
	}
	return w
}

// What is said of a row agrees with the alerts of the entry that it tells of, and
// the sums are those of the rows.
func TestRowsAgreeWithTheAlerts(t *testing.T) {
	seen := map[string]int{}
	rapid.Check(t, func(rt *rapid.T) {
		w := drawn(t, rapid.Uint64().Draw(rt, "seed"))
		now := "2026-10-31@10:00"
		r := w.register(now, register.Query{})
		f := w.fold(w.moment(now))
		var rows []register.Row
		for _, site := range r.Sites {
			for _, wl := range site.Walls {
				early, bare := map[uint64]bool{}, map[uint64]bool{}
				st := f.walls[wl.Wall]
				for _, a := range scheduler.Assess(f.state, f.devices, st, scheduler.Hub{}, w.moment(now)).Alerts {
					for _, e := range st.Entries() {
						if a.Cause == "strip "+e.ID {
							early[e.Seq] = early[e.Seq] || a.Kind == scheduler.AlertStripEarly
							bare[e.Seq] = bare[e.Seq] || a.Kind == scheduler.AlertStripUnpermitted
						}
					}
				}
				told := map[uint64]bool{}
				for _, x := range wl.Rows {
					seq := x.Stripped.Seq
					for _, e := range x.Exceptions {
						if e.Sort == register.StrippedEarly {
							seq = e.Seq // of one whose void waits
						}
					}
					if seq == 0 {
						continue
					}
					told[seq] = true
					require.Equal(t, early[seq], x.Early, "%s %s", wl.Wall, x.Brace)
					if x.Stripped.Seq != 0 {
						require.Equal(t, bare[seq], x.Unpermitted, "%s %s", wl.Wall, x.Brace)
						require.False(t, !x.Early && x.Margin.Known && x.Margin.S < 0, "in time, and under zero: %+v", x)
						seen[fmt.Sprintf("early %t", x.Early)]++
					}
					require.Zero(t, x.Margin.S%60)
					require.GreaterOrEqual(t, x.KeptS, int64(0))
				}
				rows = append(rows, wl.Rows...)
				require.Equal(t, sum(wl.Rows), wl.Total)
			}
			require.Equal(t, sum(rows), site.Total)
		}
		require.Equal(t, sum(rows), r.Total)
	})
	require.NotZero(t, seen["early true"])
	require.NotZero(t, seen["early false"])
}

// sum adds up rows as a reader would.
func sum(rows []register.Row) (t register.Totals) {
	var kept []int64
	for _, r := range rows {
		t.Braces++
		if r.Stripped.At.IsZero() {
			t.Standing++
		} else {
			t.Stripped++
			if !r.ClockZero.IsZero() {
				kept = append(kept, r.KeptS)
			}
			if r.Margin.Known && (t.MarginLeastS == nil || r.Margin.S < *t.MarginLeastS) {
				t.MarginLeastS = &r.Margin.S
			}
		}
		if r.Early {
			t.Early++
		}
		if r.Unpermitted {
			t.Unpermitted++
		}
		if len(r.Exceptions) > 0 {
			t.Exceptions++
		}
	}
	if len(kept) > 0 {
		all, least := int64(0), kept[0]
		for _, k := range kept {
			all, least = all+k, min(least, k)
		}
		mean := all / int64(len(kept)) / 60 * 60
		t.KeptMeanS, t.KeptLeastS = &mean, &least
	}
	return t
}

// The order in which events arrive, and the moment within the same minute, make no
// other register.
func TestSameRecordSameRegister(t *testing.T) {
	w := drawn(t, 5)
	first := w.register("2026-10-31@10:00", register.Query{})
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(w.facts), func(i, j int) { w.facts[i], w.facts[j] = w.facts[j], w.facts[i] })
	require.Equal(t, first, w.register("2026-10-31@10:00", register.Query{}))
}
