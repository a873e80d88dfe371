package desk

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"
)

// untold is the kind of alert that tells of trouble in telling. It makes none of
// its own.
const untold = "alert-untold"

const nobodyToTell = "the routes name nobody to tell"

// trouble notes the cases of a letter that does not get through.
func (d *Desk) trouble(l *Letter) {
	if !l.struggles() || !l.tells(TellRaised) {
		return
	}
	for _, id := range l.Alerts {
		if c := d.cases[id]; c != nil && c.Ended.IsZero() && c.Acknowledged.IsZero() {
			d.troubled[id] = true
		}
	}
}

// Untold lists who ought to know of an urgent or high alert and cannot be reached:
// a person none of whose channels works, or nobody, where the rota names no one or
// the last rung was told as often as it ever is. It ends with the alert, and when
// somebody acknowledges it or the person is told after all.
func (d *Desk) Untold() []Trouble {
	var all []Trouble
	for _, id := range slices.Sorted(maps.Keys(d.troubled)) {
		c := d.cases[id]
		if c.stands() && c.Mute.IsZero() && c.Acknowledged.IsZero() && c.Notice.Kind != untold && rank(c.Notice.Priority) <= 1 {
			all = append(all, d.nobody(c)...)
			all = append(all, d.unreached(c)...)
		}
	}
	slices.SortFunc(all, func(x, y Trouble) int {
		return cmp.Or(x.Since.Compare(y.Since), cmp.Compare(x.Alert, y.Alert), cmp.Compare(x.Person, y.Person))
	})
	return all
}

func (c Case) trouble(person, text string, since time.Time) Trouble {
	return Trouble{Site: c.Notice.Site, Wall: c.Notice.Wall, Alert: c.ID, Kind: c.Notice.Kind, Priority: c.Notice.Priority,
		Person: person, Since: since, Text: text}
}

func (d *Desk) nobody(c *Case) []Trouble {
	switch {
	case c.Nobody:
		return []Trouble{c.trouble("", nobodyToTell, c.Taken)}
	case c.Exhausted && rank(c.Notice.Priority) == 0:
		return []Trouble{c.trouble("", "told up to the last step, and nobody has answered", cmp.Or(c.Start, c.Taken))}
	case c.Exhausted && c.unseen():
		return []Trouble{c.trouble("", "told up to the last step, and nobody is known to have seen it", cmp.Or(c.Start, c.Taken))}
	}
	return nil
}

// unreached lists the persons of a case none of whose letters gets through.
func (d *Desk) unreached(c *Case) []Trouble {
	byPerson := map[string][]*Letter{}
	reached := map[string]bool{}
	for _, t := range c.Told {
		reached[t.Person] = true
	}
	for _, id := range d.of[c.ID] {
		l := d.letters[id]
		switch {
		case !l.tells(TellRaised) || l.State == Dropped:
		case l.struggles():
			byPerson[l.Person] = append(byPerson[l.Person], l)
		default:
			reached[l.Person] = true
		}
	}
	var all []Trouble
	for _, person := range slices.Sorted(maps.Keys(byPerson)) {
		if reached[person] || person == "" {
			continue
		}
		t := c.trouble(person, "", byPerson[person][0].Made)
		var why []string
		for _, l := range byPerson[person] {
			t.Since = earliest(t.Since, l.Made)
			why = append(why, l.Channel+": "+l.Error)
			t.Channels = append(t.Channels, l.Channel)
		}
		slices.Sort(why)
		slices.Sort(t.Channels)
		t.Channels = slices.Compact(t.Channels)
		t.Text = strings.Join(slices.Compact(why), "; ")
		all = append(all, t)
	}
	return all
}

// otherWays leaves out, for an alert about somebody who cannot be told, the
// channels that failed: all that failed on the site, or, where that leaves none,
// those that failed for this person.
func (d *Desk) otherWays(c *Case, choice Choice) []string {
	var failed, own []string
	for _, t := range d.Untold() {
		if t.Site == c.Notice.Site {
			failed = append(failed, t.Channels...)
			if t.Person == choice.Person {
				own = append(own, t.Channels...)
			}
		}
	}
	left := without(choice.Channels, failed)
	if len(left) == 0 {
		left = without(choice.Channels, own)
	}
	return left
}

func without(list, out []string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(s string) bool { return slices.Contains(out, s) })
}

// Rates counts how many alerts each person was told of by letters that a channel
// accepted in the 10 minutes up to now. However many channels brought it, an alert
// counts once, and so does a summary.
func Rates(letters []Letter, now time.Time) map[string]int {
	rates, counted := map[string]int{}, map[[2]string]bool{}
	for _, l := range letters {
		sent := l.State == Accepted || l.State == Shown
		if !sent || !l.tells(TellRaised) || !l.Ended.After(now.Add(-rateOver)) || l.Ended.After(now) {
			continue
		}
		key := [2]string{l.Person, cmp.Or(l.Case, l.ID)}
		if !counted[key] {
			counted[key] = true
			rates[l.Person]++
		}
	}
	return rates
}
