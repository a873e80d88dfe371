package desk_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

func TestAnUrgentAlertClimbsUntilItIsAcknowledged(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	require.Equal(t, []string{"raised a1 to ada by mail step 0", "raised a1 to ada by phone step 0"}, b.send(desk.Done), "all channels at once")
	b.wait(119 * time.Second)
	require.Empty(t, b.open())
	b.wait(time.Second)
	require.Equal(t, []string{"raised a1 to ben by mail step 1", "raised a1 to ben by phone step 1"}, b.send(desk.Done))
	b.wait(3 * time.Minute)
	require.Equal(t, []string{"raised a1 to cleo by mail step 2", "raised a1 to cleo by phone step 2"}, b.send(desk.Done))
	b.word(notice.Acknowledged, "a1", "cleo")
	b.wait(3 * time.Hour)
	require.Empty(t, b.open(), "acknowledged: it climbs no further")
	require.Equal(t, "cleo", b.theCase("a1").AckBy)
}

func TestTheLastRungIsToldAgainSixTimesAndThenItIsTrouble(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	b.wait(10 * time.Minute)
	b.send(desk.Done)
	for step := 4; step < 10; step++ {
		b.wait(10 * time.Minute)
		require.Equal(t, []string{fmt.Sprintf("raised a1 to dora by mail step %d", step)}, b.send(desk.Done))
		require.Empty(t, b.Untold())
	}
	b.wait(10 * time.Minute)
	require.Empty(t, b.open())
	trouble := b.Untold()
	require.Len(t, trouble, 1)
	require.Empty(t, trouble[0].Person)
	require.Contains(t, trouble[0].Text, "nobody has answered")
	require.Equal(t, trouble, b.loaded().Untold())
	b.word(notice.Acknowledged, "a1", "dora")
	require.Empty(t, b.Untold(), "an answer ends the trouble")
}

func TestAHighAlertClimbsThreeTimesSlowerUntilSomebodyWasTold(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "line-due", desk.High)
	require.Equal(t, []string{"raised a1 to ada by phone step 0"}, b.send(desk.Done), "one channel")
	b.wait(6*time.Minute - time.Second)
	require.Empty(t, b.open(), "handed on is not told, but there is time")
	b.wait(time.Second)
	require.Equal(t, []string{"raised a1 to ada by mail step 0", "raised a1 to ben by phone step 1"}, b.open(),
		"no page has shown it: her next channel, and the next rung")
	b.take(notice.Notice{State: notice.Shown, Alert: "a1", By: "ada", At: b.now})
	require.Equal(t, desk.Shown, b.letter("ada", "phone").State)
	require.Equal(t, desk.Dropped, b.letter("ada", "mail").State, "she has seen it")
	b.send(desk.Done)
	b.wait(10 * time.Hour)
	require.NotContains(t, strings.Join(names(b.Letters()), "\n"), "cleo", "told: it climbs no further")
}

func TestAPhoneCountsOnlyWhenThePageHasShownIt(t *testing.T) {
	b := at(t, oneRung(by("ada", "phone"), by("ben", "mail")))
	b.raise("a1", "line-due", desk.High)
	b.send(desk.Done)
	told := func() (all []string) {
		for _, x := range b.theCase("a1").Told {
			all = append(all, x.Person)
		}
		return all
	}
	require.Equal(t, []string{"ben"}, told())
	b.take(notice.Notice{State: notice.Shown, Alert: "other", By: "ada", Message: b.letter("ada", "phone").ID})
	require.Equal(t, []string{"ben", "ada"}, told(), "by its message")
	require.True(t, desk.NeedsShowing("push") && !desk.NeedsShowing("hook"))
}

func TestMediumAndLowAreToldToTheFirstRungOnly(t *testing.T) {
	for _, priority := range []string{desk.Medium, desk.Low} {
		b := at(t, fourRungs())
		b.raise("a1", "probe-silent", priority)
		require.Equal(t, []string{"raised a1 to ada by phone step 0"}, b.send(desk.Done))
		b.wait(time.Hour)
		require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.send(desk.Done), "the next channel of the same person")
		b.wait(48 * time.Hour)
		require.Empty(t, b.open())
	}
}

func TestARungWhoseLettersAllFailedClimbsAtOnce(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	due := b.Due(b.now)
	b.write(b.Came(due[0].ID, desk.Result{Outcome: desk.Refused, Error: "gone"}, b.now))
	b.wait(0)
	require.Len(t, b.Letters(), 2, "the other may still reach her")
	b.write(b.Came(due[1].ID, desk.Result{Outcome: desk.Refused, Error: "gone"}, b.now))
	b.wait(0)
	require.Equal(t, []string{"raised a1 to ben by mail step 1", "raised a1 to ben by phone step 1"}, b.open())
	require.Equal(t, []desk.Trouble{{Site: "north", Wall: "w1", Alert: "a1", Kind: "rise-fast", Priority: desk.Urgent, Person: "ada",
		Channels: []string{"mail", "phone"}, Since: noon, Text: "mail: gone; phone: gone"}}, b.Untold())
	require.Equal(t, b.Untold(), b.loaded().Untold())
}

func TestWhomNoChannelReachesIsTroubleFromTheBeginning(t *testing.T) {
	b := at(t, &rota{rungs: []desk.Rung{rung(0, by("ada")), rung(2*time.Minute, by("ben", "mail"))}})
	b.raise("a1", "rise-fast", desk.Urgent)
	b.wait(0)
	require.Equal(t, []string{"raised a1 to ada by none step 0"}, b.in(desk.Failed))
	require.Equal(t, []string{"raised a1 to ben by mail step 1"}, b.open())
	require.Equal(t, "ada", b.Untold()[0].Person)
}

func TestNobodyToTellIsTroubleAndTheRotaIsAskedAgain(t *testing.T) {
	b := at(t, &rota{})
	b.raise("a1", "line-due", desk.High)
	require.Len(t, b.Untold(), 1)
	require.Contains(t, b.Untold()[0].Text, "nobody to tell")
	b.wait(25 * time.Minute)
	require.Equal(t, []string{"raised a1 to  by none step 0"}, b.in(desk.Failed), "it is listed, once")
	b.rota.rungs = fourRungs().rungs
	b.wait(10 * time.Minute)
	require.Equal(t, []string{"raised a1 to ada by phone step 0"}, b.send(desk.Done))
	require.Empty(t, b.Untold())
}

func TestTheNextChannelIsTriedWhereOneDoesNotWork(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail", "hook", "phone")))
	b.raise("a1", "brace-overdue", desk.Medium)
	require.Equal(t, []string{"raised a1 to ada by mail step 0"}, b.send(desk.Refused))
	require.Equal(t, []string{"raised a1 to ada by hook step 0"}, b.send(desk.Done))
	b.wait(time.Hour)
	require.Empty(t, b.open())
}

func TestALetterIsTriedAgainForAnHour(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "brace-overdue", desk.Medium)
	var waits []time.Duration
	for b.letter("ada", "mail").State == desk.Due {
		before := b.now
		b.send(desk.Again)
		b.now = later(b.now, b.letter("ada", "mail").Next)
		waits = append(waits, b.now.Sub(before))
	}
	require.Equal(t, []time.Duration{1e9, 2e9, 4e9, 8e9, 16e9, 32e9, 64e9, 128e9, 256e9, 300e9}, waits[:10])
	l := b.letter("ada", "mail")
	require.Equal(t, desk.Failed, l.State)
	require.Equal(t, "no answer", l.Error)
	require.GreaterOrEqual(t, l.Ended.Sub(l.Made), time.Hour)
	require.Less(t, l.Ended.Sub(l.Made), time.Hour+5*time.Minute)
}

func later(x, y time.Time) time.Time {
	if y.After(x) {
		return y
	}
	return x
}

func TestAfterALongStopALetterIsStillTried(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "brace-overdue", desk.Medium)
	b.send(desk.Again)
	b.now = b.now.Add(3 * time.Hour)
	b.Desk = b.loaded()
	b.send(desk.Again)
	require.Equal(t, desk.Due, b.letter("ada", "mail").State)
	b.wait(time.Minute)
	require.NotEmpty(t, b.send(desk.Done))
}

func TestALetterHandedOutAndNotAnsweredIsHandedOutAgain(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "brace-overdue", desk.Medium)
	first := b.Due(b.now)
	require.Len(t, first, 1)
	require.Equal(t, desk.Sending, first[0].State)
	b.wait(5*time.Minute - time.Second)
	require.Empty(t, b.Due(b.now))
	require.Equal(t, first[0].ID, b.loaded().Due(b.now)[0].ID, "after a crash, under the same id")
	b.wait(time.Second)
	require.Equal(t, first[0].ID, b.Due(b.now)[0].ID)
}

func TestWhatCouldNotBeToldIsNotToldByTheChannelThatFailed(t *testing.T) {
	b := at(t, oneRung(by("dora", "mail", "phone"), by("ed", "mail")))
	b.raise("a1", "rise-fast", desk.Urgent)
	for _, l := range b.Due(b.now) {
		outcome := desk.Done
		if l.Channel == "mail" {
			outcome = desk.Refused
		}
		b.write(b.Came(l.ID, desk.Result{Outcome: outcome, Error: "no such address"}, b.now))
	}
	require.Len(t, b.Untold(), 1)
	require.Equal(t, "ed", b.Untold()[0].Person, "dora has her phone")
	b.raise("u1", "alert-untold", desk.High)
	require.Equal(t, []string{"raised u1 to dora by phone step 0"}, b.open())
	require.Contains(t, b.in(desk.Failed), "raised u1 to ed by none step 0")
	require.Len(t, b.Untold(), 1, "it makes none of its own")
}

func TestRatesCountsAlertsNotLetters(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail", "hook"), by("ben", "mail")))
	b.raise("a1", "rise-fast", desk.Urgent)
	b.raise("a2", "rise-fast", desk.Urgent)
	b.send(desk.Done)
	require.Equal(t, map[string]int{"ada": 2, "ben": 2}, desk.Rates(b.Letters(), b.now))
	require.Empty(t, desk.Rates(b.Letters(), b.now.Add(10*time.Minute)))
}

func TestAHighAlertThatNobodyIsKnownToHaveSeenIsTroubleInTheEnd(t *testing.T) {
	b := at(t, oneRung(by("ada", "phone")))
	b.raise("a1", "line-due", desk.High)
	for range 8 {
		b.send(desk.Done)
		b.wait(30 * time.Minute)
	}
	require.Contains(t, b.Untold()[0].Text, "nobody is known to have seen it")
	b.take(notice.Notice{State: notice.Shown, Alert: "a1", By: "ada"})
	require.Empty(t, b.Untold())
}

// The id was reckoned beside the program:
//
//	printf '2:a16:raised3:ada4:mail1:01:0' | sha256sum | head -c 32
func TestTheIDOfALetterHangsOnWhatItSaysAlone(t *testing.T) {
	b := at(t, oneRung(by("ada", "mail")))
	b.raise("a1", "rise-fast", desk.Urgent)
	l, ok := b.Letter("5021577b9aa57d8df61e4cf54400f73d")
	require.True(t, ok, b.letter("ada", "mail").ID)
	require.Equal(t, desk.Due, l.State)
	_, ok = b.Letter("another")
	require.False(t, ok)
}

func TestAnotherRotaIsInForceFromTheNextStepOn(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "rise-fast", desk.Urgent)
	b.SetRota(&rota{rungs: []desk.Rung{rung(0, by("zoe", "mail")), rung(2*time.Minute, by("yan", "mail"))}})
	b.send(desk.Done)
	b.wait(2 * time.Minute)
	require.Equal(t, []string{"raised a1 to yan by mail step 1"}, b.send(desk.Done))
	b.SetRota(fourRungs())
	b.wait(10 * time.Minute)
	require.Equal(t, []string{"raised a1 to cleo by mail step 2", "raised a1 to cleo by phone step 2", "raised a1 to dora by mail step 3"},
		b.send(desk.Done), "the times of the new one count from when it was told first")
}

// A word that ends a putting off that never was makes no answer older than it.
func TestTheEndOfNoShelvingTellsNobody(t *testing.T) {
	b := at(t, fourRungs())
	b.raise("a1", "record-gap", desk.High)
	b.send(desk.Done)
	b.word(notice.Acknowledged, "a1", "ada")
	b.wait(time.Minute)
	b.take(notice.Notice{State: notice.OutOfService, Kind: "record-gap", At: b.now, Until: b.now.Add(time.Hour), By: "eve"})
	b.word(notice.Unshelved, "a1", "ben")
	b.wait(2 * time.Hour)
	require.Empty(t, b.open(), "it is answered")
}
