package events_test

import (
	"encoding/json"
	"testing"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"
	"github.com/stretchr/testify/require"

	"earlyage/events"
)

// The CloudEvents SDK, a foreign reader, finds every attribute and extension
// of every kind, and writes what we read back the same.
func TestForeignReaderReadsAndWritesEveryKind(t *testing.T) {
	for _, kind := range events.Kinds() {
		want := sample(kind)
		want.Recorded = at(18, 4)
		body, err := want.Encode()
		require.NoError(t, err)

		var foreign cloudevents.Event
		require.NoError(t, json.Unmarshal(body, &foreign), kind)
		require.NoError(t, foreign.Validate(), kind)
		require.Equal(t, "1.0", foreign.SpecVersion())
		require.Equal(t, want.ID, foreign.ID())
		require.Equal(t, want.Source.String(), foreign.Source())
		require.Equal(t, kind.Type(), foreign.Type())
		require.Equal(t, want.Wall, foreign.Subject())
		require.True(t, want.Time.Equal(foreign.Time()))
		require.Equal(t, "application/json", foreign.DataContentType())
		extensions := map[string]any{"sequence": "00000000000000000032", "clockoffset": "-420", "recordedtime": "2026-01-12T18:04:00Z"}
		if want.WallSequence != 0 {
			extensions["wallsequence"] = "00000000000000000031"
		}
		if want.By != "" {
			extensions["by"] = "p-4f2a"
		}
		require.Equal(t, extensions, foreign.Extensions(), kind)
		data, err := events.EncodeData(want.Data)
		require.NoError(t, err)
		require.JSONEq(t, string(data), string(foreign.Data()))

		written, err := json.Marshal(foreign)
		require.NoError(t, err)
		got, err := events.Decode(want.Subject(), written)
		require.NoError(t, err, "%s", written)
		sameEvent(t, want, got)
	}
}

// A program that knows only the SDK and our schema publishes an event of its
// own, with extensions of the SDK's types and one that we do not know.
func TestForeignWriter(t *testing.T) {
	foreign := cloudevents.New()
	foreign.SetID("A234-1234-1234")
	foreign.SetSource("/site/north/device/probe-3")
	foreign.SetType("earlyage.temperature.read.v1")
	foreign.SetSubject("w1")
	foreign.SetTime(time.Date(2026, 1, 12, 13, 5, 0, 0, time.FixedZone("EST", -5*3600)))
	foreign.SetExtension("sequence", 17)
	foreign.SetExtension("wallsequence", "16")
	foreign.SetExtension("clockoffset", -420)
	foreign.SetExtension("traceparent", "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01")
	foreign.SetExtension("sampled", true)
	require.NoError(t, foreign.SetData("application/json", map[string]any{"place": "core", "celsius": 21.5, "at": "2026-01-12T13:00:00-05:00"}))
	require.NoError(t, foreign.Validate())
	body, err := json.Marshal(foreign)
	require.NoError(t, err)

	got, err := events.Decode("pour.north.w1.temperature.read", body)
	require.NoError(t, err, "%s", body)
	require.Equal(t, events.Event{
		ID: "A234-1234-1234", Source: events.Source{Site: "north", Device: "probe-3"}, Kind: "temperature.read", Wall: "w1", Time: at(18, 5),
		Sequence: 17, WallSequence: 16, ClockOffset: -420 * time.Millisecond, HasOffset: true,
		Data: &events.TemperatureRead{Place: "core", Celsius: new(21.5), At: at(18, 0)},
	}, got)
	require.Nil(t, contractOf(t, "temperature.read").agree(t, decoded(t, body)))
}

// Data that the SDK writes as text or bytes would be lost: it is refused.
func TestForeignWriterOfOtherData(t *testing.T) {
	for contentType, field := range map[string]string{"text/plain": "datacontenttype", "application/octet-stream": "datacontenttype"} {
		foreign := cloudevents.New()
		foreign.SetID("1")
		foreign.SetSource("/site/north/device/probe-3")
		foreign.SetType("earlyage.pour.finished.v1")
		foreign.SetSubject("w1")
		foreign.SetTime(at(18, 5))
		require.NoError(t, foreign.SetData(contentType, []byte(`{"at":"2026-01-12T13:00:00Z"}`)))
		body, err := json.Marshal(foreign)
		require.NoError(t, err)
		_, err = events.Decode("", body)
		refused(t, err, field, contentType, "application/json")
	}
}
