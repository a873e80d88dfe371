package phone_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/cmd/earlyage/internal/phone/bundle"
)

// The three sums of a phone, reckoned here in another way: a wall is cut into
// cells of 100 mm, and each keeps what is on it.
type cell struct {
	Top, End, Rise, Now int // mm
	Deadline            int // minutes; -1: nothing closes
	Own                 bool
}

type aFront struct{ From, To, Top, Rise, Now, Deadline int }

type aLift struct {
	From, To, Top, Began, Entered int // mm, minutes
	Other                         int // top of an amended version; 0: none
	Voided                        bool
}

type sumCase struct {
	Length, Planned, Least int
	Closed                 bool
	Fronts                 []aFront
	Lifts                  []aLift
}

const cellMM = 100

func (l aLift) on(at, length int, closed bool) bool {
	lo, hi := min(l.From, l.To), max(l.From, l.To)
	within := at >= lo && at < hi
	if closed && hi-lo > length/2 && (lo != 0 || hi != length) {
		return !within
	}
	return within
}

func (l aLift) deadline(least int) int {
	if l.Entered-l.Began > 10 {
		return l.Began - 15 + least
	}
	return l.Began + least
}

// cells is the independent reckoning.
func (c sumCase) cells() []cell {
	out := make([]cell, c.Length/cellMM)
	for i := range out {
		at := i * cellMM
		f := c.Fronts[slices.IndexFunc(c.Fronts, func(f aFront) bool { return at >= f.From && at < f.To })]
		x := cell{Top: f.Top, Rise: f.Rise, Now: f.Now, Deadline: f.Deadline}
		for _, l := range c.Lifts {
			tops := []int{l.Top}
			if l.Other != 0 {
				tops = append(tops, l.Other)
			}
			most, least := slices.Max(tops), slices.Min(tops)
			if !l.on(at, c.Length, c.Closed) || most <= x.Top {
				continue
			}
			x.Own = true
			x.Rise += most - x.Top
			x.Now = max(0, x.Now-(most-x.Top))
			mine := l.deadline(c.Least)
			switch {
			case l.Voided || least <= x.Top:
				if x.Deadline == -1 || mine < x.Deadline {
					x.Deadline = mine
				}
			case least >= c.Planned:
				x.Top, x.Deadline = least, -1
			default:
				x.Top, x.Deadline = least, mine
			}
		}
		out[i] = x
	}
	return out
}

func randomSums(n int) []sumCase {
	rng := rand.New(rand.NewPCG(4, 7))
	pick := func(lo, hi int) int { return lo + rng.IntN(hi-lo+1) }
	out := make([]sumCase, n)
	for i := range out {
		c := sumCase{Length: pick(10, 120) * cellMM, Planned: 2400, Least: pick(20, 150), Closed: pick(0, 2) == 0}
		for at := 0; at < c.Length; {
			to := min(c.Length, at+pick(5, 60)*cellMM)
			f := aFront{From: at, To: to, Top: pick(0, 18) * 100, Rise: pick(0, 12) * 100, Now: pick(0, 12) * 100, Deadline: pick(400, 600)}
			if f.Top == 0 {
				f.Deadline = -1
			}
			c.Fronts, at = append(c.Fronts, f), to
		}
		for range pick(0, 5) {
			l := aLift{From: pick(0, c.Length/cellMM) * cellMM, To: pick(0, c.Length/cellMM) * cellMM, Top: pick(1, 24) * 100, Began: pick(400, 520), Voided: pick(0, 5) == 0}
			if l.From == l.To {
				continue
			}
			l.Entered = l.Began + pick(0, 25)
			if pick(0, 3) == 0 {
				l.Other = pick(1, 24) * 100
			}
			c.Lifts = append(c.Lifts, l)
		}
		out[i] = c
	}
	return out
}

// scriptPage serves a script on an empty page.
func scriptPage(t *testing.T, source, global string) *browser.Tab {
	t.Helper()
	text, err := bundle.Script(".", source, global)
	require.NoError(t, err)
	mux := http.NewServeMux()
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte(`<!DOCTYPE html><html lang="en"><head><title>t</title><link rel="icon" href="data:,"></head><body><script src="/s.js"></script></body></html>`))
	})
	mux.HandleFunc("/s.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		_, _ = w.Write(text)
	})
	server := httptest.NewServer(mux)
	t.Cleanup(server.Close)
	tab := suite.Browser(t).Tab("script", browser.Phone)
	tab.Open(server.URL)
	return tab
}

const sumsDriver = `(c) => {
	const at = (min) => min < 0 ? null : new Date(min * 60000).toISOString();
	const wall = {wall: "w1", length_m: c.Length / 1000, top_m: c.Planned / 1000, closed: c.Closed, lift: {least_min: c.Least},
		fronts: (c.Fronts ?? []).map(f => ({from_m: f.From / 1000, to_m: f.To / 1000, top_m: f.Top / 1000, end_m: c.Planned / 1000, rise_m: f.Rise / 1000, now_m: f.Now / 1000, deadline: at(f.Deadline), closing: at(f.Deadline), full_from: null, full_m: 0.6}))};
	const outbox = [];
	const put = (kind, data, entered) => outbox.push({number: outbox.length + 8, id: "e" + outbox.length, wall: "w1", kind, data, entered: entered * 60000, fate: "waiting"});
	outbox.push({number: 7, id: "known", wall: "w1", kind: "lift.placed", data: {from_m: 0, to_m: 50, top_m: 2}, entered: 0, fate: "folded"});
	outbox[0].number = 7;
	for (const l of c.Lifts ?? []) {
		const data = (top) => ({from_m: l.From / 1000, to_m: l.To / 1000, top_m: top / 1000, began: at(l.Began), ended: at(l.Began)});
		put("lift.placed", data(l.Top), l.Entered);
		const id = outbox.at(-1).id;
		if (l.Other) put("record.amended", {target: {id}, kind: "lift.placed", data: data(l.Other), reason: "slip"}, l.Entered);
		if (l.Voided) put("record.voided", {target: {id}, reason: "slip"}, l.Entered);
	}
	outbox.push({number: 99, id: "aside", wall: "w1", kind: "lift.placed", data: {from_m: 0, to_m: 50, top_m: 2.3}, entered: 0, fate: "aside"});
	const unknown = sums.unknownTo(7, outbox, "w1"), parts = sums.surface(wall, unknown);
	const cells = [];
	for (const p of parts) for (let x = p.from; x < p.to; x += 100) cells.push({Top: p.top, Rise: p.rise, Now: p.now, Deadline: p.deadline === null ? -1 : p.deadline / 60000, Own: p.own});
	const o = sums.oldest(parts);
	return {cells, oldest: o && {deadline: o.deadline / 60000, from: o.from, to: o.to, left: sums.minutesLeft(o.deadline, 450.5 * 60000)}};
}`

func TestTheSumsOfAPhone(t *testing.T) {
	t.Parallel()
	tab := scriptPage(t, "src/sums.js", "sums")
	cases := randomSums(400)
	raw, err := json.Marshal(cases)
	require.NoError(t, err)
	type answer struct {
		Cells  []cell
		Oldest *struct{ Deadline, From, To, Left float64 }
	}
	got := browser.Ask[[]answer](tab, fmt.Sprintf(`%s.map(%s)`, raw, sumsDriver))
	require.Len(t, got, len(cases))
	for i, c := range cases {
		want := c.cells()
		require.Len(t, got[i].Cells, len(want), "case %d %+v", i, c)
		first := -1
		for n, x := range want {
			have := got[i].Cells[n]
			require.Equal(t, x, have, "case %d cell %d %+v", i, n, c)
			if x.Deadline >= 0 && (first < 0 || x.Deadline < want[first].Deadline) {
				first = n
			}
		}
		if first < 0 {
			require.Nil(t, got[i].Oldest, "case %d", i)
			continue
		}
		require.NotNil(t, got[i].Oldest, "case %d", i)
		require.InDelta(t, want[first].Deadline, got[i].Oldest.Deadline, 1e-9, "case %d", i)
		require.InDelta(t, want[first].Deadline-451, got[i].Oldest.Left, 1e-9, "minutes left are rounded down")
		require.InDelta(t, first*cellMM, got[i].Oldest.From, 1e-9)
	}
}

// A lift that was recorded by another's phone clock is on the hub's clock.
func TestTheSumsUseTheHubsClock(t *testing.T) {
	t.Parallel()
	tab := scriptPage(t, "src/sums.js", "sums")
	require.InDelta(t, 460.0, browser.Ask[float64](tab, `sums.surface({wall:"w", length_m:6, top_m:2.4, closed:false, lift:{least_min:60}, fronts:[{from_m:0,to_m:6,top_m:0,end_m:2.4,rise_m:0,now_m:1.2,full_m:0.6,deadline:null,closing:null,full_from:null}]},
		sums.unknownTo(0, [{number:1,id:"a",wall:"w",kind:"lift.placed",data:{from_m:0,to_m:6,depth_m:0.6},entered:397*60000,fate:"waiting"}], "w"), 3*60000)[0].deadline / 60000`), 1e-9)
	require.Equal(t, "closing", browser.Ask[string](tab, `sums.jointState({deadline: 100, closing: 80}, 80)`))
	require.Equal(t, "past-limit", browser.Ask[string](tab, `sums.jointState({deadline: 100, closing: 80}, 100)`))
	require.InDelta(t, 42.0, browser.Ask[float64](tab, `sums.hoursLeft(41.01*3600000, 0)`), 1e-9)
}
