package events_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
)

// before are permits, a policy and a statement as they stood in records before
// they could say more.
var before = map[events.Kind]string{
	"permit.issued": `{"number":"P-17","for":"strip","at":"2026-01-12T08:00:00Z","until":"2026-02-28T18:00:00Z","braces":["b1","b2"],` +
		`"requested_by":"p-31cc","reviewed_by":"p-31cc","statement":"w1-window-9","conditions":"only while the gust is under 6 m/s"}`,
	"site.opened": `{"name":"North yard","zone":"America/New_York","policy":{"permit_needed":true}}`,
	"window.stated": `{"at":"2026-01-12T12:00:00Z","open":false,"state":"curing","governs":"floor","text":"Shut.","rules":"earlyage-rules-1","through":991,` +
		`"digest":"0000000000000000000000000000000000000000000000000000000000000abc"}`,
}

// What could be said before is read as it was, and written with the same bytes.
func TestOldWordsKeepTheirBytes(t *testing.T) {
	for kind, text := range before {
		d, err := events.DecodeData(kind, []byte(text))
		require.NoError(t, err, kind)
		again, err := events.EncodeData(d)
		require.NoError(t, err, kind)
		require.Equal(t, text, string(again), kind)
	}
}

// wholePermit is one to strip that lacks nothing.
func wholePermit() *events.PermitIssued {
	seen := func(by string) *events.Inspected { return &events.Inspected{Done: new(true), By: by} }
	return &events.PermitIssued{Number: "P-1", For: "strip", At: at(8, 0), Until: at(18, 0), RequestedBy: "p-aaa", ReviewedBy: "p-bbb", Statement: "hub-1",
		Drawing: "S-1", DrawingRevision: "A", BracingDesign: "TW-1", BracingRevision: "0", Basis: events.BasisAge,
		Evidence: &events.Evidence{LastConcrete: at(7, 0), Mix: "c25", Temperatures: "top 8 °C"}, GustMPS: new(8.0), Loads: "none", Support: "tied-in", SupportSeen: new(true),
		InspectedBefore: seen("p-aaa"), InspectedDuring: seen("p-aaa"), InspectedAfter: seen("p-bbb"), Method: "by hand", Sequence: "b1, b2", ClearM: new(4.0)}
}

func TestAWholePermitLacksNothing(t *testing.T) {
	require.Empty(t, events.PermitLacks(wholePermit(), "p-ccc"))
	for lack, without := range map[string]func(*events.PermitIssued){
		"drawing and revision":        func(d *events.PermitIssued) { d.DrawingRevision = "" },
		"bracing design and revision": func(d *events.PermitIssued) { d.BracingDesign = "" },
		"basis":                       func(d *events.PermitIssued) { d.Basis = "" },
		"statement relied on":         func(d *events.PermitIssued) { d.Statement = "" },
		"evidence":                    func(d *events.PermitIssued) { d.Basis = events.BasisStrength },
		"wind and loads":              func(d *events.PermitIssued) { d.GustMPS = nil },
		"support confirmed":           func(d *events.PermitIssued) { d.SupportSeen = new(false) },
		"inspection before placing":   func(d *events.PermitIssued) { d.InspectedBefore = nil },
		"inspection during placing":   func(d *events.PermitIssued) { d.InspectedDuring.Done = new(false) },
		"inspection after placing":    func(d *events.PermitIssued) { d.InspectedAfter.By = "" },
		"method":                      func(d *events.PermitIssued) { d.Method = "" },
		"sequence":                    func(d *events.PermitIssued) { d.Sequence = "" },
		"clear zone":                  func(d *events.PermitIssued) { d.ClearM = nil },
		"requester":                   func(d *events.PermitIssued) { d.RequestedBy = "p-ccc" },
		"competent reviewer":          func(d *events.PermitIssued) { d.ReviewedBy = d.RequestedBy },
		"end of validity":             func(d *events.PermitIssued) { d.Until = time.Time{} },
	} {
		d := wholePermit()
		without(d)
		require.Equal(t, []string{lack}, events.PermitLacks(d, "p-ccc"))
	}
	require.Empty(t, events.PermitLacks(&events.PermitIssued{Number: "P-1", For: "pour"}, ""))
}

func TestAPermitIsRefused(t *testing.T) {
	for field, wrong := range map[string]func(*events.PermitIssued){
		"data.until":       func(d *events.PermitIssued) { d.Until = d.At.Add(events.PermitMost + time.Second) },
		"data.reviewed_by": func(d *events.PermitIssued) { d.ReviewedBy = d.RequestedBy },
		"data.to_m":        func(d *events.PermitIssued) { d.FromM, d.ToM = new(2.0), new(2.0) },
		"data.release":     func(d *events.PermitIssued) { d.Basis = events.BasisRelease },
	} {
		d := wholePermit()
		wrong(d)
		body, err := events.EncodeData(d)
		require.NoError(t, err)
		_, err = events.DecodeData("permit.issued", body)
		var ref *events.Refusal
		require.ErrorAs(t, err, &ref, field)
		require.Equal(t, field, ref.Field)
	}
	d := wholePermit()
	d.Until = d.At.Add(events.PermitMost)
	body, err := events.EncodeData(d)
	require.NoError(t, err)
	_, err = events.DecodeData("permit.issued", body)
	require.NoError(t, err)
}
