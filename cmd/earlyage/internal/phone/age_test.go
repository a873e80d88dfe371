package phone_test

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/events"
)

// An old copy of the phone's storage is put back: what is recorded then bears
// numbers that the hub has from before, and gets new ones before it is sent.
func TestAnOldCopyOfTheStorage(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, device := c.joined(suite.Browser(t), events.Crew)
	keepShell(t, tab)
	pour(tab, "w1", 2, 0)
	tab.Until(emptied)
	browser.Ask[string](tab, `copyQueue().then(() => "")`)
	pour(tab, "w1", 2, 2)
	pour(tab, "w2", 1, 4)
	tab.Until(emptied)
	c.relay.Cut(true)
	tab.Until(`engine.state.link === "down"`)
	browser.Ask[string](tab, `putBack().then(() => "")`)
	reload(tab)
	pour(tab, "w1", 2, 5)
	pour(tab, "w2", 1, 7)
	before := c.of(device)
	last := before[len(before)-1].Sequence
	require.LessOrEqual(t, browser.Ask[uint64](tab, `engine.state.outbox.at(-1).number`), last)
	c.relay.Cut(false)
	tab.Until(emptied)
	list := c.of(device)[len(before):]
	for i, e := range list {
		require.Equal(t, last+uint64(i)+1, e.Sequence)
	}
	require.Equal(t, "r-5", list[0].Data.(*events.TemperatureRead).Probe)
	require.Equal(t, "r-7", list[2].Data.(*events.TemperatureRead).Probe)
	require.Equal(t, list[0].Sequence, list[1].WallSequence)
}

func TestTimePasses(t *testing.T) {
	t.Parallel()
	c := openCompany(t)
	tab, device := c.joined(suite.Browser(t), events.Crew)
	pour(tab, "w1", 2, 0)
	tab.Until(emptied)
	sent := len(c.of(device))
	// Half a day later the phone says again that it holds nothing back.
	browser.Ask[string](tab, `(moveClock(13 * 3600e3), engine.hurry(), "")`)
	tab.Until(emptied + ` && engine.state.outbox.length === ` + strconv.Itoa(sent+1))
	list := c.of(device)
	require.Len(t, list, sent+1)
	require.EqualValues(t, sent, list[sent].Data.(*events.DeviceReported).Last)

	// After 30 days the phone forgets what the hub has, and goes on counting.
	browser.Ask[string](tab, `(moveClock(31 * 24 * 3600e3), "")`)
	reload(tab)
	tab.Until(`engine.state.link === "up" && engine.state.outbox.length === 0`)
	pour(tab, "w1", 1, 2)
	tab.Until(emptied)
	c.whole(device, named(3, 0)...)
}
