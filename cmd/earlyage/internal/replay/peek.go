package replay

import (
	"bytes"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json/jsontext"

	"earlyage/events"
)

// named is what can be read of a line that cannot be accepted.
type named struct {
	id       string
	source   events.Source
	wall     string
	sequence uint64
}

// peek reads the members of an object that name an event, as far as the object
// can be read.
func peek(line []byte) named {
	var n named
	dec := jsontext.NewDecoder(bytes.NewReader(line), jsontext.AllowDuplicateNames(true))
	if tok, err := dec.ReadToken(); err != nil || tok.Kind() != '{' {
		return n
	}
	for dec.PeekKind() == '"' {
		name, err := dec.ReadToken()
		if err != nil {
			return n
		}
		key := name.String()
		value, err := dec.ReadValue()
		if err != nil {
			return n
		}
		n.take(key, value)
	}
	return n
}

func (n *named) take(key string, value jsontext.Value) {
	text := string(value)
	if value.Kind() == '"' {
		raw, err := jsontext.AppendUnquote(nil, value)
		if err != nil {
			return
		}
		text = string(raw)
	}
	switch key {
	case "id":
		n.id = strings.ToValidUTF8(text[:min(len(text), maxID)], "")
	case "source":
		if src, err := events.ParseSource(text); err == nil {
			n.source = src
		}
	case "subject":
		if events.IsToken(text) {
			n.wall = text
		}
	case "sequence":
		if v, err := strconv.ParseUint(text, 10, 63); err == nil {
			n.sequence = v
		}
	}
}

const maxID = 64
