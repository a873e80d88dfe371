package events

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// envelope is a CloudEvent in structured mode as it is read. Its rules make the
// schema's envelope too.
type envelope struct {
	SpecVersion     string    `json:"specversion" rule:"need,1.0" doc:"version of CloudEvents"`
	ID              string    `json:"id" rule:"need,id" doc:"made once on the device; with source it names the event for ever"`
	Source          string    `json:"source" rule:"need,source" doc:"the device that made the entry, and its site; site _ is the whole company"`
	Type            string    `json:"type" rule:"need,len 1..100" doc:"what the event says"`
	Subject         string    `json:"subject" rule:"subject" doc:"the wall"`
	Time            time.Time `json:"time" rule:"need" doc:"when the entry was made, by the device's own clock; when the thing happened stands in the data"`
	DataContentType string    `json:"datacontenttype" rule:"application/json" doc:"media type of data"`
	Sequence        uint64    `json:"sequence" rule:"digits,1.." doc:"the device's running number, from 1, best as 20 digits; not given: the device does not number"`
	WallSequence    uint64    `json:"wallsequence" rule:"digits,1.." doc:"number of this device's event before this one on the same wall; not given: none"`
	By              string    `json:"by" rule:"token" doc:"random id of the person who answers for the entry; not given: a probe or a program"`
	ClockOffset     *int64    `json:"clockoffset" rule:"digits,-3155760000000..3155760000000" unit:"ms" doc:"hub time minus device time at last contact, best as text; not given: never in contact"`
	RecordedTime    time.Time `json:"recordedtime" doc:"the stream's timestamp, written on export only; never trusted on the stream"`

	def  *definition    // of Type, once read
	data Data           // nil: not yet read
	late jsontext.Value // data that stood before type
}

var envelopePlan = planOf(reflect.TypeFor[envelope]())

// Decode reads one event and checks it whole. subject is the NATS subject that
// the message came on, or empty where there is none (a file). The error is
// always a *Refusal.
func Decode(subject string, body []byte) (Event, error) {
	if len(body) > MaxBody {
		return Event{}, refuse("body", fmt.Sprintf("%d bytes", len(body)), fmt.Sprintf("at most %d bytes", MaxBody))
	}
	var env envelope
	if err := json.Unmarshal(body, &env); err != nil {
		return Event{}, malformed("body", body, err)
	}
	e, err := env.event()
	if err != nil {
		return Event{}, err
	}
	if subject != "" && !e.isOn(subject) {
		want := e.Subject()
		if strings.HasPrefix(subject, "probe.") {
			want = ProbeSubject(e)
		}
		return Event{}, beyond(refuse("subject", clip(subject), "the subject that the envelope says: "+want))
	}
	return e, nil
}

// UnmarshalJSONFrom reads the envelope and, where type stands before data, the
// data in the same pass.
func (env *envelope) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	if dec.PeekKind() != '{' {
		return within("body", wrongShape(dec, "a CloudEvents 1.0 JSON object"))
	}
	if _, err := dec.ReadToken(); err != nil {
		return err
	}
	var seen uint64
	v := reflect.ValueOf(env).Elem()
	for hint := 0; dec.PeekKind() == '"'; {
		quoted, err := dec.ReadValue()
		if err != nil {
			return err
		}
		name, err := unquote(quoted)
		if err != nil {
			return err
		}
		r, i := envelopePlan.find(name, hint)
		switch {
		case r == nil:
			if err := env.readOther(dec, string(name)); err != nil {
				return err
			}
			continue
		case dec.PeekKind() == 'n': // CloudEvents: an attribute of null is not set
			err = dec.SkipValue()
		default:
			err = r.read(dec, v.Field(r.index))
			seen |= 1 << i
		}
		if err != nil {
			return within(r.name, err)
		}
		hint = i + 1
	}
	if _, err := dec.ReadToken(); err != nil {
		return err
	}
	return envelopePlan.missing(seen)
}

// readOther reads a member that is not one of the attributes: the data, or a
// foreign extension, which is passed over.
func (env *envelope) readOther(dec *jsontext.Decoder, name string) (err error) {
	switch {
	case name == "data":
		return env.readData(dec)
	case !isAttribute(name):
		value, err := dec.ReadValue()
		if err != nil {
			return err
		}
		return refuse(named(name), shown(value), "names of a-z and 0-9; "+nearest(name, append(envelopePlan.names(), "data")))
	default:
		return dec.SkipValue()
	}
}

func (env *envelope) readData(dec *jsontext.Decoder) error {
	if env.Type == "" {
		raw, err := dec.ReadValue()
		env.late = raw.Clone()
		return err
	}
	if err := env.define(); err != nil {
		return err
	}
	env.data = env.def.make()
	return within("data", env.def.plan.read(dec, reflect.ValueOf(env.data).Elem()))
}

func (env *envelope) define() (err error) {
	if env.def == nil {
		env.def, err = parseType(env.Type)
	}
	return err
}

// isAttribute reports whether CloudEvents allows the name for an attribute.
func isAttribute(name string) bool {
	return name != "" && strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789") == ""
}

func (env *envelope) event() (Event, error) {
	if err := env.define(); err != nil {
		return Event{}, err
	}
	src, err := ParseSource(env.Source)
	if err != nil {
		return Event{}, err
	}
	e := Event{
		ID: env.ID, Source: src, Kind: env.def.kind, Wall: env.Subject, Time: env.Time,
		Sequence: env.Sequence, WallSequence: env.WallSequence, By: env.By, Recorded: env.RecordedTime,
	}
	if e.Wall == "_" {
		e.Wall = ""
	}
	if env.ClockOffset != nil {
		e.ClockOffset, e.HasOffset = time.Duration(*env.ClockOffset)*time.Millisecond, true
	}
	if err := e.fits(env.def); err != nil {
		return Event{}, err
	}
	if env.data == nil {
		if e.Data, err = DecodeData(e.Kind, env.late); err != nil {
			return e, err
		}
		return e, e.checkAuthor()
	}
	e.Data = env.data
	if err := checkData(e.Data); err != nil {
		return e, err
	}
	return e, e.checkAuthor()
}

// checkAuthor checks what the kind asks of its data and of by together.
func (e *Event) checkAuthor() error {
	ref := askedByAnother(e.Data, e.By)
	if d, ok := e.Data.(*RecordAmended); ok {
		if ref = askedByAnother(d.decoded, e.By); ref != nil {
			ref = inner(ref)
		}
	}
	if ref == nil {
		return nil
	}
	return beyond(ref)
}

// fits checks that an event of this kind may stand on this wall or site, with
// this person and these numbers.
func (e *Event) fits(def *definition) error {
	switch {
	case e.Wall == "" && def.scope == onWall:
		return refuse("subject", "", "the wall that "+string(e.Kind)+" is about: "+tokenAllowed)
	case e.Wall != "" && def.scope == onSite:
		return refuse("subject", e.Wall, "none, or _: "+string(e.Kind)+" is about the whole site")
	case def.person && e.By == "":
		return refuse("by", "", "the person who answers for it: "+string(e.Kind)+" needs a name")
	case e.Wall != "" && e.Source.Site == "_":
		return beyond(refuse("subject", e.Wall, "none, or _: source names the whole company, which has no walls"))
	case e.WallSequence != 0 && e.WallSequence >= e.Sequence:
		return beyond(refuse("wallsequence", strconv.FormatUint(e.WallSequence, 10), "less than sequence"))
	}
	return nil
}

// DecodeData reads and checks the data member of an event of one kind; nothing
// stands for an object without members. Members that the kind does not have are
// refused, since a misspelt one would be lost. The error is a *Refusal.
func DecodeData(kind Kind, raw []byte) (Data, error) {
	def, ok := vocabulary[kind]
	if !ok {
		return nil, refuse("type", clip(string(kind)), knownKind(string(kind)))
	}
	if len(raw) == 0 {
		raw = []byte("{}")
	}
	b := body{plan: def.plan, data: def.make()}
	if err := json.Unmarshal(raw, &b); err != nil {
		return nil, malformed("data", raw, err)
	}
	return b.data, checkData(b.data)
}

// body reads the data of an event that stands alone.
type body struct {
	plan *plan
	data Data
}

func (b *body) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	return within("data", b.plan.read(dec, reflect.ValueOf(b.data).Elem()))
}

// checkData checks what the kind asks of its fields together.
func checkData(d Data) error {
	err := d.check()
	if ref, ok := err.(*Refusal); ok {
		return beyond(ref)
	}
	return err
}

func beyond(r *Refusal) *Refusal {
	r.Beyond = true
	return r
}
