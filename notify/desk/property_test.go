package desk_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// matter is what the model knows of an alert: the words alone.
type matter struct {
	word           notice.Notice
	acked, cleared bool
	answers        []string // ids of the words that acknowledge it and stand
	ackStep        [2]int   // round and step when it was acknowledged
}

// world drives a desk at random, and a twin that was loaded from its rows on the
// way and is given the same calls.
type world struct {
	*rapid.T
	desk, twin *desk.Desk
	rota       *rota
	now        time.Time
	seq        uint64
	words      []notice.Notice
	matters    map[string]*matter
	cases      map[string][]byte
	letters    map[string][]byte
	first      map[string]desk.Letter // as it was first written
	last       map[string]desk.Letter // as it was last written
	flying     []desk.Letter
	checks     int
}

func newWorld(t *rapid.T) *world {
	r := fourRungs()
	r.rungs[0].Choices = append(r.rungs[0].Choices, by("eve", "mail", "phone", "hook"))
	r.sheets = []desk.Choice{by("ada", "mail"), by("ben", "phone", "mail")}
	r.quiet = map[string]time.Time{"eve": noon.Add(3 * time.Hour)}
	return &world{T: t, desk: desk.New(r), rota: r, now: noon, matters: map[string]*matter{},
		cases: map[string][]byte{}, letters: map[string][]byte{}, first: map[string]desk.Letter{}, last: map[string]desk.Letter{}}
}

// do calls both desks, compares what they say is to be written, and writes it.
func (w *world) do(call func(d *desk.Desk) desk.Change) desk.Change {
	ch := call(w.desk)
	if w.twin != nil {
		require.Equal(w, string(encode(w, ch)), string(encode(w, call(w.twin))), "a desk that was loaded goes on as the one that wrote the rows")
	}
	for _, c := range ch.Cases {
		w.cases[c.ID] = encode(w, c)
	}
	for _, l := range ch.Letters {
		if _, known := w.first[l.ID]; !known {
			w.first[l.ID] = l
		}
		w.last[l.ID] = l
		w.letters[l.ID] = encode(w, l)
	}
	for _, id := range ch.Closed {
		delete(w.cases, id)
	}
	for _, id := range ch.Gone {
		delete(w.letters, id)
	}
	return ch
}

func (w *world) loaded() *desk.Desk {
	d := desk.New(w.rota)
	var cases []desk.Case
	var letters []desk.Letter
	for _, body := range w.cases {
		cases = append(cases, decode[desk.Case](w, body))
	}
	for _, body := range w.letters {
		letters = append(letters, decode[desk.Letter](w, body))
	}
	d.Load(cases, letters)
	return d
}

func (w *world) take(n notice.Notice) {
	w.seq++
	n.Seq, n.Recorded, n.Site, n.Wall = w.seq, w.now, "north", "w1"
	w.words = append(w.words, n)
	w.do(func(d *desk.Desk) desk.Change { return d.Take(n, w.now) })
}

func (w *world) pick() *matter {
	if len(w.matters) == 0 {
		w.Skip("no alert yet")
	}
	return w.matters[rapid.SampledFrom(slices.Sorted(maps.Keys(w.matters))).Draw(w.T, "alert")]
}

func (w *world) raise() {
	kind := rapid.SampledFrom([]string{"rise-fast", "line-due", "probe-silent", "record-gap", "brace-overdue", "strip-early", "face-early", "alert-untold"}).Draw(w.T, "kind")
	priority := rapid.SampledFrom([]string{desk.Urgent, desk.High, desk.Medium, desk.Low}).Draw(w.T, "priority")
	m := &matter{word: notice.Notice{State: notice.Raised, Alert: fmt.Sprintf("a%03d", len(w.matters)), Kind: kind, Cause: "c", Priority: priority, Since: w.now, Text: "text"}}
	w.matters[m.word.Alert] = m
	w.take(m.word)
	c, _ := w.desk.Case(m.word.Alert)
	if c.Mute.IsZero() {
		told := map[string]bool{}
		for _, l := range w.desk.Letters() {
			if l.Case == c.ID {
				told[l.Person] = true
			}
		}
		require.Equal(w, map[string]bool{"ada": true, "eve": true}, told, "everybody on the first rung has a letter, or the next rung had to be told")
	}
}

func (w *world) advance(d time.Duration) {
	end := w.now.Add(d)
	for range 100_000 {
		next := w.desk.NextTick()
		if next.IsZero() || next.After(end) {
			w.now = end
			w.do(func(d *desk.Desk) desk.Change { return d.Tick(w.now) })
			return
		}
		if next.After(w.now) {
			w.now = next
		}
		w.do(func(d *desk.Desk) desk.Change { return d.Tick(w.now) })
	}
	require.Fail(w, "time does not pass")
}

func (w *world) handOut() {
	due := w.desk.Due(w.now)
	if w.twin != nil {
		require.Equal(w, string(encode(w, due)), string(encode(w, w.twin.Due(w.now))))
	}
	for i, l := range due {
		require.True(w, i == 0 || !(l.Priority == desk.Urgent && due[i-1].Priority != desk.Urgent), "the most urgent first")
		for _, a := range l.Alerts {
			c, _ := w.desk.Case(a)
			require.False(w, c.Mute.After(w.now), "%s is told while it is shelved or out of service", a)
		}
	}
	w.flying = append(w.flying, due...)
}

func (w *world) answer(l desk.Letter) {
	r := desk.Result{Outcome: rapid.SampledFrom([]desk.Outcome{desk.Done, desk.Done, desk.Again, desk.Refused}).Draw(w.T, "outcome"), Error: "why", Text: "short"}
	w.do(func(d *desk.Desk) desk.Change { return d.Came(l.ID, r, w.now) })
}

func (w *world) actions() map[string]func(*rapid.T) {
	word := func(state string) func(*rapid.T) {
		return func(*rapid.T) {
			m := w.pick()
			w.take(notice.Notice{State: state, Alert: m.word.Alert, By: "ada", At: w.now, Key: w.newKey(),
				Until: w.now.Add(time.Duration(rapid.IntRange(1, 900).Draw(w.T, "minutes")) * time.Minute)})
			c, _ := w.desk.Case(m.word.Alert)
			switch {
			case state == notice.Acknowledged:
				if len(m.answers) < 20 {
					m.answers = append(m.answers, w.words[len(w.words)-1].Key.ID)
				}
				if !m.acked {
					m.acked, m.ackStep = true, [2]int{c.Round, c.Step}
				}
			case state == notice.Cleared:
				m.cleared = true
			case state == notice.Shelved && !m.cleared && c.Ended.IsZero():
				require.True(w, c.Mute.After(w.now) && !c.Mute.After(w.now.Add(7*24*time.Hour)), "shelved")
				require.False(w, c.Shelf.Until.After(w.now.Add(8*time.Hour)), "for 8 h at most")
			}
		}
	}
	rest := func(state string) func(*rapid.T) {
		return func(*rapid.T) {
			w.take(notice.Notice{State: state, Kind: "record-gap", At: w.now, Until: w.now.Add(5 * time.Hour), Key: w.newKey()})
		}
	}
	return map[string]func(*rapid.T){
		"raise":        func(*rapid.T) { w.raise() },
		"raise many":   func(*rapid.T) { w.raiseMany() },
		"acknowledge":  word(notice.Acknowledged),
		"clear":        word(notice.Cleared),
		"shelve":       word(notice.Shelved),
		"unshelve":     word(notice.Unshelved),
		"rest":         rest(notice.OutOfService),
		"rest no more": rest(notice.InService),
		"void":         func(*rapid.T) { w.void() },
		"answer what is void": func(*rapid.T) {
			m, key := w.pick(), w.newKey()
			w.take(notice.Notice{State: notice.Voided, Target: key, Key: w.newKey()})
			before := encode(w, w.desk.Letters())
			w.take(notice.Notice{State: notice.Acknowledged, Alert: m.word.Alert, By: "ada", Key: key})
			require.Equal(w, string(before), string(encode(w, w.desk.Letters())), "it is no answer")
		},
		"advance": func(*rapid.T) {
			w.advance(time.Duration(rapid.SampledFrom([]int{1, 30, 60, 120, 600, 3600, 20 * 3600}).Draw(w.T, "seconds")) * time.Second)
		},
		"hand out": func(*rapid.T) { w.handOut() },
		"answer": func(*rapid.T) {
			if len(w.flying) > 0 {
				i := rapid.IntRange(0, len(w.flying)-1).Draw(w.T, "which")
				w.answer(w.flying[i]) // it stays: an answer may come twice
			}
		},
		"answer all": func(*rapid.T) {
			for _, l := range w.flying {
				w.answer(l)
			}
			w.flying = nil
		},
		"show": func(*rapid.T) {
			m := w.pick()
			w.take(notice.Notice{State: notice.Shown, Alert: m.word.Alert, By: rapid.SampledFrom([]string{"ada", "ben", "eve"}).Draw(w.T, "by")})
		},
		"show message": func(*rapid.T) {
			if len(w.flying) > 0 {
				l := rapid.SampledFrom(w.flying).Draw(w.T, "letter")
				if len(l.Alerts) > 0 {
					w.take(notice.Notice{State: notice.Shown, Alert: l.Alerts[0], By: l.Person, Message: l.ID})
				}
			}
		},
		"sheet": func(*rapid.T) {
			at := w.now.Add(-time.Duration(rapid.IntRange(0, 100).Draw(w.T, "hours")) * time.Hour)
			w.take(notice.Notice{State: notice.Sheet, Issued: &events.SheetIssued{Sheet: rapid.SampledFrom([]string{"", "weekly"}).Draw(w.T, "sheet"), Date: at.Format(time.DateOnly), At: at}})
		},
		"read again": func(*rapid.T) {
			if len(w.words) > 0 {
				n := rapid.SampledFrom(w.words).Draw(w.T, "word")
				if n.State != notice.Shown { // a page may show again what was told in the meantime
					require.True(w, w.do(func(d *desk.Desk) desk.Change { return d.Take(n, w.now) }).Empty(), "a word read twice: %s %s", n.State, n.Alert)
				}
			}
		},
		"stop": func(*rapid.T) { w.desk, w.twin = w.loaded(), nil },
		"twin": func(*rapid.T) { w.makeTwin() },
		"clock back": func(*rapid.T) {
			w.twin = nil // a desk that was loaded knows how late it was from its rows alone
			w.now = w.now.Add(-time.Duration(rapid.IntRange(2, 6*3600).Draw(w.T, "seconds")) * time.Second)
			w.advance(0)
		},
		"": func(*rapid.T) { w.check() },
	}
}

func (w *world) newKey() events.Key { return keyed(fmt.Sprint("word-", w.seq, "-", len(w.words))) }

// void takes back a word of a person, whatever it was.
func (w *world) void() {
	of := slices.DeleteFunc(slices.Clone(w.words), func(n notice.Notice) bool { return n.Key == (events.Key{}) || n.State == notice.Voided })
	if len(of) == 0 {
		w.Skip("nobody has said anything")
	}
	n := rapid.SampledFrom(of).Draw(w.T, "word")
	was, known := w.desk.Case(n.Alert)
	w.take(notice.Notice{State: notice.Voided, Target: n.Key, Key: w.newKey()})
	now, still := w.desk.Case(n.Alert)
	require.Equal(w, known, still)
	switch n.State {
	case notice.Acknowledged:
		m := w.matters[n.Alert]
		if m.answers = slices.DeleteFunc(m.answers, func(id string) bool { return id == n.Key.ID }); len(m.answers) > 0 || !m.acked {
			return
		}
		m.acked = false
		require.Zero(w, now.Acknowledged)
		stands := !m.cleared || events.Latches(m.word.Kind)
		require.False(w, known && stands && !now.Ended.IsZero(), "%s stands, and nobody has answered it", n.Alert)
		if known && stands && now.Mute.IsZero() {
			require.True(w, now.Step == 1 && now.Start.Equal(w.now), "%s is told anew from the moment that it is known", n.Alert)
		}
	case notice.Shelved:
		require.False(w, known && now.Shelf.Word == was.Shelf.Word && strings.HasSuffix(now.Shelf.Word, " "+n.Key.ID) && now.Shelf.Until.After(w.now))
	case notice.Unshelved, notice.InService:
		require.True(w, was.Mute.Equal(now.Mute), "a void mutes nothing")
	}
}

func (w *world) raiseMany() {
	for range rapid.IntRange(5, 15).Draw(w.T, "how many") {
		w.raise()
	}
}

// makeTwin loads a desk where nothing is handed out: that is not written.
func (w *world) makeTwin() {
	for _, l := range w.desk.Letters() {
		if l.State == desk.Sending {
			return
		}
	}
	w.twin = w.loaded()
	require.Equal(w, w.desk.Next(), w.twin.Next())
	require.Equal(w, w.desk.NextTick(), w.twin.NextTick())
	require.Equal(w, w.desk.Untold(), w.twin.Untold())
}

func (w *world) check() {
	if w.checks++; w.checks%3 == 0 {
		w.checkRows()
	}
	w.checkLetters()
	for _, c := range w.desk.Cases() {
		if c.Of == desk.OfAlert && c.Ended.IsZero() {
			w.checkCase(c)
		}
	}
}

// checkRows: the rows are the state.
func (w *world) checkRows() {
	cases, letters := map[string]string{}, map[string]string{}
	for _, c := range w.desk.Cases() {
		cases[c.ID] = string(encode(w, c))
	}
	for _, l := range w.desk.Letters() {
		if l.State == desk.Sending {
			l.State = desk.Due
		}
		letters[l.ID] = string(encode(w, l))
	}
	require.Len(w, w.cases, len(cases))
	require.Len(w, w.letters, len(letters))
	for id, row := range w.cases {
		require.Equal(w, cases[id], string(row))
	}
	for id, row := range w.letters {
		require.Equal(w, letters[id], string(row))
	}
}

// checkLetters: one letter for each alert, what, person, channel, step and round;
// and what was gathered is in its summary.
func (w *world) checkLetters() {
	seen := map[string]string{}
	for id, l := range w.last {
		if l.What == desk.TellSummary {
			continue
		}
		key := fmt.Sprint(l.Case, l.What, l.Person, l.Channel, l.Step, l.Round)
		require.Empty(w, seen[key], "two letters: %s", key)
		seen[key] = id
		if l.Gathered {
			require.False(w, l.What == desk.TellRaised && l.Priority == desk.Urgent, "an urgent alert is told singly")
			require.True(w, l.Over() || !w.desk.NextTick().After(w.now.Add(time.Minute)), "gathered for a minute at most")
		}
		if l.State == desk.Dropped && l.Error == "gathered into a summary" {
			require.Contains(w, w.first[l.Into].Alerts, l.Case)
			require.Equal(w, l.Person, w.first[l.Into].Person)
		}
	}
}

func (w *world) checkCase(c desk.Case) {
	m := w.matters[c.ID]
	var open, dispatcher bool
	for _, l := range w.desk.Letters() {
		of := l.Case == c.ID || slices.Contains(l.Alerts, c.ID)
		open = open || of && !l.Over()
		dispatcher = dispatcher || of && l.Person == "dora" && l.Round == c.Round
	}
	muted := !c.Mute.IsZero()
	if muted {
		require.True(w, c.Mute.After(w.now))
		require.False(w, open, "%s has a letter while nothing is told of it", c.ID)
		require.True(w, c.Climb.IsZero())
	}
	if m.acked {
		require.True(w, c.Climb.IsZero(), "acknowledged")
		if c.Round == m.ackStep[0] && m.ackStep[1] > 0 {
			require.Equal(w, m.ackStep[1], c.Step, "%s climbed after it was acknowledged", c.ID)
		} else {
			require.LessOrEqual(w, c.Step, 1, "%s: after shelving a reminder to the first rung, no more", c.ID)
		}
	}
	stands := !m.cleared || events.Latches(c.Notice.Kind)
	if stands && !m.acked && !muted && c.Notice.Priority == desk.Urgent {
		within := !c.Climb.IsZero() && !c.Climb.After(w.now.Add(10*time.Minute))
		require.True(w, open || within || c.Exhausted && dispatcher, "%s, urgent and unanswered, is given up", c.ID)
		require.True(w, within || c.Exhausted, "%s climbs on", c.ID)
	}
}

func TestTelling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { t.Repeat(newWorld(t).actions()) })
}

// The order in which channels answer, and answers that come twice, make no
// difference to what became of the letters and who was told.
func TestTheOrderOfAnswersDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		w.raiseMany()
		due := w.desk.Due(w.now)
		type answer struct {
			letter string
			desk.Result
		}
		var answers []answer
		for _, l := range due {
			answers = append(answers, answer{l.ID, desk.Result{Outcome: rapid.SampledFrom([]desk.Outcome{desk.Done, desk.Again, desk.Refused}).Draw(t, "outcome")}})
		}
		outcome := func(order []answer) (map[string]string, map[string]int) {
			d := w.loaded()
			d.Due(w.now)
			for _, a := range order {
				d.Came(a.letter, a.Result, w.now)
			}
			states, told := map[string]string{}, map[string]int{}
			for _, l := range d.Letters() {
				if _, asked := w.first[l.ID]; asked {
					states[l.ID] = l.State
				}
			}
			for _, c := range d.Cases() {
				for _, x := range c.Told {
					told[c.ID+" "+x.Person+" "+x.Channel]++
				}
			}
			return states, told
		}
		states, told := outcome(answers)
		again := rapid.Permutation(append(slices.Clone(answers), answers...)).Draw(t, "order")
		states2, told2 := outcome(again)
		require.Equal(t, states, states2)
		require.Equal(t, told, told2)
	})
}
