package stream_test

import (
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
)

func TestOpenMakesAndFindsTheStream(t *testing.T) {
	r := run(t)
	first, last, err := r.st.Head(testContext(t))
	require.NoError(t, err)
	require.Zero(t, first)
	require.Zero(t, last)

	publish(t, r.hub, 3)
	again := openStream(t, r.hub)
	first, last, err = again.Head(testContext(t))
	require.NoError(t, err)
	require.EqualValues(t, 1, first)
	require.EqualValues(t, 3, last)

	js, err := jetstream.New(r.hub)
	require.NoError(t, err)
	st, err := js.Stream(testContext(t), stream.Name)
	require.NoError(t, err)
	require.Error(t, st.DeleteMsg(testContext(t), 1), "a message could be deleted")
	require.Error(t, st.Purge(testContext(t)), "the stream could be purged")
}

// A stream of before probes had subjects of their own is given them, and keeps
// what it holds.
func TestOpenAddsTheProbes(t *testing.T) {
	srv := startServer(t, t.TempDir())
	hub := connectHub(t, srv)
	js, err := jetstream.New(hub)
	require.NoError(t, err)
	_, err = js.CreateStream(testContext(t), jetstream.StreamConfig{
		Name: stream.Name, Subjects: []string{"pour.>"}, DenyDelete: true, DenyPurge: true,
		AllowAtomicPublish: true, Duplicates: stream.DuplicateWindow,
	})
	require.NoError(t, err)
	publish(t, hub, 3)
	st := openStream(t, hub)
	_, _, err = stream.PublishOne(testContext(t), hub, "probe.a.p.w1.temperature.read", []byte("x"), "")
	require.NoError(t, err)
	require.Len(t, readAll(t, st), 4)
	openStream(t, hub)
}

// Every setting that could lose or change what was acknowledged is refused, and
// named.
func TestOpenRefusesAWrongStream(t *testing.T) {
	good := func() jetstream.StreamConfig {
		return jetstream.StreamConfig{
			Name: stream.Name, Subjects: stream.Subjects(), DenyDelete: true, DenyPurge: true,
			AllowAtomicPublish: true, Duplicates: stream.DuplicateWindow,
		}
	}
	for field, spoil := range map[string]func(*jetstream.StreamConfig){
		"":          func(*jetstream.StreamConfig) {},
		"subjects":  func(c *jetstream.StreamConfig) { c.Subjects = []string{"pour.a.>"} },
		"storage":   func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage },
		"retention": func(c *jetstream.StreamConfig) { c.Retention = jetstream.InterestPolicy },
		"persist_mode": func(c *jetstream.StreamConfig) {
			c.PersistMode, c.AllowAtomicPublish = jetstream.AsyncPersistMode, false
		},
		"no_ack":               func(c *jetstream.StreamConfig) { c.NoAck = true },
		"deny_delete":          func(c *jetstream.StreamConfig) { c.DenyDelete = false },
		"deny_purge":           func(c *jetstream.StreamConfig) { c.DenyPurge = false },
		"max_msgs":             func(c *jetstream.StreamConfig) { c.MaxMsgs = 1000 },
		"max_bytes":            func(c *jetstream.StreamConfig) { c.MaxBytes = 1 << 20 },
		"max_age":              func(c *jetstream.StreamConfig) { c.MaxAge = 24 * time.Hour },
		"max_msgs_per_subject": func(c *jetstream.StreamConfig) { c.MaxMsgsPerSubject = 1 },
		"max_msg_size":         func(c *jetstream.StreamConfig) { c.MaxMsgSize = 1000 },
		"allow_atomic":         func(c *jetstream.StreamConfig) { c.AllowAtomicPublish = false },
		"allow_rollup_hdrs":    func(c *jetstream.StreamConfig) { c.AllowRollup, c.DenyPurge = true, false },
		"allow_msg_ttl":        func(c *jetstream.StreamConfig) { c.AllowMsgTTL = true },
		"allow_msg_counter":    func(c *jetstream.StreamConfig) { c.AllowMsgCounter = true },
		"allow_msg_schedules":  func(c *jetstream.StreamConfig) { c.AllowMsgSchedules, c.DenyPurge = true, false },
		"subject_delete_marker_ttl": func(c *jetstream.StreamConfig) {
			c.SubjectDeleteMarkerTTL, c.AllowMsgTTL, c.AllowRollup, c.DenyPurge = time.Hour, true, true, false
		},
		"allow_direct": func(c *jetstream.StreamConfig) { c.AllowDirect = true },
		"mirror": func(c *jetstream.StreamConfig) {
			c.Mirror, c.Subjects, c.AllowAtomicPublish = &jetstream.StreamSource{Name: "OTHER"}, nil, false
		},
		"sources": func(c *jetstream.StreamConfig) { c.Sources = []*jetstream.StreamSource{{Name: "OTHER"}} },
		"subject_transform": func(c *jetstream.StreamConfig) {
			c.SubjectTransform = &jetstream.SubjectTransformConfig{Source: "pour.x.>", Destination: "pour.y.>"}
		},
		"first_seq":        func(c *jetstream.StreamConfig) { c.FirstSeq = 100 },
		"duplicate_window": func(c *jetstream.StreamConfig) { c.Duplicates = time.Minute },
		"sealed":           func(c *jetstream.StreamConfig) { c.Sealed = true },
	} {
		t.Run("spoilt "+field, func(t *testing.T) {
			srv := startServer(t, t.TempDir())
			hub := connectHub(t, srv)
			js, err := jetstream.New(hub)
			require.NoError(t, err)
			cfg := good()
			spoil(&cfg)
			sealed := cfg.Sealed // a stream can be sealed only after it was made
			cfg.Sealed = false
			_, err = js.CreateStream(testContext(t), cfg)
			require.NoError(t, err)
			if sealed {
				cfg.Sealed = true
				_, err = js.UpdateStream(testContext(t), cfg)
				require.NoError(t, err)
			}
			_, err = stream.Open(testContext(t), hub, stream.Config{})
			if field == "" {
				require.NoError(t, err, "the right configuration is refused")
				return
			}
			require.ErrorIs(t, err, stream.ErrConfig)
			require.ErrorContains(t, err, ": "+field+" is ")
		})
	}
}

func TestOpenRefusesOtherReplicas(t *testing.T) {
	r := run(t)
	_, err := stream.Open(testContext(t), r.hub, stream.Config{Replicas: 3})
	require.ErrorIs(t, err, stream.ErrConfig)
	require.ErrorContains(t, err, "num_replicas is 1, must be 3")
	_, err = stream.Open(testContext(t), r.hub, stream.Config{Replicas: 6})
	require.ErrorContains(t, err, "Replicas is 6")
}

func TestMessageBySequence(t *testing.T) {
	r := run(t)
	_, _, err := stream.PublishOne(testContext(t), r.hub, "pour.a.w1.pour.started", []byte("body"), "ed25519 k s")
	require.NoError(t, err)
	m, err := r.st.Message(testContext(t), 1)
	require.NoError(t, err)
	require.Equal(t, readAll(t, r.st)[0], m)
	require.Equal(t, "ed25519 k s", m.Signature)
	_, err = r.st.Message(testContext(t), 2)
	require.ErrorIs(t, err, stream.ErrNoMessage)
}
