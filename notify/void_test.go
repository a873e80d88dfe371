package notify_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// climbing is a ladder of two.
type climbing struct{ rota }

func (climbing) Ladder(notice.Notice, time.Time) []desk.Rung {
	one := func(after time.Duration, person string) desk.Rung {
		return desk.Rung{After: after, Choices: []desk.Choice{{Person: person, Channels: []string{"mail"}}}}
	}
	return []desk.Rung{one(0, "ann"), one(2*time.Minute, "bob")}
}

// An acknowledgement that is taken out of the record answers nothing: the climb
// begins anew, also when the hub was down when the void was recorded.
func TestAVoidIsHeardFromTheStream(t *testing.T) {
	for _, down := range []bool{false, true} {
		bubble(t, func(t *testing.T, r *rig) {
			r.cfg.Rota = func() desk.Rota { return climbing{} }
			r.begin()
			r.put(raised(t, "a"))
			device := events.DeskOf("ann")
			ack := eventBy(t, device, "ann", "north", "alert.acknowledged", &events.AlertAcknowledged{Alert: "a", Kind: "load-old", At: start})
			r.put(sealed(hubKey, ack))
			wait(time.Hour)
			require.Len(t, r.mail.shown(), 1)
			void := func(key events.Key, by string, signed bool) stream.Message {
				m := sealed(hubKey, eventBy(t, device, by, "north", "record.voided", &events.RecordVoided{Target: events.Target(key), Reason: "pressed by mistake"}))
				if !signed {
					m.Signature = ""
				}
				return m
			}
			r.put(void(ack.Key(), "ann", false), void(events.Key{Source: ack.Source.String(), ID: "other"}, "ann", true))
			wait(time.Hour)
			require.Len(t, r.mail.shown(), 1, "neither of somebody unknown nor of another word")
			if down {
				r.end()
			}
			r.put(void(ack.Key(), "ann", true))
			if down {
				r.begin()
			}
			require.Len(t, r.mail.shown(), 2)
			wait(2 * time.Minute)
			require.Len(t, r.mail.shown(), 3)
			require.Equal(t, "bob: raised a", r.mail.shown()[2])
			r.end()
			r.begin()
			require.Zero(t, r.e.Cases()[0].Acknowledged, "and stays taken out")
		})
	}
}
