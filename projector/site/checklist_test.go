package site_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

var checklistDay = time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)

// entry is an event of a site's office by a person, recorded at once.
func entry(n int, from, by string, kind events.Kind, data events.Data) wall.Fact {
	at := checklistDay.Add(time.Duration(n) * time.Minute)
	return wall.Fact{Event: events.Event{ID: fmt.Sprint("e", n), Source: events.Source{Site: from, Device: "office"}, Kind: kind, Time: at, By: by, Sequence: uint64(n), HasOffset: true, Data: data},
		Seq: uint64(n), Recorded: at}
}

// What is added to a check list counts at once, what is waived when a second
// person has let it; what the whole company adds holds on every site.
func TestAWaiverWaitsForASecondPerson(t *testing.T) {
	change := func(what, item string) *events.ChecklistAmended {
		return &events.ChecklistAmended{List: "before", Item: item, Change: what, Text: "x", Reason: "y"}
	}
	s := site.New("alder")
	s.Add(entry(1, "alder", "p-1", "checklist.amended", change("add", "own")),
		entry(2, "alder", "p-1", "checklist.amended", change("waive", "bar-cover")),
		entry(3, "_", "p-1", "checklist.amended", change("add", "ours")))
	items := func() (out []string) {
		for _, c := range s.Checklist {
			out = append(out, c.Change+" "+c.Item+" "+c.By)
		}
		return out
	}
	require.Equal(t, []string{"add own p-1", "add ours p-1"}, items())
	sign := func(n int, by string) wall.Fact {
		return entry(n, "alder", by, "record.countersigned", &events.RecordCountersigned{Target: events.Target{Source: "/site/alder/device/office", ID: "e2"}, Role: "officer"})
	}
	s.Add(sign(4, "p-1"))
	require.Len(t, items(), 2, "the same person is no second one")
	s.Add(sign(5, "p-2"))
	require.Equal(t, []string{"add own p-1", "waive bar-cover p-1", "add ours p-1"}, items())
}

// A crew's last word on its vibrators counts; without a crew it is every crew's.
func TestVibratorsAreKeptByCrew(t *testing.T) {
	s := site.New("alder")
	head := func(mm float64, crew string) *events.VibratorDeclared {
		return &events.VibratorDeclared{Crew: crew, HeadMM: &mm}
	}
	s.Add(entry(1, "alder", "", "vibrator.declared", head(38, "crew-a")), entry(2, "alder", "", "vibrator.declared", head(50, "")), entry(3, "alder", "", "vibrator.declared", head(25, "crew-a")))
	require.Equal(t, 25, s.Vibrators["crew-a"].HeadMM)
	require.Equal(t, 50, s.Vibrators[""].HeadMM)
	require.Equal(t, 1, s.Vibrators[""].Count)
}

// The longer time for form faces and the asking for check lists are the safe
// sides; the other way a change waits for a second person.
func TestFacesAndChecksInThePolicy(t *testing.T) {
	s := site.New("alder")
	require.True(t, s.Policy.ChecksNeeded)
	require.Zero(t, s.Policy.FaceS)
	amend := func(n int, hours float64, checks bool) {
		s.Add(entry(n, "alder", "p-1", "site.amended", &events.SiteAmended{Policy: events.Policy{FaceH: &hours, ChecksNeeded: &checks}, Reason: "x"}))
	}
	sign := func(n int, id string) {
		s.Add(entry(n, "alder", "p-2", "record.countersigned", &events.RecordCountersigned{Target: events.Target{Source: "/site/alder/device/office", ID: id}, Role: "officer"}))
	}
	stands := func(hours int64, checks bool, when string) {
		t.Helper()
		require.Equal(t, []any{hours * 3600, checks}, []any{s.Policy.FaceS, s.Policy.ChecksNeeded}, when)
	}
	amend(1, 24, false)
	stands(24, true, "longer faces at once, no lists not yet")
	sign(2, "e1")
	stands(24, false, "countersigned")
	amend(3, 12, true)
	stands(24, true, "the lists at once, shorter faces not yet")
	sign(4, "e3")
	stands(12, true, "countersigned")
}
