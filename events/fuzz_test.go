package events_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
)

// What decodes is written anew and read back the same; what does not is refused
// with a field and with what is allowed. Nothing panics.
func FuzzDecode(f *testing.F) {
	for _, kind := range events.Kinds() {
		f.Add(string(sampleBody(kind)))
	}
	f.Add(`{"specversion":"1.0","id":"1","source":"/site/_/device/p","type":"earlyage.pour.started.v1","subject":"_","time":"2026-01-12T08:00:00.5+05:30","sequence":7}`)
	f.Add(`{"data":{"at":null},"type":"earlyage.pour.started.v1"`)
	f.Fuzz(func(t *testing.T, body string) {
		events.Peek([]byte(body))
		_, err := events.Decode("", []byte(body))
		if err == nil {
			roundTrip(t, []byte(body))
			return
		}
		var ref *events.Refusal
		require.ErrorAs(t, err, &ref)
		require.NotEmpty(t, ref.Field)
		require.NotEmpty(t, ref.Allowed)
		require.LessOrEqual(t, len(ref.Value), 64)
	})
}

// What parses is what an event of that site, wall and kind is published to.
func FuzzParseSubject(f *testing.F) {
	for _, s := range []string{"pour.north.w1.lift.placed", "pour._._.mix.approved", "pour.north._.site.opened", "pour.north.w1.lift", "..._.", "pour.a..b.c",
		"probe.north.probe-3.w1.temperature.read", "probe._.station-1._.weather.forecast", "probe.north._.w1.wind.read", "probe.north.probe-3.w1.wind", "probe.a.b.c.d.e.f", "probe.....", "pour.north.probe-3.w1.wind.read"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		sub, err := events.ParseSubject(s)
		if err != nil {
			var ref *events.Refusal
			require.ErrorAs(t, err, &ref)
			return
		}
		require.True(t, sub.Site == "_" || events.IsToken(sub.Site))
		require.True(t, sub.Wall == "" || events.IsToken(sub.Wall))
		e := events.Event{Source: events.Source{Site: sub.Site, Device: sub.Probe}, Wall: sub.Wall, Kind: sub.Kind}
		if sub.Probe == "" {
			require.Equal(t, s, e.Subject())
			return
		}
		require.True(t, events.IsToken(sub.Probe))
		require.Equal(t, s, events.ProbeSubject(e))
	})
}

// What parses is written as it was read.
func FuzzParseSource(f *testing.F) {
	for _, s := range []string{"/site/north/device/phone-7", "/site/_/device/hub", "/site//device/", "/site/device/device/device", "/site/a/device/device/x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		src, err := events.ParseSource(s)
		if err != nil {
			var ref *events.Refusal
			require.ErrorAs(t, err, &ref)
			return
		}
		require.Equal(t, s, src.String())
		require.True(t, events.IsToken(src.Device))
	})
}

// What arguments make is what Decode takes.
func FuzzFromArgs(f *testing.F) {
	for _, args := range []string{
		"from_m=0\nto_m=6.5ft\ntop_m=0.6\nbegan=2026-01-12T07:51", "when=after\npoints=0:2,3:-1", "when=after\npoints.0.at_m=0\npoints.0.off_mm=2",
		"place=top\nseries=2026-01-12T08:00:14.25", "hours=2026-01-12T08:03:18:5", "braces=b1,b2\nsound=false", "reason=x\npolicy.floor_h=60",
		"kind=lift.placed\ndata.from_m=0\ntarget.id=7", "data={\"a\":1}", "at=2026-03-08T02:30", "walls=w1:40", "=\n..=.\npoints..=1",
	} {
		f.Add(args, uint8(30))
	}
	loc, err := time.LoadLocation("America/New_York")
	require.NoError(f, err)
	kinds := events.Kinds()
	f.Fuzz(func(t *testing.T, args string, k uint8) {
		kind := kinds[int(k)%len(kinds)]
		hook := func(unit, text string) (float64, bool) {
			return math.NaN(), strings.HasSuffix(text, "ft")
		}
		d, err := events.FromArgs(kind, strings.Split(args, "\n"), events.Args{Location: loc, ParseQuantity: hook})
		if err != nil {
			var ref *events.Refusal
			require.ErrorAs(t, err, &ref)
			require.NotEmpty(t, ref.Allowed)
			return
		}
		raw, err := events.EncodeData(d)
		require.NoError(t, err)
		again, err := events.DecodeData(kind, raw)
		require.NoError(t, err)
		require.Equal(t, d, again)
	})
}
