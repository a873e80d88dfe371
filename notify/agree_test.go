package notify_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// The page and the telling read the same words and keep them apart: the fold of a
// wall in any order of arrival, the desk in the order of the stream, what came beside
// it first. Here one random stream is given to both, and at every quiet moment they
// say the same of every alert.

// spot is where an alert of the test stands.
type spot struct {
	notice.Place
	alert, kind, cause, priority string
}

var spots = []spot{
	{notice.Place{Site: "mill", Wall: "a"}, "x1", "rise-fast", "c", desk.Urgent},
	{notice.Place{Site: "mill", Wall: "a"}, "x2", "frozen", "c", desk.Urgent},
	{notice.Place{Site: "mill", Wall: "a"}, "x3", "strip-early", "b1", desk.Urgent},
	{notice.Place{Site: "mill", Wall: "a"}, "x4", "probe-silent", "t1", desk.Urgent},
	{notice.Place{Site: "mill", Wall: "a"}, "x5", "probe-silent", "t2", desk.High},
	{notice.Place{Site: "mill", Wall: "b"}, "x6", "probe-silent", "t1", desk.Medium},
	{notice.Place{Site: "mill"}, "x7", "record-gap", "phone", desk.High},
	{notice.Place{Site: "quay", Wall: "a"}, "x8", "probe-silent", "t1", desk.Urgent},
}

// twoRungs is whoever is told.
type twoRungs struct{}

func (twoRungs) Ladder(notice.Notice, time.Time) []desk.Rung {
	return []desk.Rung{
		{Choices: []desk.Choice{{Person: "p-1", Channels: []string{"phone", "mail"}}}, Why: "first"},
		{After: 5 * time.Minute, Choices: []desk.Choice{{Person: "p-2", Channels: []string{"mail"}}}, Why: "next"},
	}
}
func (twoRungs) Sheet(string, string, time.Time) []desk.Choice           { return nil }
func (twoRungs) Quiet(_ notice.Notice, _ string, at time.Time) time.Time { return time.Time{} }

// pair is the two that must agree.
type pair struct {
	*rapid.T
	now    time.Time
	stream []wall.Fact // what is in the stream
	unread []wall.Fact // of it, what the desk has not taken
	new    []wall.Fact // of it, what the folds have not
	beside []spot      // told directly, and not in the stream yet
	back   bool        // the clock was put back

	desk    *desk.Desk
	cases   map[string]desk.Case
	letters map[string]desk.Letter
	walls   map[notice.Place]*wall.State
	sites   map[string]*site.State
}

func newPair(t *rapid.T) *pair {
	p := &pair{T: t, now: start, desk: desk.New(twoRungs{}), cases: map[string]desk.Case{}, letters: map[string]desk.Letter{},
		walls: map[notice.Place]*wall.State{}, sites: map[string]*site.State{}}
	for _, s := range spots {
		p.sites[s.Site] = site.New(s.Site)
		if s.Wall != "" {
			p.walls[s.Place] = wall.New(s.Site, s.Wall)
		}
	}
	return p
}

func (p *pair) write(ch desk.Change) {
	for _, c := range ch.Cases {
		p.cases[c.ID] = c
	}
	for _, l := range ch.Letters {
		p.letters[l.ID] = l
	}
	for _, id := range ch.Closed {
		delete(p.cases, id)
	}
	for _, id := range ch.Gone {
		delete(p.letters, id)
	}
}

// deviceOf is which device says the word with a number, so that a void may name a
// word that is still to come.
func deviceOf(seq uint64) string { return fmt.Sprint("phone-", seq%3) }

func (p *pair) say(at notice.Place, kind events.Kind, data events.Data) {
	seq := uint64(len(p.stream) + 1)
	e := events.Event{ID: fmt.Sprint("word-", seq), Source: events.Source{Site: at.Site, Device: deviceOf(seq)}, Kind: kind, Wall: at.Wall,
		By: fmt.Sprint("p-", seq%4), Time: p.now, Data: data}
	trusted := kind == "alert.raised" || kind == "alert.cleared"
	if trusted {
		e.Source.Device, e.By = events.HubDevice, ""
	}
	f := wall.Fact{Event: e, Seq: seq, Recorded: p.now, Trusted: trusted}
	p.stream, p.unread, p.new = append(p.stream, f), append(p.unread, f), append(p.new, f)
}

func (p *pair) take(f wall.Fact) {
	n, ok := notify.NoticeOf(f.Event)
	require.True(p, ok)
	n.Seq, n.Recorded = f.Seq, f.Recorded
	p.write(p.desk.Take(n, p.now))
}

func (p *pair) spot() spot { return rapid.SampledFrom(spots).Draw(p.T, "of") }

// where is mostly where an alert stands.
func (p *pair) where(s spot) notice.Place {
	if rapid.IntRange(0, 9).Draw(p.T, "elsewhere") > 0 {
		return s.Place
	}
	return p.spot().Place
}

// as is the kind that an answer names, mostly the alert's.
func (p *pair) as(s spot) string {
	return rapid.SampledFrom([]string{s.kind, s.kind, s.kind, s.kind, "", "wind-high"}).Draw(p.T, "as")
}

// span is from when to when a person puts something aside, by a clock that may be
// wrong.
func (p *pair) span(most int) (at, until time.Time) {
	at = p.now.Add(time.Duration(rapid.SampledFrom([]int{0, 0, 0, -90, -3, 7, 120}).Draw(p.T, "off")) * time.Minute)
	return at, at.Add(time.Duration(rapid.IntRange(1, most).Draw(p.T, "hours")) * time.Hour)
}

func raisedOf(s spot, since time.Time) *events.AlertRaised {
	return &events.AlertRaised{Alert: s.alert, Kind: s.kind, Cause: s.cause, Priority: s.priority, Since: since, Text: "text", Rules: "r"}
}

func (p *pair) inStream(s spot, kind events.Kind) bool {
	return slices.ContainsFunc(p.stream, func(f wall.Fact) bool {
		switch d := f.Data.(type) {
		case *events.AlertRaised:
			return kind == f.Kind && d.Alert == s.alert
		case *events.AlertCleared:
			return kind == f.Kind && d.Alert == s.alert
		}
		return false
	})
}

// actions are what may happen.
func (p *pair) actions() map[string]func(*rapid.T) {
	do := func(f func(s spot)) func(*rapid.T) {
		return func(t *rapid.T) { p.T = t; f(p.spot()) }
	}
	return map[string]func(*rapid.T){
		"raise":       do(func(s spot) { p.say(s.Place, "alert.raised", raisedOf(s, p.now)) }),
		"raise more":  do(func(s spot) { p.say(s.Place, "alert.raised", raisedOf(s, p.now)) }),
		"raise aside": do(p.raiseBeside),
		"clear": do(func(s spot) {
			if p.inStream(s, "alert.raised") {
				p.say(s.Place, "alert.cleared", &events.AlertCleared{Alert: s.alert, Kind: s.kind, Cause: s.cause, At: p.now, Rules: "r"})
			}
		}),
		"acknowledge": do(func(s spot) {
			p.say(p.where(s), "alert.acknowledged", &events.AlertAcknowledged{Alert: s.alert, Kind: p.as(s), At: p.now})
		}),
		"shelve": do(func(s spot) {
			at, until := p.span(8)
			p.say(p.where(s), "alert.shelved", &events.AlertShelved{Alert: s.alert, Kind: p.as(s), At: at, Until: until, Reason: "r"})
		}),
		"unshelve": do(func(s spot) {
			p.say(p.where(s), "alert.unshelved", &events.AlertUnshelved{Alert: s.alert, Kind: s.kind, At: p.now})
		}),
		"out of service": do(func(s spot) {
			if events.MayRest(s.kind) {
				at, until := p.span(168)
				p.say(p.covering(s), "alert.out-of-service", &events.AlertOutOfService{Kind: s.kind, Cause: p.causeOr(s), At: at, Until: until, Reason: "r"})
			}
		}),
		"in service": do(func(s spot) {
			if events.MayRest(s.kind) {
				p.say(p.covering(s), "alert.in-service", &events.AlertInService{Kind: s.kind, Cause: p.causeOr(s), At: p.now})
			}
		}),
		"void":    do(p.void),
		"read":    do(func(spot) { p.read(rapid.IntRange(0, len(p.unread)).Draw(p.T, "words")) }),
		"again":   do(func(spot) { p.again() }),
		"restart": do(func(spot) { p.restart() }),
		"send":    do(func(spot) { p.send() }),
		"wait": do(func(spot) {
			p.now = p.now.Add(time.Duration(rapid.SampledFrom([]int{1, 5, 11, 30, 61, 200, 600, 1500}).Draw(p.T, "minutes")) * time.Minute)
			p.write(p.desk.Tick(p.now))
		}),
		"clock back": do(func(spot) {
			p.now, p.back = p.now.Add(-time.Duration(rapid.SampledFrom([]int{1, 7, 61, 400, 2000}).Draw(p.T, "back"))*time.Minute), true
			p.write(p.desk.Tick(p.now))
		}),
		"compare": do(func(spot) { p.compare() }),
	}
}

func (p *pair) covering(s spot) notice.Place {
	return rapid.SampledFrom([]notice.Place{s.Place, s.Place, {Site: s.Site}}).Draw(p.T, "covering")
}

func (p *pair) causeOr(s spot) string {
	return rapid.SampledFrom([]string{s.cause, ""}).Draw(p.T, "cause")
}

// raiseBeside tells an alert directly; the stream has it later, maybe behind the
// answers to it.
func (p *pair) raiseBeside(s spot) {
	if p.inStream(s, "alert.raised") || slices.Contains(p.beside, s) {
		return
	}
	p.beside = append(p.beside, s)
	n, _ := notify.NoticeOf(events.Event{Source: events.Source{Site: s.Site, Device: events.HubDevice}, Kind: "alert.raised", Wall: s.Wall, Data: raisedOf(s, p.now)})
	n.Recorded = p.now
	p.write(p.desk.Take(n, p.now))
}

// void takes a word out of the record that was said, or will be.
func (p *pair) void(s spot) {
	seq := uint64(rapid.IntRange(1, len(p.stream)+4).Draw(p.T, "voided"))
	at := s.Place
	if seq <= uint64(len(p.stream)) {
		f := p.stream[seq-1]
		if f.Trusted {
			return
		}
		if at = (notice.Place{Site: f.Source.Site, Wall: f.Wall}); rapid.IntRange(0, 9).Draw(p.T, "stray") == 0 {
			at = s.Place
		}
	}
	p.say(at, "record.voided", &events.RecordVoided{Reason: "mistaken",
		Target: events.Target{Source: events.Source{Site: at.Site, Device: deviceOf(seq)}.String(), ID: fmt.Sprint("word-", seq)}})
}

// read has the desk take so many words of the stream.
func (p *pair) read(words int) {
	for _, f := range p.unread[:words] {
		p.take(f)
	}
	p.unread = p.unread[words:]
}

// again has the desk take words that it has taken, as after a crash.
func (p *pair) again() {
	taken := len(p.stream) - len(p.unread)
	for _, f := range p.stream[rapid.IntRange(0, taken).Draw(p.T, "from"):taken] {
		p.take(f)
	}
}

func (p *pair) restart() {
	var cases []desk.Case
	var letters []desk.Letter
	for _, c := range p.cases {
		cases = append(cases, c)
	}
	for _, l := range p.letters {
		letters = append(letters, l)
	}
	p.desk = desk.New(twoRungs{})
	p.desk.Load(cases, letters)
}

func (p *pair) send() {
	for _, l := range p.desk.Due(p.now) {
		r := rapid.SampledFrom([]desk.Result{{Outcome: desk.Done}, {Outcome: desk.Done}, {Outcome: desk.Again, Error: "busy"}, {Outcome: desk.Refused, Error: "no"}}).Draw(p.T, "result")
		p.write(p.desk.Came(l.ID, r, p.now))
	}
}

// compare lets both hear everything, the fold in any order, and asks both.
func (p *pair) compare() {
	for _, s := range p.beside {
		p.say(s.Place, "alert.raised", raisedOf(s, p.now))
	}
	p.beside = nil
	p.read(len(p.unread))
	p.write(p.desk.Tick(p.now))
	if len(p.new) > 0 {
		for _, f := range rapid.Permutation(p.new).Draw(p.T, "arrival") {
			if f.Wall == "" {
				p.sites[f.Source.Site].Add(f)
			} else {
				p.walls[notice.Place{Site: f.Source.Site, Wall: f.Wall}].Add(f)
			}
		}
	}
	p.new = nil
	for _, s := range spots {
		p.compareOne(s)
	}
}

func (p *pair) compareOne(s spot) {
	alarms, rests := p.sites[s.Site].Alarms(), p.sites[s.Site].Rests()
	if w := p.walls[s.Place]; w != nil {
		alarms, rests = w.Alarms(), slices.Concat(w.Rests(), rests)
	}
	i := slices.IndexFunc(alarms, func(a wall.Alarm) bool { return a.ID == s.alert })
	c, known := p.desk.Case(s.alert)
	if i < 0 {
		require.NotEqual(p, notice.Raised, c.Notice.State, "%s is raised", s.alert)
		return
	}
	require.True(p, known, s.alert)
	a, now := alarms[i], p.now.UnixMilli()
	_, resting := wall.Resting(rests, a.Kind, a.Cause, now)
	state := a.StateAt(now, func(string, string, int64) bool { return resting })
	say := fmt.Sprintf("%s of %s, on the page %s at %s", s.alert, s.kind, state, p.now.Format(time.DateTime))
	if c.Shelf != nil {
		say += fmt.Sprintf(", shelved %+v, begins %s", *c.Shelf, c.Begins)
	}

	answered := a.Acknowledged != 0
	require.Equal(p, answered, !c.Acknowledged.IsZero(), "answered: "+say)
	require.Equal(p, a.AcknowledgedBy, c.AckBy, "answered by: "+say)
	require.Equal(p, a.Cleared(), !c.Cleared.IsZero(), "cleared: "+say)
	shelved := c.Shelf != nil && c.Shelf.Until.After(p.now) && c.Begins.IsZero()
	p.same(a.ShelvedAt(now) || p.soon(a.ShelvedFrom, a.ShelvedUntil), shelved, "shelved: "+say)
	if !a.Stands() {
		require.Zero(p, c.Climb, "over: "+say)
		return
	}
	if answered {
		require.True(p, c.Climb.IsZero(), "answered, and climbs: "+say)
		return
	}
	require.Zero(p, c.Ended, "ended: "+say)
	for _, r := range rests {
		resting = resting || r.Kind == s.kind && (r.Cause == "" || r.Cause == s.cause) && p.soon(r.From, r.Until)
	}
	p.same(resting || shelved, c.Mute.After(p.now), "put aside: "+say)
	if c.Mute.IsZero() && s.priority == desk.Urgent {
		require.True(p, c.Exhausted || c.Climb.After(p.now), "nobody answered, and it does not climb: "+say)
	}
}

// same: once the clock was put back more may be told than the page says, never less.
func (p *pair) same(page, desk bool, say string) {
	if p.back && page {
		return
	}
	require.Equal(p, page, desk, say)
}

// soon: a clock that was put back by less than is doubted may lie before the word.
func (p *pair) soon(from, until int64) bool {
	now := p.now.UnixMilli()
	return p.back && now < from && from <= now+(2*time.Minute).Milliseconds() && from < until
}

func TestThePageAndTheTellingAgree(t *testing.T) {
	times := 1
	if *long {
		times = 100
	}
	for range times {
		rapid.Check(t, func(rt *rapid.T) {
			p := newPair(rt)
			rt.Repeat(p.actions())
			p.T = rt
			p.compare()
		})
	}
}
