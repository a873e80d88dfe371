package demo

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// tells keeps what was told, and what people are about to answer.
type tells struct {
	raised  map[string]*raised // by the alert's id
	answers []answer
	count   map[string]int  // messages that a channel took, by channel
	people  map[string]bool // who was told
	failed  int             // messages that came to nothing
}

// raised is an alert as the hub raised it.
type raised struct {
	*events.AlertRaised
	site, wall string
	said       time.Time
	over       bool // acknowledged by somebody of the demo, or cleared
}

// answer is what a person is about to acknowledge.
type answer struct {
	at    time.Time
	by    *phone
	alert string
}

func newTells() tells {
	return tells{raised: map[string]*raised{}, count: map[string]int{}, people: map[string]bool{}}
}

// telling is one step of telling an alert, at one moment.
type telling struct {
	at    time.Time
	alert string
	step  int64
}

// take notes what the hub said, and puts in lines who was told of what is urgent.
func (t *tells) take(p *play, words []word) (lines []string) {
	whom := map[telling]map[string][]string{} // channels by name
	for _, w := range words {
		switch d := w.Data.(type) {
		case *events.AlertRaised:
			t.raised[d.Alert] = &raised{AlertRaised: d, site: w.Source.Site, wall: w.Wall, said: w.said}
		case *events.AlertCleared:
			if r := t.raised[d.Alert]; r != nil {
				r.over = true
			}
		case *events.AlertTold:
			t.note(d)
			if !t.isUrgent(d) {
				continue
			}
			key := telling{w.said, d.Alerts[0], d.Step}
			if whom[key] == nil {
				whom[key] = map[string][]string{}
			}
			name := p.script.nameOf(d.Person)
			whom[key][name] = append(whom[key][name], d.Channel)
		}
	}
	for key, names := range whom {
		r := t.raised[key.alert]
		lines = append(lines, p.row(key.at, r.site, r.wall, fmt.Sprintf("told of %s, step %d: %s", r.Kind, key.step, byChannels(names))))
	}
	slices.Sort(lines)
	return lines
}

// isUrgent reports whether somebody was reached with an urgent alert.
func (t *tells) isUrgent(d *events.AlertTold) bool {
	if len(d.Alerts) != 1 || d.What != notice.Raised || d.Outcome != "accepted" {
		return false
	}
	r := t.raised[d.Alerts[0]]
	return r != nil && r.Priority == scheduler.Urgent
}

func (t *tells) note(d *events.AlertTold) {
	switch d.Outcome {
	case "accepted":
		t.count[d.Channel]++
		t.people[d.Person] = true
	case "failed":
		t.failed++
	}
}

// byChannels names people, each with the channels that took it.
func byChannels(names map[string][]string) string {
	var parts []string
	for _, name := range slices.Sorted(maps.Keys(names)) {
		channels := slices.Sorted(slices.Values(names[name]))
		parts = append(parts, name+" by "+strings.Join(channels, " and "))
	}
	return strings.Join(parts, ", ")
}

// names are those of the people, by id.
func (s *script) names() map[string]string {
	out := map[string]string{}
	for _, p := range s.people {
		out[p.id] = p.name
	}
	return out
}

func (s *script) nameOf(person string) string { return cmp.Or(s.names()[person], person) }

// show lets the phones that got something show it, and says whether one did.
func (p *play) show(ctx context.Context, words []word) (shown bool, err error) {
	rings := map[string]bool{} // persons whose phones got something
	for _, w := range words {
		if d, ok := w.Data.(*events.AlertTold); ok && d.Channel == "phone" && d.Outcome == "accepted" {
			rings[d.Person] = true
		}
	}
	if len(rings) == 0 {
		return false, nil
	}
	for _, d := range inOrderOfName(p.devices) {
		one, ok := d.(*phone)
		if !ok || one.told == nil || !rings[one.person] {
			continue
		}
		some, err := p.glance(ctx, one)
		if err != nil {
			return shown, fmt.Errorf("%s: %w", one, err)
		}
		shown = shown || some
	}
	return shown, nil
}

// glance takes what has come to a phone. What comes while it has no signal is lost.
func (p *play) glance(ctx context.Context, one *phone) (shown bool, err error) {
	if err := one.nc.FlushWithContext(ctx); err != nil { // what the server had for it has come then
		return false, err
	}
	now := p.clock.Now()
	away := now.Before(one.back) && !now.Before(one.offline)
	for {
		n, _, err := one.told.Pending()
		if err != nil || n == 0 {
			return shown, err
		}
		m, err := one.told.NextMsgWithContext(ctx)
		if err != nil {
			return shown, err
		}
		var body notice.Body
		if err := json.Unmarshal(m.Data, &body); err != nil {
			return shown, err
		}
		if away || one.silent {
			continue
		}
		if err := p.confirm(one, body); err != nil {
			return shown, err
		}
		shown = shown || len(body.Alerts) > 0
	}
}

// confirm records that a phone has shown its person a message.
func (p *play) confirm(one *phone, body notice.Body) error {
	state := notice.Raised
	if body.What == notice.Cleared {
		state = notice.Cleared
	}
	for _, id := range body.Alerts {
		r := p.tells.raised[id]
		if r == nil {
			return fmt.Errorf("told of an alert that was never raised: %s", id)
		}
		data := &events.AlertShown{Alert: id, Kind: r.Kind, State: state, Message: body.ID, At: p.clock.Now()}
		if err := p.say(one, r, "alert.shown", data); err != nil {
			return err
		}
		if state == notice.Raised && one.answers > 0 && r.Priority == scheduler.Urgent && p.mayAnswer(one, r) {
			p.tells.answers = append(p.tells.answers, answer{p.clock.Now().Add(one.answers), one, id})
		}
	}
	return nil
}

// mayAnswer reports whether the roles of a phone's person cover an alert.
func (p *play) mayAnswer(one *phone, r *raised) bool {
	may := events.Addressees(r.Kind)
	return len(may) == 0 || slices.ContainsFunc(p.script.rolesOf(one.person, r.site), func(role events.Role) bool { return slices.Contains(may, role) })
}

// say enters an event on a person's phone.
func (p *play) say(one *phone, r *raised, kind events.Kind, data events.Data) error {
	_, err := one.add(events.Event{
		Source: events.Source{Site: one.site, Device: one.device}, Kind: kind, Wall: r.wall, By: one.person, Time: p.clock.Now(), HasOffset: true, Data: data,
	})
	return err
}

// next is when somebody answers next; zero: nobody does.
func (t *tells) next() (at time.Time) {
	for _, a := range t.answers {
		if at.IsZero() || a.at.Before(at) {
			at = a.at
		}
	}
	return at
}

// answer enters the acknowledgements that are due.
func (p *play) answer() error {
	now := p.clock.Now()
	var later []answer
	for _, a := range p.tells.answers {
		r := p.tells.raised[a.alert]
		switch {
		case now.Before(a.at):
			later = append(later, a)
			continue
		case r.over:
			continue
		}
		r.over = true
		data := &events.AlertAcknowledged{Alert: a.alert, Kind: r.Kind, At: now}
		if err := p.say(a.by, r, "alert.acknowledged", data); err != nil {
			return fmt.Errorf("play demo: acknowledge %s: %w", r.Kind, err)
		}
		line := p.row(now, r.site, r.wall, fmt.Sprintf("%s acknowledges %s", p.script.nameOf(a.by.person), r.Kind))
		if _, err := fmt.Fprintln(p.cfg.Out, line); err != nil {
			return fmt.Errorf("play demo: %w", err)
		}
	}
	p.tells.answers = later
	return nil
}

// end writes how much was told, and how it went on the busiest day.
func (t *tells) end(out io.Writer, p *play) error {
	total := 0
	var by []string
	for _, channel := range slices.SortedFunc(maps.Keys(t.count), func(a, b string) int { return cmp.Or(t.count[b]-t.count[a], cmp.Compare(a, b)) }) {
		total += t.count[channel]
		by = append(by, fmt.Sprintf("%d by %s", t.count[channel], channel))
	}
	fmt.Fprintf(out, "Told: %d messages to %d people, %s; %d came to nothing.\n", total, len(t.people), strings.Join(by, ", "), t.failed)
	day, n := t.busiest()
	if n == 0 {
		return nil
	}
	m, err := p.hub.Measured(day, day.Add(24*time.Hour))
	if err != nil {
		return err
	}
	if err := t.speed(out, p); err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "On the busiest day, %s, %d alerts: the first channel had 99 of 100 within %s. Most within 10 minutes: %d, to %s; the busiest reader of the day: %.2f in 10 minutes.\n",
		day.Format("Mon 2 Jan"), n, lasting(m.Told.P99), m.Most, p.script.nameOf(m.Reader), m.Mean)
	return err
}

// speed writes how fast it was told of what was known in time, and how late the rest
// was known.
func (t *tells) speed(out io.Writer, p *play) error {
	begun := p.clock.Now()
	for _, r := range t.raised {
		if r.said.Before(begun) {
			begun = r.said
		}
	}
	m, err := p.hub.Measured(begun, p.clock.Now())
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "%d alerts. Known in time: %d, from the condition to the first channel 99 of 100 within %s. Of the others something came later than they began, by up to %s.\n",
		m.Raised.Count, m.Reached.Count, lasting(m.Reached.P99), lasting(m.Known.Max))
	return err
}

// lasting writes how long a thing took as people do. It is rounded up: nobody is told
// less than it was.
func lasting(d time.Duration) string {
	up := func(unit time.Duration) int64 { return int64((d + unit - 1) / unit) }
	switch {
	case d <= 0:
		return "0 s"
	case d < time.Second:
		return fmt.Sprintf("%d ms", up(time.Millisecond))
	case d <= 59*time.Second:
		return fmt.Sprintf("%d s", up(time.Second))
	case d <= 59*time.Minute:
		return fmt.Sprintf("%d min", up(time.Minute))
	case up(time.Minute)%60 == 0:
		return fmt.Sprintf("%d h", up(time.Minute)/60)
	}
	return fmt.Sprintf("%d h %d min", up(time.Minute)/60, up(time.Minute)%60)
}

// busiest is the day, in UTC, on which most alerts were raised.
func (t *tells) busiest() (day time.Time, most int) {
	count := map[time.Time]int{}
	for _, r := range t.raised {
		count[r.said.UTC().Truncate(24*time.Hour)]++
	}
	for d, n := range count {
		if n > most || n == most && d.Before(day) {
			day, most = d, n
		}
	}
	return day, most
}
