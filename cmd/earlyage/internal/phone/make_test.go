package phone_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/scheduler"
	"earlyage/scheduler/checks"
)

var update = flag.Bool("update", false, "write the golden files")

// The snapshots of one wall through its whole job. They are read as diffs.
func TestMake(t *testing.T) {
	for name, sheet := range map[string]phone.Sheet{
		"ready":      laidOut(t, "si").sheet("04 06:40"),
		"place":      placing(t, "si").sheet("04 09:01"),
		"straighten": filled(t, "si").sheet("04 10:45"),
		"hold":       cured(t, "si").sheet("05 09:00"),
		"strip":      permitted(t, "si").sheet("07 09:00"),
	} {
		t.Run(name, func(t *testing.T) {
			raw, err := json.Marshal(sheet)
			require.NoError(t, err)
			var b bytes.Buffer
			require.NoError(t, json.Indent(&b, raw, "", " "))
			require.NotContains(t, b.String(), `": null,`+"\n \"", "lists are never null")
			path := filepath.Join("testdata", "sheet-"+name+".json")
			if *update {
				require.NoError(t, os.WriteFile(path, b.Bytes(), 0o600))
			}
			want, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, string(want), b.String(), "-update writes it")
		})
	}
}

func wallOf(t *testing.T, s phone.Sheet, name string) phone.Wall {
	t.Helper()
	for _, w := range s.Walls {
		if w.Wall == name {
			return w
		}
	}
	require.Fail(t, "no wall "+name)
	return phone.Wall{}
}

func TestMakeSaysWhatTheAssessmentSaid(t *testing.T) {
	s := placing(t, "si")
	now := s.at("04 09:01")
	a := scheduler.Assess(s.site, s.devices, s.walls["north-1"], scheduler.Hub{}, now)
	w := wallOf(t, s.sheet("04 09:01"), "north-1")
	require.Equal(t, "placing", w.State)
	require.Len(t, w.Fronts, len(a.Fronts))
	for i, f := range a.Fronts {
		require.InDelta(t, f.FromM, w.Fronts[i].FromM, 1e-9)
		require.InDelta(t, f.NowM, w.Fronts[i].NowM, 1e-9)
		require.False(t, w.Fronts[i].Deadline.After(f.Deadline), "a deadline is never rounded up")
		require.Less(t, f.Deadline.Sub(w.Fronts[i].Deadline.Time), time.Second)
	}
	require.Equal(t, "t-401", w.Loads[0].Load, "it is on the chute")
	require.Equal(t, s.at("04 07:41").UTC(), w.Loads[0].Batched.Time)
	require.Equal(t, s.at("04 09:11").UTC(), w.Loads[0].Old.Time, "90 minutes")
	require.InDelta(t, 0, *w.Lift.FromM, 1e-9)
	require.InDelta(t, 6, *w.Lift.ToM, 1e-9)
	require.InDelta(t, 0.6, w.Lift.DepthM, 1e-9)
	require.EqualValues(t, s.numbers["phone-a"], s.sheet("04 09:01").Device.UpTo)
}

// A front is closing exactly while the assessment says that its joint is.
func TestClosingIsTheAssessments(t *testing.T) {
	s := placing(t, "si")
	for at := s.at("04 09:01"); at.Before(s.at("04 11:30")); at = at.Add(7 * time.Minute) {
		a := scheduler.Assess(s.site, s.devices, s.walls["north-1"], scheduler.Hub{}, at)
		var want []string
		for _, j := range a.Joints {
			if !j.Nose() {
				want = append(want, j.State)
			}
		}
		w := wallOf(t, s.sheet(at.Format("02 15:04")), "north-1")
		worst := ""
		for _, f := range w.Fronts {
			switch {
			case f.Deadline.IsZero():
			case !at.Before(f.Deadline.Time):
				worst = max(worst, scheduler.JointPastLimit)
			case !at.Before(f.Closing.Time):
				worst = max(worst, scheduler.JointClosing)
			default:
				worst = max(worst, scheduler.JointLive)
			}
		}
		if len(want) > 0 {
			require.Contains(t, want, worst, "%s", at)
		}
	}
}

// What an alert says is in the units that the site works in: a foreman who works in
// feet is told of no metres.
func TestAlertsSpeakTheSitesUnits(t *testing.T) {
	metres, feet := regexp.MustCompile(`\d m\b`), regexp.MustCompile(`\d ft\b`)
	said := map[string]bool{}
	for at := 0; at < 30; at++ {
		when := fmt.Sprintf("04 %02d:%02d", 9+at/6, at%6*10)
		si, us := placing(t, "si").sheet(when), placing(t, "us").sheet(when)
		a, b := wallOf(t, si, "north-1").Alerts, wallOf(t, us, "north-1").Alerts
		require.Len(t, b, len(a))
		for i := range a {
			require.Equal(t, a[i].Kind, b[i].Kind)
			if metres.MatchString(a[i].Text) && feet.MatchString(b[i].Text) {
				said[a[i].Kind] = true
				require.NotRegexp(t, metres, b[i].Text)
			}
		}
	}
	require.Contains(t, slices.Collect(maps.Keys(said)), scheduler.AlertJointClosing)
}

// The least limit is never over what the assessment then says of a new lift: on a
// mild day, on a hot one, and where nobody has read a thermometer.
func TestLeastLimitIsTheLeast(t *testing.T) {
	for name, weather := range map[string]string{
		"mild": "04 07:58 vane - temperature.read - place=air celsius=17",
		"none": "04 06:10 vane - wind.read - gust_mps=2",
		"hot":  "04 07:58 vane - temperature.read - place=air celsius=31",
	} {
		t.Run(name, func(t *testing.T) {
			s := laidOut(t, "si")
			s.say(weather)
			before := wallOf(t, s.sheet("04 08:00"), "north-1").Lift.LeastMin
			require.Positive(t, before)
			s.say("04 08:25 phone-b p-crew lift.placed north-1 from_m=0 to_m=12 top_m=0.6 began=@08:00 ended=@08:25")
			a := scheduler.Assess(s.site, s.devices, s.walls["north-1"], scheduler.Hub{}, s.at("04 08:26"))
			for _, f := range a.Fronts {
				require.LessOrEqual(t, before, f.LimitMin, "%s", f.LimitBy)
			}
		})
	}
}

func TestMayStripNeedsAPermitAndEverything(t *testing.T) {
	w := wallOf(t, cured(t, "si").sheet("07 09:00"), "north-1")
	require.False(t, w.Strip.Open)
	require.Empty(t, w.Strip.Permits)
	w = wallOf(t, permitted(t, "si").sheet("07 09:00"), "north-1")
	require.True(t, w.Strip.Open, "%+v", w.Strip)
	require.Equal(t, "may-strip", w.State)
	for _, b := range w.Braces {
		require.True(t, b.MayStrip, b.Name)
		require.Equal(t, "s-11", b.Permit)
	}
}

// What the hub says in one language stands in the catalogue in every other; in
// English it is the hub's own words.
func TestWordsAreTheHubs(t *testing.T) {
	en := words.Of("en")
	require.Equal(t, scheduler.Caution, en.T("phone.caution"))
	for _, list := range checks.Names() {
		for _, item := range checks.Items(list, nil) {
			require.Equal(t, item.Text, en.T("check."+list+"."+item.ID+".text"))
			require.Equal(t, item.Reason, en.T("check."+list+"."+item.ID+".reason"))
		}
	}
	for name, kind := range scheduler.AlertKinds {
		require.Equal(t, kind.Name, en.T("alert."+name+".name"))
		require.Equal(t, kind.Action, en.T("alert."+name+".do"))
	}
}

// A site's own item stands as the site said it, in every language.
func TestCheckListsSpeakTheLanguage(t *testing.T) {
	s := laidOut(t, "si")
	s.say("04 06:30 office p-officer checklist.amended - list=before item=crane change=add text=The~crane~is~parked reason=It~swings")
	now := s.at("04 06:40").UTC()
	w := s.walls["north-1"]
	in := phone.Input{Now: now, Site: s.site, Devices: s.devices, Words: words.Of("es"), Walls: []phone.WallInput{{State: w, Assessment: scheduler.Assess(s.site, s.devices, w, scheduler.Hub{}, now)}}}
	sheet := phone.Make(in)
	require.Equal(t, "es", sheet.Lang)
	items := sheet.Lists[0].Items
	require.Equal(t, "La ráfaga a la que se para el trabajo está escrita junto a la bomba", items[2].Text)
	require.Equal(t, "The crane is parked", items[len(items)-1].Text)
}
