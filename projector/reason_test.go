package projector_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/projector"
)

// What is listed of a refused message is the same on every machine and in every
// run: the decoder's own words, which it varies on purpose, are left out.
func TestReasonsHoldNoWordsOfTheDecoder(t *testing.T) {
	s := newTape()
	for _, body := range []string{"{", `{"specversion":1}`, `{"id":"a","id":"b"}`, "\xff", `{"time":"soon"}`, ""} {
		s.put("pour.alder.w1.lift.placed", []byte(body), "")
	}
	p := foldAll(t, s)
	view(t, p, func(v projector.View) {
		rows := v.Refused(10)
		require.Len(t, rows, 6)
		for _, row := range rows {
			for _, word := range []string{"json", "at byte", "EOF", "unexpected"} {
				require.NotContains(t, row.Reason, word)
			}
			require.Contains(t, row.Reason, "; allowed: ", "the value, and what is allowed: %s", row.Field)
		}
	})
}
