package scheduler

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"earlyage/events"
	"earlyage/projector/wall"
)

// HubDevice is the device name in the source of what the hub itself says.
const HubDevice = "hub"

// A Voice publishes what the scheduler says.
type Voice interface {
	// Say publishes events in order and returns the stream's sequence of the
	// last. When it returns without an error they are on the disk. After an
	// error any number of them, from the first on, may have been stored; the
	// caller finds out from the record, and may say them again.
	Say(ctx context.Context, words []events.Event) (last uint64, err error)
}

// Publish sends one signed event and returns its sequence in the stream.
type Publish func(ctx context.Context, subject string, body []byte, signature string) (uint64, error)

// Sign makes the signature header of a body.
type Sign func(key ed25519.PrivateKey, body []byte) string

// Speaker is the Voice that signs with the hub's key. It is safe for concurrent use.
type Speaker struct {
	key     ed25519.PrivateKey
	sign    Sign
	publish Publish
}

// NewSpeaker returns the hub's voice.
func NewSpeaker(key ed25519.PrivateKey, sign Sign, publish Publish) *Speaker {
	return &Speaker{key: key, sign: sign, publish: publish}
}

// Say implements Voice.
func (s *Speaker) Say(ctx context.Context, words []events.Event) (last uint64, err error) {
	for _, e := range words {
		body, err := e.Encode()
		if err != nil {
			return last, fmt.Errorf("say %s on %s: %w", e.Kind, e.Subject(), err)
		}
		seq, err := s.publish(ctx, e.Subject(), body, s.sign(s.key, body))
		if err != nil {
			return last, fmt.Errorf("say %s on %s: %w", e.Kind, e.Subject(), err)
		}
		last = max(last, seq)
	}
	return last, nil
}

// word makes an event of the hub's, without its id. Its time is the moment that
// it speaks of; nothing in it is random.
func word(ref Ref, kind events.Kind, at time.Time, data events.Data) events.Event {
	return events.Event{
		Source: events.Source{Site: ref.Site, Device: HubDevice},
		Kind:   kind, Wall: ref.Wall, Time: at.UTC(), Data: data,
	}
}

// seal gives a word its id, a hash of everything else in it, and checks it:
// whoever says the same thing says it with the same id and the same bytes, and
// it counts once.
func seal(e events.Event) (events.Event, error) {
	body, err := e.Encode()
	if err != nil {
		return e, err
	}
	e.ID = "hub-" + hash(body)
	return e, e.Check()
}

// hash gives 128 bits, in hex, over parts that cannot be shifted into each other.
func hash[T string | []byte](parts ...T) string {
	h := sha256.New()
	for _, p := range parts {
		h.Write(binary.AppendUvarint(nil, uint64(len(p))))
		h.Write([]byte(p))
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// raise makes an alert. Its identity (in the data) hangs on what it is about
// and on the last word on that, not on its text: two hubs that put it in other
// words still raise one alert, and the same condition coming back is a new one.
func (in *comparison) raise(a Alert, preceding uint64) events.Event {
	since := stamp(a.Since)
	return word(in.ref, "alert.raised", since, &events.AlertRaised{
		Alert: "alert-" + hash(in.ref.Site, in.ref.Wall, a.Kind, a.Cause, Rules, fmt.Sprint(preceding)),
		Kind:  a.Kind, Cause: a.Cause, Priority: priority(a), Since: since, Text: clipText(a.Text, maxText), About: takeable(a.About), Rules: Rules, Preceding: preceding,
	})
}

func priority(a Alert) string {
	if a.Priority != "" {
		return a.Priority
	}
	return AlertKinds[a.Kind].Priority
}

func (in *comparison) clear(a wall.Alarm) events.Event {
	return word(in.ref, "alert.cleared", in.at, &events.AlertCleared{
		Alert: a.ID, Kind: a.Kind, Cause: a.Cause, At: in.at, Rules: Rules,
	})
}

// statement says what the window is.
func (in *comparison) statement() events.Event {
	return word(in.ref, "window.stated", in.at, StatementOf(in.now, in.folded.Zone, in.folded.Digest(), in.through, in.folded.Said.Seq))
}

// StatementOf is what the hub says of a wall's window by an assessment: digest is
// of the wall's state that it rests on, through the stream sequence that the
// record was read through, preceding that of the statement before it or 0.
func StatementOf(a Assessment, zone *time.Location, digest [32]byte, through, preceding uint64) *events.WindowStated {
	strip := a.Strip
	if zone == nil {
		zone = time.UTC
	}
	w := &events.WindowStated{
		At: a.At, Open: strip.Open, State: a.State, CuredAt: strip.CuredAt, Earliest: strip.Earliest,
		Early: strip.Expected.Early, Likely: strip.Expected.Likely, Late: strip.Expected.Late, Governs: strip.Governs,
		Text: statementText(strip, zone), Rules: Rules, Through: through,
		Digest: hex.EncodeToString(digest[:]), Preceding: preceding,
	}
	a.Basis.putInto(w)
	return w
}

const maxText = 1000 // bytes, of a text in an event

func statementText(s Strip, zone *time.Location) string {
	var b strings.Builder
	if s.Open {
		fmt.Fprintf(&b, "The window is open since %s; cured %s.", localMinute(s.OpenedAt, zone), localMinute(s.CuredAt, zone))
	} else {
		fmt.Fprintf(&b, "The window is shut. What governs: %s.", governing(s))
		if !s.CuredAt.IsZero() {
			fmt.Fprintf(&b, " Cured %s.", localMinute(s.CuredAt, zone))
		} else if e := s.Expected; !e.Likely.IsZero() {
			fmt.Fprintf(&b, " Cured is expected %s, early %s, late %s.",
				localMinute(e.Likely, zone), localMinute(e.Early, zone), localMinute(e.Late, zone))
		}
	}
	return clipText(b.String(), maxText-len(Caution)-1) + " " + Caution
}

// criterionWords say for people what a criterion asks for.
var criterionWords = map[string]string{
	Complete:    "the record of the pour must be complete",
	Floor:       "time since the last concrete",
	Temperature: "equivalent age",
	Strength:    "strength",
	Frost:       "frost before the concrete could stand it",
	Support:     "what holds the wall up once the braces are off",
	Wind:        "wind",
	Straight:    "the string line after placing",
	Hold:        "a hold or an open doubt",
	Permit:      "the permit to strip",
}

// governing puts the governing criterion in words.
func governing(s Strip) string {
	words := criterionWords[s.Governs]
	if words == "" {
		words = s.Governs
	}
	i := slices.IndexFunc(s.Criteria, func(c Criterion) bool { return c.Name == s.Governs })
	if i < 0 {
		return words
	}
	c := s.Criteria[i]
	switch {
	case c.Have == "" || c.Need == "":
	case c.Have[0] >= '0' && c.Have[0] <= '9' && c.Unit != "":
		words += fmt.Sprintf(", %s of %s %s", c.Have, c.Need, c.Unit)
	default:
		words += fmt.Sprintf(": %s, needed: %s", c.Have, c.Need)
	}
	if c.Note != "" {
		words += " (" + clipText(c.Note, 300) + ")"
	}
	return words
}

// localMinute shows a moment in a site's own time, rounded up to the minute,
// because a time to strip is never rounded down.
func localMinute(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return "not known"
	}
	if m := t.Truncate(time.Minute); m.Before(t) {
		t = m.Add(time.Minute)
	}
	return t.In(zone).Format("Mon 2 Jan 15:04 MST")
}

// clipText makes a text valid UTF-8 of at most so many bytes.
func clipText(s string, most int) string {
	s = strings.ToValidUTF8(s, "")
	if len(s) <= most {
		return s
	}
	most -= len("…")
	for most > 0 && !utf8.RuneStart(s[most]) {
		most--
	}
	return s[:most] + "…"
}

// stamp rounds a moment up to the stream's millisecond.
func stamp(t time.Time) time.Time {
	if m := t.Truncate(time.Millisecond); m.Before(t) {
		t = m.Add(time.Millisecond)
	}
	return t.UTC()
}
