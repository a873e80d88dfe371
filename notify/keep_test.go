package notify_test

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"earlyage/events"
	"earlyage/notify"
	"earlyage/notify/notice"
	"earlyage/scheduler"
)

// gathered reads the metrics by a registry of the library that watchers use.
func gathered(t *testing.T, e *notify.Engine) map[string]float64 {
	t.Helper()
	registry := prometheus.NewPedanticRegistry()
	require.NoError(t, registry.Register(e))
	families, err := registry.Gather()
	require.NoError(t, err)
	got := map[string]float64{}
	for _, f := range families {
		for _, m := range f.GetMetric() {
			name := f.GetName()
			for i := len(m.GetLabel()) - 1; i >= 0; i-- {
				name += " " + m.GetLabel()[i].GetValue()
			}
			got[name] = m.GetGauge().GetValue() + m.GetCounter().GetValue() + float64(m.GetHistogram().GetSampleCount())
		}
	}
	return got
}

func TestWhatWasToldIsListed(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		r.mail.to = func(m notice.Message) int {
			if m.To.Person == "bob" {
				return loses
			}
			return takes
		}
		r.begin()
		for _, id := range []string{"a", "b"} {
			r.put(raised(t, id))
			wait(time.Second)
		}
		wait(3 * time.Minute)
		all, err := r.e.List(notify.Filter{})
		require.NoError(t, err)
		require.Len(t, all, 4)
		for i := 1; i < len(all); i++ {
			require.False(t, all[i].Made.After(all[i-1].Made), "the newest first")
		}
		require.Equal(t, "raised a", all[3].Text)
		require.Equal(t, "accepted", all[3].State)
		require.Equal(t, []string{"due bob", "due bob"}, states(t, r.e, notify.Filter{Undelivered: true}))
		require.Equal(t, []string{"accepted ann", "due bob"}, states(t, r.e, notify.Filter{Alert: "a"}))
		require.Equal(t, []string{"accepted ann", "accepted ann"}, states(t, r.e, notify.Filter{Person: "ann", Site: "mill"}))
		require.Empty(t, states(t, r.e, notify.Filter{Site: "quay"}))
		require.Len(t, states(t, r.e, notify.Filter{Limit: 3}), 3)
		open := r.e.Cases()
		require.Len(t, open, 2)
		require.Equal(t, "b", open[0].ID)
	})
}

func TestATestIsSentByEveryChannel(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		hook := newCarrier("hook")
		hook.to = func(notice.Message) int { return refuses }
		r.cfg.Channels = append(r.cfg.Channels, hook)
		r.begin()
		list, err := r.e.Test(t.Context(), "ann", "mill")
		require.NoError(t, err)
		wait(0)
		require.Len(t, list, 2)
		require.Equal(t, "accepted", list[0].State)
		require.Equal(t, "failed", list[1].State)
		require.Equal(t, []string{"ann: a test"}, r.mail.shown())
		require.Equal(t, "test", r.mail.got[0].What)
		require.ElementsMatch(t, []string{"accepted ann: a test", "failed ann: a test"}, r.outcomes())
		require.Len(t, states(t, r.e, notify.Filter{}), 2)
		_, err = r.e.Test(t.Context(), "nobody", "mill")
		require.ErrorIs(t, err, notify.ErrNoReader)
		r.end()
		r.begin()
		wait(time.Hour)
		require.Len(t, r.mail.tries, 1, "a test is no letter that is tried again")
	})
}

// oldFile writes the file of the time before the ledger, as it was.
func oldFile(t *testing.T, path string, after uint64, told ...string) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		place, err := tx.CreateBucketIfNotExists([]byte("place"))
		require.NoError(t, err)
		require.NoError(t, place.Put([]byte("after"), binary.BigEndian.AppendUint64(nil, after)))
		b, err := tx.CreateBucketIfNotExists([]byte("told"))
		require.NoError(t, err)
		for _, key := range told {
			require.NoError(t, b.Put([]byte(key), binary.BigEndian.AppendUint64(nil, uint64(start.UnixMilli()))))
		}
		return nil
	}))
	require.NoError(t, db.Close())
}

// A hub that is upgraded neither falls silent nor tells what it told before.
func TestTheOldPlaceIsTakenOver(t *testing.T) {
	path := filepath.Join(t.TempDir(), "told.db")
	oldFile(t, path, 2, "b raised")
	bubble(t, func(t *testing.T, r *rig) {
		r.cfg.Old = path
		r.tape.put(raised(t, "a"), raised(t, "b"), raised(t, "b"), raised(t, "c"))
		r.begin()
		require.Equal(t, []string{"ann: raised c"}, r.mail.shown())
		require.Equal(t, []string{"raised c"}, r.ear.heard())
		require.NoFileExists(t, path)
		r.end()
		oldFile(t, path, 0)
		r.begin()
		require.Len(t, r.mail.tries, 1, "a ledger that is on has its own place")
		require.NoFileExists(t, path)
	})
}

func TestAnOldPlaceThatIsNoneIsSaid(t *testing.T) {
	path := filepath.Join(t.TempDir(), "told.db")
	require.NoError(t, os.WriteFile(path, []byte("this is no store at all, only a text that is long enough to be looked at"), 0o600))
	bubble(t, func(t *testing.T, r *rig) {
		r.cfg.Old = path
		r.tape.put(raised(t, "a"))
		r.begin()
		r.put(raised(t, "b"))
		require.Equal(t, []string{"ann: raised b"}, r.mail.shown())
	})
}

// damage flips a bit of every row of a bucket.
func damage(t *testing.T, s *shelf, name string) (n int) {
	t.Helper()
	require.NoError(t, s.Update(func(b *bbolt.Bucket) error {
		rows := map[string][]byte{}
		require.NoError(t, b.Bucket([]byte(name)).ForEach(func(k, v []byte) error {
			row := append([]byte(nil), v...)
			row[len(row)/2] ^= 1
			rows[string(k)] = row
			return nil
		}))
		for k, row := range rows {
			require.NoError(t, b.Bucket([]byte(name)).Put([]byte(k), row))
		}
		n = len(rows)
		return nil
	}))
	return n
}

// A row that is damaged is passed over; what is not damaged is told, and what
// comes.
func TestADamagedRowEndsNothing(t *testing.T) {
	for _, name := range []string{"meta", "case", "letter", "heard"} {
		t.Run(name, func(t *testing.T) {
			bubble(t, func(t *testing.T, r *rig) {
				r.begin()
				r.put(reading(t), raised(t, "a"))
				r.end()
				require.Positive(t, damage(t, r.shelf, name))
				r.tape.put(raised(t, "b"))
				r.begin()
				r.put(raised(t, "c"))
				require.Subset(t, r.mail.shown(), []string{"ann: raised b", "ann: raised c"})
				require.Len(t, r.mail.shown(), 3)
				require.Len(t, r.mail.tries, 3)
				_, err := r.e.List(notify.Filter{})
				require.NoError(t, err)
				_, err = r.e.Measured()
				require.NoError(t, err)
				gathered(t, r.e)
			})
		})
	}
}

func rows(t *testing.T, s *shelf, name string) (n int) {
	t.Helper()
	require.NoError(t, s.View(func(b *bbolt.Bucket) error {
		return b.Bucket([]byte(name)).ForEach(func(k, v []byte) error {
			n++
			return nil
		})
	}))
	return n
}

// What has ended is kept for 90 days, and then taken out a few rows at a time.
func TestWhatIsOldIsTakenOut(t *testing.T) {
	bubble(t, func(t *testing.T, r *rig) {
		clock := scheduler.NewStepped(time.Now())
		r.cfg = r.config(clock)
		r.begin()
		var list, ends = make([]string, 600), 0
		for i := range list {
			list[i] = fmt.Sprint("old-", i)
			r.tape.put(sealed(hubKey, raisedEvent(t, list[i], "high")), cleared(t, list[i]),
				acknowledged(t, hubKey, events.DeskOf("ann"), "ann", list[i], "load-old"))
			ends++
		}
		require.NoError(t, r.e.Settle(t.Context()))
		sheet := func(day int) {
			clock.Step(24 * time.Hour)
			r.tape.put(word(t, hubKey, "hub", "", "sheet.issued", &events.SheetIssued{Date: start.AddDate(0, 0, day).Format("2006-01-02"), At: start, Rules: "rules-1"}))
			require.NoError(t, r.e.Settle(t.Context()))
		}
		for day := range 89 {
			sheet(day)
		}
		require.GreaterOrEqual(t, rows(t, r.shelf, "case"), ends)
		letters := rows(t, r.shelf, "letter")
		require.Greater(t, letters, 89)
		for day := range 40 {
			sheet(89 + day)
		}
		require.Less(t, rows(t, r.shelf, "case"), 200)
		require.Less(t, rows(t, r.shelf, "heard"), 200)
		require.Less(t, rows(t, r.shelf, "letter"), 130)
		all, err := r.e.List(notify.Filter{})
		require.NoError(t, err)
		require.Equal(t, "sheet 2026-05-23", all[0].Text)
	})
}
