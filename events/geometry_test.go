package events_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events"
)

func TestImpossibleGeometryIsRefusedWithTheMemberNamed(t *testing.T) {
	square := `"legs":[{"length_m":10,"turn_deg":90},{"length_m":10,"turn_deg":90},{"length_m":10,"turn_deg":90},{"length_m":10,"turn_deg":90}]`
	for _, c := range []struct{ name, data, field string }{
		{"a square closes", `"length_m":40,"closed":true,` + square, ""},
		{"legs that do not add up", `"length_m":41,` + square, "data.legs"},
		{"a closed path with one corner missing", `"length_m":40,"closed":true,"legs":[{"length_m":10,"turn_deg":90},{"length_m":10,"turn_deg":90},{"length_m":20,"turn_deg":90}]`, "data.legs"},
		{"within one percent", `"length_m":40.3,"closed":true,"legs":[{"length_m":10,"turn_deg":90},{"length_m":10,"turn_deg":90},{"length_m":10,"turn_deg":90},{"length_m":10.3,"turn_deg":90}]`, ""},
		{"an opening off the wall", `"length_m":8,"openings":[{"from_m":7,"to_m":9,"sill_m":1,"head_m":2}]`, "data.openings.0.to_m"},
		{"an opening over the form", `"length_m":8,"openings":[{"from_m":1,"to_m":2,"sill_m":1,"head_m":3.5}]`, "data.openings.0.head_m"},
		{"overlapping openings", `"length_m":8,"openings":[{"from_m":3,"to_m":5,"sill_m":0,"head_m":2},{"from_m":1,"to_m":3.5,"sill_m":1,"head_m":2}]`, "data.openings.1"},
		{"one opening over the other", `"length_m":8,"openings":[{"from_m":3,"to_m":5,"sill_m":0,"head_m":1},{"from_m":3,"to_m":5,"sill_m":1.2,"head_m":2}]`, ""},
		{"openings side by side", `"length_m":8,"openings":[{"from_m":3,"to_m":5,"sill_m":0,"head_m":1},{"from_m":5,"to_m":6,"sill_m":0,"head_m":1}]`, ""},
		{"a brace off the wall", `"length_m":8,"braces":[{"name":"b1","at_m":8.1}]`, "data.braces.0.at_m"},
		{"two braces at one station", `"length_m":8,"braces":[{"name":"b1","at_m":2},{"name":"b2","at_m":2}]`, "data.braces.1.at_m"},
		{"two braces of one name", `"length_m":8,"braces":[{"name":"b1","at_m":2},{"name":"b1","at_m":3}]`, "data.braces.1.name"},
		{"a bulkhead off the wall", `"length_m":8,"bulkheads":[{"at_m":9}]`, "data.bulkheads.0.at_m"},
		{"a pilaster off the wall", `"length_m":8,"pilasters":[{"from_m":7.5,"to_m":9,"depth_mm":100}]`, "data.pilasters.0.to_m"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := events.DecodeData("wall.laid-out", []byte(`{`+c.data+`,"height_m":3,"core_mm":200}`))
			if c.field == "" {
				require.NoError(t, err)
				return
			}
			var refusal *events.Refusal
			require.ErrorAs(t, err, &refusal)
			require.Equal(t, c.field, refusal.Field)
		})
	}
}
