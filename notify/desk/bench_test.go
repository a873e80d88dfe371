package desk_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

var noon = time.Date(2026, 6, 3, 12, 0, 0, 0, time.UTC)

// rota is a rota that answers as it is told to.
type rota struct {
	rungs  []desk.Rung
	sheets []desk.Choice
	quiet  map[string]time.Time // by person
}

func (r *rota) Ladder(notice.Notice, time.Time) []desk.Rung   { return r.rungs }
func (r *rota) Sheet(string, string, time.Time) []desk.Choice { return r.sheets }
func (r *rota) Quiet(_ notice.Notice, person string, _ time.Time) (until time.Time) {
	return r.quiet[person]
}

func rung(after time.Duration, choices ...desk.Choice) desk.Rung {
	return desk.Rung{After: after, Choices: choices, Why: "by the test"}
}

func by(person string, channels ...string) desk.Choice {
	return desk.Choice{Person: person, Channels: channels}
}

// fourRungs is a ladder as a site has it.
func fourRungs() *rota {
	return &rota{rungs: []desk.Rung{
		rung(0, by("ada", "phone", "mail")),
		rung(2*time.Minute, by("ben", "phone", "mail")),
		rung(5*time.Minute, by("cleo", "phone", "mail")),
		rung(10*time.Minute, by("dora", "mail")),
	}}
}

func oneRung(choices ...desk.Choice) *rota { return &rota{rungs: []desk.Rung{rung(0, choices...)}} }

// bench is a desk with the rows that it wrote, at a time that the test moves.
type bench struct {
	*testing.T
	*desk.Desk
	rota    *rota
	now     time.Time
	seq     uint64
	cases   map[string][]byte
	letters map[string][]byte
	gone    map[string]desk.Letter // history
}

func at(t *testing.T, r *rota) *bench {
	return &bench{T: t, Desk: desk.New(r), rota: r, now: noon,
		cases: map[string][]byte{}, letters: map[string][]byte{}, gone: map[string]desk.Letter{}}
}

func (b *bench) write(ch desk.Change) {
	for _, c := range ch.Cases {
		b.cases[c.ID] = encode(b, c)
	}
	for _, l := range ch.Letters {
		require.NotEqual(b, desk.Sending, l.State, "no row says that a letter is under way")
		b.letters[l.ID] = encode(b, l)
	}
	for _, id := range ch.Closed {
		delete(b.cases, id)
	}
	for _, id := range ch.Gone {
		b.gone[id] = decode[desk.Letter](b, b.letters[id])
		delete(b.letters, id)
	}
}

func encode(t require.TestingT, v any) []byte {
	body, err := json.Marshal(v)
	require.NoError(t, err)
	return body
}

func decode[T any](t require.TestingT, body []byte) (v T) {
	require.NoError(t, json.Unmarshal(body, &v))
	return v
}

// loaded is a desk made of the rows.
func (b *bench) loaded() *desk.Desk {
	d := desk.New(b.rota)
	var cases []desk.Case
	var letters []desk.Letter
	for _, body := range b.cases {
		cases = append(cases, decode[desk.Case](b, body))
	}
	for _, body := range b.letters {
		letters = append(letters, decode[desk.Letter](b, body))
	}
	d.Load(cases, letters)
	return d
}

func (b *bench) take(n notice.Notice) {
	if n.Site == "" {
		n.Site, n.Wall = "north", "w1"
	}
	if n.Recorded.IsZero() {
		n.Recorded = b.now
	}
	b.seq++
	n.Seq = b.seq
	b.write(b.Take(n, b.now))
}

func (b *bench) raise(alert, kind, priority string) {
	b.take(notice.Notice{State: notice.Raised, Alert: alert, Kind: kind, Cause: "cause " + alert, Priority: priority, Since: b.now, Text: alert})
}

func (b *bench) word(state, alert, person string) {
	b.take(notice.Notice{State: state, Alert: alert, By: person, At: b.now})
}

func (b *bench) shelve(alert string, d time.Duration) {
	b.take(notice.Notice{State: notice.Shelved, Alert: alert, By: "ada", Text: "waiting", At: b.now, Until: b.now.Add(d)})
}

// wait moves the time and does what is due on the way, each thing in its moment.
// No letter is handed out.
func (b *bench) wait(d time.Duration) {
	end := b.now.Add(d)
	for range 10_000 {
		next := b.NextTick()
		if next.IsZero() || next.After(end) {
			b.now = end
			b.write(b.Tick(b.now))
			return
		}
		if next.After(b.now) {
			b.now = next
		}
		b.write(b.Tick(b.now))
	}
	require.Fail(b, "time does not pass", "next=%s now=%s", b.Next(), b.now)
}

// send hands out what is due and has each channel answer.
func (b *bench) send(outcome desk.Outcome) []string {
	due := b.Due(b.now)
	for _, l := range due {
		b.write(b.Came(l.ID, desk.Result{Outcome: outcome, Error: "no answer", Text: "in short"}, b.now))
	}
	return names(due)
}

// names says what letters are, in a few words.
func names(letters []desk.Letter) []string {
	var all []string
	for _, l := range letters {
		all = append(all, fmt.Sprintf("%s %s to %s by %s step %d", l.What, strings.Join(l.Alerts, "+"), l.Person, l.Channel, l.Step))
	}
	slices.Sort(all)
	return all
}

func (b *bench) open() []string { return b.in(desk.Due, desk.Sending, desk.Withheld) }

func (b *bench) in(states ...string) []string {
	return names(slices.DeleteFunc(b.Letters(), func(l desk.Letter) bool { return !slices.Contains(states, l.State) }))
}

func (b *bench) letter(person, channel string) desk.Letter {
	all := b.Letters()
	i := slices.IndexFunc(all, func(l desk.Letter) bool { return l.Person == person && l.Channel == channel })
	require.GreaterOrEqual(b, i, 0, "a letter to %s by %s", person, channel)
	return all[i]
}

func (b *bench) theCase(id string) desk.Case {
	c, ok := b.Case(id)
	require.True(b, ok, "case %s", id)
	return c
}
