package demo

import (
	"strings"

	"earlyage/events"
)

// maker turns entries into events that want only an id and a number.
type maker struct {
	*script
	*climate
	labels map[string]events.Target
}

func newMaker(s *script, c *climate) *maker {
	return &maker{script: s, climate: c, labels: map[string]events.Target{}}
}

// sent notes the event that an entry became, for those that name it later.
func (m *maker) sent(e entry, ev events.Event) {
	if e.label != "" {
		m.labels[e.label] = events.Target{Source: ev.Source.String(), ID: ev.ID}
	}
}

// event makes the event of an entry. Events that it names must have been sent.
func (m *maker) event(e entry) (events.Event, error) {
	ev := events.Event{
		Source: events.Source{Site: e.device.site, Device: e.device.device},
		Kind:   events.Kind(e.kind), Wall: e.wall, By: e.by, Time: e.at.UTC(),
	}
	var err error
	switch e.kind {
	case readings:
		ev.Kind = "temperature.read"
		ev.Data, err = m.data(m.script, e)
	case forecast:
		ev.Kind = "weather.forecast"
		ev.Data, err = m.data(m.script, e)
	default:
		ev.Data, err = events.FromArgs(ev.Kind, m.named(e.pairs), events.Args{})
	}
	return ev, err
}

// named puts events in the place of their labels.
func (m *maker) named(pairs []string) []string {
	var out []string
	for _, pair := range pairs {
		key, value, _ := strings.Cut(pair, "=")
		label, ok := strings.CutPrefix(value, "$")
		if !ok {
			out = append(out, pair)
			continue
		}
		target := m.labels[label]
		out = append(out, key+".source="+target.Source, key+".id="+target.ID)
	}
	return out
}
