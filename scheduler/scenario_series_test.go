package scheduler_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/wall"
)

// curve reads numbers, equally far apart in time and straight between.
func curve(t *testing.T, texts []string) func(share float64) float64 {
	var v []float64
	for _, x := range texts {
		f, err := strconv.ParseFloat(x, 64)
		require.NoError(t, err)
		v = append(v, f)
	}
	require.NotEmpty(t, v)
	return func(share float64) float64 {
		at := share * float64(len(v)-1)
		i := min(int(at), max(0, len(v)-2))
		if len(v) == 1 {
			return v[0]
		}
		return v[i] + (v[i+1]-v[i])*(at-float64(i))
	}
}

func (s *stage) span(t *testing.T, w words) (from, to time.Time, every time.Duration) {
	from = s.at(t, w.get("from", ""))
	to = s.at(t, w.get("to", ""))
	every, err := time.ParseDuration(w.get("every", "15m"))
	require.NoError(t, err)
	return from, to, every
}

// runProbe records one reading after another, each as it is made, to a tenth
// of a degree.
func (s *stage) runProbe(t *testing.T, w words, _ string) string {
	d := s.device(t, w.plain[0])
	from, to, every := s.span(t, w)
	c := curve(t, w.options["c"])
	for at := from; !at.After(to); at = at.Add(every) {
		celsius := c(float64(at.Sub(from)) / max(1, float64(to.Sub(from))))
		e := events.Event{Source: events.Source{Site: s.site, Device: d.name}, Time: at.Add(d.fast).UTC(), Kind: "temperature.read",
			Wall: strings.TrimPrefix(w.plain[2], "-"), By: w.get("by", ""),
			Data: &events.TemperatureRead{Place: w.plain[1], At: at.Add(d.fast).UTC(), Celsius: &celsius, Instrument: w.get("instrument", "")}}
		require.NoError(t, s.stamp(d, e, at.Add(time.Second)))
	}
	return ""
}

func (s *stage) runForecast(t *testing.T, w words, _ string) string {
	d := s.device(t, w.plain[0])
	from, to, _ := s.span(t, w)
	issued := s.at(t, w.get("issued", from.Format("2006-01-02@15:04")))
	c := curve(t, w.options["c"])
	data := &events.WeatherForecast{Issued: issued.UTC()}
	for at := from; !at.After(to); at = at.Add(time.Hour) {
		share := float64(at.Sub(from)) / max(1, float64(to.Sub(from)))
		h := events.ForecastHour{At: at.UTC()}
		celsius := c(share)
		h.Celsius = &celsius
		if gusts := w.options["gust"]; gusts != nil {
			gust := curve(t, gusts)(share)
			h.GustMPS = &gust
		}
		data.Hours = append(data.Hours, h)
	}
	e := events.Event{Source: events.Source{Site: s.site, Device: d.name}, Time: issued.UTC(), Kind: "weather.forecast", Data: data}
	require.NoError(t, s.stamp(d, e, issued.Add(time.Second)))
	return ""
}

func (s *stage) runRefuse(t *testing.T, w words, _ string) string {
	d := s.device(t, w.plain[0])
	s.facts.seq++
	r := refusal{wall: w.get("wall", ""), device: d.name}
	r.Refused = wall.Refused{Seq: s.facts.seq, Recorded: s.at(t, w.get("at", "")).UTC(), ID: "r", Source: events.Source{Site: s.site, Device: d.name}.String(), Field: w.get("field", "body"), Reason: strings.ReplaceAll(w.get("reason", "wrong"), "-", " ")}
	if n := w.get("number", ""); n != "" {
		v, err := strconv.ParseUint(n, 10, 64)
		require.NoError(t, err)
		r.number, d.number = v, max(d.number, v)
	}
	s.facts.refused = append(s.facts.refused, r)
	return "message " + strconv.FormatUint(s.facts.seq, 10)
}
