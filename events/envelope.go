package events

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// MaxBody is the greatest size in bytes of one event's body.
const MaxBody = 256 << 10

// ContentType is the media type of an event's body: CloudEvents 1.0, structured mode.
const ContentType = "application/cloudevents+json"

// Key identifies one event for ever. Two messages with one key are one event.
type Key struct{ Source, ID string }

func (k Key) String() string { return k.Source + "#" + k.ID }

// Source names the device that made an entry and the site that it is enrolled on.
type Source struct{ Site, Device string }

// String gives the CloudEvents source attribute, /site/<site>/device/<device>.
func (s Source) String() string { return "/site/" + s.Site + "/device/" + s.Device }

// ParseSource reads a CloudEvents source attribute.
func ParseSource(s string) (Source, error) {
	part := strings.Split(s, "/")
	if len(part) != 5 || part[0] != "" || part[1] != "site" || part[3] != "device" ||
		!isSite(part[2]) || !isToken(part[4]) {
		return Source{}, refuse("source", s, "/site/<site>/device/<device>, each of a-z, 0-9 and -, 1 to 40 characters")
	}
	return Source{Site: part[2], Device: part[4]}, nil
}

// Event is one entry in the record. Times are in UTC.
type Event struct {
	ID     string // made once on the device
	Source Source
	Kind   Kind
	Wall   string    // empty: the whole site, or with site "_" the whole company
	Time   time.Time // when the entry was made, by the device's own clock

	Sequence     uint64        // the device's running number, from 1; 0: the device does not number
	WallSequence uint64        // the number of this device's previous event on this wall; 0: none
	By           string        // a person's random id; empty: no person (a probe)
	ClockOffset  time.Duration // hub time minus device time at last contact
	HasOffset    bool          // false: the device was never in contact
	Recorded     time.Time     // CloudEvents recordedtime, written on export only; never trusted on the stream

	Data Data
}

// Data is the part of an event that its kind defines.
type Data interface {
	// check reports what no single field's rule can say, or nil.
	check() error
	// span returns when the thing happened; zero times mean when it was entered.
	span() (began, ended time.Time)
}

// Key returns the event's identity.
func (e Event) Key() Key { return Key{e.Source.String(), e.ID} }

// Span returns when the thing happened by the device's clock, not corrected:
// the times in the data, or the time of the entry where the data has none.
func (e Event) Span() (began, ended time.Time) {
	began, ended = e.Data.span()
	if ended.IsZero() {
		ended = began
	}
	if began.IsZero() {
		began = ended
	}
	if began.IsZero() {
		return e.Time, e.Time
	}
	return began, ended
}

// Subject returns the NATS subject that the event is published to.
func (e Event) Subject() string {
	wall := e.Wall
	if wall == "" {
		wall = "_"
	}
	return "pour." + e.Source.Site + "." + wall + "." + string(e.Kind)
}

type wire struct {
	SpecVersion     string         `json:"specversion"`
	ID              string         `json:"id"`
	Source          string         `json:"source"`
	Type            string         `json:"type"`
	Subject         string         `json:"subject,omitzero"`
	Time            jsontext.Value `json:"time"`
	DataContentType string         `json:"datacontenttype,omitzero"`
	Sequence        jsontext.Value `json:"sequence,omitzero"`
	WallSequence    jsontext.Value `json:"wallsequence,omitzero"`
	By              string         `json:"by,omitzero"`
	ClockOffset     jsontext.Value `json:"clockoffset,omitzero"`
	RecordedTime    jsontext.Value `json:"recordedtime,omitzero"`
	Data            jsontext.Value `json:"data"`
}

// Decode reads one event and checks it whole. subject is the NATS subject that
// the message came on, or empty where there is none (a file). The error is
// always a *Refusal.
func Decode(subject string, body []byte) (Event, error) {
	if len(body) > MaxBody {
		return Event{}, refuse("body", fmt.Sprintf("%d bytes", len(body)), fmt.Sprintf("at most %d bytes", MaxBody))
	}
	var w wire
	if err := json.Unmarshal(body, &w); err != nil {
		return Event{}, refusal(decodeField("body", err), "", "a CloudEvents 1.0 JSON object", err)
	}
	e, err := w.event()
	if err != nil {
		return Event{}, err
	}
	if subject != "" && subject != e.Subject() {
		return Event{}, refuse("subject", subject, "the subject that the envelope says: "+e.Subject())
	}
	return e, nil
}

func (w wire) event() (Event, error) {
	if w.SpecVersion != "1.0" {
		return Event{}, refuse("specversion", w.SpecVersion, "1.0")
	}
	if w.DataContentType != "" && w.DataContentType != "application/json" {
		return Event{}, refuse("datacontenttype", w.DataContentType, "application/json")
	}
	if !isID(w.ID) {
		return Event{}, refuse("id", w.ID, "1 to 64 printable characters, best a UUIDv7")
	}
	src, err := ParseSource(w.Source)
	if err != nil {
		return Event{}, err
	}
	kind, err := parseType(w.Type)
	if err != nil {
		return Event{}, err
	}
	e := Event{ID: w.ID, Source: src, Kind: kind, Wall: w.Subject, By: w.By}
	if e.Wall == "_" {
		e.Wall = ""
	}
	if err := e.scopeFits(); err != nil {
		return Event{}, err
	}
	if err := w.attributes(&e); err != nil {
		return Event{}, err
	}
	e.Data, err = DecodeData(kind, w.Data)
	return e, err
}

// scopeFits checks that an event of this kind may stand on this wall or site.
func (e Event) scopeFits() error {
	def := vocabulary[e.Kind]
	switch {
	case e.Wall != "" && !isToken(e.Wall):
		return refuse("subject", e.Wall, "a wall: a-z, 0-9 and -, 1 to 40 characters")
	case e.Wall == "" && def.scope == onWall:
		return refuse("subject", "", "the wall that "+string(e.Kind)+" is about")
	case e.Wall != "" && def.scope == onSite:
		return refuse("subject", e.Wall, "none: "+string(e.Kind)+" is about the whole site")
	case e.By != "" && !isToken(e.By):
		return refuse("by", e.By, "a person's id: a-z, 0-9 and -, 1 to 40 characters")
	case def.person && e.By == "":
		return refuse("by", "", "the person who answers for it: "+string(e.Kind)+" needs a name")
	}
	return nil
}

func (w wire) attributes(e *Event) (err error) {
	if e.Time, err = parseTime("time", w.Time, true); err != nil {
		return err
	}
	if e.Recorded, err = parseTime("recordedtime", w.RecordedTime, false); err != nil {
		return err
	}
	if e.Sequence, err = parseSequence("sequence", w.Sequence); err != nil {
		return err
	}
	if e.WallSequence, err = parseSequence("wallsequence", w.WallSequence); err != nil {
		return err
	}
	if e.WallSequence != 0 && e.WallSequence >= e.Sequence {
		return refuse("wallsequence", strconv.FormatUint(e.WallSequence, 10), "less than sequence")
	}
	ms, given, err := parseDigits("clockoffset", w.ClockOffset)
	if err != nil {
		return err
	}
	if given && (ms > maxOffsetMS || ms < -maxOffsetMS) {
		return refuse("clockoffset", strconv.FormatInt(ms, 10), "-3155760000000..3155760000000 ms")
	}
	e.ClockOffset, e.HasOffset = time.Duration(ms)*time.Millisecond, given
	return nil
}

const maxOffsetMS = 3155760000000 // a hundred years: a phone that woke up in 1970

var (
	firstTime = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	lastTime  = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)
)

const timeAllowed = "an RFC 3339 time with offset, years 2000 to 2099"

func parseTime(field string, v jsontext.Value, need bool) (time.Time, error) {
	if len(v) == 0 || string(v) == "null" {
		if need {
			return time.Time{}, refuse(field, "", timeAllowed)
		}
		return time.Time{}, nil
	}
	var t time.Time
	if err := json.Unmarshal(v, &t); err != nil {
		return time.Time{}, refusal(field, clip(string(v)), timeAllowed, err)
	}
	if t.Before(firstTime) || !t.Before(lastTime) {
		return time.Time{}, refuse(field, t.Format(time.RFC3339), timeAllowed)
	}
	return t.UTC(), nil
}

// parseSequence accepts the running number as the 20 digits that the documented
// extension asks for, as fewer digits, or as a JSON number.
func parseSequence(field string, v jsontext.Value) (uint64, error) {
	n, given, err := parseDigits(field, v)
	if err != nil || !given {
		return 0, err
	}
	if n <= 0 {
		return 0, refuse(field, strconv.FormatInt(n, 10), "1 or more")
	}
	return uint64(n), nil
}

func parseDigits(field string, v jsontext.Value) (n int64, given bool, err error) {
	if len(v) == 0 || string(v) == "null" {
		return 0, false, nil
	}
	text := string(v)
	if v.Kind() == '"' {
		raw, err := jsontext.AppendUnquote(nil, v)
		if err != nil {
			return 0, false, refuse(field, clip(text), "decimal digits")
		}
		text = string(raw)
	}
	n, err = strconv.ParseInt(text, 10, 64)
	if err != nil {
		return 0, false, refusal(field, clip(text), "decimal digits", err)
	}
	return n, true, nil
}

// DecodeData reads and checks the data member of an event of one kind. Members
// that the kind does not have are refused, since a misspelt one would be lost.
func DecodeData(kind Kind, raw []byte) (Data, error) {
	def, ok := vocabulary[kind]
	if !ok {
		return nil, refuse("type", string(kind), "a known kind")
	}
	if len(raw) == 0 {
		raw = []byte("{}")
	}
	d := def.make()
	if err := json.Unmarshal(raw, d, json.RejectUnknownMembers(true)); err != nil {
		return nil, refusal(decodeField("data", err), badValue(raw, err), "a value that the schema of "+string(kind)+" allows", err)
	}
	if err := checkFields("data", d); err != nil {
		return nil, err
	}
	if err := d.check(); err != nil {
		return nil, err
	}
	return d, nil
}

// Check validates an event that was built in Go, by the same rules as Decode.
func (e Event) Check() error {
	body, err := e.Encode()
	if err != nil {
		return err
	}
	_, err = Decode(e.Subject(), body)
	return err
}

// Encode returns the event's body. Equal events have equal bytes.
func (e Event) Encode() ([]byte, error) {
	data, err := json.Marshal(e.Data, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("encode %s %s: %w", e.Kind, e.ID, err)
	}
	w := wire{
		SpecVersion: "1.0", ID: e.ID, Source: e.Source.String(), Type: e.Kind.Type(), Subject: e.Wall,
		Time: quoteTime(e.Time), DataContentType: "application/json", By: e.By, Data: data,
	}
	if e.Sequence != 0 {
		w.Sequence = jsontext.Value(fmt.Sprintf(`"%020d"`, e.Sequence))
	}
	if e.WallSequence != 0 {
		w.WallSequence = jsontext.Value(fmt.Sprintf(`"%020d"`, e.WallSequence))
	}
	if e.HasOffset {
		w.ClockOffset = jsontext.Value(strconv.Quote(strconv.FormatInt(e.ClockOffset.Milliseconds(), 10)))
	}
	if !e.Recorded.IsZero() {
		w.RecordedTime = quoteTime(e.Recorded)
	}
	return json.Marshal(w)
}

func quoteTime(t time.Time) jsontext.Value {
	return jsontext.Value(strconv.Quote(t.Format(time.RFC3339Nano)))
}

func decodeField(root string, err error) string {
	var sem *json.SemanticError
	if errors.As(err, &sem) && sem.JSONPointer != "" {
		return root + "." + strings.ReplaceAll(strings.TrimPrefix(string(sem.JSONPointer), "/"), "/", ".")
	}
	var syn *jsontext.SyntacticError
	if errors.As(err, &syn) && syn.JSONPointer != "" {
		return root + "." + strings.ReplaceAll(strings.TrimPrefix(string(syn.JSONPointer), "/"), "/", ".")
	}
	return root
}

func badValue(raw []byte, err error) string {
	var sem *json.SemanticError
	if errors.As(err, &sem) && len(sem.JSONValue) > 0 {
		return clip(string(bytes.TrimSpace(sem.JSONValue)))
	}
	return clip(string(raw))
}

func clip(s string) string {
	if len(s) > 60 {
		return strings.ToValidUTF8(s[:57], "") + "..."
	}
	return s
}
