package scheduler_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/scheduler"
)

// A floor under 48 hours is refused where events are decoded. Should one stand in
// the record all the same, set and countersigned by whoever it may be, it lowers
// nothing: the fold and the assessment each hold the floor by themselves.
func TestNoRecordLowersTheFloor(t *testing.T) {
	s := newStage()
	do := func(name string, w words, f func(*testing.T, words, string) string) {
		require.Empty(t, f(t, w, ""), name)
	}
	do("site", words{plain: []string{"alder"}}, s.runSite)
	for _, d := range []string{"phone-a", "probe-1"} {
		do("device", words{plain: []string{d}}, s.runDevice)
	}
	do("open", words{options: map[string][]string{"at": {"2026-05-04@06:00"}}}, s.runOpen)
	low := 24.0
	at := s.at(t, "2026-05-04@07:00")
	for i, data := range []events.Data{
		&events.SiteAmended{Policy: events.Policy{FloorH: &low, EquivalentH: &low}},
		&events.CriterionSet{FloorH: &low, EquivalentH: &low},
	} {
		e := events.Event{ID: []string{"low-policy", "low-criterion"}[i], Source: events.Source{Site: "alder", Device: "office"}, By: "p-boss", Time: at, Kind: []events.Kind{"site.amended", "criterion.set"}[i], Data: data}
		require.Error(t, e.Check(), "the first net")
		s.facts.take(e, at)
		s.facts.take(events.Event{ID: e.ID + "-signed", Source: e.Source, By: "p-second", Time: at, Kind: "record.countersigned", Data: &events.RecordCountersigned{Target: events.Target{Source: e.Source.String(), ID: e.ID}, Role: "engineer"}}, at)
	}
	do("pour", words{plain: []string{"w1"}, options: map[string][]string{"last": {"2026-05-04@10:00"}}}, s.runPour)
	do("probe", words{plain: []string{"probe-1", "top", "w1"}, options: map[string][]string{"from": {"2026-05-04@10:00"}, "to": {"2026-05-07@10:00"}, "c": {"35"}}}, s.runProbe)

	zero := s.at(t, "2026-05-04@10:00")
	require.EqualValues(t, site.FloorS, s.facts.fold("alder").site.Policy.FloorS)
	require.EqualValues(t, site.FloorS, s.facts.fold("alder").site.Policy.AgeS)
	for hours := 20; hours <= 60; hours++ {
		now := zero.Add(time.Duration(hours) * time.Hour)
		f := s.facts.known(now).fold("alder")
		a := scheduler.Assess(f.site, f.devices, f.walls["w1"], scheduler.Hub{}, now)
		floor := a.Strip.Criteria[1]
		require.Equal(t, "floor", floor.Name)
		require.Equal(t, hours >= 48, floor.Met, "%d hours", hours)
		require.Equal(t, zero.Add(48*time.Hour), floor.MetAt)
		require.Equal(t, "48", floor.Need)
		require.Equal(t, "48", a.Strip.Criteria[2].Need, "equivalent age")
	}
}
