package register

import (
	"fmt"
	"io"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// JSON writes the register as its types have it: moments as RFC 3339 in UTC,
// durations in whole seconds.
func (r *Register) JSON(w io.Writer) error {
	if err := json.MarshalWrite(w, r, json.Deterministic(true), jsontext.WithIndent("  ")); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	return nil
}
