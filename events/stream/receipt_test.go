package stream_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

var phone = events.Source{Site: "a", Device: "phone-1"}

func TestReceiptSubjects(t *testing.T) {
	require.Equal(t, "receipt.a.phone-1", stream.ReceiptSubject(phone))
	require.Equal(t, "ask.receipt.a.phone-1", stream.AskSubject(phone))
}

func TestReceiptHolds(t *testing.T) {
	for _, c := range []struct {
		name       string
		receipt    stream.Receipt
		held, lost []uint64
	}{
		{"up to", stream.Receipt{UpTo: 3}, []uint64{1, 3}, []uint64{4}},
		{"refused over a gap", stream.Receipt{UpTo: 3, Refused: []stream.RefusedNumber{{Number: 7}}}, []uint64{3, 7}, []uint64{4, 6, 8}},
		{"with what is missing", stream.Receipt{UpTo: 5, High: 9, Missing: []stream.Span{{From: 2, To: 3}, {From: 8, To: 8}}},
			[]uint64{1, 4, 5, 6, 7, 9}, []uint64{2, 3, 8, 10}},
	} {
		for _, n := range c.held {
			require.True(t, c.receipt.Holds(n), "%s: %d", c.name, n)
		}
		for _, n := range c.lost {
			require.False(t, c.receipt.Holds(n), "%s: %d", c.name, n)
		}
	}
}

func TestReceiptsArePublished(t *testing.T) {
	r := run(t)
	listener := dial(t, r.srv.ClientURL())
	sub, err := listener.SubscribeSync(stream.ReceiptSubject(phone))
	require.NoError(t, err)
	require.NoError(t, listener.Flush())
	want := stream.Receipt{
		Source: phone.String(), UpTo: 12, Through: 99, At: time.Date(2026, 5, 4, 8, 0, 0, 5e6, time.UTC),
		Refused: []stream.RefusedNumber{{Number: 4, Reason: "data.top_m: nothing"}}, High: 14, Missing: []stream.Span{{From: 13, To: 13}},
	}
	require.NoError(t, stream.PublishReceipts(testContext(t), r.hub, []stream.Receipt{want, {Source: "/site/b/device/x"}}))
	m, err := sub.NextMsg(patience)
	require.NoError(t, err)
	got, err := stream.ParseReceipt(phone, m.Data)
	require.NoError(t, err)
	require.Equal(t, want, got)
	require.ErrorContains(t, stream.PublishReceipts(testContext(t), r.hub, []stream.Receipt{{Source: "nobody"}}), "source")
}

// A receipt with more refused numbers than a message can hold keeps the newest.
func TestReceiptFitsAMessage(t *testing.T) {
	r := run(t)
	listener := dial(t, r.srv.ClientURL())
	sub, err := listener.SubscribeSync(stream.ReceiptSubject(phone))
	require.NoError(t, err)
	require.NoError(t, listener.Flush())
	big := stream.Receipt{Source: phone.String(), UpTo: 9000}
	for i := range uint64(9000) {
		big.Refused = append(big.Refused, stream.RefusedNumber{Number: i + 1, Reason: strings.Repeat("r", 200)})
	}
	require.NoError(t, stream.PublishReceipts(testContext(t), r.hub, []stream.Receipt{big}))
	m, err := sub.NextMsg(patience)
	require.NoError(t, err)
	got, err := stream.ParseReceipt(phone, m.Data)
	require.NoError(t, err)
	require.Equal(t, big.Refused[len(big.Refused)-len(got.Refused):], got.Refused)
	require.Greater(t, len(got.Refused), 500)
}

func TestAskReceipt(t *testing.T) {
	r := run(t)
	nc := dial(t, r.srv.ClientURL())
	_, err := stream.AskReceipt(testContext(t), nc, phone)
	require.ErrorIs(t, err, stream.ErrNoReceipt, "nobody answers")

	at := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	stop, err := stream.AnswerReceipts(r.hub, func(src events.Source) (stream.Receipt, bool, error) {
		switch src.Device {
		case "phone-1":
			return stream.Receipt{UpTo: 5, Through: 7, At: at}, true, nil
		case "new":
			return stream.Receipt{At: at}, false, nil
		case "stale":
			return stream.Receipt{}, false, nil
		}
		return stream.Receipt{}, false, errors.New("store is shut")
	})
	require.NoError(t, err)
	got, err := stream.AskReceipt(testContext(t), nc, phone)
	require.NoError(t, err)
	require.Equal(t, stream.Receipt{Source: phone.String(), UpTo: 5, Through: 7, At: at}, got)

	got, err = stream.AskReceipt(testContext(t), nc, events.Source{Site: "a", Device: "new"})
	require.NoError(t, err)
	require.Equal(t, stream.Receipt{Source: "/site/a/device/new", At: at}, got, "an unknown device has a receipt up to 0")

	_, err = stream.AskReceipt(testContext(t), nc, events.Source{Site: "a", Device: "stale"})
	require.ErrorIs(t, err, stream.ErrNoReceipt)
	require.ErrorContains(t, err, "none can be given now")
	_, err = stream.AskReceipt(testContext(t), nc, events.Source{Site: "b", Device: "phone-1x"})
	require.ErrorIs(t, err, stream.ErrNoReceipt)
	require.ErrorContains(t, err, "store is shut")

	stop()
	stop()
	_, err = stream.AskReceipt(testContext(t), nc, phone)
	require.ErrorIs(t, err, stream.ErrNoReceipt)
}

func FuzzParseReceipt(f *testing.F) {
	for _, s := range []string{``, `{}`, `null`, `{"source":"/site/a/device/phone-1","upto":3}`, `{"source":"/site/a/device/phone-1","upto":-1}`,
		`{"source":"/site/a/device/other","upto":3}`, `{"error":"x"}`, `{"source":"/site/a/device/phone-1","at":"9999-99-99"}`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		r, err := stream.ParseReceipt(phone, body)
		if err == nil {
			require.Equal(t, phone.String(), r.Source)
		}
	})
}
