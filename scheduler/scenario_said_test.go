package scheduler_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// runSaid lets a whole hub go over the record of a wall, minute by minute, and
// prints what it says: statements of the window, alerts raised and cleared. A line
// of input is TIME PERSON KIND: that person acknowledges what stands of the kind.
func (s *stage) runSaid(t *testing.T, w words, input string) (out string) {
	from, to, _ := s.span(t, w)
	var answers []answer
	for line := range strings.Lines(input) {
		f := strings.Fields(line)
		require.Len(t, f, 3, "%q: TIME PERSON KIND", line)
		answers = append(answers, answer{s.at(t, f[0]), f[1], f[2]})
	}
	synctest.Test(t, func(t *testing.T) {
		p := &played{stage: s, ref: scheduler.Ref{Site: s.site, Wall: w.plain[0]}, h: newFakeHub(t, from), facts: slices.Clone(s.facts.facts)}
		p.h.zone = s.zone
		slices.SortStableFunc(p.facts, func(a, b wall.Fact) int { return a.Recorded.Compare(b.Recorded) })
		p.now = (&record{}).fold(s.site)
		r := p.h.begin()
		defer r.end()
		for at := from; !at.After(to); at = at.Add(time.Minute) {
			p.hear(at)
			r.settle()
			for len(answers) > 0 && !answers[0].at.After(at) {
				p.answer(answers[0])
				answers = answers[1:]
				r.settle()
			}
			p.print(at)
			r.step(time.Minute)
		}
		out = p.out.String()
	})
	return out
}

type answer struct {
	at        time.Time
	who, kind string
}

// played is a wall's record as it comes to the hub.
type played struct {
	*stage
	ref     scheduler.Ref
	h       *fakeHub
	facts   []wall.Fact
	now     *folded
	printed int
	out     strings.Builder
}

// hear takes what was recorded up to a moment, and tells the hub if it is news.
func (p *played) hear(at time.Time) {
	seen, news := map[events.Key]bool{}, false
	p.h.set(func() {
		for ; len(p.facts) > 0 && !p.facts[0].Recorded.After(at); p.facts = p.facts[1:] {
			p.now.take(p.site, p.facts[0], seen)
			news = true
		}
	})
	if !news {
		return
	}
	p.h.ask(p.ref, func(now time.Time) scheduler.Assessment {
		return scheduler.Assess(p.now.site, p.now.devices, p.now.wall(p.site, p.ref.Wall), p.h.hub, now)
	})
}

// answer acknowledges what stands of a kind.
func (p *played) answer(a answer) {
	if p.h.acknowledge(p.ref, a.kind, a.who) == 0 {
		fmt.Fprintf(&p.out, "%s nothing stands of %s\n", p.show(a.at), a.kind)
	}
}

// acknowledge has a person answer all that stands of a kind, and returns how many
// alerts that were.
func (h *fakeHub) acknowledge(ref scheduler.Ref, kind, who string) (n int) {
	defer h.lock()()
	for _, x := range h.wallState(ref).Alarms() {
		if x.Kind != kind || !x.Stands() {
			continue
		}
		n++
		h.append(stored{event: &events.Event{
			ID: fmt.Sprint("answer-", len(h.stream)), Source: events.Source{Site: ref.Site, Device: "phone-o"}, By: who, HasOffset: true,
			Kind: "alert.acknowledged", Wall: ref.Wall, Time: h.clock.Now(), Data: &events.AlertAcknowledged{Alert: x.ID, Kind: x.Kind, At: h.clock.Now()},
		}})
	}
	return n
}

func (p *played) print(at time.Time) {
	list := p.h.words()
	for _, e := range list[p.printed:] {
		switch d := e.Data.(type) {
		case *events.AlertRaised:
			fmt.Fprintf(&p.out, "%s raised %s [%s]: %s\n", p.show(at), d.Kind, d.Cause, d.Text)
			if d.About != nil {
				fmt.Fprintf(&p.out, "     %s\n", p.showNumbers(d.About))
			}
		case *events.AlertCleared:
			fmt.Fprintf(&p.out, "%s cleared %s [%s]\n", p.show(at), d.Kind, d.Cause)
		case *events.AlertAcknowledged:
			fmt.Fprintf(&p.out, "%s acknowledged %s by %s\n", p.show(at), d.Kind, e.By)
		case *events.WindowStated:
			fmt.Fprintf(&p.out, "%s stated %s, governs %s\n", p.show(at), map[bool]string{true: "OPEN", false: "shut"}[d.Open], d.Governs)
		}
	}
	p.printed = len(list)
}

// requireSayable: an alert is one that an event takes as it is, its numbers too.
func requireSayable(t require.TestingT, a scheduler.Alert) {
	e := events.Event{
		ID: "a", Source: events.Source{Site: "mill", Device: scheduler.HubDevice}, Kind: "alert.raised", Wall: "north", Time: a.Since,
		Data: &events.AlertRaised{Alert: "a", Kind: a.Kind, Cause: a.Cause, Priority: a.Priority, Since: a.Since, Text: a.Text, About: a.About, Rules: scheduler.Rules},
	}
	require.NoError(t, e.Check(), "%+v", a)
}
