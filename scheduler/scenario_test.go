package scheduler_test

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/cockroachdb/datadriven"
	"github.com/stretchr/testify/require"

	"earlyage/scheduler"
)

// TestScenarios plays every script of testdata/scenarios and compares what is
// assessed with what the script says. `go test -rewrite` writes the answers
// anew: read the difference against the rules before it is committed.
//
// A script is a run of directives (package datadriven): a line with a command
// and its arguments, lines of input, "----" and the expected answer. Times
// without a date are of the day of the line or of the directive before.
//
//	site s zone=Z                        a new record: the site, and the zone of all times
//	open at= [key=value…]                the site opened with a policy, and the mix w30
//	                                     (Portland, no retarder), both countersigned
//	pour WALL last= [device=] [mix=] […] a wall of 12 by 2.4 m laid out and braced, four lifts of
//	                                     0.6 m 35 minutes apart, the line read, finished, reported
//	device d [clock=+20m] [offset=never] [unnumbered] [offline]
//	                                     a device whose clock is that much fast, and
//	                                     whether it knows so
//	record                               entries: DATE TIME DEVICE [PERSON] KIND WALL|- key=value…
//	                                     with as=NAME to name it, ahead=NAME for a target,
//	                                     recorded=DATE@TIME where it was delivered late
//	probe d PLACE WALL from= to= every= c=(…)   a series, straight between the values given
//	forecast d from= to= c=(…) [gust=(…)] [issued=]
//	deliver d at= [twice] [reversed]     what an offline device has kept
//	refuse d [wall=] at= field= reason= [number=]
//	assess WALL at=                      everything that is said of the wall
//	window WALL at=                      of that, the window alone
//	strength, line, hold, permit, complete   one line of the window
//	braces WALL at=                      the braces' windows
//	when WALL from= to= step=            when the window is open
//	cured WALL from= to=                 when criteria of the cured layer come to be met
//	joints WALL from= to=                when joints change
//	placing WALL at= [PART…]             what is said of the placing: fronts, rate, pressure,
//	                                     loads, take, faces, checks, points; or all, alerts too
//	told WALL from= to=                  which alerts ought to stand, and no more
//	said WALL from= to=                  what a whole hub says over the record, minute by minute; its
//	                                     input: TIME PERSON KIND, who acknowledges what
//	sheet WALL at= [short] [others]      the calculation sheet
//	alerts at=                           what stands on the site as a whole
//
// At each look the facts are folded again in another order, twice, in other
// batches and from the store, and must give the same digits.
func TestScenarios(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "testdata", "scenarios", "*.txt"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, path := range files {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			s := newStage()
			datadriven.RunTest(t, path, func(t *testing.T, d *datadriven.TestData) string { return s.run(t, d) })
		})
	}
}

// stage is one script being played.
type stage struct {
	site    string
	zone    *time.Location
	day     string // of the last date read
	devices map[string]*device
	names   map[string]string // id of a named entry, and source
	facts   record
	hub     scheduler.Hub
	count   int
}

func newStage() *stage {
	return &stage{zone: time.UTC, devices: map[string]*device{}, names: map[string]string{}}
}

func (s *stage) run(t *testing.T, d *datadriven.TestData) string {
	commands := map[string]func(*testing.T, words, string) string{
		"site": s.runSite, "open": s.runOpen, "pour": s.runPour, "device": s.runDevice, "record": s.runRecord, "probe": s.runProbe,
		"forecast": s.runForecast, "deliver": s.runDeliver, "refuse": s.runRefuse, "hub": s.runHub,
		"assess": s.runAssess, "window": s.runWindow, "when": s.runWhen, "cured": s.runCured, "told": s.runTold, "said": s.runSaid, "joints": s.runJoints, "braces": s.runBraces, "placing": s.runPlacing,
		"strength": s.runCriterion("strength"), "line": s.runCriterion("floor", "straight"), "hold": s.runCriterion("hold"), "permit": s.runCriterion("permit"),
		"complete": s.runCriterion("complete", "floor"), "alerts": s.runAlerts, "permits": s.runPermits, "sheet": s.runSheet,
	}
	do, known := commands[d.Cmd]
	require.True(t, known, "%s: unknown command %q", d.Pos, d.Cmd)
	w := words{options: map[string][]string{}}
	for _, a := range d.CmdArgs {
		if len(a.Vals) == 0 {
			w.plain = append(w.plain, a.Key)
		} else {
			w.options[a.Key] = a.Vals
		}
	}
	return do(t, w, d.Input)
}

// words are the arguments of a directive.
type words struct {
	plain   []string
	options map[string][]string
}

func (w words) has(name string) bool {
	for _, p := range w.plain {
		if p == name {
			return true
		}
	}
	return false
}

func (w words) get(name, otherwise string) string {
	if v := w.options[name]; len(v) > 0 {
		return v[0]
	}
	return otherwise
}

// at reads DATE@TIME, or @TIME or TIME on the last date, in the site's zone.
func (s *stage) at(t *testing.T, text string) time.Time {
	t.Helper()
	text = strings.TrimPrefix(text, "@")
	if date, _, ok := strings.Cut(text, "@"); ok {
		s.day = date
	} else {
		text = s.day + "@" + text
	}
	for _, form := range []string{"2006-01-02@15:04", "2006-01-02@15:04:05"} {
		if at, err := time.ParseInLocation(form, text, s.zone); err == nil {
			return at
		}
	}
	require.Fail(t, "time", "%q is no time", text)
	return time.Time{}
}

func (s *stage) runSite(t *testing.T, w words, _ string) string {
	zone, err := time.LoadLocation(w.get("zone", "UTC"))
	require.NoError(t, err)
	*s = *newStage()
	s.site, s.zone = w.plain[0], zone
	return ""
}

// lines records entries made by the harness itself.
func (s *stage) lines(t *testing.T, lines ...string) string {
	var out strings.Builder
	for _, line := range lines {
		if err := s.entry(t, line); err != nil {
			fmt.Fprintf(&out, "refused: %v\n", err)
		}
	}
	return out.String()
}

func (s *stage) runOpen(t *testing.T, w words, _ string) string {
	if s.devices["office"] == nil {
		s.devices["office"] = &device{name: "office", numbered: true, knows: true}
	}
	at := s.at(t, w.get("at", "")).Format("2006-01-02 15:04") + " office "
	var policy strings.Builder
	for key, v := range w.options {
		if key != "at" {
			fmt.Fprintf(&policy, " policy.%s=%s", key, v[0])
		}
	}
	opened := at + "p-boss site.opened - name=Alder zone=" + s.zone.String() + policy.String() + " as=opened"
	if w.has("unsigned") {
		return s.lines(t, opened, at+"p-boss mix.approved - mix=w30 binder=portland retarder=false as=w30", at+"p-second record.countersigned - of=w30 role=engineer")
	}
	return s.lines(t, opened, at+"p-second record.countersigned - of=opened role=officer",
		at+"p-boss mix.approved - mix=w30 binder=portland retarder=false as=w30", at+"p-second record.countersigned - of=w30 role=engineer")
}

func (s *stage) runPour(t *testing.T, w words, _ string) string {
	name, last := w.plain[0], s.at(t, w.get("last", ""))
	d := s.device(t, w.get("device", "phone-a"))
	at := func(minutes int) string {
		return last.Add(time.Duration(minutes)*time.Minute).Format("2006-01-02 15:04") + " " + d.name + " "
	}
	on := func(minutes int) string {
		return last.Add(time.Duration(minutes) * time.Minute).Format("2006-01-02@15:04")
	}
	mix := w.get("mix", "w30")
	if mix != "-" {
		mix = " mix=" + mix
	}
	lines := []string{
		at(-150) + "p-crew wall.laid-out " + name + " length_m=12 height_m=2.4 core_mm=200" + strings.TrimPrefix(mix, "-"),
		at(-149) + "p-crew brace.set " + name + " braces=b1:2,b2:6,b3:10",
		at(-141) + "p-crew pour.started " + name,
	}
	for i := range 4 {
		ended := -35 * (3 - i)
		lines = append(lines, fmt.Sprintf("%sp-crew lift.placed %s from_m=0 to_m=12 top_m=%.1f began=%s ended=%s as=%s-lift-%d", at(ended), name, 0.6*float64(i+1), on(ended-30), on(ended), name, i+1))
	}
	lines = append(lines, at(2)+"p-crew line.read "+name+" when=after points=0:0,3:1,6:2,9:1,12:0", at(3)+"p-crew pour.finished "+name+" as="+name+"-finished")
	out := s.lines(t, lines...)
	if d.numbered && !w.has("unreported") {
		out += s.lines(t, fmt.Sprintf("%sdevice.reported - last=%d", at(4), d.number))
	}
	return out
}

func (s *stage) runDevice(t *testing.T, w words, _ string) string {
	fast, err := time.ParseDuration(strings.TrimPrefix(w.get("clock", "0s"), "+"))
	require.NoError(t, err)
	d := s.devices[w.plain[0]]
	if d == nil {
		d = &device{name: w.plain[0], numbered: !w.has("unnumbered")}
		s.devices[d.name] = d
	}
	d.fast, d.knows, d.offline = fast, w.get("offset", "") != "never", w.has("offline")
	d.offset = -fast
	if text := w.get("offset", "never"); text != "never" {
		d.offset, err = time.ParseDuration(text)
		require.NoError(t, err)
	}
	return ""
}

func (s *stage) runHub(_ *testing.T, w words, _ string) string {
	s.hub.Doubts = nil
	if doubt := w.get("doubt", ""); doubt != "" {
		s.hub.Doubts = []string{strings.ReplaceAll(doubt, "-", " ")}
	}
	return ""
}

func (s *stage) runDeliver(t *testing.T, w words, _ string) string {
	d, at := s.device(t, w.plain[0]), s.at(t, w.get("at", ""))
	kept := d.kept
	d.kept, d.offline = nil, false
	if w.has("reversed") {
		for i, j := 0, len(kept)-1; i < j; i, j = i+1, j-1 {
			kept[i], kept[j] = kept[j], kept[i]
		}
	}
	if w.has("twice") {
		kept = append(kept, kept...)
	}
	for _, e := range kept {
		s.facts.take(e, at)
	}
	return fmt.Sprintf("%d delivered", len(kept))
}

func (s *stage) device(t *testing.T, name string) *device {
	t.Helper()
	d := s.devices[name]
	require.NotNil(t, d, "device %q is not named", name)
	return d
}
