package picture_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// recorded is a wall of which something was recorded, line by line: minutes from
// the beginning of the pour, kind, and data as on the command line.
type recorded struct {
	site    *site.State
	devices *site.Devices
	wall    *wall.State
}

var pourBegan = time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)

func record(t *testing.T, lines string) recorded {
	t.Helper()
	r := recorded{site.New("alder"), site.NewDevices("alder"), wall.New("alder", "w1")}
	n := uint64(0)
	for line := range strings.Lines(lines) {
		fields := strings.Fields(line)
		if len(fields) == 0 {
			continue
		}
		n++
		var min int
		_, err := fmt.Sscan(fields[0], &min)
		require.NoError(t, err, line)
		kind := events.Kind(fields[1])
		for i, f := range fields {
			if key, clock, is := strings.Cut(f, "=+"); is {
				var at int
				_, err := fmt.Sscan(clock, &at)
				require.NoError(t, err, line)
				fields[i] = key + "=" + pourBegan.Add(time.Duration(at)*time.Minute).Format(time.RFC3339)
			}
		}
		data, err := events.FromArgs(kind, fields[2:], events.Args{})
		require.NoError(t, err, line)
		e := events.Event{ID: fmt.Sprintf("e-%03d", n), Source: events.Source{Site: "alder", Device: "phone-1"}, Kind: kind, Wall: "w1",
			Time: pourBegan.Add(time.Duration(min) * time.Minute), Sequence: n, By: "p-7k2c", HasOffset: true, Data: data}
		require.NoError(t, e.Check(), line)
		f := wall.Fact{Event: e, Seq: n, Recorded: e.Time}
		r.devices.Add(f)
		r.wall.Add(f)
	}
	return r
}

func (r recorded) assess(min int) scheduler.Assessment {
	return scheduler.Assess(r.site, r.devices, r.wall, scheduler.Hub{}, pourBegan.Add(time.Duration(min)*time.Minute))
}

const twoLegs = `
-60 wall.laid-out name=yard length_m=10 height_m=2.4 top_m=2.3 core_mm=200 legs=6:90,4 openings=2:3.5:0.9:2:win-1 bulkheads=:8 braces=b1:1,b2:3,b3:5,b4:7,b5:9
-50 brace.set braces=b1:1,b2:3,b3:5,b4:7
10 lift.placed from_m=0 to_m=10 top_m=0.6 began=+0 ended=+10
30 lift.placed from_m=10 to_m=4 top_m=1.2 began=+20 ended=+29
`

func TestFromRecordGivesTheShape(t *testing.T) {
	r := record(t, twoLegs)
	w := picture.FromRecord(r.site, r.wall, r.assess(40))
	require.Equal(t, "yard", w.Name)
	require.Equal(t, "placing", w.State)
	require.Equal(t, pourBegan.Add(40*time.Minute), w.At)
	require.Equal(t, []float64{10, 2.4, 2.3}, []float64{w.LengthM, w.FormTopM, w.TopM})
	require.Equal(t, []picture.Opening{{Name: "win-1", FromM: 2, ToM: 3.5, SillM: 0.9, HeadM: 2}}, w.Openings)
	require.Equal(t, []picture.Corner{{Name: "C1", AtM: 6}}, w.Corners)
	require.Equal(t, []picture.Bulkhead{{Name: "BH1", AtM: 8}}, w.Bulkheads)
	checkDrawing(t, picture.DrawUnrolled(w, picture.Options{WidthPX: 390}))
}

// A lift is one layer, whatever borders of stretches it crosses, and it keeps
// the way in which it was placed.
func TestFromRecordGivesTheLayers(t *testing.T) {
	r := record(t, twoLegs)
	w := picture.FromRecord(r.site, r.wall, r.assess(40))
	require.Len(t, w.Layers, 2)
	first, second := w.Layers[0], w.Layers[1]
	if first.BottomM > 0 {
		first, second = second, first
	}
	clock := func(min float64) time.Time { return pourBegan.Add(time.Duration(min * float64(time.Minute))) }
	require.Equal(t, layer(0, 10, 0, 0.6, clock(0), clock(10)), first)
	require.Equal(t, layer(4, 10, 0.6, 1.2, clock(29), clock(20)), second)
}

func TestFromRecordGivesFrontsWithTheirMinutes(t *testing.T) {
	r := record(t, twoLegs)
	for _, c := range []struct {
		min   int
		state picture.FrontState
	}{{40, picture.FrontLive}, {400, picture.FrontPastLimit}} {
		a := r.assess(c.min)
		w := picture.FromRecord(r.site, r.wall, a)
		require.NotEmpty(t, w.Fronts)
		for _, f := range w.Fronts {
			require.Equal(t, c.state, f.State, "after %d min", c.min)
			require.Equal(t, c.state == picture.FrontPastLimit, f.MinutesLeft < 0)
		}
		covered := 0.0
		for _, f := range w.Fronts {
			covered += f.ToM - f.FromM
		}
		require.InDelta(t, 10, covered, 1e-9, "all of the wall is open")
	}
}

func TestFromRecordGivesColdJointsAndWhatTheyHold(t *testing.T) {
	r := record(t, twoLegs+`
400 lift.placed from_m=4 to_m=10 top_m=1.8 began=+390 ended=+399
`)
	w := picture.FromRecord(r.site, r.wall, r.assess(410))
	require.Len(t, w.Joints, 1, "one lift on another makes one joint, across the corner and the bulkhead")
	j := w.Joints[0]
	require.Equal(t, []float64{4, 10}, []float64{j.FromM, j.ToM})
	require.Equal(t, picture.JointCold, j.State)
	require.Equal(t, "J1", j.Name)
	require.Equal(t, []float64{1.2, 1.2}, []float64{j.LevelM, j.TopM})
	require.Greater(t, j.AgeMin, j.LimitMin)
	states := map[string]picture.BraceState{}
	for _, b := range w.Braces {
		states[b.Name] = b.State
	}
	require.Equal(t, map[string]picture.BraceState{
		"b1": picture.BraceStanding, "b2": picture.BraceHeld, "b3": picture.BraceHeld, "b4": picture.BraceHeld, "b5": picture.BracePlanned}, states)
	treated := record(t, twoLegs+`
400 lift.placed from_m=4 to_m=10 top_m=1.8 began=+390 ended=+399
500 joint.treated from_m=4 to_m=10 how=dowels word_of=p-5t1r
`)
	for _, j := range picture.FromRecord(treated.site, treated.wall, treated.assess(510)).Joints {
		require.Equal(t, picture.JointTreated, j.State)
	}
}

func TestFromRecordGivesTheBracing(t *testing.T) {
	r := record(t, twoLegs+`
60 hold.placed hold=h1 reason=wind
90 hold.released hold=h1 reason=calm
100 brace.disturbed braces=b2 cause=knocked
110 permit.issued number=s-1 for=strip reviewed_by=p-2m8w braces=b1
120 brace.stripped braces=b1 permit=s-1
`)
	reg := picture.RegisterFromRecord(r.site, r.wall, r.assess(200))
	bars := map[string]picture.Bar{}
	for _, b := range reg.Bars {
		bars[b.Name] = b
	}
	clock := func(min int) time.Time { return pourBegan.Add(time.Duration(min) * time.Minute) }
	require.Equal(t, picture.BraceStripped, bars["b1"].State)
	require.True(t, bars["b1"].Early, "48 h had not passed")
	require.Equal(t, clock(120), bars["b1"].Stripped)
	require.Equal(t, clock(110), bars["b1"].Permit)
	require.Equal(t, picture.BraceDisturbed, bars["b2"].State)
	require.Equal(t, clock(100), bars["b2"].Disturbed)
	require.Equal(t, clock(-50), bars["b3"].Set)
	require.Equal(t, clock(60), bars["b3"].HeldFrom)
	require.Equal(t, clock(90), bars["b3"].HeldUntil)
	require.False(t, bars["b3"].Early)
	require.Equal(t, picture.BracePlanned, bars["b5"].State)
	require.True(t, bars["b5"].Set.IsZero())
	checkDrawing(t, picture.DrawBracing(reg, picture.Options{WidthPX: 390}))
}

func TestFromRecordGivesThePour(t *testing.T) {
	r := record(t, `
-60 wall.laid-out length_m=10 height_m=2.4 core_mm=200
1 load.batched load=a1 at=+-20 volume_m3=6
2 load.arrived load=a1 at=+0
10 lift.placed from_m=0 to_m=10 top_m=0.6 began=+0 ended=+10 load=a1
12 load.discharged load=a1 began=+0 ended=+11 volume_m3=6
13 pour.stopped reason=pump at=+13
40 pour.resumed at=+39
50 lift.placed from_m=0 to_m=5 top_m=1.2 began=+41 ended=+49
`)
	p := picture.PourFromRecord(r.site, r.wall, r.assess(55))
	clock := func(min float64) time.Time { return pourBegan.Add(time.Duration(min * float64(time.Minute))) }
	require.Equal(t, "w1", p.Name)
	require.Len(t, p.Stretches, 2)
	require.Len(t, p.Stretches[0].Steps, 2)
	require.Equal(t, clock(2.5), p.Stretches[0].Steps[0].At, "the middle of the stretch")
	require.Equal(t, 1.2, p.Stretches[0].Steps[1].TopM)
	require.False(t, p.Stretches[0].Steps[1].Limit.IsZero(), "it is open")
	require.True(t, p.Stretches[0].Steps[0].Limit.IsZero(), "it was covered in time")
	require.Equal(t, []float64{5, 10}, []float64{p.Stretches[1].FromM, p.Stretches[1].ToM})
	require.Equal(t, clock(-20), p.Loads[0].Batched)
	require.Equal(t, clock(11), p.Loads[0].Ended)
	require.Equal(t, []picture.Stop{{From: clock(13), To: clock(41), Reason: "pump"}}, p.Stops)
	checkDrawing(t, picture.DrawTimeline(p, picture.Options{WidthPX: 390}))
}

// A wall of which nothing was said is no fault.
func TestFromRecordOfNothing(t *testing.T) {
	r := record(t, "")
	a := r.assess(0)
	require.Contains(t, picture.DrawUnrolled(picture.FromRecord(r.site, r.wall, a), picture.Options{}).Desc, "not laid out")
	checkDrawing(t, picture.DrawTimeline(picture.PourFromRecord(r.site, r.wall, a), picture.Options{}))
	checkDrawing(t, picture.DrawBracing(picture.RegisterFromRecord(r.site, r.wall, a), picture.Options{}))
}
