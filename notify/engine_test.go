package notify_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

func TestWhatWasRecordedBeforeTheSwitchingOnIsNeverTold(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.tape.put(raised(t, "old"))
		r.begin()
		require.Empty(t, r.mail.shown())
		r.put(raised(t, "new"))
		r.put(cleared(t, "old"))
		require.Equal(t, []string{"ann: raised new"}, r.mail.shown())
		require.Equal(t, []string{"raised new", "cleared old"}, r.ear.heard())
	})
}

// A live alert is sent at once: no time passes between the stream and the channel.
func TestALiveAlertIsSentAtOnce(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		wait(time.Minute)
		now := time.Now()
		r.put(raised(t, "a"))
		require.Equal(t, []string{"ann: raised a"}, r.mail.shown())
		require.Equal(t, now, r.mail.at[0])
		require.Equal(t, []string{"accepted ann: raised a"}, r.outcomes())
	})
}

func TestAMessageSaysWhatTheLetterIs(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.cfg.Link = func(site, wall, alert string) string { return "https://hub.example/" + site + "/" + wall + "/" + alert }
		r.begin()
		r.put(raised(t, "a"))
		wait(2 * time.Minute)
		require.Len(t, r.mail.got, 2)
		m := r.mail.got[1]
		require.Equal(t, "[Name of ann]Name of cat", m.Plain, "who was told, and who is next")
		require.True(t, m.Urgent)
		require.NotEqual(t, r.mail.got[0].ID, m.ID)
		m.ID, m.Plain, m.At = "", "", time.Time{}
		require.Equal(t, notice.Message{
			What: "raised", Channel: "mail", To: notice.Reader{Person: "bob", Name: "Name of bob", Mail: "bob@site.example"}, Alerts: []string{"a"},
			Kind: "load-old", Site: "mill", Wall: "north", Priority: "urgent", Urgent: true, Step: 1, Why: "rung 1", Short: "raised a",
			Link: "https://hub.example/mill/north/a",
		}, m)
	})
}

func TestAnUrgentAlertClimbsUntilItIsAcknowledged(t *testing.T) {
	for _, c := range []struct {
		name string
		word func(t *testing.T) stream.Message
		ends bool
	}{
		{"at a desk", func(t *testing.T) stream.Message {
			return acknowledged(t, hubKey, events.DeskOf("ann"), "ann", "a", "load-old")
		}, true},
		{"at another's desk", func(t *testing.T) stream.Message {
			return acknowledged(t, hubKey, events.DeskOf("bob"), "ann", "a", "load-old")
		}, false},
		{"of another kind", func(t *testing.T) stream.Message {
			return acknowledged(t, hubKey, events.DeskOf("ann"), "ann", "a", "line-off")
		}, false},
		{"not signed", func(t *testing.T) stream.Message {
			return acknowledged(t, nil, events.DeskOf("ann"), "ann", "a", "load-old")
		}, false},
		{"by a phone that nobody judges", func(t *testing.T) stream.Message {
			return acknowledged(t, otherBy, "phone-1", "ann", "a", "load-old")
		}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			bubble(t, func(t *testing.T, r *rig) {
				r.begin()
				r.put(raised(t, "a"))
				wait(time.Minute)
				r.put(c.word(t))
				wait(10 * time.Minute)
				if c.ends {
					require.Equal(t, []string{"ann: raised a"}, r.mail.shown())
				} else {
					require.Equal(t, []string{"ann: raised a", "bob: raised a", "cat: raised a", "dan: raised a"}, r.mail.shown()[:4])
				}
			})
		})
	}
}

// judge knows which messages the record has taken in; it is not ready at first.
type judge struct {
	holds   func(seq uint64) bool
	unready int
}

func (j *judge) Holds(_ context.Context, seq uint64) (bool, error) {
	if j.unready--; j.unready >= 0 {
		return false, errAway
	}
	return j.holds(seq), nil
}

func TestAPhonesWordCountsOnceTheRecordHasIt(t *testing.T) {
	for _, holds := range []bool{true, false} {
		bubble(t, func(t *testing.T, r *rig) {
			r.cfg.Judge = &judge{func(uint64) bool { return holds }, 3}
			r.begin()
			r.put(raised(t, "a"), acknowledged(t, otherBy, "phone-1", "ann", "a", "load-old"), raised(t, "b"))
			require.Contains(t, r.mail.shown(), "ann: raised a", "what came before the word that is not judged yet is told")
			wait(time.Minute)
			require.Contains(t, r.mail.shown(), "ann: raised b")
			wait(2 * time.Minute)
			require.Equal(t, !holds, contains(r.mail.shown(), "bob: raised a"))
			require.Contains(t, r.mail.shown(), "bob: raised b")
		})
	}
}

func TestOnlyTheHubsOwnWordsAreTold(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		moved, changed := raised(t, "moved"), raised(t, "changed")
		moved.Subject = "pour.mill.south.alert.raised"
		changed.Body = append(changed.Body, ' ')
		r.put(
			word(t, nil, "hub", "north", "alert.raised", raisedData("unsigned", "urgent")),
			word(t, otherBy, "hub", "north", "alert.raised", raisedData("other key", "urgent")),
			word(t, hubKey, "phone-1", "north", "alert.raised", raisedData("other device", "urgent")),
			moved, changed,
			stream.Message{Subject: "pour.mill.north.alert.raised", Body: []byte("{"), Signature: stream.Sign(hubKey, []byte("{"))},
			stream.Message{Subject: "pour.nonsense"}, reading(t), raised(t, "good"),
		)
		require.Equal(t, []string{"ann: raised good"}, r.mail.shown())
		require.Equal(t, []string{"raised good"}, r.ear.heard())
	})
}

func TestARestartTellsNothingTwiceAndLosesNothing(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.end()
		for i := range 4 {
			r.begin()
			r.put(raised(t, fmt.Sprint("running-", i)), reading(t))
			r.end()
			r.tape.put(raised(t, fmt.Sprint("stopped-", i)))
		}
		r.begin()
		require.Equal(t, []string{
			"ann: raised running-0", "ann: raised stopped-0", "ann: raised running-1", "ann: raised stopped-1",
			"ann: raised running-2", "ann: raised stopped-2", "ann: raised running-3", "ann: raised stopped-3",
		}, r.mail.shown())
		require.Len(t, r.mail.tries, 8)
		require.Len(t, r.ear.heard(), 8)
		require.Len(t, r.tape.said(t), 8)
	})
}

// The record is rebuilt, or the whole stream is read again: the place is the
// ledger's own.
func TestAReplayTellsNothing(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		for i := range 5 {
			r.put(raised(t, fmt.Sprint(i)), cleared(t, fmt.Sprint(i)))
		}
		r.end()
		told, heard := len(r.mail.tries), len(r.ear.heard())
		require.Equal(t, 10, heard)
		r.begin()
		r.end()
		require.Len(t, r.mail.tries, told)
		r.shelf = newShelf(t, r.shelf.db.Path()+".lost")
		r.begin()
		wait(time.Hour)
		require.Len(t, r.mail.tries, told, "a new ledger is a new switching on")
		require.Len(t, r.ear.heard(), heard)
		require.Len(t, r.tape.said(t), told)
	})
}

// What was raised and cleared while the hub was away is not told, but for what is
// urgent, which nobody has acknowledged: it is told as being over.
func TestCatchingUpComesBeforeSending(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.end()
		var list []stream.Message
		for i := range 3000 {
			list = append(list, sealed(hubKey, raisedEvent(t, fmt.Sprint(i), "high")))
		}
		for i := range 3000 {
			list = append(list, cleared(t, fmt.Sprint(i)))
		}
		r.tape.put(append(list, raised(t, "stands"))...)
		r.begin()
		require.Equal(t, []string{"ann: raised stands"}, r.mail.shown())
		require.Len(t, r.ear.heard(), 6001)
	})
}

func TestTheSameAlertOfTwoHubsIsToldOnce(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		r.put(raised(t, "a"))
		r.put(raised(t, "a"))
		r.end()
		r.tape.put(raised(t, "a"), cleared(t, "a"), cleared(t, "a"))
		r.begin()
		require.Equal(t, []string{"ann: raised a", "ann: cleared a"}, r.mail.shown())
		require.Equal(t, []string{"raised a", "cleared a"}, r.ear.heard())
	})
}

func TestListenersAreToldInOrder(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.ear.fail = []error{errLost, errLost, errUnsure, nil, errLost}
		r.begin()
		r.put(raised(t, "a"), raised(t, "b"))
		require.Len(t, r.mail.shown(), 2, "nobody waits for whoever listens")
		wait(time.Minute)
		require.Equal(t, []string{"raised a", "raised a", "raised b"}, r.ear.heard(), "what may not have been told is told again")
	})
}

func TestASheetIsSent(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		sheet := word(t, hubKey, "hub", "", "sheet.issued", &events.SheetIssued{Date: "2026-01-15", At: start, Rules: "rules-1"})
		r.put(sheet, sheet)
		require.Equal(t, []string{"ann: sheet 2026-01-15"}, r.mail.shown())
		require.Empty(t, r.ear.heard())
	})
}

func TestThePlaceMovesOnWithoutAlerts(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.begin()
		writes := r.shelf.written()
		for range 25 {
			r.put(reading(t))
		}
		require.Equal(t, writes, r.shelf.written(), "nothing is written for what is not told")
		r.end()
		r.begin()
		require.Equal(t, []uint64{0, 25}, r.tape.from)
	})
}

func TestAShortStreamIsWaitedForInSilence(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		for range 4 {
			r.tape.put(reading(t))
		}
		r.begin()
		r.put(raised(t, "a"))
		r.end()
		whole := r.tape.all
		r.tape.all = whole[:2]
		r.begin()
		wait(30 * time.Second)
		r.tape.mu.Lock()
		r.tape.all = whole
		r.tape.mu.Unlock()
		r.put(raised(t, "b"))
		wait(30 * time.Second)
		require.Equal(t, []string{"ann: raised a", "ann: raised b"}, r.mail.shown())
	})
}

func TestAnEngineTellsWhatItLacks(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		for want, spoil := range map[string]func(*notify.Config){
			"notify config: Stream is missing":           func(c *notify.Config) { c.Stream = nil },
			"notify config: Ledger is missing":           func(c *notify.Config) { c.Ledger = nil },
			"notify config: Clock is missing":            func(c *notify.Config) { c.Clock = nil },
			"notify config: Directory is missing":        func(c *notify.Config) { c.Directory = nil },
			"notify config: Rota is missing":             func(c *notify.Config) { c.Rota = nil },
			"notify config: Voice is missing":            func(c *notify.Config) { c.Voice = nil },
			"notify config: Key has 0 bytes, allowed 32": func(c *notify.Config) { c.Key = nil },
			"notify config: Channels has mail twice":     func(c *notify.Config) { c.Channels = append(c.Channels, c.Channels...) },
		} {
			cfg := r.cfg
			spoil(&cfg)
			_, err := notify.Open(t.Context(), cfg)
			require.EqualError(t, err, want)
		}
		r.tape.goAway(true)
		_, err := notify.Open(t.Context(), r.cfg)
		require.ErrorIs(t, err, errAway, "where telling begins is not known")
	})
}

// Another route file counts at once.
func TestTheRotaIsAskedEachTime(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		var inForce desk.Rota = rota{[]string{"mail"}}
		r.cfg.Rota = func() desk.Rota { return inForce }
		r.begin()
		r.put(raised(t, "a"))
		inForce = crowd{rota{[]string{"mail"}}, []string{"eve"}}
		r.put(raised(t, "b"))
		require.Equal(t, []string{"ann: raised a", "eve: raised b"}, r.mail.shown())
		synctest.Wait()
	})
}

func contains(list []string, s string) bool { return slices.Contains(list, s) }

// In a demo an invented time of recording counts, elsewhere it does not.
func TestInventedTimesCountInADemoOnly(t *testing.T) {
	for _, demo := range []bool{true, false} {
		bubble(t, func(t *testing.T, r *rig) {
			r.cfg.Demo = demo
			r.begin()
			m := raised(t, "a")
			m.DemoRecorded = start.Format(time.RFC3339Nano)
			r.put(m)
			require.Equal(t, demo, r.ear.list[0].Recorded.Equal(start))
		})
	}
}

// What a page shows of an alert that is over tells nobody that it was raised.
func TestThatAPageShowedTheEndIsNotThatItShowedTheAlert(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		phone := newCarrier("phone")
		r.cfg.Channels = append(r.cfg.Channels, phone)
		r.cfg.Rota = func() desk.Rota { return crowd{rota{[]string{"phone"}}, []string{"ann"}} }
		r.begin()
		r.put(raised(t, "a"))
		shown := func(state string) {
			r.put(sealed(hubKey, eventBy(t, events.DeskOf("ann"), "ann", "north", "alert.shown", &events.AlertShown{Alert: "a", Kind: "load-old", State: state, At: start})))
		}
		shown("cleared")
		require.Zero(t, r.e.Cases()[0].Shown)
		require.Empty(t, r.e.Cases()[0].Told)
		shown("raised")
		require.NotZero(t, r.e.Cases()[0].Shown)
		require.Len(t, r.e.Cases()[0].Told, 1)
	})
}
