package stream

import (
	"cmp"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/events"
)

// The lines of an outbox's log:
//
//	outbox 1 SOURCE                           whose it is
//	event NUMBER OLD SUBJECT SIGNATURE BODY   an entry; OLD is the number that it had before, or 0
//	send SECRET NUMBERS                       about to be published; the secret makes the message ids
//	acked NUMBERS LAST MILLISECONDS           acknowledged in the stream at sequence LAST and those before it
//	held NUMBERS MILLISECONDS                 the hub has them, though no acknowledgement came
//	again NUMBERS                             to be published once more
//	drop NUMBER                               an unsent entry that is void
//	aside NUMBER REASON                       the hub refused it; REASON in quotes
//	denied NUMBER MILLISECONDS REASON         the server did not let the device say it; REASON in quotes
//	retry NUMBER                              to be tried once more, though it was denied
//	receipt JSON                              the hub's last receipt, and the clock
//	mark NUMBER, wall WALL NUMBER, reported NUMBER
//	                                          what was known when older lines were left out
//
// NUMBERS are runs with commas, 3-7,9. Times are Unix milliseconds.

// entry is one event of the outbox.
type entry struct {
	number uint64
	off    int64 // of its line in the log
	size   int
	wall   string // empty: the whole site
	report bool   // device.reported

	tried  bool   // it may have left the device
	secret string // of the publication that is under way; empty: none is
	done   bool   // acknowledged, or held by the hub
	seq    uint64 // in the stream; 0: not known
	at     int64  // when it was done, by the device's clock
	again  int    // how often it was published once more
	reason string // why the hub refused it
	denied string // why the server did not let the device say it
	torn   bool   // its line cannot be read any more
}

// contact is what the hub last said.
type contact struct {
	Receipt
	HasOffset bool  `json:"has_offset,omitzero"`
	OffsetMS  int64 `json:"offset_ms,omitzero"` // hub time minus device time
}

// book is what the log says. It is a pure function of the lines.
type book struct {
	source      string
	entries     []*entry          // in order of number
	last        uint64            // greatest number of all lines
	mark        uint64            // greatest number whose line was left out
	walls       map[string]uint64 // last number on each wall
	oldWalls    map[string]uint64 // of what was left out
	reported    uint64            // number of the last device.reported
	oldReported uint64            // of what was left out
	contact     contact
	known       bool // the hub has spoken once
}

func newBook() book { return book{walls: map[string]uint64{}, oldWalls: map[string]uint64{}} }

var errLine = errors.New("unreadable line of an outbox")

// take folds one line.
func (b *book) take(l line) error {
	kind, rest, _ := strings.Cut(l.text, " ")
	word := strings.Split(rest, " ")
	switch {
	case kind == "event":
		return b.takeEvent(l, rest)
	case kind == "receipt":
		return b.takeContact(rest)
	case kind == "aside" && len(word) >= 2:
		reason, err := strconv.Unquote(strings.TrimPrefix(rest, word[0]+" "))
		return errors.Join(err, b.each(word[0], func(e *entry) { e.reason = cmp.Or(reason, "refused") }))
	case kind == "denied" && len(word) >= 3:
		return b.takeDenied(word[0], word[1], strings.TrimPrefix(rest, word[0]+" "+word[1]+" "))
	case kind == "retry" && len(word) == 1:
		return b.each(word[0], func(e *entry) { e.denied = "" })
	case kind == "outbox" && len(word) == 2 && word[0] == "1":
		b.source = word[1]
		return nil
	case kind == "send" && len(word) == 2:
		return b.each(word[1], func(e *entry) { e.tried, e.secret, e.done = true, word[0], false })
	case kind == "again" && len(word) == 1:
		return b.each(word[0], func(e *entry) { e.tried, e.secret, e.done, e.seq, e.again = true, "", false, 0, e.again+1 })
	case kind == "drop" && len(word) == 1:
		return b.takeDrop(word[0])
	case kind == "acked" && len(word) == 3:
		return b.takeAcked(word)
	case kind == "held" && len(word) == 2:
		at, err := strconv.ParseInt(word[1], 10, 64)
		return errors.Join(err, b.each(word[0], func(e *entry) { e.tried, e.done, e.at = true, true, at }))
	}
	return b.takeOld(kind, word)
}

func (b *book) takeEvent(l line, rest string) error {
	word := strings.SplitN(rest, " ", 5)
	if len(word) != 5 {
		return errLine
	}
	number, err1 := strconv.ParseUint(word[0], 10, 64)
	old, err2 := strconv.ParseUint(word[1], 10, 64)
	sub, err3 := events.ParseSubject(word[2])
	if err := errors.Join(err1, err2, err3); err != nil {
		return err
	}
	if i, found := b.find(old); found {
		b.entries = slices.Delete(b.entries, i, i+1)
	}
	i, found := b.find(number)
	if found {
		return fmt.Errorf("%w: number %d twice", errLine, number)
	}
	e := &entry{number: number, off: l.off, size: l.size, wall: sub.Wall, report: sub.Kind == reportKind}
	b.entries = slices.Insert(b.entries, i, e)
	b.last = max(b.last, number)
	if e.wall != "" {
		b.walls[e.wall] = max(b.walls[e.wall], number)
	}
	if e.report {
		b.reported = max(b.reported, number)
	}
	return nil
}

func (b *book) takeDrop(word string) error {
	number, err := strconv.ParseUint(word, 10, 64)
	if err != nil {
		return err
	}
	if i, found := b.find(number); found {
		b.entries = slices.Delete(b.entries, i, i+1)
	}
	b.reported = b.oldReported
	for _, e := range b.entries {
		if e.report {
			b.reported = e.number
		}
	}
	return nil
}

func (b *book) takeContact(text string) error {
	var c contact
	if err := json.Unmarshal([]byte(text), &c); err != nil {
		return err
	}
	b.contact, b.known = c, true
	return nil
}

func (b *book) takeAcked(word []string) error {
	last, err1 := strconv.ParseUint(word[1], 10, 64)
	at, err2 := strconv.ParseInt(word[2], 10, 64)
	runs, err3 := parseRuns(word[0])
	if err := errors.Join(err1, err2, err3); err != nil {
		return err
	}
	count := uint64(0)
	for _, r := range runs {
		count += r.To - r.From + 1
	}
	if last < count {
		return errLine
	}
	seq := last - count
	for _, r := range runs {
		for n := r.From; n <= r.To; n++ {
			seq++
			if i, found := b.find(n); found {
				e := b.entries[i]
				e.tried, e.done, e.seq, e.at = true, true, seq, at
			}
		}
	}
	return nil
}

func (b *book) takeDenied(numbers, millis, quoted string) error {
	at, err1 := strconv.ParseInt(millis, 10, 64)
	reason, err2 := strconv.Unquote(quoted)
	return errors.Join(err1, err2, b.each(numbers, func(e *entry) { e.denied, e.at = cmp.Or(reason, "not allowed"), at }))
}

func (b *book) takeOld(kind string, word []string) error {
	number, err := strconv.ParseUint(word[len(word)-1], 10, 64)
	switch {
	case err != nil:
		return err
	case kind == "mark" && len(word) == 1:
		b.mark = max(b.mark, number)
	case kind == "reported" && len(word) == 1:
		b.oldReported = max(b.oldReported, number)
		b.reported = max(b.reported, number)
	case kind == "wall" && len(word) == 2:
		b.walls[word[0]] = max(b.walls[word[0]], number)
		b.oldWalls[word[0]] = max(b.oldWalls[word[0]], number)
	default:
		return fmt.Errorf("%w: %s", errLine, kind)
	}
	b.last = max(b.last, number)
	return nil
}

// find returns where the entry with a number is, or would be.
func (b *book) find(number uint64) (int, bool) {
	return slices.BinarySearchFunc(b.entries, number, func(e *entry, n uint64) int { return cmp.Compare(e.number, n) })
}

func (b *book) each(numbers string, do func(*entry)) error {
	runs, err := parseRuns(numbers)
	if err != nil {
		return err
	}
	for _, r := range runs {
		for i, _ := b.find(r.From); i < len(b.entries) && b.entries[i].number <= r.To; i++ {
			do(b.entries[i])
		}
	}
	return nil
}

// next is the number of the next event. The hub may hold numbers that this
// folder does not know, when the folder was lost or an old copy put back.
func (b *book) next() uint64 {
	n := b.last
	if b.contact.Holds(n + 1) {
		n = max(n, b.contact.top())
	}
	return n + 1
}

// settled reports that the hub has the event: a number that never left this
// device is never settled, whatever the hub says of it.
func (b *book) settled(e *entry) bool { return e.tried && b.contact.Holds(e.number) }

// aside reports that the device may not say it now: it is kept and not sent, and
// its number is missing at the hub, which keeps every window of the site shut.
func (b *book) aside(e *entry) bool { return e.denied != "" && !e.done && !b.settled(e) }

// waiting reports that the event has to be published.
func (b *book) waiting(e *entry) bool { return !e.done && !b.settled(e) && !e.torn && e.denied == "" }

// forgettable reports that neither the hub nor the device needs it any more.
func (b *book) forgettable(e *entry, before int64) bool {
	return e.done && e.at < before && b.settled(e)
}

// due returns the data of a device.reported that has to be made at a moment, or
// nil: when everything is out and there is something that no report has named, or
// the last report is old. Another device may have said since that the pour is
// finished, and then every device that was there has to say again that it holds
// nothing back. One that sent no entry after a moment has nothing to speak of.
func (b *book) due(now, entered int64) *events.DeviceReported {
	r := &events.DeviceReported{}
	last := map[string]uint64{}
	said, entries := int64(0), false
	for _, e := range b.entries {
		if b.waiting(e) {
			return nil
		}
		if e.report {
			said = max(said, e.at)
		} else {
			entries = entries || e.at >= entered
		}
		r.Last = e.number
		if e.number > b.reported && e.wall != "" {
			last[e.wall] = e.number
		}
	}
	if r.Last <= b.reported && (!entries || said == 0 || now-said < reportAgain.Milliseconds()) {
		return nil
	}
	for w, n := range last {
		r.Walls = append(r.Walls, events.WallLast{Wall: w, Last: n})
	}
	slices.SortFunc(r.Walls, func(x, y events.WallLast) int { return strings.Compare(x.Wall, y.Wall) })
	r.Walls = r.Walls[:min(len(r.Walls), mostReportWalls)]
	return r
}

// sentWalls returns the last number on each wall that may have left the device.
func (b *book) sentWalls() map[string]uint64 {
	walls := maps.Clone(b.oldWalls)
	for _, e := range b.entries {
		if e.tried && e.wall != "" {
			walls[e.wall] = e.number
		}
	}
	return walls
}

const (
	reportKind      = events.Kind("device.reported")
	mostReportWalls = 2000 // that one device.reported may name

	// reportAgain is how old the last report may be while the outbox keeps entries.
	reportAgain = 12 * time.Hour
)

// A publication that was acknowledged and that the hub still does not hold is
// made again: when the hub's receipt has fallen (it was put back to an older
// state), when it has folded past the event without it, or after a long time.
// The pause doubles, so that a number that stays behind a gap, or a hub that is
// catching up, costs a handful of copies, which the hub knows by their number.
const (
	againFirst = DuplicateWindow
	againMost  = 24 * time.Hour
)

// overdue returns the numbers to be published again.
func (b *book) overdue(now int64, fell bool) []uint64 {
	var list []uint64
	for _, e := range b.entries {
		if !e.done || b.settled(e) {
			continue
		}
		wait := min(againFirst<<min(e.again, 10), againMost).Milliseconds()
		passed := e.again == 0 && b.contact.Through >= e.seq
		// A clock that was set back does not stop it.
		if fell || passed || now-e.at > wait || e.at-now > wait {
			list = append(list, e.number)
		}
	}
	return list
}

// fell reports that the hub knows less than it did.
func (r Receipt) fell(before Receipt) bool {
	return r.UpTo < before.UpTo || r.Through < before.Through || r.High != 0 && r.High < before.High
}

// strangers reports that the hub holds numbers which this device has given to
// events that never left it.
func (b *book) strangers() bool {
	return slices.ContainsFunc(b.entries, func(e *entry) bool { return !e.tried && b.contact.Holds(e.number) })
}

// msgID makes the message id of one number of a publication. Nobody without the
// secret can tell it, not even from the ids of the same publication.
func msgID(secret string, number uint64) string {
	mac := hmac.New(sha256.New, []byte(secret))
	mac.Write(binary.BigEndian.AppendUint64(nil, number))
	return hex.EncodeToString(mac.Sum(nil)[:16])
}

func formatRuns(numbers []uint64) string {
	var b strings.Builder
	for i := 0; i < len(numbers); {
		j := i
		for j+1 < len(numbers) && numbers[j+1] == numbers[j]+1 {
			j++
		}
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%d", numbers[i])
		if j > i {
			fmt.Fprintf(&b, "-%d", numbers[j])
		}
		i = j + 1
	}
	return b.String()
}

func parseRuns(s string) ([]Span, error) {
	var runs []Span
	for part := range strings.SplitSeq(s, ",") {
		a, z, isRun := strings.Cut(part, "-")
		from, err := strconv.ParseUint(a, 10, 64)
		to := from
		if err == nil && isRun {
			to, err = strconv.ParseUint(z, 10, 64)
		}
		if err != nil || to < from || to-from > 1<<20 {
			return nil, fmt.Errorf("%w: numbers %q", errLine, s)
		}
		runs = append(runs, Span{from, to})
	}
	return runs, nil
}
