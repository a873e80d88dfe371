package scheduler_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// drawWorld draws a wall that opens by itself, and wild events beside it.
func drawWorld(rt *rapid.T, most int) *world {
	w := newWorld(rt)
	w.sound()
	hours := []int{72, 72, 60, 50, 20}[w.even(0, 4)]
	mean := []int{-2, 4, 8, 15, 20, 20, 25, 25, 30, 30}[w.even(0, 9)]
	w.series("top", hours, func(h float64) float64 { return float64(mean) + float64(int(h)%7) })
	tie, permits := true, true
	if w.yes() {
		tie, permits = w.lack()
	}
	w.openable(tie, permits)
	w.reports()
	if rapid.Bool().Draw(rt, "forecast") {
		w.forecast(0, 120, func(h int) float64 { return float64(mean - 3 + h%5) })
	}
	for range rapid.IntRange(0, most).Draw(rt, "wild") {
		w.wild()
	}
	if w.even(0, 9) == 0 {
		w.refuse(w.moment())
	}
	return w
}

// forecast adds a forecast by the hour, from some hours after the last lift on.
func (w *world) forecast(from, to int, celsius func(h int) float64) {
	d := &events.WeatherForecast{Issued: w.zero}
	for h := from; h <= to; h++ {
		d.Hours = append(d.Hours, events.ForecastHour{At: w.zero.Truncate(time.Hour).Add(time.Duration(h) * time.Hour), Celsius: p(celsius(h)), GustMPS: p(2.0)})
	}
	w.say(w.zero, 0, "office", "boss", "", d)
}

// TestAnyOrderFoldsToOneState: any permutation, duplication and batch split, and
// the store between, give the same state and the same assessment.
func TestAnyOrderFoldsToOneState(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := drawWorld(rt, 25)
		at := w.moment().Add(24 * time.Hour)
		w.rec.facts = w.stream()
		want := w.rec.fold(propertySite)
		seed := rapid.Uint64().Draw(rt, "seed")
		got := w.rec.foldAnyhow(t, propertySite, seed)
		require.Equal(rt, want.site.Digest(), got.site.Digest())
		require.Equal(rt, want.wall(propertySite, propertyWall).Digest(), got.wall(propertySite, propertyWall).Digest())
		assess := func(f *folded) scheduler.Assessment {
			return scheduler.Assess(f.site, f.devices, f.wall(propertySite, propertyWall), scheduler.Hub{}, at)
		}
		require.Equal(rt, assess(want), assess(got))
	})
}

// TestNothingOpensBefore48Hours: no event set and no policy ever yields an open
// window before 48 h after the last concrete, by the earliest moment that each
// entry can speak of. Entries that two persons took back or changed are left out.
func TestNothingOpensBefore48Hours(t *testing.T) {
	opened, looked := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		w := drawWorld(rt, 8)
		for _, a := range w.assess(w.looks()...) {
			now := a.At
			requireOrder(rt, a)
			looked++
			if !a.Strip.Open {
				continue
			}
			opened++
			for _, e := range w.lastConcrete(now) {
				require.False(rt, now.Before(e.Add(48*time.Hour)), "open at %s, concrete at %s", now, e)
			}
			for _, b := range a.Braces {
				if b.MayStrip {
					require.False(rt, now.Before(b.ClockZero.Add(48*time.Hour)), "brace %s", b.Name)
				}
			}
		}
	})
	require.Greater(t, opened, looked/100, "of %d looks hardly one was at an open window", looked)
}

// lastConcrete lists, without the fold, when concrete was moved for the last time
// by what was recorded up to a moment.
func (w *world) lastConcrete(now time.Time) []time.Time {
	changed := map[events.Key]bool{}
	for _, x := range w.rec.facts {
		switch d := x.Data.(type) {
		case *events.RecordAmended:
			changed[d.Target.Key()] = true
		case *events.RecordVoided:
			changed[d.Target.Key()] = true
		case *events.DoubtSettled:
			changed[d.Target.Key()] = true
		}
	}
	var out []time.Time
	for _, x := range w.rec.facts {
		concrete := slices.Contains([]events.Kind{"lift.placed", "load.discharged", "lift.consolidated", "line.corrected"}, x.Kind)
		if !concrete || changed[x.Key()] || x.Recorded.After(now) {
			continue
		}
		_, ended := x.Span()
		correction := min(x.ClockOffset, x.Recorded.Sub(x.Time))
		out = append(out, ended.Add(correction))
	}
	return out
}

// TestNextTellsWhenTheAnswerChanges: Next is never in the past, and until then time
// alone changes nothing but elapsed figures.
func TestNextTellsWhenTheAnswerChanges(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := drawWorld(rt, 10)
		now := w.zero.Add(time.Duration(rapid.IntRange(-30, 110*60).Draw(rt, "now")) * time.Minute).Add(time.Duration(rapid.IntRange(0, 59).Draw(rt, "s")) * time.Second)
		f := w.fold(now)
		x := f.wall(propertySite, propertyWall)
		a := scheduler.Assess(f.site, f.devices, x, scheduler.Hub{}, now)
		for _, x := range a.Alerts {
			requireSayable(rt, x)
		}
		horizon := 30 * time.Hour
		if !a.Next.IsZero() {
			require.True(rt, a.Next.After(now), "next %s at %s", a.Next, now)
			horizon = min(horizon, a.Next.Sub(now))
		}
		for range 6 {
			later := now.Add(time.Duration(rapid.Int64Range(0, horizon.Milliseconds()-1).Draw(rt, "later")) * time.Millisecond)
			b := scheduler.Assess(f.site, f.devices, x, scheduler.Hub{}, later)
			require.Empty(rt, differs(steady(a), steady(b)), "from %s to %s, next %s", now, later, a.Next)
		}
	})
}

// differs lists the lines of JSON in which two assessments differ.
func differs(a, b scheduler.Assessment) []string {
	x, y := fmt.Sprintf("%+v", a), fmt.Sprintf("%+v", b)
	if x == y {
		return nil
	}
	one, two := strings.FieldsFunc(x, func(r rune) bool { return r == '{' || r == '}' }), strings.FieldsFunc(y, func(r rune) bool { return r == '{' || r == '}' })
	var out []string
	for i := range max(len(one), len(two)) {
		p, q := "", ""
		if i < len(one) {
			p = one[i]
		}
		if i < len(two) {
			q = two[i]
		}
		if p != q && len(out) < 6 {
			out = append(out, "- "+p, "+ "+q)
		}
	}
	return out
}

// steady is what an assessment says, elapsed figures left out: ages, the sums so
// far and what is expected of them, and the rates of a pour that goes on.
func steady(a scheduler.Assessment) scheduler.Assessment {
	a = scheduler.Assessment{Site: a.Site, Wall: a.Wall, State: a.State, Strip: a.Strip, Braces: a.Braces, Joints: a.Joints, Alerts: slices.Clone(a.Alerts), Nearing: a.Nearing}
	for i := range a.Alerts {
		x := &a.Alerts[i]
		if x.About != nil && x.About.Measure == "age" {
			ageless := *x.About
			ageless.Have, x.About = nil, &ageless
		}
		x.Text, x.About = x.Text+numbersOf(x.About), nil
	}
	strip := func(s scheduler.Strip) scheduler.Strip {
		s.Expected, s.Governs = scheduler.Expected{}, ""
		s.Criteria = slices.Clone(s.Criteria)
		for i := range s.Criteria {
			switch s.Criteria[i].Name {
			case scheduler.Floor, scheduler.Temperature, scheduler.Wind:
				s.Criteria[i].Have = ""
			}
		}
		return s
	}
	a.Strip = strip(a.Strip)
	a.Braces = slices.Clone(a.Braces)
	for i := range a.Braces {
		a.Braces[i].Strip, a.Braces[i].Waits = strip(a.Braces[i].Strip), ""
		a.Braces[i] = scheduler.BraceWindow{Name: a.Braces[i].Name, State: a.Braces[i].State, Strip: a.Braces[i].Strip, MayStrip: a.Braces[i].MayStrip}
	}
	a.Joints = slices.Clone(a.Joints)
	for i := range a.Joints {
		if a.Joints[i].State != scheduler.JointCold {
			a.Joints[i].AgeMin = 0
		}
	}
	return a
}

// numbersOf writes an alert's numbers on one line.
func numbersOf(n *events.About) string {
	if n == nil {
		return ""
	}
	text, err := json.Marshal(n)
	if err != nil {
		panic(err)
	}
	return " " + string(text)
}

// looks are moments at which two records are compared.
func (w *world) looks() []time.Time {
	var out []time.Time
	for range 8 {
		out = append(out, w.zero.Add(time.Duration(w.even(26*60, 118*60))*time.Minute))
	}
	for range 4 {
		out = append(out, w.zero.Add(time.Duration(w.even(46*60, 49*60))*time.Minute))
	}
	slices.SortFunc(out, time.Time.Compare)
	return out
}

// requireNoEarlier compares two records: the second never answers before the first.
func requireNoEarlier(rt *rapid.T, before, after *world) {
	looks := before.looks()
	first, second := before.assess(looks...), after.assess(looks...)
	for i, b := range second {
		a, at := first[i], b.At
		if lift, added := after.sent[len(after.sent)-1].Data.(*events.LiftPlaced); added && lift != nil && !a.Strip.Criteria[0].Met {
			continue // a late lift may fill what was missing: it counts from its entry on
		}
		if b.Strip.Open {
			require.True(rt, a.Strip.Open, "open at %s only afterwards; added %s; %v", at, after.added(before), differs(a, b))
		}
		for _, y := range b.Braces {
			free := !y.MayStrip || slices.ContainsFunc(a.Braces, func(x scheduler.BraceWindow) bool { return x.Name == y.Name && x.MayStrip })
			require.True(rt, free, "brace %s free at %s only afterwards; added %s; %v\n%s", y.Name, at, after.added(before), differs(a, b), before.story())
		}
		if !b.Strip.CuredAt.IsZero() {
			earlier := a.Strip.CuredAt.IsZero() || b.Strip.CuredAt.Before(a.Strip.CuredAt)
			require.False(rt, earlier, "cured at %s before, %s afterwards, seen %s; added %s; %v", a.Strip.CuredAt, b.Strip.CuredAt, at, after.added(before), differs(a, b))
		}
	}
}

// added shows what a record has beyond another, and what that names.
func (w *world) added(before *world) string {
	var out []string
	for _, e := range w.sent[len(before.sent):] {
		body, _ := e.Encode()
		out = append(out, string(body))
		var key events.Key
		switch d := e.Data.(type) {
		case *events.RecordAmended:
			key = d.Target.Key()
		case *events.RecordVoided:
			key = d.Target.Key()
		}
		for _, x := range w.sent {
			if x.Key() == key {
				body, _ := x.Encode()
				out = append(out, "on "+string(body))
			}
		}
	}
	return strings.Join(out, "\n")
}

// TestAConvenientChangeWaits: an amendment, a void, a backdated lift, a policy, a
// mix, a criterion, a new layout never make the answer earlier before a second
// person has countersigned.
func TestAConvenientChangeWaits(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := drawWorld(rt, 4)
		x := w.with()
		at := w.zero.Add(time.Duration(rapid.IntRange(0, 40*60).Draw(rt, "changed at")) * time.Minute)
		on, data := propertyWall, events.Data(nil)
		switch w.even(0, 7) {
		case 0, 1, 2:
			e := x.drawTarget()
			data = x.amend(e)
			if w.yes() {
				data = &events.RecordVoided{Target: events.Target{Source: e.Source.String(), ID: e.ID}, Reason: "r"}
			}
			on = e.Wall
		case 3:
			back := at.Add(-time.Duration(w.even(70, 3000)) * time.Minute)
			data = &events.LiftPlaced{FromM: p(0.0), ToM: p(6.0), TopM: p(1.2), Began: back.Add(-5 * time.Minute), Ended: back}
		case 4:
			on, data = "", x.drawPolicy()
		case 5:
			on, data = "", &events.MixApproved{Mix: "w30", Binder: one(w, "portland", "blended"), Retarder: p(w.yes())}
		case 6:
			data = &events.CriterionSet{CoreCounts: p(true), AgeSuffices: p(true), Role: "engineer"}
		default:
			data = &events.WallAmended{TopM: w.number(0, 2), LengthM: w.number(1, 8), Mix: "w30", Reason: "r"}
		}
		x.say(at, 0, "office", "boss", on, data)
		requireNoEarlier(rt, w, x)
	})
}

// TestAHoldADoubtARefusalAGapShut: and a pour that goes on. They open nothing and
// shut what is open, from the moment at which they are known.
func TestAHoldADoubtARefusalAGapShut(t *testing.T) {
	shut := 0
	rapid.Check(t, func(rt *rapid.T) {
		w := drawWorld(rt, 2)
		x := w.with()
		at := w.zero.Add(time.Duration(w.even(0, 70*60)) * time.Minute)
		known := at
		switch w.even(0, 5) {
		case 0:
			x.say(at, 0, "office", "boss", propertyWall, &events.HoldPlaced{Hold: "h9", Reason: "r"})
		case 1:
			known = at.Add(10 * time.Hour)
			x.say(at, 10*time.Hour, "strange", "crew", propertyWall, &events.JointFelt{FromM: p(0.0), ToM: p(1.0), Sinks: p(true)})
		case 2:
			x.refuse(at)
		case 3:
			e, _ := x.say(at, 0, "phone-b", "crew", "", &events.WindRead{GustMPS: p(0.0)})
			x.skipped[e.ID] = 5
		case 4:
			x.say(at, 0, "phone-a", "crew", propertyWall, &moment{kind: "pour.resumed"})
		default:
			x.say(at, 0, "phone-a", "crew", propertyWall, &events.RecordVoided{Target: events.Target{Source: "/site/north/device/phone-a", ID: "nowhere"}, Reason: "r"})
		}
		looks := w.looks()
		before := w.assess(looks...)
		for i, a := range x.assess(looks...) {
			if a.At.Before(known) {
				require.Equal(rt, before[i].Strip.Open, a.Strip.Open, "at %s, before it is known", a.At)
				continue
			}
			require.False(rt, a.Strip.Open, "open at %s; added %s", a.At, x.added(w))
			if before[i].Strip.Open {
				shut++
			}
		}
	})
	require.Positive(t, shut, "nothing was ever shut")
}

// TestDeletingASourceNeverMakesItEarlier: on records where each substitute with its
// margin is never warmer than the one before it, and no concrete probe freezes
// while the top does not, a record without one of the sources, or without the end
// of one, or without any of them, is never cured earlier.
func TestDeletingASourceNeverMakesItEarlier(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorld(rt)
		w.sound()
		steps := rapid.SliceOfN(rapid.IntRange(-30, 30), 9, 9).Draw(rt, "steps")
		base := w.even(0, 35)
		dip := float64(w.even(-200, 60)) // before the pour: none
		top := func(h float64) float64 {
			if h >= dip && h < dip+3 {
				return -2
			}
			return float64(base) + float64(steps[min(int(h)/12, 8)])/10
		}
		core := w.even(0, 3)
		hours := 118
		w.series("top", hours, top)
		w.series("core", hours, func(h float64) float64 { return max(top(h)-float64(core), min(top(h), 0.5)) })
		w.series("air", hours, func(h float64) float64 { return top(h) - float64(core) + 1 })
		w.forecast(-2, hours, func(h int) float64 {
			at := max(0, float64(h))
			return min(top(at), top(at+1), top(max(0, at-1))) - float64(core) - 1
		})
		x := w.with()
		x.rec.facts = x.without()
		looks := w.looks()
		whole := w.assess(looks...)
		for i, b := range x.assess(looks...) {
			a, at := whole[i], b.At
			if c := temperature(b); c.Met {
				require.True(rt, temperature(a).Met, "met at %s only without", at)
				require.False(rt, c.MetAt.Before(temperature(a).MetAt), "%s before %s", c.MetAt, temperature(a).MetAt)
			}
			if !b.Strip.CuredAt.IsZero() {
				require.False(rt, a.Strip.CuredAt.IsZero() || b.Strip.CuredAt.Before(a.Strip.CuredAt), "cured %s, without %s, %v", a.Strip.CuredAt, b.Strip.CuredAt, differs(a, b))
			}
		}
	})
}

func temperature(a scheduler.Assessment) scheduler.Criterion {
	return a.Strip.Criteria[slices.IndexFunc(a.Strip.Criteria, func(c scheduler.Criterion) bool { return c.Name == scheduler.Temperature })]
}

// without leaves out sources, or the end of them.
func (w *world) without() []wall.Fact {
	ends := map[string]time.Time{}
	for _, place := range []string{"top", "core", "air", "forecast"} {
		if w.yes() {
			ends[place] = w.zero.Add(time.Duration(w.even(-1, 80)) * time.Hour)
		}
	}
	return slices.DeleteFunc(slices.Clone(w.rec.facts), func(f wall.Fact) bool {
		switch d := f.Data.(type) {
		case *events.TemperatureRead:
			end, cut := ends[d.Place]
			return cut && f.Time.After(end)
		case *events.WeatherForecast:
			_, cut := ends["forecast"]
			return cut
		}
		return false
	})
}
