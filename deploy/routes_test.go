package deploy_test

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/routes"
)

// builder is who works for the invented builder of routes.yaml.
type builder struct{}

func (builder) People(site string) []notice.Reader {
	person := func(id string, roles ...events.Role) notice.Reader {
		return notice.Reader{Person: id, Roles: roles, Mail: id + "@builder.example", Devices: []events.Source{{Site: site, Device: id}}}
	}
	list := []notice.Reader{person("p-dana", events.Dispatcher), person("p-keith", events.Keeper)}
	switch site {
	case "harbour-row":
		list = append(list, person("p-adebayor", events.Crew), person("p-quinnell", events.Foreman), person("p-tamsin", events.Crew), person("p-odile", events.Officer))
	case "mill-lane":
		list = append(list, person("p-farid", events.Foreman), person("p-engel", events.Engineer))
	}
	return list
}

func TestRouteFile(t *testing.T) {
	data, err := os.ReadFile("routes.yaml")
	require.NoError(t, err)
	f, err := routes.Parse("routes.yaml", data, builder{}, []string{"harbour-row", "mill-lane"})
	require.NoError(t, err)
	_, err = routes.Parse("routes.yaml", data, nil, nil)
	require.NoError(t, err, "its form alone")

	zone, err := time.LoadLocation("America/Halifax")
	require.NoError(t, err)
	rota := f.Rota(builder{}, func(string) *time.Location { return zone })
	who := func(kind, priority, site string, at time.Time) (names []string) {
		for _, rung := range rota.Ladder(notice.Notice{State: notice.Raised, Kind: kind, Priority: priority, Site: site}, at) {
			line := rung.After.String()
			for _, c := range rung.Choices {
				line += " " + c.Person + ":" + strings.Join(c.Channels, "+")
			}
			names = append(names, line)
		}
		return names
	}
	thursday := time.Date(2026, 3, 5, 23, 0, 0, 0, zone)
	require.Equal(t, []string{
		"0s p-adebayor:phone p-quinnell:phone", "2m0s p-quinnell:phone+mail", "5m0s p-odile:phone+mail hook-office-screen:hook", "10m0s p-dana:phone+mail",
	}, who("pressure-high", "urgent", "harbour-row", thursday))
	require.Equal(t, "0s p-tamsin:phone", who("pressure-high", "urgent", "harbour-row", thursday.AddDate(0, 0, 1))[0], "Friday's watch")
	require.Equal(t, []string{"0s p-farid:phone+mail", "1m30s p-engel:phone+mail", "5m0s p-dana:phone+mail"}, who("frozen", "high", "mill-lane", thursday))
	silent := notice.Notice{Kind: "probe-silent", Priority: "low", Site: "mill-lane"}
	require.Equal(t, time.Date(2026, 3, 6, 6, 0, 0, 0, zone).UTC(), rota.Quiet(silent, "p-farid", thursday).UTC())
	saturday := time.Date(2026, 3, 7, 12, 0, 0, 0, zone)
	require.False(t, rota.Quiet(silent, "p-quinnell", saturday).IsZero())
	silent.Kind = "event-refused"
	require.True(t, rota.Quiet(silent, "p-quinnell", saturday).IsZero(), "of some kinds alone")
}
