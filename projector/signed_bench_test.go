package projector_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/projector"
)

// signedStream is the record of many walls whose devices are all enrolled, each
// on its first message, and sign what they say.
func signedStream(b *testing.B, walls, count int) *record {
	r := newRecord(b)
	r.appoint("_", "p-crew", events.Crew, events.Foreman)
	devices := map[events.Source]*signer{}
	for p := newPourer(walls); count > 0; count-- {
		e := p.next()
		g := devices[e.Source]
		if g == nil {
			person := ""
			if strings.HasPrefix(e.Source.Device, "phone-") {
				person = "p-crew"
			}
			g = r.enrol(e.Source.Site, e.Source.Device, person)
			devices[e.Source] = g
		}
		e.By = g.person
		body, err := e.Encode()
		require.NoError(b, err)
		r.put(e.Subject(), body, stream.Sign(g.key, body))
	}
	return r
}

// catchUp folds a whole tape into a new store, and returns what it took by the
// clock and of all processors.
func catchUp(b *testing.B, s *tape, unsigned bool) (took, cpu time.Duration) {
	cfg := projector.Config{Dir: b.TempDir(), Stream: s, Key: hubPublic, Unsigned: unsigned, BatchMax: *benchBatch}
	began, start := time.Now(), spent()
	p, err := projector.Open(cfg)
	require.NoError(b, err)
	ctx, cancel := context.WithCancel(b.Context())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	require.NoError(b, p.Wait(ctx, s.last))
	took, cpu = time.Since(began), spent()-start
	cancel()
	require.NoError(b, p.Read(func(v projector.View) error { require.Zero(b, v.Hub().Refused); return nil }))
	require.NoError(b, errors.Join(<-ended, p.Close()))
	return took, cpu
}

// BenchmarkSignedCatchUp folds one record from memory with and without verifying
// who said it, in turn, and reports both rates and their ratio.
func BenchmarkSignedCatchUp(b *testing.B) {
	r := signedStream(b, *benchWalls, *benchEvents)
	var signed, plain, signedCPU, plainCPU time.Duration
	for b.Loop() {
		took, cpu := catchUp(b, r.tape, true)
		plain, plainCPU = plain+took, plainCPU+cpu
		took, cpu = catchUp(b, r.tape, false)
		signed, signedCPU = signed+took, signedCPU+cpu
	}
	n := float64(r.last) * float64(b.N)
	b.ReportMetric(n/plain.Seconds(), "unsigned_events/s")
	b.ReportMetric(n/signed.Seconds(), "events/s")
	b.ReportMetric(plain.Seconds()/signed.Seconds(), "of_unsigned")
	b.ReportMetric(plainCPU.Seconds()/n*1e6, "unsigned_cpu_µs")
	b.ReportMetric(signedCPU.Seconds()/n*1e6, "cpu_µs")
	b.ReportMetric(0, "ns/op")
}
