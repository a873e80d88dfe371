package projector_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

var (
	benchWalls  = flag.Int("bench.walls", 500, "walls of the benchmark's stream")
	benchEvents = flag.Int("bench.events", 20_000, "events of the benchmark's stream")
	benchBatch  = flag.Int("bench.batch", 0, "BatchMax; 0: the default")
)

// site50 is where a wall of the benchmark stands: 50 walls to a site.
func site50(wall int) (site, name string) {
	return fmt.Sprintf("site-%03d", wall/50), fmt.Sprintf("w%02d", wall%50)
}

// pourer makes the record of many walls: each is laid out and poured in ten
// lifts, then its three probes send a series per 15 minutes. Every twentieth
// series comes an hour late.
type pourer struct {
	walls   int
	clock   time.Time
	numbers map[events.Source]uint64
	lastOn  map[events.Source]uint64
	late    []events.Event
	turn    int
}

func newPourer(walls int) *pourer {
	return &pourer{walls: walls, clock: monday, numbers: map[events.Source]uint64{}, lastOn: map[events.Source]uint64{}}
}

func (p *pourer) next() events.Event {
	round, wall := p.turn/p.walls, p.turn%p.walls
	p.turn++
	if wall == 0 {
		p.clock = p.clock.Add(5 * time.Minute)
	}
	site, name := site50(wall)
	switch {
	case round == 0:
		return p.event(site, "phone-"+name, name, "wall.laid-out", &events.WallLaidOut{LengthM: ptr(12.0), HeightM: ptr(3.0), CoreMM: ptr(150.0), Mix: "c30"})
	case round <= 10:
		return p.event(site, "phone-"+name, name, "lift.placed", &events.LiftPlaced{
			FromM: ptr(0.0), ToM: ptr(12.0), TopM: ptr(0.3 * float64(round)), Ended: p.clock, Vibrated: ptr(true), Load: fmt.Sprint("load-", round),
		})
	}
	place := []string{"top", "core", "air"}[round%3]
	e := p.event(site, place+"-"+name, name, "temperature.read", p.series(place))
	if p.turn%20 == 0 {
		p.late = append(p.late, e)
		if len(p.late) > 12 {
			e, p.late = p.late[0], p.late[1:]
		}
	}
	return e
}

func (p *pourer) series(place string) *events.TemperatureRead {
	d := &events.TemperatureRead{Place: place, Instrument: "logger"}
	for i := range 3 {
		c := 10 + float64((p.turn+i)%80)/10
		d.Series = append(d.Series, events.TimedTemperature{At: p.clock.Add(time.Duration(i-3) * 5 * time.Minute), Celsius: &c})
	}
	return d
}

func (p *pourer) event(site, device, wall string, kind events.Kind, data events.Data) events.Event {
	src := events.Source{Site: site, Device: device}
	p.numbers[src]++
	maker := device50{src, p.clock.Add(time.Duration(p.turn) * time.Microsecond)}
	e := events.Event{
		ID: maker.id(), Source: src, Kind: kind, Wall: wall, Time: p.clock, Sequence: p.numbers[src], WallSequence: p.numbers[src] - 1,
		HasOffset: true, Data: data,
	}
	return e
}

type device50 struct {
	source events.Source
	clock  time.Time
}

func (d device50) id() string { return (&device{source: d.source, clock: d.clock}).id() }

// server is an embedded NATS server with the stream, reached over loopback,
// which is faster for bulk than the connection within the process.
type server struct {
	nc     *nats.Conn
	stream *stream.Stream
}

func startServer(tb testing.TB) server {
	tb.Helper()
	srv, err := stream.StartServer(stream.ServerConfig{Dir: tb.TempDir(), Client: "127.0.0.1:-1"}, nil)
	require.NoError(tb, err)
	tb.Cleanup(srv.Stop)
	nc, err := nats.Connect(srv.ClientURL())
	require.NoError(tb, err)
	tb.Cleanup(nc.Close)
	hub, err := srv.Connect()
	require.NoError(tb, err)
	tb.Cleanup(hub.Close)
	s, err := stream.Open(tb.Context(), hub, stream.Config{})
	require.NoError(tb, err)
	return server{hub, s}
}

// fill publishes the record of many walls in batches.
func (s server) fill(tb testing.TB, walls, count int) {
	tb.Helper()
	p := newPourer(walls)
	for count > 0 {
		n := min(count, stream.MaxBatch)
		posts := make([]stream.Post, n)
		for i := range posts {
			e := p.next()
			body, err := e.Encode()
			require.NoError(tb, err)
			posts[i] = stream.Post{Subject: e.Subject(), Body: body}
		}
		_, err := stream.PublishBatch(tb.Context(), s.nc, posts)
		require.NoError(tb, err)
		count -= n
	}
}

// rawRead reads the whole stream through the client library's ordered consumer.
func rawRead(b *testing.B, s server, count int) time.Duration {
	js, err := jetstream.New(s.nc)
	require.NoError(b, err)
	c, err := js.OrderedConsumer(b.Context(), stream.Name, jetstream.OrderedConsumerConfig{})
	require.NoError(b, err)
	began, seen, done := time.Now(), 0, make(chan struct{})
	use, err := c.Consume(func(m jetstream.Msg) {
		if _, err := m.Metadata(); err == nil {
			if seen++; seen == count {
				close(done)
			}
		}
	}, jetstream.PullMaxMessages(5000))
	require.NoError(b, err)
	<-done
	took := time.Since(began)
	use.Stop()
	<-use.Closed()
	return took
}

func project(b *testing.B, s server, count int) time.Duration {
	cfg := projector.Config{Unsigned: true, Dir: b.TempDir(), Stream: s.stream, BatchMax: *benchBatch}
	began := time.Now()
	p, err := projector.Open(cfg)
	require.NoError(b, err)
	ctx, cancel := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	require.NoError(b, p.Wait(ctx, uint64(count)))
	took := time.Since(began)
	cancel()
	require.NoError(b, errors.Join(<-ended, p.Close()))
	return took
}

// spent is the processor time that this process has used: on a machine that
// others use too it tells more than the clock.
func spent() time.Duration {
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		panic(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// BenchmarkCatchUp reads one stream with the client library's ordered consumer
// and with a projector that starts with nothing, in turn, and reports both
// rates and their ratio, by the clock and by processor time. Both times include
// the server's, which runs in the same process.
func BenchmarkCatchUp(b *testing.B) {
	s := startServer(b)
	s.fill(b, *benchWalls, *benchEvents)
	var raw, own, rawCPU, ownCPU time.Duration
	for b.Loop() {
		start := spent()
		raw += rawRead(b, s, *benchEvents)
		middle := spent()
		own += project(b, s, *benchEvents)
		rawCPU, ownCPU = rawCPU+middle-start, ownCPU+spent()-middle
	}
	n := float64(*benchEvents) * float64(b.N)
	b.ReportMetric(n/raw.Seconds(), "raw_events/s")
	b.ReportMetric(n/own.Seconds(), "events/s")
	b.ReportMetric(raw.Seconds()/own.Seconds(), "of_raw")
	b.ReportMetric(rawCPU.Seconds()/n*1e6, "raw_cpu_µs")
	b.ReportMetric(ownCPU.Seconds()/n*1e6, "cpu_µs")
	b.ReportMetric(rawCPU.Seconds()/ownCPU.Seconds(), "of_raw_cpu")
	b.ReportMetric(0, "ns/op")
}

// wallOf folds a wall of so many days: ten lifts, then three probes with a
// series per 15 minutes. It returns who goes on with it.
func wallOf(b *testing.B, p *projector.Projector, seq *uint64, name string, days int) *device {
	d := newDevice("alder", "gateway-"+name)
	for i := range 10 {
		foldOne(b, p, seq, d.lift(name, 0, 12, 0.3*float64(i+1)))
	}
	var batch []stream.Message
	for i := range days * 96 * 3 {
		if i%3 == 0 {
			d.clock = d.clock.Add(12 * time.Minute)
		}
		*seq++
		batch = append(batch, messageAt(b, *seq, d.event(name, "temperature.read", "", seriesAt(d.clock, []string{"top", "core", "air"}[i%3]))))
	}
	require.NoError(b, p.Fold(batch))
	return d
}

func seriesAt(at time.Time, place string) *events.TemperatureRead {
	d := &events.TemperatureRead{Place: place, Instrument: "logger"}
	for i := range 3 {
		d.Series = append(d.Series, events.TimedTemperature{At: at.Add(time.Duration(i-3) * 5 * time.Minute), Celsius: ptr(12.5)})
	}
	return d
}

func messageAt(b *testing.B, seq uint64, e events.Event) stream.Message {
	return stream.Message{Seq: seq, Recorded: e.Time, Subject: e.Subject(), Body: encode(b, e)}
}

func foldOne(b *testing.B, p *projector.Projector, seq *uint64, e events.Event) time.Duration {
	*seq++
	m := messageAt(b, *seq, e)
	began := time.Now()
	require.NoError(b, p.Fold([]stream.Message{m}))
	return time.Since(began)
}

// BenchmarkOneMoreReading folds and commits one more series on a wall of 30 days
// and on one of a day, in turn, with files that are not synced, and reports both
// times and their ratio.
func BenchmarkOneMoreReading(b *testing.B) {
	cfg := projector.Config{Unsigned: true, Dir: b.TempDir()}
	cfg.OpenWith(unsynced)
	p, err := projector.Open(cfg)
	require.NoError(b, err)
	var seq uint64
	old := wallOf(b, p, &seq, "old", 30)
	var young *device
	var name string
	var onOld, onYoung time.Duration
	for i := 0; b.Loop(); i++ {
		if i%96 == 0 { // a day later the young wall is no longer young
			name = fmt.Sprint("young-", i/96)
			young = wallOf(b, p, &seq, name, 1)
		}
		for _, d := range []*device{old, young} {
			d.clock = d.clock.Add(14 * time.Minute)
		}
		onOld += foldOne(b, p, &seq, old.event("old", "temperature.read", "", seriesAt(old.clock, "top")))
		onYoung += foldOne(b, p, &seq, young.event(name, "temperature.read", "", seriesAt(young.clock, "top")))
	}
	b.ReportMetric(float64(onOld.Microseconds())/float64(b.N), "old_µs")
	b.ReportMetric(float64(onYoung.Microseconds())/float64(b.N), "young_µs")
	b.ReportMetric(onOld.Seconds()/onYoung.Seconds(), "old_of_young")
	b.ReportMetric(0, "ns/op")
	require.NoError(b, p.Close())
}
