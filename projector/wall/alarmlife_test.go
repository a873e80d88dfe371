package wall_test

import (
	"cmp"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// The state diagram of an alarm after IEC 62682 (from memory of the standard),
// without the two states that put it aside: a word leads from a state to another,
// and one that has no arrow there changes nothing. "acknowledge" is a person's;
// "return" is the hub's word that the condition is gone. What latches waits for its
// answer in a state of its own; of a deed, which is past when it is raised, the
// hub's word is the reset.
var diagram = map[string]map[string]map[string]string{
	"plain": {
		"":                        {"raise": "unacknowledged"},
		"unacknowledged":          {"acknowledge": "acknowledged", "return": "returned unacknowledged"},
		"acknowledged":            {"return": "normal"},
		"returned unacknowledged": {"acknowledge": "normal"},
		"normal":                  {},
	},
	"latching": {
		"":                       {"raise": "unacknowledged"},
		"unacknowledged":         {"acknowledge": "acknowledged", "return": "latched unacknowledged"},
		"acknowledged":           {"return": "normal"},
		"latched unacknowledged": {"acknowledge": "normal"},
		"normal":                 {},
	},
	"deed": {
		"":                              {"raise": "latched unacknowledged"},
		"latched unacknowledged":        {"acknowledge": "latched acknowledged", "return": "latched unacknowledged, reset"},
		"latched unacknowledged, reset": {"acknowledge": "normal"},
		"latched acknowledged":          {"return": "normal"},
		"normal":                        {},
	},
}

func classOf(kind string) string {
	switch kind {
	case "strip-early", "strip-unpermitted", "face-early":
		return "deed"
	case "joint-cold", "frozen":
		return "latching"
	}
	return "plain"
}

// lifeAlarm is one alarm of the model.
type lifeAlarm struct{ id, kind, cause string }

var lifeAlarms = []lifeAlarm{
	{"a", "joint-closing", "w 0..2 m"}, {"b", "frozen", "w"}, {"c", "strip-early", "b1"}, {"d", "probe-silent", "t1"}, {"e", "probe-silent", "t2"},
}

// stateOf walks the diagram, then asks the last words whether it is put aside. It
// knows nothing of folding: it reads the whole record, in the order of the stream,
// for every question.
func stateOf(x lifeAlarm, record []wall.Fact, now time.Time) (state string, shelf, answered bool) {
	var shelved, rest, restAll func() bool
	for _, f := range afterRaising(x, record) {
		word := ""
		switch d := f.Data.(type) {
		case *events.AlertRaised:
			if f.Trusted && d.Alert == x.id {
				word = "raise"
			}
		case *events.AlertCleared:
			if f.Trusted && d.Alert == x.id {
				word = "return"
			}
		case *events.AlertAcknowledged:
			if d.Alert == x.id && (d.Kind == x.kind || d.Kind == "") {
				word, answered = "acknowledge", true
			}
		case *events.AlertShelved:
			if d.Alert == x.id && (d.Kind == x.kind || d.Kind == "") {
				shelved = func() bool { return aside(f, d.At, d.Until, 8*time.Hour, now) }
			}
		case *events.AlertUnshelved:
			if d.Alert == x.id && d.Kind == x.kind {
				shelved = nil
			}
		case *events.AlertOutOfService:
			if holds := func() bool { return aside(f, d.At, d.Until, 7*24*time.Hour, now) }; d.Kind == x.kind && d.Cause == "" {
				restAll = holds
			} else if d.Kind == x.kind && d.Cause == x.cause {
				rest = holds
			}
		case *events.AlertInService:
			if d.Kind == x.kind && d.Cause == "" {
				rest, restAll = nil, nil
			} else if d.Kind == x.kind && d.Cause == x.cause {
				rest = nil
			}
		}
		if next, arrow := diagram[classOf(x.kind)][state][word]; arrow {
			state = next
		}
	}
	shelf = shelved != nil && shelved()
	switch {
	case state == "" || state == "normal":
	case rest != nil && rest() || restAll != nil && restAll():
		state = "out of service"
	case shelf:
		state = "shelved"
	}
	return trimReset(state), shelf, answered
}

// afterRaising is the record with the answers to an alarm behind the word that
// raised it: people may answer before the stream has it.
func afterRaising(x lifeAlarm, record []wall.Fact) (list []wall.Fact) {
	raise := slices.IndexFunc(record, func(f wall.Fact) bool {
		d, is := f.Data.(*events.AlertRaised)
		return is && f.Trusted && d.Alert == x.id
	})
	if raise < 0 {
		return nil
	}
	var answers []wall.Fact
	for _, f := range record[:raise+1] {
		switch f.Data.(type) {
		case *events.AlertAcknowledged, *events.AlertShelved, *events.AlertUnshelved:
			answers = append(answers, f)
		default:
			list = append(list, f)
		}
	}
	return slices.Concat(list, answers, record[raise+1:])
}

// aside reports whether a word still puts something aside: for no longer than it
// says, counted from its recording, and never past the moment that it names.
func aside(f wall.Fact, at, until time.Time, most time.Duration, now time.Time) bool {
	if now.Sub(f.Recorded) < most && now.Sub(f.Recorded) < until.Sub(at) {
		return now.Before(until)
	}
	return false
}

func trimReset(state string) string {
	if state == "latched unacknowledged, reset" {
		return "latched unacknowledged"
	}
	return state
}

// drawWord draws a word that somebody may say of an alarm.
func drawWord(rt *rapid.T, seq uint64, recorded time.Time) wall.Fact {
	x := rapid.SampledFrom(lifeAlarms).Draw(rt, "of")
	kind := rapid.SampledFrom([]string{x.kind, x.kind, x.kind, "", "wind-high"}).Draw(rt, "as")
	hours := func(least, most int, label string) time.Duration {
		return time.Duration(rapid.IntRange(least*4, most*4).Draw(rt, label)) * 15 * time.Minute
	}
	at := recorded.Add(hours(-10, 10, "at"))
	cause := rapid.SampledFrom([]string{x.cause, ""}).Draw(rt, "cause")
	var d events.Data
	switch rapid.SampledFrom([]string{"raise", "raise", "raise", "clear", "answer", "shelve", "unshelve", "rest", "resume", "shown", "told"}).Draw(rt, "word") {
	case "raise":
		d = &events.AlertRaised{Alert: x.id, Kind: x.kind, Cause: x.cause, Priority: "urgent", Since: at, Text: fmt.Sprint("said by ", seq), Rules: "r"}
	case "clear":
		d = &events.AlertCleared{Alert: x.id, Kind: x.kind, Cause: x.cause, At: at, Rules: "r"}
	case "answer":
		d = &events.AlertAcknowledged{Alert: x.id, Kind: kind}
	case "shelve":
		d = &events.AlertShelved{Alert: x.id, Kind: kind, At: at, Until: at.Add(hours(1, 8, "for")), Reason: "r"}
	case "unshelve":
		d = &events.AlertUnshelved{Alert: x.id, Kind: cmp.Or(kind, x.kind)}
	case "rest":
		d = &events.AlertOutOfService{Kind: x.kind, Cause: cause, At: at, Until: at.Add(hours(1, 168, "for")), Reason: "r"}
	case "resume":
		d = &events.AlertInService{Kind: x.kind, Cause: cause}
	case "shown":
		d = &events.AlertShown{Alert: x.id, Kind: cmp.Or(kind, x.kind), State: "raised", At: at}
	case "told":
		d = &events.AlertTold{Message: fmt.Sprint("m-", seq), Alerts: []string{x.id}, What: "raised", Channel: "mail", Outcome: "accepted", Text: "t", At: at}
	}
	f := said(seq, rapid.IntRange(0, 7).Draw(rt, "trusted") > 0, d)
	f.Recorded, f.By, f.Source.Device = recorded, fmt.Sprint("p-", seq%3), fmt.Sprint("phone-", seq%3)
	return f
}

// Random words, in random batches and any order, some of them twice, give at any
// later moment the state that the diagram gives of the same record.
func TestTheLifeOfAnAlarmFollowsTheDiagram(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var record []wall.Fact
		recorded := spoken
		for n := range rapid.IntRange(1, 40).Draw(rt, "words") {
			recorded = recorded.Add(time.Duration(rapid.IntRange(0, 90).Draw(rt, "minutes")) * time.Minute)
			record = append(record, drawWord(rt, uint64(n+1), recorded))
		}
		w := wall.New("mill", "a")
		rest := rapid.Permutation(record).Draw(rt, "order")
		if rapid.Bool().Draw(rt, "as they come") {
			rest = record
		}
		for len(rest) > 0 {
			n := rapid.IntRange(1, len(rest)).Draw(rt, "batch")
			w.Add(rest[:n]...)
			w.Alarms() // a reader between the batches
			w.Add(rest[0])
			rest = rest[n:]
		}
		now := recorded.Add(time.Duration(rapid.IntRange(0, 200*60).Draw(rt, "later")) * time.Minute)
		resting := func(kind, cause string, at int64) bool { _, is := wall.Resting(w.Rests(), kind, cause, at); return is }
		alarms := w.Alarms()
		for _, x := range lifeAlarms {
			for _, now := range []time.Time{recorded, now, recorded.Add(8 * time.Hour), recorded.Add(7 * 24 * time.Hour)} {
				want, shelved, answered := stateOf(x, record, now)
				i := slices.IndexFunc(alarms, func(a wall.Alarm) bool { return a.ID == x.id })
				require.Equal(rt, want == "", i < 0, "%s is raised", x.id)
				if i < 0 {
					continue
				}
				a := &alarms[i]
				got := a.StateAt(now.UnixMilli(), resting)
				require.Equal(rt, want, got, "%s of %s at %s", a.ID, a.Kind, now)
				require.Equal(rt, shelved, a.ShelvedAt(now.UnixMilli()), "%s is shelved", a.ID)
				require.LessOrEqual(rt, a.ShelvedUntil-a.ShelvedFrom, (8 * time.Hour).Milliseconds())
				require.False(rt, a.ShelvedAt(recorded.Add(8*time.Hour).UnixMilli()), "over 8 h after the last word")
				require.Equal(rt, answered, a.Acknowledged != 0)
				if !answered { // whatever else was said
					require.Contains(rt, []string{"unacknowledged", "returned unacknowledged", "latched unacknowledged", "shelved", "out of service"}, got)
					require.True(rt, a.Stands() || classOf(a.Kind) == "plain" && a.Cleared())
				}
			}
		}
	})
}

// Every row of up to four of the words that lead from state to state, and after it
// one that puts the alarm aside or none: no state of the diagram is left out.
func TestEveryArrowOfTheDiagramIsTaken(t *testing.T) {
	seen := map[string]bool{}
	for _, x := range append(lifeAlarms, lifeAlarm{"f", "face-early", "inner"}, lifeAlarm{"g", "joint-cold", "w 0..2 m"}) {
		words := []events.Data{
			&events.AlertRaised{Alert: x.id, Kind: x.kind, Cause: x.cause, Priority: "urgent", Since: spoken, Text: "t", Rules: "r"},
			&events.AlertCleared{Alert: x.id, Kind: x.kind, Cause: x.cause, At: spoken, Rules: "r"},
			&events.AlertAcknowledged{Alert: x.id, Kind: x.kind},
			&events.AlertShelved{Alert: x.id, Kind: x.kind, At: spoken, Until: spoken.Add(time.Hour), Reason: "r"},
			&events.AlertOutOfService{Kind: x.kind, At: spoken, Until: spoken.Add(time.Hour), Reason: "r"},
		}
		for row := range 3 * 3 * 3 * 3 * 3 {
			var record []wall.Fact
			for seq, rest := uint64(1), row; seq <= 4; seq, rest = seq+1, rest/3 {
				record = append(record, said(seq, true, words[rest%3]))
			}
			if last := row / 81; last > 0 && (last == 1 || events.MayRest(x.kind)) {
				record = append(record, said(5, false, words[2+last]))
			}
			w := wall.New("mill", "a")
			w.Add(record...)
			want, _, _ := stateOf(x, record, spoken)
			seen[classOf(x.kind)+": "+want] = true
			if want == "" {
				require.Empty(t, w.Alarms())
				continue
			}
			resting := func(kind, cause string, at int64) bool { _, is := wall.Resting(w.Rests(), kind, cause, at); return is }
			require.Equal(t, want, w.Alarms()[0].StateAt(spoken.UnixMilli(), resting), "%s, row %d", x.kind, row)
		}
	}
	for class, states := range diagram {
		for state := range states {
			require.True(t, state == "" || seen[class+": "+trimReset(state)], "%s: %s", class, state)
		}
		require.True(t, seen[class+": shelved"], class)
	}
	require.True(t, seen["plain: out of service"])
}

// A reader keeps what it was given, whatever is said after it.
func TestWhatWasGivenOutNeverChanges(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := wall.New("mill", "a")
		var given [][]wall.Alarm
		var rests [][]wall.Rest
		var texts []string
		for n := range rapid.IntRange(1, 30).Draw(rt, "words") {
			w.Add(drawWord(rt, uint64(n+1), spoken.Add(time.Duration(n)*time.Minute)))
			given, rests = append(given, w.Alarms()), append(rests, w.Rests())
			texts = append(texts, fmt.Sprintf("%+v %+v", w.Alarms(), w.Rests()))
		}
		for i := range given {
			require.Equal(rt, texts[i], fmt.Sprintf("%+v %+v", given[i], rests[i]))
		}
	})
}

// The vocabulary says which alarms wait for an answer; the table of the scheduler,
// which clears them, says the same.
func TestWhatLatchesIsTheSameForWhoClearsIt(t *testing.T) {
	for _, kind := range events.AlertKinds() {
		row := scheduler.AlertKinds[kind]
		require.Equal(t, row.Latch, events.Latches(kind), kind)
		require.Equal(t, row.Once, events.TellsOfDeed(kind), kind)
		require.Equal(t, events.Latches(kind), classOf(kind) != "plain", kind)
	}
}

// The table of one life: what is kept of each word.
func TestWhatIsKeptOfAnAlarm(t *testing.T) {
	w := wall.New("mill", "a")
	add := func(seq uint64, minutes int, by string, data events.Data) {
		f := said(seq, by == "", data)
		f.Recorded, f.By = spoken.Add(time.Duration(minutes)*time.Minute), by
		f.Time = f.Recorded.Add(-time.Second)
		if by != "" {
			f.Source.Device = "phone-" + by
		}
		w.Add(f)
	}
	ms := func(minutes int) int64 { return spoken.Add(time.Duration(minutes) * time.Minute).UnixMilli() }
	about := &events.About{FromM: new(0.0), ToM: new(2.0)}
	told := func(message, outcome string) *events.AlertTold {
		return &events.AlertTold{Message: message, Alerts: []string{"x", "elsewhere"}, What: "raised", Person: "p-1", Channel: "mail", Outcome: outcome, Text: "t", At: spoken}
	}
	add(1, 0, "", told("m-0", "accepted")) // before the stream had the alert
	add(2, 0, "", &events.AlertRaised{Alert: "x", Kind: "joint-closing", Cause: "c", Priority: "urgent", Since: spoken.Add(-time.Minute), Text: "t", Rules: "r", About: about})
	add(3, 1, "", told("m-1", "failed"))
	add(4, 1, "", told("m-1", "failed")) // said again
	add(5, 1, "p-9", told("m-2", "accepted"))
	add(6, 2, "p-1", &events.AlertShown{Alert: "x", Kind: "joint-closing", State: "raised", At: spoken})
	add(7, 2, "p-1", &events.AlertShown{Alert: "x", Kind: "joint-closing", State: "raised", At: spoken.Add(time.Minute)})
	add(8, 3, "p-1", &events.AlertShelved{Alert: "x", Kind: "joint-closing", At: spoken, Until: spoken.Add(8 * time.Hour), Reason: "truck is near"})
	a := w.Alarms()[0]
	require.Equal(t, []int64{ms(3), ms(480)}, []int64{a.ShelvedFrom, a.ShelvedUntil})
	require.Equal(t, wall.StateShelved, a.StateAt(ms(479), nil))
	require.Equal(t, wall.StateUnacknowledged, a.StateAt(ms(480), nil))
	add(9, 4, "p-2", &events.AlertUnshelved{Alert: "x", Kind: "joint-closing"})
	add(10, 5, "p-2", &events.AlertAcknowledged{Alert: "x", Kind: "joint-closing", Note: "on my way"})
	add(11, 6, "p-3", &events.AlertAcknowledged{Alert: "x", Kind: "joint-closing", Note: "I too"})
	add(12, 7, "", &events.AlertCleared{Alert: "x", Kind: "joint-closing", Cause: "c", At: spoken.Add(7 * time.Minute), Rules: "r"})
	a = w.Alarms()[0]
	want := wall.Alarm{
		ID: "x", Kind: "joint-closing", Cause: "c", Priority: "urgent", Text: "t", About: about, Since: ms(-1), Raised: ms(0), RaisedSeq: 2, ClearedSeq: 12, ClearedAt: ms(7), LastSeq: 12,
		Acknowledged: ms(5) - 1000, AcknowledgedSeq: 10, AcknowledgedBy: "p-2", AcknowledgedNote: "on my way",
		ShelvedFrom: ms(3), ShelvedUntil: ms(4), ShelvedBy: "p-1", ShelvedReason: "truck is near", Unshelved: ms(4), UnshelvedBy: "p-2",
		Shown: []wall.Showing{{By: "p-1", Device: "phone-p-1", State: "raised", At: ms(0)}},
		Told:  []wall.Telling{{Seq: 1, At: ms(0), AlertTold: told("m-0", "accepted")}, {Seq: 3, At: ms(0), AlertTold: told("m-1", "failed")}},
	}
	require.Equal(t, want, a)
	require.Equal(t, wall.StateNormal, a.StateAt(ms(8), nil))
}

// However often an alarm is told and shown, only so much is kept, and it is said
// that there was more.
func TestWhatIsKeptOfTellingIsBounded(t *testing.T) {
	w := wall.New("mill", "a")
	w.Add(said(1, true, &events.AlertRaised{Alert: "x", Kind: "frozen", Cause: "c", Priority: "high", Since: spoken, Text: "t", Rules: "r"}))
	for n := range uint64(1500) {
		w.Add(said(2+2*n, true, &events.AlertTold{Message: fmt.Sprint("m-", n), Alerts: []string{"x", "not here"}, What: "raised", Channel: "mail", Outcome: "accepted", Text: "t", At: spoken}))
		f := said(3+2*n, false, &events.AlertShown{Alert: "x", Kind: "frozen", State: "raised", At: spoken})
		f.By, f.Source.Device = fmt.Sprint("p-", n), "phone-1"
		w.Add(f)
	}
	a := w.Alarms()[0]
	require.Len(t, a.Told, 200)
	require.Equal(t, 1300, a.ToldMore)
	require.Equal(t, "m-1499", a.Told[199].Message)
	require.Len(t, a.Shown, 200)
	require.Equal(t, 1300, a.ShownMore)
	require.Equal(t, "p-0", a.Shown[0].By)
}

// One more word costs what it costs, however many were said before it.
func TestOneMoreWordFoldsOneWord(t *testing.T) {
	cost := func(before int) float64 {
		w := wall.New("mill", "a")
		var facts []wall.Fact
		seq := uint64(0)
		next := func(data events.Data) wall.Fact { seq++; return said(seq, true, data) }
		raise := func() wall.Fact {
			return next(&events.AlertRaised{Alert: fmt.Sprint("a-", seq), Kind: "frozen", Cause: "c", Priority: "high", Since: spoken, Text: "t", Rules: "r"})
		}
		for range before {
			facts = append(facts, raise())
		}
		w.Add(facts...)
		return testing.AllocsPerRun(500, func() { w.Add(raise()); w.Dirty() })
	}
	few, many := cost(10), cost(20_000)
	require.Less(t, many, few+10, "one word after 20,000 allocates as often as one after 10")
}

func BenchmarkFoldWord(b *testing.B) {
	for _, before := range []int{50, 5000} {
		b.Run(fmt.Sprint(before, " alerts"), func(b *testing.B) {
			w, seq := wall.New("mill", "a"), uint64(0)
			word := func() wall.Fact {
				seq++
				return said(seq, true, &events.AlertTold{Message: fmt.Sprint("m-", seq), Alerts: []string{"a-1"}, What: "raised", Channel: "mail", Outcome: "accepted", Text: "t", At: spoken})
			}
			for n := range before {
				seq++
				w.Add(said(seq, true, &events.AlertRaised{Alert: fmt.Sprint("a-", n), Kind: "frozen", Cause: "c", Priority: "high", Since: spoken, Text: "t", Rules: "r"}))
			}
			b.ReportAllocs()
			for b.Loop() {
				w.Add(word())
				w.Dirty()
			}
		})
	}
}
