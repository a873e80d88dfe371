package entry_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/entry"
	"earlyage/events"
)

// FuzzLines reads a file, which may be anything: events that can be stamped and
// sent, or a refusal that names a field.
func FuzzLines(f *testing.F) {
	f.Add(`{"type":"earlyage.pour.started.v1","subject":"a","data":{}}`)
	f.Add(`{"type":"earlyage.lift.placed.v1","subject":"a","by":"p-2","time":"2026-01-12T08:03:00+01:00","data":{"from_m":0,"to_m":6,"top_m":0.6}}`)
	f.Add(`{"specversion":"0.3","type":"earlyage.pour.started.v1","subject":"a","data":{}}`)
	f.Add("\n{\n")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := entry.Reader{By: "p-1", Zone: time.UTC}.Lines(strings.NewReader(text))
		if err != nil {
			var refused *events.Refusal
			require.True(t, errors.As(err, &refused), "%v", err)
			require.NotEmpty(t, refused.Field)
			return
		}
		for i, e := range list {
			e.ID, e.Source, e.Sequence = "x", events.Source{Site: "mill", Device: "phone"}, uint64(i+1)
			if e.Time.IsZero() {
				e.Time = time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)
			}
			if e.Check() != nil {
				continue // the outbox refuses it
			}
			body, err := e.Encode()
			require.NoError(t, err)
			_, err = events.Decode(e.Subject(), body)
			require.NoError(t, err, "%s", body)
		}
	})
}
