package desk_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// gathered is a desk on which a10 and a11 wait for a summary.
func gathered(t *testing.T, channels ...string) *bench {
	b := at(t, oneRung(by("ada", channels...)))
	for i := range 12 {
		b.raise(fmt.Sprintf("a%02d", i), "line-due", desk.High)
	}
	require.Len(t, b.send(desk.Done), 10)
	return b
}

func TestAFloodOutlastsAStop(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	for i := range 6 {
		id := fmt.Sprintf("early%d", i)
		b.raise(id, "brace-overdue", desk.Medium)
		b.send(desk.Done)
		b.word(notice.Cleared, id, "")
		b.word(notice.Acknowledged, id, "ada")
	}
	b.wait(5 * time.Minute)
	for i := range 6 {
		b.raise(fmt.Sprintf("late%d", i), "brace-overdue", desk.Medium)
	}
	b.wait(5*time.Minute + time.Second)
	require.Len(t, b.gone, 6, "the letters that began it are history")
	b.Desk = b.loaded()
	b.send(desk.Done)
	b.raise("a1", "brace-overdue", desk.Medium)
	require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.in(desk.Withheld), "six in ten minutes: it goes on")
}

// The next channel brings each summary, not only the first one of the same alerts.
func TestTheNextChannelBringsASummaryOfTheSameAlertsAgain(t *testing.T) {
	b := gathered(t, "hook", "mail")
	for range 2 {
		b.wait(time.Minute)
		require.Equal(t, []string{"summary a10+a11 to ada by hook step 0"}, b.send(desk.Refused))
		require.Equal(t, []string{"summary a10+a11 to ada by mail step 0"}, b.send(desk.Done))
		for i := range 12 {
			b.shelve(fmt.Sprintf("a%02d", i), time.Hour)
		}
		b.wait(time.Hour)
		require.Len(t, b.send(desk.Done), 10)
	}
}

func TestWhatASummaryHadBroughtBeforeItWasShelvedIsTold(t *testing.T) {
	b := gathered(t, "phone")
	b.wait(time.Minute)
	s := b.Due(b.now)[0]
	require.Equal(t, []string{"a10", "a11"}, s.Alerts)
	b.shelve("a10", time.Hour)
	b.write(b.Came(s.ID, desk.Result{Outcome: desk.Done}, b.now))
	require.Empty(t, b.theCase("a10").Told)
	b.take(notice.Notice{State: notice.Shown, Alert: "a10", By: "ada"})
	require.Len(t, b.theCase("a10").Told, 1)
	require.Len(t, b.theCase("a11").Told, 1, "the page showed the summary")
}

func TestAnAlertThatWasTakenOutOfASummaryOutlivesIt(t *testing.T) {
	b := gathered(t, "mail")
	b.wait(time.Minute)
	b.shelve("a10", time.Hour)
	require.Equal(t, []string{"summary a11 to ada by mail step 0"}, b.send(desk.Done))
	b.word(notice.Acknowledged, "a11", "ada")
	b.word(notice.Cleared, "a11", "")
	b.send(desk.Done)
	b.wait(2 * time.Minute)
	b.send(desk.Done) // what is over comes in a summary too
	b.wait(40 * time.Minute)
	require.Contains(t, b.gone, b.letterGone("a11"))
	b.wait(20 * time.Minute)
	require.Equal(t, []string{"raised a10 to ada by mail step 0"}, b.send(desk.Done), "shelving is over")
	b.word(notice.Cleared, "a10", "")
	require.Equal(t, []string{"cleared a10 to ada by mail step 0"}, b.send(desk.Done))
}

func (b *bench) letterGone(alert string) string {
	for id, l := range b.gone {
		if l.What == desk.TellSummary && l.Of == desk.TellRaised && l.Alerts[0] == alert {
			return id
		}
	}
	return ""
}
