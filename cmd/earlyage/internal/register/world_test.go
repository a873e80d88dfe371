package register_test

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// world is a record of one site, in memory. Lines are
//
//	DATE TIME DEVICE PERSON KIND WALL|- key=value… [as=NAME] [of=NAME] [recorded=DATE@TIME]
//
// in the site's time; @HH:MM is of the line's date. A name stands for the entry.
type world struct {
	t       testing.TB
	site    string
	zone    *time.Location
	numbers map[string]uint64
	named   map[string]events.Target
	facts   []wall.Fact
}

func newWorld(t testing.TB, zone string) *world {
	t.Helper()
	z, err := time.LoadLocation(zone)
	require.NoError(t, err)
	return &world{t: t, site: "mill", zone: z, numbers: map[string]uint64{}, named: map[string]events.Target{}}
}

func (w *world) moment(text string) time.Time {
	w.t.Helper()
	at, err := time.ParseInLocation("2006-01-02@15:04", text, w.zone)
	require.NoError(w.t, err)
	return at
}

// record takes lines in, each an entry of a known clock, delivered at once.
func (w *world) record(lines string) {
	w.t.Helper()
	for text := range strings.Lines(lines) {
		if f := fields(w.t, text); len(f) > 0 {
			w.line(f)
		}
	}
}

// fields are words; what stands in quotes is one.
func fields(t testing.TB, text string) []string {
	t.Helper()
	if text = strings.TrimSpace(text); text == "" {
		return nil
	}
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = ' '
	out, err := r.Read()
	require.NoError(t, err, text)
	return slices.DeleteFunc(out, func(word string) bool { return word == "" })
}

func (w *world) line(f []string) {
	w.t.Helper()
	at, label, recorded := w.moment(f[0]+"@"+f[1]), "", time.Time{}
	var args []string
	for _, pair := range f[6:] {
		key, value, _ := strings.Cut(pair, "=")
		switch {
		case key == "as":
			label = value
		case key == "recorded":
			recorded = w.moment(value)
		case key == "of":
			args = append(args, "target.source="+w.named[value].Source, "target.id="+w.named[value].ID)
		case value == "@last":
			args = append(args, fmt.Sprintf("%s=%d", key, w.numbers[f[2]]))
		case strings.HasPrefix(value, "@"):
			args = append(args, key+"="+f[0]+"T"+value[1:])
		default:
			args = append(args, pair)
		}
	}
	kind := events.Kind(f[4])
	d, err := events.FromArgs(kind, args, events.Args{Location: w.zone})
	require.NoError(w.t, err, "%v", f)
	w.say(at, recorded, f[2], f[3], strings.TrimPrefix(f[5], "-"), kind, d, label)
}

func (w *world) say(at, recorded time.Time, device, by, on string, kind events.Kind, d events.Data, label string) {
	w.t.Helper()
	e := events.Event{
		ID: fmt.Sprintf("e%04d", len(w.facts)+1), Source: events.Source{Site: w.site, Device: device}, Time: at, By: strings.TrimPrefix(by, "-"), Wall: on, Kind: kind, Data: d, HasOffset: true,
	}
	if device != events.HubDevice {
		w.numbers[device]++
		e.Sequence = w.numbers[device]
	}
	body, err := e.Encode()
	require.NoError(w.t, err, "%s %s", kind, on)
	e, err = events.Decode(e.Subject(), body)
	require.NoError(w.t, err, "%s %s", kind, on)
	if recorded.IsZero() {
		recorded = at
	}
	w.facts = append(w.facts, wall.Fact{Event: e, Seq: uint64(len(w.facts) + 1), Recorded: recorded.UTC(), Trusted: kind.SchedulerOnly()})
	if label != "" {
		w.named[label] = events.Target{Source: e.Source.String(), ID: e.ID}
	}
}

// amend replaces an entry's data.
func (w *world) amend(when, by, on, target string, kind events.Kind, label string, args ...string) {
	w.t.Helper()
	d, err := events.FromArgs(kind, args, events.Args{Location: w.zone})
	require.NoError(w.t, err)
	raw, err := events.EncodeData(d)
	require.NoError(w.t, err)
	w.say(w.moment(when), time.Time{}, "office", by, on, "record.amended", &events.RecordAmended{Target: w.named[target], Kind: kind, Data: raw, Reason: "typed wrong"}, label)
}

// steady reads a place of a wall every 15 minutes at one temperature.
func (w *world) steady(probe, place, on, from, to string, celsius float64) {
	w.t.Helper()
	d := &events.TemperatureRead{Place: place, Probe: probe}
	for at, end := w.moment(from), w.moment(to); !at.After(end); at = at.Add(15 * time.Minute) {
		c := celsius
		d.Series = append(d.Series, events.TimedTemperature{At: at.UTC(), Celsius: &c})
		if len(d.Series) == 16 || at.Equal(end) {
			w.say(at, time.Time{}, probe, "-", on, "temperature.read", d, "")
			d = &events.TemperatureRead{Place: place, Probe: probe}
		}
	}
}

// opened is a site whose walls go by the default rule. A permit is asked for, a
// floor on the wall is not.
func (w *world) opened(policy ...string) *world {
	w.t.Helper()
	w.record(`
		2026-10-01 07:00 office p-boss site.opened - name=Mill zone=` + w.zone.String() + ` policy.tie_in_needed=false ` + strings.Join(policy, " ") + ` as=opened
		2026-10-01 07:01 office p-second record.countersigned - of=opened role=officer
		2026-10-01 07:02 office p-boss mix.approved - mix=w30 binder=portland retarder=false as=w30
		2026-10-01 07:03 office p-second record.countersigned - of=w30 role=engineer`)
	return w
}

// pour fills a wall of 12 m with braces at 2, 6 and 10 m; the last concrete is at a
// moment of a day. It is read until another moment, in degrees.
func (w *world) pour(on, day, last, until string, celsius float64) {
	w.t.Helper()
	end := w.moment(day + "@" + last)
	at := func(minutes int) string {
		return end.Add(time.Duration(minutes) * time.Minute).Format("2006-01-02 15:04")
	}
	w.record(strings.ReplaceAll(fmt.Sprintf(`
		%s phone p-crew wall.laid-out WALL length_m=12 height_m=1.2 core_mm=200 mix=w30
		%s phone p-crew brace.set WALL braces=b1:2,b2:6,b3:10 as=WALL-set
		%s phone p-crew brace.inspected WALL sound=true
		%s phone p-crew pour.started WALL
		%s phone p-crew lift.placed WALL from_m=0 to_m=12 top_m=1.2 as=WALL-lift
		%s phone p-crew line.read WALL when=after points=0:0,3:1,6:2,9:1,12:0
		%s phone p-crew pour.finished WALL
		%s phone - device.reported - last=%d`, at(-90), at(-85), at(-40), at(-35), at(0), at(2), at(3), at(4), w.numbers["phone"]+7), "WALL", on))
	w.steady("probe-"+on, "top", on, end.Add(-15*time.Minute).Format("2006-01-02@15:04"), until, celsius)
}

// folded is the record as it was known at a moment.
type folded struct {
	state   *site.State
	devices *site.Devices
	walls   map[string]*wall.State
}

func (w *world) fold(until time.Time) folded {
	f := folded{site.New(w.site), site.NewDevices(w.site), map[string]*wall.State{}}
	for _, x := range w.facts {
		if x.Recorded.After(until) {
			continue
		}
		f.devices.Add(x)
		if x.Wall == "" {
			f.state.Add(x)
			continue
		}
		if f.walls[x.Wall] == nil {
			f.walls[x.Wall] = wall.New(w.site, x.Wall)
		}
		f.walls[x.Wall].Add(x)
	}
	return f
}

// state says what the hub would have said of a wall at a moment.
func (w *world) stated(on, when string) {
	w.t.Helper()
	at := w.moment(when)
	f := w.fold(at)
	sheet := scheduler.SheetOf(f.state, f.devices, f.walls[on], scheduler.Hub{}, at)
	s := sheet.Assessment.Strip
	w.say(at, time.Time{}, events.HubDevice, "-", on, "window.stated", &events.WindowStated{
		At: at.UTC(), Open: s.Open, State: sheet.Assessment.State, CuredAt: s.CuredAt, Earliest: s.Earliest, Governs: s.Governs, Text: "stated. " + scheduler.Caution,
		Rules: scheduler.Rules, Through: uint64(len(w.facts)), Digest: sheet.Digest,
	}, "")
}

func (f folded) input() register.Input {
	return register.Input{
		Site: face.Site{Site: "mill", Name: f.state.Name(), Zone: f.state.Zone().String(), Units: f.state.Units()}, State: f.state, Devices: f.devices,
		Name: func(person string) string {
			return map[string]string{"p-crew": "Åse Øyen", "p-boss": "=SUM(A1)"}[person]
		},
		Walls: func(yield func(*wall.State) bool) {
			for _, name := range names(f.walls) {
				if !yield(f.walls[name]) {
					return
				}
			}
		},
	}
}

func names[V any](m map[string]V) (out []string) {
	for n := range m {
		out = append(out, n)
	}
	slices.Sort(out)
	return out
}

// register makes the site's register at a moment.
func (w *world) register(when string, q register.Query) register.Register {
	w.t.Helper()
	q.At = w.moment(when)
	require.NoError(w.t, q.Check())
	s := register.Make(q, w.fold(q.At).input())
	return register.Join(register.Register{Site: w.site, Level: true, Doubts: []string{}, Through: uint64(len(w.facts))}, q, []register.Site{s})
}

// row finds one row of a register.
func row(t testing.TB, r register.Register, on, brace string, n int) register.Row {
	t.Helper()
	for _, w := range r.Sites[0].Walls {
		for _, x := range w.Rows {
			if w.Wall == on && x.Brace == brace {
				if n == 0 {
					return x
				}
				n--
			}
		}
	}
	require.Fail(t, "no such row", "%s %s", on, brace)
	return register.Row{}
}

func sorts(r register.Row) (out []string) {
	for _, x := range r.Exceptions {
		out = append(out, x.Sort)
	}
	return out
}
