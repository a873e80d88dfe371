package events

import (
	"errors"
	"fmt"
	"reflect"
	"strconv"
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
	src, ok := cutSource(s)
	if !ok {
		return Source{}, refuse("source", clip(s), textForms["source"].allowed)
	}
	return src, nil
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

// Subject returns the NATS subject that the event is published to by whoever
// signs. ProbeSubject is the other one.
func (e Event) Subject() string {
	return "pour." + e.Source.Site + "." + e.place() + "." + string(e.Kind)
}

// wire is a CloudEvent in structured mode as it is written.
type wire struct {
	SpecVersion     string         `json:"specversion"`
	ID              string         `json:"id"`
	Source          string         `json:"source"`
	Type            string         `json:"type"`
	Subject         string         `json:"subject,omitzero"`
	Time            jsontext.Value `json:"time"`
	DataContentType string         `json:"datacontenttype"`
	Sequence        jsontext.Value `json:"sequence,omitzero"`
	WallSequence    jsontext.Value `json:"wallsequence,omitzero"`
	By              string         `json:"by,omitzero"`
	ClockOffset     jsontext.Value `json:"clockoffset,omitzero"`
	RecordedTime    jsontext.Value `json:"recordedtime,omitzero"`
	Data            jsontext.Value `json:"data"`
}

// Check validates an event that was built in Go, by the same rules as Decode.
// The error is a *Refusal.
func (e Event) Check() error {
	body, err := e.Encode()
	if err != nil {
		return unwritable(err)
	}
	_, err = Decode(e.Subject(), body)
	return err
}

// unwritable turns an error of Encode into a refusal of the member, where there
// is one: a number that is none, text that is not UTF-8.
func unwritable(err error) error {
	var ref *Refusal
	if errors.As(err, &ref) {
		return ref
	}
	var sem *json.SemanticError
	var syn *jsontext.SyntacticError
	var at jsontext.Pointer
	if errors.As(err, &sem) {
		at = sem.JSONPointer
	}
	if errors.As(err, &syn) {
		at = syn.JSONPointer
	}
	field := "data"
	for token := range at.Tokens() {
		field += "." + token
	}
	return refusal(field, "", "a value that JSON can hold", err)
}

// Encode returns the event's body. Equal events have equal bytes. It fails on
// what JSON cannot hold and on data of another kind than the event's, and
// checks nothing else.
func (e Event) Encode() ([]byte, error) {
	def, ok := vocabulary[e.Kind]
	if !ok {
		return nil, refuse("type", clip(string(e.Kind)), knownKind(string(e.Kind)))
	}
	if want := reflect.TypeOf(def.make()); reflect.TypeOf(e.Data) != want || reflect.ValueOf(e.Data).IsNil() {
		return nil, refuse("data", fmt.Sprintf("%T", e.Data), want.String()+", which is the data of "+string(e.Kind))
	}
	data, err := EncodeData(e.Data)
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
	body, err := json.Marshal(w)
	if err != nil {
		return nil, fmt.Errorf("encode %s %s: %w", e.Kind, e.ID, err)
	}
	return body, nil
}

// EncodeData returns the data member alone. Equal data have equal bytes.
func EncodeData(d Data) ([]byte, error) { return json.Marshal(d, json.Deterministic(true)) }

func quoteTime(t time.Time) jsontext.Value {
	return jsontext.Value(strconv.Quote(t.Format(time.RFC3339Nano)))
}
