package notify

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"go.etcd.io/bbolt"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
	"earlyage/notify/text"
)

// ErrNoReader is wrapped by Test when there is no such person, or no channel has
// an address.
var ErrNoReader = errors.New("nobody is reached")

const listMost = 1000

// Filter chooses what is listed. A member that is empty leaves nothing out.
type Filter struct {
	Site, Person, Alert string
	Undelivered         bool // only what no channel accepted: tried again, or failed for good
	Limit               int  // default and most 1,000
}

// Told is one message to one person by one channel, and what came of it.
type Told struct {
	Message  string    `json:"message"`
	What     string    `json:"what"`
	Alerts   []string  `json:"alerts,omitzero"`
	Kind     string    `json:"kind,omitzero"`
	Site     string    `json:"site"`
	Wall     string    `json:"wall,omitzero"`
	Priority string    `json:"priority,omitzero"`
	Person   string    `json:"person"`
	Channel  string    `json:"channel"`
	Step     int       `json:"step,omitzero"`
	Why      string    `json:"why,omitzero"`
	State    string    `json:"state"`
	Tries    int       `json:"tries,omitzero"`
	Made     time.Time `json:"made"`
	Next     time.Time `json:"next,omitzero"`
	Ended    time.Time `json:"ended,omitzero"`
	Error    string    `json:"error,omitzero"`
	Text     string    `json:"text,omitzero"`
}

func toldOfLetter(l desk.Letter) Told {
	return Told{
		Message: l.ID, What: l.What, Alerts: l.Alerts, Kind: l.Kind, Site: l.Site, Wall: l.Wall, Priority: l.Priority, Person: l.Person,
		Channel: l.Channel, Step: l.Step, Why: l.Why, State: l.State, Tries: l.Tries, Made: l.Made, Next: l.Next, Ended: l.Ended,
		Error: l.Error, Text: l.Text,
	}
}

func isUndelivered(l desk.Letter) bool { return l.State == desk.Failed || l.Tries > 0 && !l.Over() }

func (f Filter) fits(l desk.Letter) bool {
	return (f.Site == "" || l.Site == f.Site) && (f.Person == "" || l.Person == f.Person) &&
		(f.Alert == "" || slices.Contains(l.Alerts, f.Alert)) && (!f.Undelivered || isUndelivered(l))
}

// List lists what was told in the last 90 days, the newest first.
func (e *Engine) List(f Filter) (list []Told, err error) {
	if f.Limit <= 0 || f.Limit > listMost {
		f.Limit = listMost
	}
	err = e.cfg.Ledger.View(func(b *bbolt.Bucket) error {
		c := b.Bucket(letterBucket).Cursor()
		for k, v := c.Last(); k != nil && len(list) < f.Limit; k, v = c.Prev() {
			row, err := getRow[letterRow](k, v)
			if err == nil && f.fits(row.Letter) { // Open has said which are damaged
				list = append(list, toldOfLetter(row.Letter))
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list what was told: %w", err)
	}
	return list, nil
}

// Cases lists what is still being told, the newest first.
func (e *Engine) Cases() []desk.Case {
	e.mu.RLock()
	defer e.mu.RUnlock()
	list := make([]desk.Case, 0, len(e.cases))
	for _, row := range e.cases {
		list = append(list, row.Case)
	}
	slices.SortFunc(list, func(a, b desk.Case) int { return cmp.Or(b.Taken.Compare(a.Taken), cmp.Compare(a.ID, b.ID)) })
	return list
}

// Untold lists who ought to know of an urgent or high alert and cannot be reached.
func (e *Engine) Untold() []desk.Trouble {
	e.mu.RLock()
	defer e.mu.RUnlock()
	return slices.Clone(e.untold)
}

// Undelivered counts the messages of alerts that are still told, which no channel
// has accepted: tried again, or failed for good.
func (e *Engine) Undelivered() (n int) {
	e.mu.RLock()
	defer e.mu.RUnlock()
	for _, row := range e.letters {
		if isUndelivered(row.Letter) {
			n++
		}
	}
	return n
}

// Test sends a message that asks for nothing to a person of a site, by every
// channel that has an address, and returns what came of each try.
func (e *Engine) Test(ctx context.Context, person, site string) ([]Told, error) {
	reader, ok := e.cfg.Directory.Reader(person, site)
	if !ok {
		return nil, fmt.Errorf("test telling %s on %s: %w", person, site, ErrNoReader)
	}
	now := e.cfg.Clock.Now()
	f := text.Facts{Now: now, Site: e.cfg.Directory.Site(site), Reader: reader, Link: e.cfg.Link(site, "", "")}
	var rows []letterRow
	var channels []notice.Channel
	for _, ch := range e.cfg.Channels {
		if ch.Reaches(reader) {
			channels = append(channels, ch)
			rows = append(rows, letterRow{Gone: true, Letter: desk.Letter{
				V: desk.Version, ID: "test-" + rand.Text(), What: tellTest, Site: site, Person: person, Channel: ch.Name(), State: desk.Sending, Made: now, Why: "a test",
			}})
		}
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("test telling %s on %s: %w", person, site, ErrNoReader)
	}
	var sending sync.WaitGroup
	for i, ch := range channels {
		sending.Go(func() {
			rows[i].Letter = e.test(ctx, ch, rows[i].Letter, fill(e.cfg.Compose.Test(f), rows[i].Letter, reader, f.Link))
		})
	}
	sending.Wait()
	e.in.put(tested{rows})
	var list []Told
	for _, row := range rows {
		list = append(list, toldOfLetter(row.Letter))
	}
	return list, nil
}

// tellTest is what a test tells, as events.AlertTold has it.
const tellTest = "test"

func (e *Engine) test(ctx context.Context, ch notice.Channel, l desk.Letter, m notice.Message) desk.Letter {
	ctx, cancel := context.WithTimeout(ctx, e.cfg.Within)
	defer cancel()
	err := send(ctx, ch, m)
	e.measure.sent(ch.Name(), resultOf(err, ""))
	l.State, l.Tries, l.Ended, l.Text = desk.Accepted, 1, e.cfg.Clock.Now(), m.Short
	if err != nil {
		l.State, l.Error = desk.Failed, err.Error()
	}
	return l
}
