package events

import (
	"bytes"
	"reflect"

	"github.com/go-json-experiment/json/jsontext"
)

// Peek reads what it can of a message that Decode refused: its source, id and
// sequence, each zero where it cannot be read or is not acceptable itself. So a
// refused message is known by its name, and its number is not a gap.
func Peek(body []byte) (src Source, id string, sequence uint64) {
	dec := jsontext.NewDecoder(bytes.NewReader(body), jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))
	if dec.PeekKind() != '{' {
		return src, "", 0
	}
	_, err := dec.ReadToken()
	var env envelope
	v := reflect.ValueOf(&env).Elem()
	var seen uint64
	for err == nil && dec.PeekKind() == '"' {
		var name, value jsontext.Value
		if name, err = dec.ReadValue(); err != nil {
			break
		}
		attribute, _ := unquote(name)
		r, i := envelopePlan.find(attribute, 0)
		if value, err = dec.ReadValue(); err != nil || r == nil || seen&(1<<i) != 0 {
			continue
		}
		switch r.name {
		case "source", "id", "sequence":
			if r.set(value, v.Field(r.index)) == nil {
				seen |= 1 << i
			}
		}
	}
	src, _ = cutSource(env.Source)
	return src, env.ID, env.Sequence
}
