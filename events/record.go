package events

import (
	"time"

	"github.com/go-json-experiment/json/jsontext"
)

// Target names an earlier event by its key.
type Target struct {
	Source string `json:"source" rule:"need,source" doc:"source of the event"`
	ID     string `json:"id" rule:"need,id" doc:"id of the event"`
}

// Key returns the target as a key.
func (t Target) Key() Key { return Key(t) }

// RecordAmended replaces the data of an earlier event of the same wall.
type RecordAmended struct {
	Target Target         `json:"target" rule:"need" doc:"which event"`
	Kind   Kind           `json:"kind" rule:"need,len 3..60" doc:"its kind, such as lift.placed"`
	Data   jsontext.Value `json:"data" rule:"need" doc:"its data, whole, as it should have been"`
	Reason string         `json:"reason" rule:"need,len 1..500" doc:"why"`

	decoded Data
}

// Replacement returns the new data, decoded and checked.
func (d *RecordAmended) Replacement() Data { return d.decoded }

func (d *RecordAmended) check() error {
	if def, ok := vocabulary[d.Kind]; !ok || def.scheduler {
		return refuse("data.kind", clip(string(d.Kind)), "a known kind that a person or device records")
	}
	switch d.Kind {
	case "record.amended", "record.voided", "record.countersigned":
		return refuse("data.kind", string(d.Kind), "not a record event: void it and enter another")
	}
	dec, err := DecodeData(d.Kind, d.Data)
	if err != nil {
		return within("data", err)
	}
	// Written anew, so that equal amendments have equal bytes.
	if d.Data, err = EncodeData(dec); err != nil {
		return refusal("data.data", "", "the whole data of the event", err)
	}
	d.decoded = dec
	return nil
}
func (d *RecordAmended) span() (b, e time.Time) { return }

// RecordVoided takes an earlier event of the same wall out, for ever.
type RecordVoided struct {
	Target Target `json:"target" rule:"need" doc:"which event"`
	Reason string `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *RecordVoided) check() error           { return nil }
func (d *RecordVoided) span() (b, e time.Time) { return }

// RecordCountersigned is the second person's word: the event that it names may
// make an answer earlier.
type RecordCountersigned struct {
	Target Target `json:"target" rule:"need" doc:"the event that it lets count: an amendment, a void, a policy, a late or unusual entry"`
	Role   string `json:"role" rule:"need,officer|engineer" doc:"in what role the author speaks"`
	Note   string `json:"note,omitzero" doc:"in words"`
}

func (d *RecordCountersigned) check() error           { return nil }
func (d *RecordCountersigned) span() (b, e time.Time) { return }

// DoubtSettled answers a doubt about one event.
type DoubtSettled struct {
	Target  Target `json:"target,omitzero" doc:"the event in doubt; not given: a refused message, named by stream sequence"`
	Message uint64 `json:"message,omitzero" doc:"stream sequence of a refused message: answers all of the same device that were refused for the same field, up to this answer"`
	All     bool   `json:"all,omitzero" doc:"with message: answers every refused message here up to the one named, of whatever device"`
	// Offset is what the device's clock should have been corrected by.
	OffsetMS *float64 `json:"offset_ms,omitzero" rule:"-3155760000000..3155760000000" unit:"ms" doc:"of a clock doubt: hub time minus device time when the entry was made"`
	Reason   string   `json:"reason" rule:"need,len 1..500" doc:"how it is known"`
}

func (d *DoubtSettled) check() error {
	if (d.Target == Target{}) == (d.Message == 0) {
		return refuse("data.target", "", "either target or message")
	}
	if d.All && d.Message == 0 {
		return refuse("data.all", "true", "with message only: the last refused message that is answered")
	}
	return nil
}
func (d *DoubtSettled) span() (b, e time.Time) { return }
