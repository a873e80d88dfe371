package wall_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
)

// A pour that was resumed after its finish is not finished, and one person alone
// cannot say that it was resumed before.
func TestAResumeMovedBeforeTheFinishWaitsForASecondPerson(t *testing.T) {
	seq := uint64(0)
	fact := func(after time.Duration, by string, kind events.Kind, data events.Data) wall.Fact {
		seq++
		at := spoken.Add(after)
		body, err := events.Event{
			ID: fmt.Sprint("e-", seq), Source: events.Source{Site: "mill", Device: "phone"}, Kind: kind, Wall: "a", Time: at, By: by, Sequence: seq, HasOffset: true, Data: data,
		}.Encode()
		require.NoError(t, err)
		e, err := events.Decode("", body)
		require.NoError(t, err)
		return wall.Fact{Seq: seq, Recorded: at.Add(time.Second), Event: e}
	}
	of := func(f wall.Fact) events.Target {
		return events.Target{Source: f.Source.String(), ID: f.ID}
	}
	resumed := fact(30*time.Hour, "p-1", "pour.resumed", &events.Moment{})
	before := []wall.Fact{fact(0, "p-1", "pour.started", &events.Moment{}), fact(2*time.Hour, "p-1", "pour.finished", &events.Moment{}), resumed}
	moved := fact(31*time.Hour, "p-1", "record.amended", &events.RecordAmended{
		Target: of(resumed), Kind: "pour.resumed", Data: []byte(`{"at":"` + spoken.Add(time.Hour).Format(time.RFC3339) + `"}`), Reason: "typed wrongly",
	})
	signed := fact(32*time.Hour, "p-2", "record.countersigned", &events.RecordCountersigned{Target: of(moved), Role: "officer"})
	finished := func(rt *rapid.T, facts ...wall.Fact) bool {
		w := wall.New("mill", "a")
		for _, f := range rapid.Permutation(facts).Draw(rt, "facts") {
			w.Add(f)
		}
		return w.Pour.Finished != 0
	}
	rapid.Check(t, func(rt *rapid.T) {
		require.True(rt, finished(rt, before[:2]...))
		require.False(rt, finished(rt, before...))
		require.False(rt, finished(rt, append(before[:3:3], moved)...), "one person alone")
		require.True(rt, finished(rt, append(before[:3:3], moved, signed)...), "and a second")
	})
}
