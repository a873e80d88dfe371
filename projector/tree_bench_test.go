package projector_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
	"earlyage/projector"
)

// BenchmarkKeep keeps messages in batches of 1,000, each batch on the disk with
// its hashes before the next, and then proves one of them. One op is a batch.
// The record is made for it once; proof-bytes is what shows one message.
func BenchmarkKeep(b *testing.B) {
	const size = 1000
	d := newDevice("north", "phone-1")
	p, err := projector.Open(projector.Config{Dir: b.TempDir(), Key: hubPublic, Unsigned: true})
	require.NoError(b, err)
	defer func() { require.NoError(b, p.Close()) }()
	seq := uint64(0)
	for b.Loop() {
		b.StopTimer()
		batch := make([]stream.Message, size)
		for i := range batch {
			seq++
			e := d.reading("w1", float64(seq%30))
			body, err := e.Encode()
			require.NoError(b, err)
			batch[i] = stream.Message{Seq: seq, Recorded: monday, Subject: e.Subject(), Body: body}
		}
		b.StartTimer()
		require.NoError(b, p.Keep(batch))
	}
	b.ReportMetric(float64(seq)/b.Elapsed().Seconds(), "messages/s")
	require.NoError(b, p.Tree(func(log projector.Tree) error {
		in, err := log.Inclusion(log.Size()/2, log.Size())
		b.ReportMetric(float64(32*len(in)), "proof-bytes")
		return err
	}))
}
