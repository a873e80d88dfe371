package routes_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/notify/routes"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// crowd is who works where; those of site "_" work on every site.
type crowd map[string]map[string][]events.Role

func (c crowd) People(site string) (list []notice.Reader) {
	roles := map[string][]events.Role{}
	for _, at := range slices.Compact([]string{site, "_"}) {
		for person, held := range c[at] {
			roles[person] = append(roles[person], held...)
		}
	}
	for person, held := range roles {
		list = append(list, notice.Reader{Person: person, Roles: held, Devices: []events.Source{{Site: site, Device: person}}})
	}
	return list
}

var builder = crowd{
	"mill": {"p-cy": {events.Crew}, "p-cal": {events.Crew}, "p-fay": {events.Foreman}, "p-ola": {events.Officer}, "p-eng": {events.Engineer}},
	"quay": {"p-fox": {events.Foreman}},
	"_":    {"p-dee": {events.Dispatcher}, "p-kim": {events.Keeper}},
}

var sites = []string{"mill", "quay"}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

func parse(t *testing.T, text string) *routes.File {
	t.Helper()
	f, err := routes.Parse("r.yaml", []byte(text), builder, sites)
	require.NoError(t, err)
	return f
}

func alert(kind, site string) notice.Notice {
	return notice.Notice{State: notice.Raised, Kind: kind, Site: site, Priority: desk.Urgent}
}

// written is a ladder in one line for each rung.
func written(ladder []desk.Rung) (lines []string) {
	for _, g := range ladder {
		line := g.After.String()
		for _, c := range g.Choices {
			line += " " + c.Person
		}
		lines = append(lines, line)
	}
	return lines
}

func persons(list []desk.Choice) string {
	var names []string
	for _, c := range list {
		names = append(names, c.Person)
	}
	return strings.Join(names, " ")
}
