package board_test

import (
	"encoding/csv"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

var morning = time.Date(2026, 11, 9, 15, 20, 0, 0, time.UTC)

// record is a stream as the projector would fold it, read from a script of
// testdata: `site NAME ZONE key=value…`, then entries `DATE TIME DEVICE PERSON
// KIND WALL|- key=value… [as=LABEL]`, probes `probe DEVICE PLACE WALL FROM UNTIL
// CELSIUS` every 15 minutes, and `forecast DEVICE FROM DAY NIGHT` of seven days.
type record struct {
	t       testing.TB
	site    string
	zone    *time.Location
	sites   map[string]*site.State
	devices map[string]*site.Devices
	walls   map[scheduler.Ref]*wall.State
	numbers map[events.Source]uint64
	labels  map[string]events.Target
	facts   []wall.Fact
}

func readRecord(t testing.TB, file string) *record {
	t.Helper()
	r := &record{
		t: t, sites: map[string]*site.State{}, devices: map[string]*site.Devices{}, walls: map[scheduler.Ref]*wall.State{},
		numbers: map[events.Source]uint64{}, labels: map[string]events.Target{},
	}
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	lines := csv.NewReader(strings.NewReader(string(text)))
	lines.Comma, lines.Comment, lines.FieldsPerRecord = ' ', '#', -1
	all, err := lines.ReadAll()
	require.NoError(t, err)
	for _, w := range all {
		switch w[0] {
		case "site":
			r.site = w[1]
			r.zone, err = time.LoadLocation(w[2])
			require.NoError(t, err)
			e := r.say(r.moment("2026-11-04@05:00"), "office", "p-2m8w", "site.opened", "", r.args("site.opened", append(w[3:], "zone="+w[2])))
			r.say(e.Time, "office", "p-5t1r", "record.countersigned", "", r.args("record.countersigned", []string{"role=engineer", "target.source=" + e.Source.String(), "target.id=" + e.ID}))
		case "probe":
			r.probe(w)
		case "forecast":
			r.forecast(w)
		default:
			r.entry(w)
		}
	}
	return r
}

func (r *record) moment(text string) time.Time {
	at, err := time.ParseInLocation("2006-01-02@15:04", text, r.zone)
	require.NoError(r.t, err, text)
	return at
}

func (r *record) args(kind events.Kind, values []string) events.Data {
	d, err := events.FromArgs(kind, values, events.Args{Location: r.zone})
	require.NoError(r.t, err, "%s %v", kind, values)
	return d
}

func (r *record) entry(w []string) {
	at, label := r.moment(w[0]+"@"+w[1]), ""
	source := events.Source{Site: r.site, Device: w[2]}
	var pairs []string
	for _, pair := range w[6:] {
		key, value, _ := strings.Cut(pair, "=")
		switch {
		case key == "as":
			label = value
			continue
		case value == "@last":
			pair = key + "=" + strconv.FormatUint(r.numbers[source], 10)
		case strings.HasPrefix(value, "@"):
			pair = key + "=" + w[0] + "T" + value[1:]
		case strings.HasPrefix(value, "$"):
			target := r.labels[value[1:]]
			pairs = append(pairs, key+".source="+target.Source)
			pair = key + ".id=" + target.ID
		}
		pairs = append(pairs, pair)
	}
	kind := events.Kind(w[4])
	e := r.say(at, w[2], w[3], kind, strings.TrimPrefix(w[5], "-"), r.args(kind, pairs))
	if label != "" {
		r.labels[label] = events.Target{Source: e.Source.String(), ID: e.ID}
	}
}

// say puts an event into the record, encoded and read again.
func (r *record) say(at time.Time, device, by string, kind events.Kind, on string, data events.Data) events.Event {
	source := events.Source{Site: r.site, Device: device}
	r.numbers[source]++
	e := events.Event{
		ID: fmt.Sprintf("e%05d", len(r.facts)), Source: source, Time: at, By: by, Wall: on, Kind: kind, Data: data,
		Sequence: r.numbers[source], HasOffset: true,
	}
	body, err := e.Encode()
	require.NoError(r.t, err, "%s %s", kind, on)
	e, err = events.Decode(e.Subject(), body)
	require.NoError(r.t, err, "%s %s", kind, on)
	r.fold(wall.Fact{Event: e, Seq: uint64(len(r.facts) + 1), Recorded: at.UTC()})
	return e
}

func (r *record) fold(f wall.Fact) {
	r.facts = append(r.facts, f)
	name := f.Source.Site
	if r.sites[name] == nil {
		r.sites[name], r.devices[name] = site.New(name), site.NewDevices(name)
	}
	r.devices[name].Add(f)
	if f.Wall == "" {
		r.sites[name].Add(f)
		return
	}
	ref := scheduler.Ref{Site: name, Wall: f.Wall}
	if r.walls[ref] == nil {
		r.walls[ref] = wall.New(name, f.Wall)
	}
	r.walls[ref].Add(f)
}

func (r *record) probe(w []string) {
	celsius, err := strconv.ParseFloat(w[6], 64)
	require.NoError(r.t, err)
	d := &events.TemperatureRead{Place: w[2], Probe: w[1]}
	until := r.moment(w[5])
	for at := r.moment(w[4]); !at.After(until); at = at.Add(15 * time.Minute) {
		d.Series = append(d.Series, events.TimedTemperature{At: at, Celsius: &celsius})
		if len(d.Series) == 96 {
			r.say(at, w[1], "", "temperature.read", strings.TrimPrefix(w[3], "-"), d)
			d = &events.TemperatureRead{Place: w[2], Probe: w[1]}
		}
	}
	r.say(until, w[1], "", "temperature.read", strings.TrimPrefix(w[3], "-"), d)
}

func (r *record) forecast(w []string) {
	from := r.moment(w[2])
	temperature := [2]float64{}
	for i := range temperature {
		var err error
		temperature[i], err = strconv.ParseFloat(w[3+i], 64)
		require.NoError(r.t, err)
	}
	gust := 4.0
	d := &events.WeatherForecast{Issued: from}
	for i := range 7 * 24 {
		at := from.Add(time.Duration(i) * time.Hour)
		c := &temperature[0]
		if hour := at.In(r.zone).Hour(); hour < 7 || hour >= 20 {
			c = &temperature[1]
		}
		d.Hours = append(d.Hours, events.ForecastHour{At: at, Celsius: c, GustMPS: &gust})
	}
	r.say(from, w[1], "", "weather.forecast", "", d)
}

// input is the picture that a hub would give at a moment; the alerts that ought
// to stand do.
func (r *record) input(at time.Time) board.Input {
	in := board.Input{At: at, Through: uint64(len(r.facts)), Level: true}
	for name, s := range r.sites {
		in.Sites = append(in.Sites, board.Site{Site: face.Site{Site: name, Name: s.Name(), Zone: s.Zone().String(), Units: s.Units()}, State: s})
	}
	for ref, w := range r.walls {
		a := scheduler.Assess(r.sites[ref.Site], r.devices[ref.Site], w, scheduler.Hub{}, at)
		in.Walls = append(in.Walls, board.Wall{Assessment: a, State: w})
		for _, y := range a.Alerts {
			in.Alarms = append(in.Alarms, face.Alarm{
				ID: fmt.Sprintf("%s-%s-%s", ref.Wall, y.Kind, strings.Map(token, y.Cause)), Site: ref.Site, Wall: ref.Wall, Kind: y.Kind, Cause: y.Cause, Priority: y.Priority,
				Since: face.Time{Time: y.Since}, Text: y.Text, About: y.About,
			})
		}
	}
	return in
}

func token(r rune) rune {
	if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' {
		return r
	}
	return -1
}

// many makes a picture of n walls out of one: each is there under further names,
// with its own alerts, in the order in which it came.
func many(in board.Input, n int) board.Input {
	walls, alarms := in.Walls, in.Alarms
	slices.SortFunc(walls, func(x, y board.Wall) int {
		return strings.Compare(x.Assessment.Site+x.Assessment.Wall, y.Assessment.Site+y.Assessment.Wall)
	})
	in.Walls, in.Alarms = nil, nil
	for i := range n {
		w := walls[i%len(walls)]
		old := w.Assessment.Wall
		if round := i / len(walls); round > 0 {
			w.Assessment.Wall = fmt.Sprintf("%s-%d", old, round)
			shift := time.Duration(round) * time.Minute
			w.Assessment.Joints = slices.Clone(w.Assessment.Joints)
			for k := range w.Assessment.Joints {
				w.Assessment.Joints[k].Deadline = w.Assessment.Joints[k].Deadline.Add(shift)
			}
		}
		in.Walls = append(in.Walls, w)
		for _, a := range alarms {
			if a.Site == w.Assessment.Site && a.Wall == old {
				a.ID, a.Wall = a.ID+"-"+strconv.Itoa(i), w.Assessment.Wall
				in.Alarms = append(in.Alarms, a)
			}
		}
	}
	return in
}
