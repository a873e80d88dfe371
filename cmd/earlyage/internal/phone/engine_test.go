package phone_test

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/events"
)

// suite has the one browser of these tests. They wait more than they work, so they
// run side by side, each with a tab, a profile and mostly a hub of its own.
var suite *browser.Suite

func TestMain(m *testing.M) {
	if flag.Parse(); runtime.GOMAXPROCS(0) < 4 {
		_ = flag.Set("test.parallel", "4") // a flag of every test binary
	}
	suite = browser.NewSuite(m)
	goleak.VerifyTestMain(suite)
}

func TestAPhoneJoinsAndRecords(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, device := c.joined(suite.Browser(t), events.Foreman)
	require.Equal(t, "phone-a", device)
	pour(tab, "w1", 3, 0)
	pour(tab, "w2", 2, 3)
	tab.Until(emptied)
	c.whole(device, named(5, 0)...)
	list := c.of(device)
	for _, e := range list {
		require.True(t, e.HasOffset, "number %d", e.Sequence)
		require.NotEmpty(t, e.By)
	}
	report := list[len(list)-1].Data.(*events.DeviceReported)
	require.EqualValues(t, len(list)-1, report.Last)

	// Another roles' kind is not recorded, nor what cannot be read.
	require.Equal(t, "not-allowed", browser.Ask[string](tab, `code(engine.record("w1", "hold.released", {}))`))
	require.Equal(t, "not-allowed", browser.Ask[string](tab, `code(engine.record("", "device.reported", {}))`))
	require.Equal(t, "invalid", browser.Ask[string](tab, `code(engine.record("W 1", "pour.started", {}))`))
	require.Equal(t, "invalid", browser.Ask[string](tab, `code(engine.record("", "pour.started", {}))`))
	require.Equal(t, "invalid", browser.Ask[string](tab, `code(engine.record("w1", "pour.begun", {}))`))
	require.Equal(t, "invalid", browser.Ask[string](tab, `code(engine.record("w1", "pour.started", {}, {at: "noon"}))`))
	require.Equal(t, "joined", browser.Ask[string](tab, `code(engine.join("0000-0000", ""))`))
	require.Equal(t, "unknown", browser.Ask[string](tab, `code(engine.amend(99, {}, "typed"))`))
	require.Equal(t, "invalid", browser.Ask[string](tab, fmt.Sprintf(`code(engine.amend(%d, {}, "typed"))`, len(list))))

	browser.Ask[int](tab, `engine.amend(1, {place: "core", celsius: 19, probe: "r-0"}, "typed wrongly")`)
	browser.Ask[int](tab, `engine.withdraw(2, "another wall's")`)
	tab.Until(emptied)
	list = c.of(device)
	var amended *events.RecordAmended
	var voided *events.RecordVoided
	for _, e := range list {
		switch d := e.Data.(type) {
		case *events.RecordAmended:
			amended = d
		case *events.RecordVoided:
			voided = d
		}
	}
	require.Equal(t, list[0].Key(), amended.Target.Key())
	require.Equal(t, list[1].Key(), voided.Target.Key())
}

// What every kind's data look like is taken from the vocabulary's own samples.
func TestEveryBodyIsAccepted(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	roles := []events.Role{events.Crew, events.Foreman, events.Dispatcher, events.Engineer, events.Officer}
	tab, device := c.joined(suite.Browser(t), roles...)
	f, err := os.Open("../../../../events/testdata/events.ndjson")
	require.NoError(t, err)
	defer f.Close()
	want := map[events.Kind]bool{}
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, events.MaxBody)
	for lines.Scan() {
		e, err := events.Decode("", lines.Bytes())
		require.NoError(t, err)
		if !e.Kind.MayRecord(roles...) || e.Kind == "device.reported" {
			continue
		}
		var sample struct {
			Data json.RawMessage `json:"data"`
		}
		require.NoError(t, json.Unmarshal(lines.Bytes(), &sample))
		want[e.Kind] = true
		browser.Ask[int](tab, fmt.Sprintf(`engine.record(%q, %q, %s)`, e.Wall, e.Kind, sample.Data))
	}
	require.NoError(t, lines.Err())
	for _, k := range events.KindsOf(roles...) {
		require.True(t, want[k] || k == "device.reported", "no sample of %s", k)
	}
	tab.Until(emptied)
	for _, e := range c.of(device) {
		delete(want, e.Kind)
	}
	require.Empty(t, want, "kinds that did not arrive")
	// Half a character and a large number are written as the hub can read them.
	browser.Ask[int](tab, `engine.record("w1", "hold.placed", {reason: "crack \ud83d at b1 \\ud83d"})`)
	tab.Until(emptied)
}
