package wallpage_test

import (
	"context"
	"crypto/ed25519"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/scheduler"
)

var (
	noon   = time.Date(2026, 11, 8, 9, 45, 0, 0, time.UTC) // 10:45 on the site
	hubKey = ed25519.NewKeyFromSeed([]byte("a key of the tests, 32 bytes lon"))
)

// record is a stream as it was sent, read from a script of testdata: `site NAME
// ZONE key=value…`, entries `DATE TIME DEVICE PERSON KIND WALL|- key=value…
// [as=LABEL] [recorded=@TIME]`, `probe DEVICE PLACE WALL|- FROM UNTIL CELSIUS SWING` every 15
// minutes in series of two hours, `forecast DEVICE FROM DAY NIGHT` of seven days,
// and `refused DATE TIME DEVICE WALL KIND`, a message that nobody can accept. The
// hub's alerts are raised as they would have been, every four hours.
type record struct {
	t       testing.TB
	site    string
	zone    *time.Location
	numbers map[string]uint64
	labels  map[string]events.Target
	sent    []sent
	n       int
}

type sent struct {
	at        time.Time
	subject   string
	body      []byte
	signature string
}

func readRecord(t testing.TB) *record { return readScript(t, "week") }

func readScript(t testing.TB, name string) *record {
	t.Helper()
	r := &record{t: t, numbers: map[string]uint64{}, labels: map[string]events.Target{}}
	text, err := os.ReadFile("testdata/" + name + ".txt")
	require.NoError(t, err)
	lines := csv.NewReader(strings.NewReader(string(text)))
	lines.Comma, lines.Comment, lines.FieldsPerRecord = ' ', '#', -1
	all, err := lines.ReadAll()
	require.NoError(t, err)
	// Devices number in the order of time.
	slices.SortStableFunc(all, func(a, b []string) int { return strings.Compare(dated(a), dated(b)) })
	for _, w := range all {
		r.read(w)
	}
	slices.SortStableFunc(r.sent, func(a, b sent) int { return a.at.Compare(b.at) })
	return r
}

// dated is the moment of an entry; what is none comes first.
func dated(w []string) string {
	if w[0] < "3" {
		return w[0] + w[1]
	}
	return ""
}

func (r *record) read(w []string) {
	switch w[0] {
	case "site":
		var err error
		r.site = w[1]
		r.zone, err = time.LoadLocation(w[2])
		require.NoError(r.t, err)
		e := r.say(r.moment("2026-11-02@05:00"), "office-o", "p-2m8w", "site.opened", "", r.args("site.opened", append(w[3:], "zone="+w[2])))
		r.labels["site"] = events.Target{Source: e.Source.String(), ID: e.ID}
	case "probe":
		r.probe(w)
	case "forecast":
		r.forecast(w)
	case "refused":
		at := r.moment(w[1] + "@" + w[2])
		body := fmt.Sprintf(`{"specversion":"1.0","id":"lost-1","source":"/site/%s/device/%s","type":"earlyage.%s.v1","subject":%q,"time":%q,"datacontenttype":"application/json","data":{"from_m":0,"to_m":1,"topp_m":2.4}}`,
			r.site, w[3], w[5], w[4], at.UTC().Format(time.RFC3339))
		r.sent = append(r.sent, sent{at, fmt.Sprintf("pour.%s.%s.%s", r.site, w[4], w[5]), []byte(body), ""})
	default:
		r.entry(w)
	}
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
	recorded := at
	var pairs, data []string
	for _, pair := range w[6:] {
		key, value, _ := strings.Cut(pair, "=")
		switch {
		case key == "as":
			label = value
			continue
		case key == "recorded": // later than it was entered
			recorded = r.moment(w[0] + value)
			continue
		case strings.HasPrefix(key, "data."):
			data = append(data, key[5:]+"="+value)
			continue
		case value == "@last":
			pair = key + "=" + strconv.FormatUint(r.numbers[w[2]], 10)
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
	var d events.Data
	if data != nil {
		d = r.amended(pairs, data)
	} else {
		d = r.args(kind, pairs)
	}
	e := r.say(at, w[2], w[3], kind, strings.TrimPrefix(w[5], "-"), d)
	r.sent[len(r.sent)-1].at = recorded.UTC()
	if label != "" {
		r.labels[label] = events.Target{Source: e.Source.String(), ID: e.ID}
	}
}

// amended makes an amendment with new data.
func (r *record) amended(pairs, data []string) events.Data {
	d := &events.RecordAmended{}
	for _, pair := range pairs {
		key, value, _ := strings.Cut(pair, "=")
		switch key {
		case "target.source":
			d.Target.Source = value
		case "target.id":
			d.Target.ID = value
		case "kind":
			d.Kind = events.Kind(value)
		case "reason":
			d.Reason = value
		}
	}
	raw, err := events.EncodeData(r.args(d.Kind, data))
	require.NoError(r.t, err)
	d.Data = raw
	return d
}

// say sends an event.
func (r *record) say(at time.Time, device, by string, kind events.Kind, on string, data events.Data) events.Event {
	r.n++
	e := events.Event{
		ID: fmt.Sprintf("e%05d", r.n), Source: events.Source{Site: r.site, Device: device}, Time: at, By: by, Wall: on, Kind: kind, Data: data, HasOffset: true,
	}
	signature := ""
	if device != events.HubDevice {
		r.numbers[device]++
		e.Sequence = r.numbers[device]
	}
	body, err := e.Encode()
	require.NoError(r.t, err, "%s %s", kind, on)
	e, err = events.Decode(e.Subject(), body)
	require.NoError(r.t, err, "%s %s", kind, on)
	if device == events.HubDevice || strings.HasPrefix(device, "phone") || strings.HasPrefix(device, "office") {
		signature = stream.Sign(hubKey, body)
	}
	r.sent = append(r.sent, sent{at.UTC(), e.Subject(), body, signature})
	return e
}

func (r *record) probe(w []string) {
	mean, err := strconv.ParseFloat(w[6], 64)
	require.NoError(r.t, err)
	swing, err := strconv.ParseFloat(w[7], 64)
	require.NoError(r.t, err)
	from, until := r.moment(w[4]), r.moment(w[5])
	d := &events.TemperatureRead{Place: w[2], Probe: w[1]}
	for at := from; !at.After(until); at = at.Add(15 * time.Minute) {
		hour := float64(at.In(r.zone).Hour()) + float64(at.Minute())/60
		celsius := math.Round((mean+swing*math.Sin((hour-9)/24*2*math.Pi))*10) / 10
		d.Series = append(d.Series, events.TimedTemperature{At: at, Celsius: &celsius})
		if len(d.Series) == 8 {
			r.say(at, w[1], "", "temperature.read", strings.TrimPrefix(w[3], "-"), d)
			d = &events.TemperatureRead{Place: w[2], Probe: w[1]}
		}
	}
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

// tape is a stream in memory.
type tape []stream.Message

func (s tape) Head(context.Context) (first, last uint64, err error) { return 1, uint64(len(s)), nil }

func (s tape) Read(ctx context.Context, after uint64, limits stream.Limits, deliver func([]stream.Message) error) error {
	for _, m := range s[after:] {
		if err := deliver([]stream.Message{m}); err != nil {
			return err
		}
	}
	<-ctx.Done()
	return ctx.Err()
}

// store is a projector that has folded a record up to a moment: a Reader as the
// hub is one.
type store struct {
	t     testing.TB
	p     *projector.Projector
	site  string
	now   time.Time
	sight board.Sight
}

// fold plays the record into a projector, up to a moment.
func (r *record) fold(until time.Time) *store {
	r.t.Helper()
	var messages tape
	for _, m := range r.sent {
		if !m.at.After(until) {
			messages = append(messages, stream.Message{Seq: uint64(len(messages) + 1), Recorded: m.at.UTC(), Subject: m.subject, Signature: m.signature, Body: m.body})
		}
	}
	p, err := projector.Open(projector.Config{Dir: r.t.TempDir(), Stream: messages, Unsigned: true, Key: hubKey.Public().(ed25519.PublicKey), Now: func() time.Time { return until }})
	require.NoError(r.t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	r.t.Cleanup(func() {
		cancel()
		require.NoError(r.t, <-done)
		require.NoError(r.t, p.Close())
	})
	waiting, end := context.WithTimeout(r.t.Context(), time.Minute)
	defer end()
	require.NoError(r.t, p.Wait(waiting, uint64(len(messages))))
	return &store{t: r.t, p: p, site: r.site, now: until, sight: board.Sight{All: true}}
}

func (s *store) Sight(context.Context) (board.Sight, error) { return s.sight, nil }

func (s *store) Zone(_ context.Context, site string) (zone *time.Location, err error) {
	err = s.p.Read(func(v projector.View) error {
		st := v.Site(site)
		if st == nil {
			return wallpage.ErrNoWall
		}
		zone = st.Zone()
		return nil
	})
	return zone, err
}

func (s *store) Look(_ context.Context, see func(board.Input) error) error {
	return s.p.Read(func(v projector.View) error {
		in := board.Input{At: s.now, Through: v.Through(), Level: true}
		for _, name := range v.Sites() {
			st := v.Site(name)
			in.Sites = append(in.Sites, board.Site{Site: face.Site{Site: name, Name: st.Name(), Zone: st.Zone().String(), Units: st.Units()}, State: st})
		}
		for _, ref := range v.Walls("") {
			in.Walls = append(in.Walls, board.Wall{Assessment: scheduler.Assess(v.Site(ref.Site), v.Devices(ref.Site), v.Wall(ref), scheduler.Hub{}, s.now), State: v.Wall(ref)})
		}
		return see(in)
	})
}

func (s *store) Wall(_ context.Context, ref scheduler.Ref, asOf time.Time, see func(wallpage.Input) error) error {
	return s.p.Read(func(v projector.View) error {
		all := s.messages(v, ref.Site)
		if !asOf.IsZero() {
			in, err := wallpage.AsOf(all, ref, asOf)
			if err != nil {
				return err
			}
			return see(in)
		}
		w := v.Wall(projector.Ref(ref))
		if w == nil || !w.Known() {
			return wallpage.ErrNoWall
		}
		in := wallpage.Input{At: s.now, Through: v.Through(), Level: true, Site: v.Site(ref.Site), Wall: w, Sheet: scheduler.SheetOf(v.Site(ref.Site), v.Devices(ref.Site), w, scheduler.Hub{}, s.now)}
		for _, m := range all {
			if wallpage.Names(m, ref) {
				in.Messages = append(in.Messages, m)
			}
		}
		return see(in)
	})
}

// messages are all of the company and of a site.
func (s *store) messages(v projector.View, site string) []wallpage.Message {
	var leaves []projector.Leaf
	take := func(l projector.Leaf) error { leaves = append(leaves, l); return nil }
	for _, at := range append([]projector.Ref{{Site: "_"}, {Site: site}}, v.Walls(site)...) {
		require.NoError(s.t, v.Leaves(at, take))
	}
	return wallpage.Messages(leaves, v.Refused(1000))
}

// hear raises and clears the hub's alerts of every wall every four hours, as they
// ought to have stood, and appends them to the record.
func (r *record) hear(until time.Time) {
	type key struct{ wall, kind, cause string }
	raised := map[key]string{}
	var words []sent
	base := r.sent
	for at := r.sent[0].at.Truncate(time.Hour).Add(time.Hour); !at.After(until); at = at.Add(4 * time.Hour) {
		due := map[key]scheduler.Alert{}
		for ref, a := range r.assess(base, at) {
			for _, x := range a.Alerts {
				due[key{ref.Wall, x.Kind, x.Cause}] = x
			}
		}
		r.sent = nil
		for _, k := range sorted(due, func(a, b key) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) }) {
			if raised[k] == "" {
				x := due[k]
				raised[k] = fmt.Sprintf("alert-%03d", len(raised)+1)
				r.say(at, events.HubDevice, "", "alert.raised", k.wall, &events.AlertRaised{Alert: raised[k], Kind: k.kind, Cause: k.cause, Priority: x.Priority, Since: x.Since, Text: x.Text, About: x.About, Rules: scheduler.Rules})
			}
		}
		for _, k := range sorted(raised, func(a, b key) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) }) {
			if _, stands := due[k]; !stands && raised[k] != "over" && raised[k] != "" && !scheduler.AlertKinds[k.kind].Latch {
				r.say(at, events.HubDevice, "", "alert.cleared", k.wall, &events.AlertCleared{Alert: raised[k], Kind: k.kind, Cause: k.cause, At: at, Rules: scheduler.Rules})
				raised[k] = "over"
			}
		}
		words = append(words, r.sent...)
	}
	r.sent = append(base, words...)
	slices.SortStableFunc(r.sent, func(a, b sent) int { return a.at.Compare(b.at) })
}

func sorted[K comparable, V any](m map[K]V, by func(a, b K) int) []K {
	var out []K
	for k := range m {
		out = append(out, k)
	}
	slices.SortFunc(out, by)
	return out
}

// assess assesses every wall by what was sent up to a moment.
func (r *record) assess(all []sent, at time.Time) map[scheduler.Ref]scheduler.Assessment {
	var leaves []projector.Leaf
	walls := map[string]bool{}
	for i, m := range all {
		if m.at.After(at) {
			break
		}
		e, err := events.Decode(m.subject, m.body)
		if err != nil {
			continue
		}
		if e.Wall != "" {
			walls[e.Wall] = true
		}
		leaves = append(leaves, projector.Leaf{Seq: uint64(i + 1), Recorded: m.at, Subject: m.subject, Body: m.body})
	}
	messages := wallpage.Messages(leaves, nil)
	out := map[scheduler.Ref]scheduler.Assessment{}
	for name := range walls {
		ref := scheduler.Ref{Site: r.site, Wall: name}
		in, err := wallpage.AsOf(messages, ref, at)
		require.NoError(r.t, err)
		out[ref] = in.Sheet.Assessment
	}
	return out
}
