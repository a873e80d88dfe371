package hub

import (
	"encoding"
	"reflect"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
)

// schemas are the JSON Schemas (2020-12) of Go types as the hub writes them, by
// name. Members that may be missing are those that are left out when they are zero.
type schemas map[string]any

var (
	typeTime   = reflect.TypeFor[time.Time]()
	typeMoment = reflect.TypeFor[face.Time]()
	typeValue  = reflect.TypeFor[jsontext.Value]()
	typeRole   = reflect.TypeFor[events.Role]()
	typeText   = reflect.TypeFor[encoding.TextMarshaler]()
)

// of gives the schema of a type; of a type with a name, a reference to it.
func (s schemas) of(t reflect.Type) map[string]any {
	switch {
	case t == typeMoment:
		return map[string]any{"type": []string{"string", "null"}, "format": "date-time"}
	case t == typeTime:
		return map[string]any{"type": "string", "format": "date-time"}
	case t == typeValue || t == reflect.TypeFor[anything]():
		return map[string]any{}
	case t == typeRole:
		return map[string]any{"type": "string", "enum": events.Roles()}
	case t.Kind() != reflect.Struct && t.Implements(typeText):
		return map[string]any{"type": "string"}
	}
	switch t.Kind() {
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Float32, reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return map[string]any{"type": "integer", "minimum": 0}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return map[string]any{"type": "integer"}
	case reflect.Pointer:
		return map[string]any{"anyOf": []any{s.of(t.Elem()), map[string]any{"type": "null"}}}
	case reflect.Slice, reflect.Array:
		return map[string]any{"type": "array", "items": s.of(t.Elem())}
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": s.of(t.Elem())}
	case reflect.Struct:
		return s.named(t)
	}
	return map[string]any{}
}

func (s schemas) named(t reflect.Type) map[string]any {
	if t.Name() == "" {
		return s.object(t)
	}
	name := t.String()
	if _, known := s[name]; !known {
		s[name] = nil // it may hold itself
		s[name] = s.object(t)
	}
	return map[string]any{"$ref": "#/components/schemas/" + name}
}

func (s schemas) object(t reflect.Type) map[string]any {
	members, required := map[string]any{}, []string{}
	s.members(t, members, &required)
	return map[string]any{"type": "object", "properties": members, "required": required}
}

// members adds those of a struct, and of what is embedded in it.
func (s schemas) members(t reflect.Type, members map[string]any, required *[]string) {
	for f := range t.Fields() {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case name == "-" || !f.IsExported() && !f.Anonymous:
			continue
		case f.Anonymous && name == "" && f.Type.Kind() == reflect.Struct:
			s.members(f.Type, members, required)
			continue
		case name == "":
			name = f.Name
		}
		members[name] = s.of(f.Type)
		if !strings.Contains(options, "omit") {
			*required = append(*required, name)
		}
	}
}
