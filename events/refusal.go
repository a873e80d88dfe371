package events

import "fmt"

// Refusal says why an event is not acceptable: which field, what stood there
// and what is allowed.
type Refusal struct {
	Field   string // path in the event, such as data.top_m
	Value   string // what stood there, clipped; empty: nothing
	Allowed string
	Beyond  bool  // a rule that the kind's JSON Schema does not say
	Cause   error // the decoder's own word, or nil
}

func (r *Refusal) Error() string {
	value := "nothing"
	if r.Value != "" {
		value = fmt.Sprintf("%q", r.Value)
	}
	s := fmt.Sprintf("%s: %s; allowed: %s", r.Field, value, r.Allowed)
	if r.Cause != nil {
		s += " (" + r.Cause.Error() + ")"
	}
	return s
}

func (r *Refusal) Unwrap() error { return r.Cause }

func refuse(field, value, allowed string) *Refusal {
	return &Refusal{Field: field, Value: value, Allowed: allowed}
}

func refusal(field, value, allowed string, cause error) *Refusal {
	return &Refusal{Field: field, Value: value, Allowed: allowed, Cause: cause}
}
