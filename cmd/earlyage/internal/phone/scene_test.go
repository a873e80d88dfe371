package phone_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/phone"
	"earlyage/events"
	sites "earlyage/projector/site"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// scene is a record that a test writes, in the order in which it became known.
type scene struct {
	t       *testing.T
	zone    *time.Location
	site    *sites.State
	devices *sites.Devices
	walls   map[string]*wall.State
	seq     uint64
	numbers map[string]uint64
	last    events.Event
}

func newScene(t *testing.T, zone string) *scene {
	t.Helper()
	z, err := time.LoadLocation(zone)
	require.NoError(t, err)
	return &scene{t: t, zone: z, site: sites.New("north"), devices: sites.NewDevices("north"), walls: map[string]*wall.State{}, numbers: map[string]uint64{}}
}

func (s *scene) at(text string) time.Time {
	s.t.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04", "2026-05-"+text, s.zone)
	require.NoError(s.t, err, text)
	return at
}

// say records what a line says: day and time in May, device, person, kind, wall
// or - for the whole site, then key=value. A value has no blanks; ~ stands for one.
func (s *scene) say(line string) {
	s.t.Helper()
	w := strings.Fields(line)
	at := s.at(w[0] + " " + w[1])
	for i := range w[6:] {
		w[6+i] = strings.ReplaceAll(strings.ReplaceAll(w[6+i], "~", " "), "=@", "=2026-05-"+w[0]+"T")
	}
	data, err := events.FromArgs(events.Kind(w[4]), w[6:], events.Args{Location: s.zone})
	require.NoError(s.t, err, line)
	e := events.Event{ID: fmt.Sprintf("e%04d", s.seq+1), Source: events.Source{Site: "north", Device: w[2]}, Kind: events.Kind(w[4]), Time: at, HasOffset: true, Data: data}
	if w[3] != "-" {
		e.By = w[3]
	}
	if w[5] != "-" {
		e.Wall = w[5]
	}
	s.numbers[w[2]]++
	e.Sequence = s.numbers[w[2]]
	s.add(e, at)
}

func (s *scene) add(e events.Event, at time.Time) {
	s.t.Helper()
	body, err := e.Encode()
	require.NoError(s.t, err)
	e, err = events.Decode(e.Subject(), body)
	require.NoError(s.t, err, "%s", body)
	s.seq++
	f := wall.Fact{Event: e, Seq: s.seq, Recorded: at.UTC()}
	s.devices.Add(f)
	if e.Wall == "" {
		s.site.Add(f)
	} else {
		s.wall(e.Wall).Add(f)
	}
	s.last = e
}

func (s *scene) wall(name string) *wall.State {
	if s.walls[name] == nil {
		s.walls[name] = wall.New("north", name)
	}
	return s.walls[name]
}

// sign lets a second person countersign the last entry.
func (s *scene) sign(when string) {
	s.t.Helper()
	target := s.last
	s.numbers["office"]++
	s.add(events.Event{
		ID: fmt.Sprintf("e%04d", s.seq+1), Source: events.Source{Site: "north", Device: "office"}, Kind: "record.countersigned", Time: s.at(when), HasOffset: true, By: "p-second",
		Wall: target.Wall, Sequence: s.numbers["office"], Data: &events.RecordCountersigned{Target: events.Target{Source: target.Source.String(), ID: target.ID}, Role: "officer"},
	}, s.at(when))
}

// sheet is what a phone is given at a moment.
func (s *scene) sheet(when string) phone.Sheet {
	s.t.Helper()
	now := s.at(when).UTC()
	in := phone.Input{Now: now, Through: s.seq, Level: true, Device: "phone-a", Person: "p-1", Site: s.site, Devices: s.devices}
	for _, w := range s.walls {
		in.Walls = append(in.Walls, phone.WallInput{State: w, Assessment: scheduler.Assess(s.site, s.devices, w, scheduler.Hub{}, now)})
	}
	return phone.Make(in)
}

// opened is a site with a mix that time and temperature suffice for.
func opened(t *testing.T, units string) *scene {
	t.Helper()
	s := newScene(t, "Europe/Oslo")
	s.say("04 05:50 office p-officer site.opened - name=North~yard zone=Europe/Oslo units=" + units)
	s.sign("04 05:51")
	s.say("04 05:52 office p-engineer mix.approved - mix=w30 binder=portland retarder=false")
	s.sign("04 05:53")
	return s
}

// laidOut is the wall of most tests: 12 m, an opening, a corner, seven braces.
func laidOut(t *testing.T, units string) *scene {
	t.Helper()
	s := opened(t, units)
	s.say("04 06:00 phone-b p-crew wall.laid-out north-1 name=North~wall length_m=12 height_m=2.4 core_mm=200 form=insulating mix=w30 legs=9:90,3 openings=5:6.2:0.9:2.1:w1 braces=b1:1.2,b2:3,b3:4.8,b4:6.6,b5:8.4,b6:10.2,b7:11.4")
	s.say("04 06:01 phone-b p-crew wall.laid-out north-2 name=North~wall,~second~leg length_m=9 height_m=2.4 core_mm=200 form=insulating mix=w30")
	return s
}

func placing(t *testing.T, units string) *scene {
	t.Helper()
	s := laidOut(t, units)
	s.say("04 07:00 phone-b p-crew brace.set north-1 braces=b1:1.2,b2:3,b3:4.8,b4:6.6,b5:8.4,b6:10.2,b7:11.4")
	s.say("04 07:20 phone-b p-crew line.read north-1 when=before points=0:1,6:0,12:-1")
	s.say("04 07:58 phone-b p-crew pour.started north-1")
	s.say("04 07:59 phone-b p-crew load.batched north-1 load=t-401 at=@07:41 volume_m3=6 mix=w30 ticket=40117")
	s.say("04 08:05 phone-b p-crew load.arrived north-1 load=t-401 celsius=18")
	s.say("04 08:25 phone-b p-crew lift.placed north-1 from_m=0 to_m=12 top_m=0.6 began=@08:00 ended=@08:25 load=t-401 vibrated=true celsius=18")
	s.say("04 08:40 phone-b p-crew load.batched north-1 load=t-402 at=@08:31 volume_m3=6 mix=w30 ticket=40118")
	s.say("04 08:45 probe-top - temperature.read north-1 place=air celsius=16")
	s.say("04 08:58 phone-b p-crew lift.placed north-1 from_m=0 to_m=6 top_m=1.2 began=@08:45 ended=@08:58 load=t-401 vibrated=true celsius=18")
	return s
}

// filled is the same wall with its last concrete in at 10:40.
func filled(t *testing.T, units string) *scene {
	t.Helper()
	s := placing(t, units)
	s.say("04 09:12 phone-b p-crew lift.placed north-1 from_m=6 to_m=12 top_m=1.2 began=@09:00 ended=@09:12 load=t-402 vibrated=true celsius=18")
	s.say("04 10:00 phone-b p-crew lift.placed north-1 from_m=0 to_m=12 top_m=1.8 began=@09:40 ended=@10:00 load=t-402 vibrated=true celsius=18")
	s.say("04 10:40 phone-b p-crew lift.placed north-1 from_m=0 to_m=12 top_m=2.4 began=@10:15 ended=@10:40 load=t-402 vibrated=true celsius=18")
	s.say("04 10:42 phone-b p-crew pour.finished north-1")
	return s
}

// cured is filled and read, with a warm probe on top until the 7th.
func cured(t *testing.T, units string) *scene {
	t.Helper()
	s := filled(t, units)
	s.say("04 10:50 phone-b p-crew line.read north-1 when=after points=1.2:2,6.6:3,11.4:1")
	s.say(fmt.Sprintf("04 10:51 phone-b - device.reported - last=%d", s.numbers["phone-b"]))
	for at := s.at("04 11:00"); at.Before(s.at("07 09:30")); at = at.Add(30 * time.Minute) {
		when := at.Format("02 15:04")
		s.say(when + " probe-top - temperature.read north-1 place=top celsius=21")
		s.say(when + " mast - temperature.read north-1 place=air celsius=14")
		s.say(when + " vane - wind.read north-1 gust_mps=3")
	}
	return s
}

// permitted may be stripped on the 7th.
func permitted(t *testing.T, units string) *scene {
	t.Helper()
	s := cured(t, units)
	s.say("07 08:00 office p-officer wall.tied-in north-1 support=floor")
	s.say("07 08:30 office p-officer permit.issued north-1 number=s-11 for=strip reviewed_by=p-officer")
	return s
}
