package projector_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector"
)

func TestEventsReachTheirWall(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "phone-1")
	s.add(t, d.lift("w1", 0, 6, 1))
	s.add(t, d.lift("w2", 0, 6, 1))
	s.add(t, d.reading("w1", 12.5))
	p := foldAll(t, s)
	view(t, p, func(v projector.View) {
		require.EqualValues(t, 3, v.Through())
		require.Equal(t, []string{"alder"}, v.Sites())
		require.Equal(t, []projector.Ref{{"alder", "w1"}, {"alder", "w2"}}, v.Walls(""))
		require.Empty(t, v.Walls("birch"))
		require.True(t, v.Wall(projector.Ref{"alder", "w1"}).Known())
		require.Nil(t, v.Wall(projector.Ref{"alder", "w9"}))
		require.NotNil(t, v.Site("alder"))
		require.EqualValues(t, 3, v.Devices("alder").UpTo("phone-1"))
		require.Nil(t, v.Site("birch"))
		require.EqualValues(t, 3, v.Hub().Folded)
	})
}

func TestLeafKeepsWhatWasReceived(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "phone-1")
	e := d.lift("w1", 0, 6, 1)
	body := append([]byte(" \n"), encode(t, e)...) // not our own encoding
	seq := s.put(e.Subject(), body, "ed25519 0011223344556677 c2ln")
	p := foldAll(t, s)
	view(t, p, func(v projector.View) {
		raw, err := v.Leaf(seq)
		require.NoError(t, err)
		l, err := projector.ParseLeaf(raw)
		require.NoError(t, err)
		require.Equal(t, projector.Leaf{
			Seq: seq, Recorded: monday.Add(time.Second), Subject: e.Subject(), Signature: "ed25519 0011223344556677 c2ln", Body: body,
		}, l)
		none, err := v.Leaf(99)
		require.NoError(t, err)
		require.Nil(t, none)
	})
}

func TestLeavesOfAWall(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "phone-1")
	var want []uint64
	for i := range 300 {
		w := "w1"
		if i%3 == 0 {
			w = "w2"
		}
		seq := s.add(t, d.reading(w, 10))
		if w == "w2" {
			want = append(want, seq)
		}
		if i == 150 {
			s.lose(10_000) // into another block of the index
		}
	}
	p := foldAll(t, s)
	view(t, p, func(v projector.View) {
		var got []uint64
		require.NoError(t, v.Leaves(projector.Ref{"alder", "w2"}, func(l projector.Leaf) error {
			got = append(got, l.Seq)
			return nil
		}))
		require.Equal(t, want, got)
	})
}

// verdicts are what the hub counts and lists.
type verdicts struct{ folded, duplicates, refused uint64 }

func verdictsOf(v projector.View) verdicts {
	h := v.Hub()
	return verdicts{h.Folded, h.Duplicates, h.Refused}
}

func TestRepeatedMessageCountsOnce(t *testing.T) {
	for _, plain := range []bool{false, true} {
		s := newTape()
		d := newDevice("alder", "phone-1")
		d.plain = plain
		e := d.lift("w1", 0, 6, 1)
		s.add(t, e)
		once := digestOfWall(t, foldAll(t, s), projector.Ref{"alder", "w1"})
		s.add(t, e)
		s.add(t, d.reading("w2", 9))
		s.add(t, e)
		p := foldAll(t, s)
		view(t, p, func(v projector.View) {
			require.Equal(t, verdicts{2, 2, 0}, verdictsOf(v), "plain %t", plain)
			require.Equal(t, once, v.Wall(projector.Ref{"alder", "w1"}).Digest())
		})
	}
}

func digestOfWall(t *testing.T, p *projector.Projector, ref projector.Ref) (d [32]byte) {
	view(t, p, func(v projector.View) { d = v.Wall(ref).Digest() })
	return d
}

func TestSameKeyOtherBytesIsRefusedAndADoubt(t *testing.T) {
	for _, plain := range []bool{false, true} {
		s := newTape()
		d := newDevice("alder", "phone-1")
		d.plain = plain
		e := d.lift("w1", 0, 6, 1)
		s.add(t, e)
		clean := digestOfWall(t, foldAll(t, s), projector.Ref{"alder", "w1"})
		other := e
		other.Wall = "w2"
		other.Data = &events.LiftPlaced{FromM: ptr(0.0), ToM: ptr(6.0), TopM: ptr(2.0)}
		second := s.add(t, other)
		p := foldAll(t, s)
		view(t, p, func(v projector.View) {
			require.Equal(t, verdicts{1, 0, 1}, verdictsOf(v))
			rows := v.Refused(10)
			require.Len(t, rows, 1)
			require.Equal(t, second, rows[0].Seq)
			require.Equal(t, "id", rows[0].Field)
			require.Contains(t, rows[0].Reason, "same key, other bytes: message 1 stands")
			require.False(t, v.Wall(projector.Ref{"alder", "w2"}).Known())
			require.Len(t, v.Wall(projector.Ref{"alder", "w2"}).Refused(), 1, "a doubt on the wall that the second names")
			require.Len(t, v.Wall(projector.Ref{"alder", "w1"}).Refused(), 1, "and on the wall of the first")
			require.NotEqual(t, clean, v.Wall(projector.Ref{"alder", "w1"}).Digest())
		})
	}
}

func TestSameNumberOtherEventIsRefused(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "phone-1")
	s.add(t, d.lift("w1", 0, 6, 1))
	d.number = 0
	s.add(t, d.lift("w1", 0, 6, 2))
	p := foldAll(t, s)
	view(t, p, func(v projector.View) {
		require.Equal(t, verdicts{1, 0, 1}, verdictsOf(v))
		require.Equal(t, "sequence", v.Refused(1)[0].Field)
		require.Contains(t, v.Refused(1)[0].Reason, "message 1 has number 1")
		require.Len(t, v.Wall(projector.Ref{"alder", "w1"}).Refused(), 1)
	})
}

func TestRefusedEventHoldsItsNumber(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "phone-1")
	s.add(t, d.lift("w1", 0, 6, 1))
	e := d.lift("w1", 0, 6, 2)
	bad := bytes.Replace(encode(t, e), []byte(`"top_m":2`), []byte(`"top_m":200`), 1)
	s.put(e.Subject(), bad, "")
	s.put(e.Subject(), bad, "") // sent again
	s.add(t, d.lift("w1", 0, 6, 2.5))
	p := foldAll(t, s)
	view(t, p, func(v projector.View) {
		require.Equal(t, verdicts{2, 1, 1}, verdictsOf(v))
		require.EqualValues(t, 3, v.Devices("alder").UpTo("phone-1"))
		row := v.Refused(1)[0]
		require.Equal(t, e.ID, row.ID)
		require.Equal(t, "data.top_m", row.Field)
		require.Contains(t, row.Reason, `"200"`)
		require.Equal(t, projector.Ref{"alder", "w1"}, projector.Ref{row.Site, row.Wall})
		require.Len(t, v.Wall(projector.Ref{"alder", "w1"}).Refused(), 1)
	})
	r, ok, err := p.Receipt(d.source)
	require.NoError(t, err)
	require.True(t, ok)
	require.EqualValues(t, 3, r.UpTo)
	require.Len(t, r.Refused, 1)
	require.EqualValues(t, 2, r.Refused[0].Number)
	require.Contains(t, r.Refused[0].Reason, "data.top_m")
}

func TestRefusedUnnumberedEventMayBeCorrected(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "probe-1")
	d.plain = true
	e := d.reading("w1", 10)
	good := encode(t, e)
	s.put(e.Subject(), bytes.Replace(good, []byte(`"celsius":10`), []byte(`"celsius":1000`), 1), "")
	s.put(e.Subject(), good, "")
	view(t, foldAll(t, s), func(v projector.View) { require.Equal(t, verdicts{1, 0, 1}, verdictsOf(v)) })
}

func TestSubjectMustBeThePayloads(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "phone-1")
	e := d.lift("w1", 0, 6, 1)
	s.put("pour.birch.w7.lift.placed", encode(t, e), "")
	s.add(t, d.lift("w1", 0, 6, 2))
	s.add(t, e)
	p := foldAll(t, s)
	view(t, p, func(v projector.View) {
		require.Equal(t, verdicts{2, 0, 1}, verdictsOf(v), "a message on the wrong subject takes no event's place")
		require.Equal(t, "subject", v.Refused(1)[0].Field)
		require.Len(t, v.Wall(projector.Ref{"birch", "w7"}).Refused(), 1)
		require.EqualValues(t, 0, v.Devices("birch").UpTo("phone-1"), "a device of another site")
		require.Empty(t, v.Wall(projector.Ref{"alder", "w1"}).Refused(), "one site cannot raise doubts on another's walls")
	})
}

// TestRefusedEventIsADoubtOnTheWallThatItNames: concrete that was recorded on
// the wrong subject is missing on its own wall.
func TestRefusedEventIsADoubtOnTheWallThatItNames(t *testing.T) {
	for subject, walls := range map[string][]string{
		"pour.alder.w7.lift.placed":       {"w1", "w7"},
		"pour.alder.w1.lift":              {"w1"},
		"pour.alder.W1.lift.placed":       {"w1"},
		"pour.alder._.lift.placed":        {"w1"},
		"pour.alder.w1.temperature.read":  {"w1"},
		"pour.alder.w1.lift.placed.twice": {"w1"},
	} {
		s := newTape()
		d := newDevice("alder", "phone-1")
		s.put(subject, encode(t, d.lift("w1", 0, 6, 1)), "")
		p := foldAll(t, s)
		view(t, p, func(v projector.View) {
			for _, w := range walls {
				st := v.Wall(projector.Ref{"alder", w})
				require.NotNil(t, st, "%s: %s", subject, w)
				require.Len(t, st.Refused(), 1, subject)
			}
			require.Equal(t, "alder", v.Refused(1)[0].Site)
			require.EqualValues(t, 1, v.Devices("alder").UpTo("phone-1"), "its number is held")
		})
	}
}

func TestUnacceptableMessagesStopNothing(t *testing.T) {
	d := newDevice("alder", "phone-1")
	good := encode(t, d.lift("w1", 0, 6, 1))
	subject := "pour.alder.w1.lift.placed"
	replace := func(old, with string) []byte {
		out := bytes.Replace(good, []byte(old), []byte(with), 1)
		require.NotEqual(t, good, out, old)
		return out
	}
	for name, m := range map[string]struct {
		subject string
		body    []byte
		field   string
	}{
		"nothing":          {subject, nil, "body"},
		"garbage":          {subject, []byte{0xff, 0x00, '{', '{'}, "body"},
		"not an object":    {subject, []byte(`[1,2,3]`), "body"},
		"deep":             {subject, []byte(strings.Repeat(`{"a":`, 20_000)), "a.a.a"},
		"huge":             {subject, append([]byte(`{"id":"x","data":"`), bytes.Repeat([]byte{'a'}, 10<<20)...), "body"},
		"subject of four":  {"pour.alder.w1.lift", good, "subject"},
		"empty subject":    {"", good[:20], "body"},
		"strange subject":  {"pour.Alder.w1.lift.placed", good, "subject"},
		"a million tokens": {"pour" + strings.Repeat(".a", 100_000), good, "subject"},
		"year 9999":        {subject, replace(`"time":"2026`, `"time":"9999`), "time"},
		"not a number":     {subject, replace(`"top_m":1`, `"top_m":NaN`), "data.top_m"},
		"no wall":          {subject, replace(`"subject":"w1",`, ``), "subject"},
		"unknown kind":     {subject, replace(`lift.placed`, `lift.dreamt`), "type"},
		"unknown member":   {subject, replace(`"from_m":0`, `"from_m":0,"form_m":0`), "data.form_m"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newTape()
			bad := s.put(m.subject, m.body, "")
			after := s.add(t, newDevice("alder", "phone-2").lift("w2", 0, 1, 1))
			p := foldAll(t, s)
			view(t, p, func(v projector.View) {
				require.Equal(t, verdicts{1, 0, 1}, verdictsOf(v))
				require.Equal(t, after, v.Through())
				rows := v.Refused(10)
				require.Len(t, rows, 1)
				require.Less(t, len(rows[0].Field), 200)
				require.True(t, strings.HasPrefix(rows[0].Field, m.field), "field %s", rows[0].Field)
				raw, err := v.Leaf(bad)
				require.NoError(t, err)
				l, err := projector.ParseLeaf(raw)
				require.NoError(t, err)
				require.Equal(t, m.subject, l.Subject)
				require.True(t, bytes.Equal(m.body, l.Body), "the body is kept as it came")
			})
		})
	}
}

// raised is an alert of the hub's.
func raised(t *testing.T, device, wall string) events.Event {
	d := newDevice("alder", device)
	d.plain = true
	e := d.event(wall, "alert.raised", "", &events.AlertRaised{
		Alert: "a1", Kind: "probe-silent", Cause: "top", Priority: "low", Since: monday, Text: "no reading", Rules: "r1",
	})
	e.ID = "predictable-hash"
	return e
}

func TestOnlyTheHubSpeaksAsTheScheduler(t *testing.T) {
	s := newTape()
	real := raised(t, "hub", "w1")
	body := encode(t, real)
	// A stranger foresees the hub's id and even its bytes, and comes first.
	s.put(real.Subject(), body, "")
	s.put(real.Subject(), body, "ed25519 0000000000000000 AAAA")
	stranger := raised(t, "phone-1", "w1")
	s.put(stranger.Subject(), encode(t, stranger), "")
	// Or takes the key with an event of another kind.
	d := newDevice("alder", "hub")
	squat := d.reading("w1", 5)
	squat.ID = real.ID
	s.put(squat.Subject(), encode(t, squat), "")
	// The hub's own word counts all the same, once.
	own := s.addSigned(t, hubKey, real)
	s.addSigned(t, hubKey, real)
	p := foldAll(t, s)
	view(t, p, func(v projector.View) {
		require.Equal(t, verdicts{1, 2, 3}, verdictsOf(v))
		alarms := v.Wall(projector.Ref{"alder", "w1"}).Alarms()
		require.Len(t, alarms, 1)
		require.Equal(t, own, alarms[0].RaisedSeq)
		require.Equal(t, []string{"signature", "source", "signature"}, fields(v.Refused(9)))
		require.EqualValues(t, 0, v.Devices("alder").UpTo("hub"), "a stranger holds no number of the hub")
	})
}

func fields(rows []projector.RefusedRow) []string {
	var list []string
	for _, r := range rows {
		list = append(list, r.Field)
	}
	return list
}

func TestCompanyEventsReachEverySite(t *testing.T) {
	s := newTape()
	company := newDevice("_", "office")
	mix := func(name string) events.Event {
		return company.event("", "mix.approved", "engineer-1", &events.MixApproved{Mix: name, Binder: "portland"})
	}
	s.add(t, newDevice("alder", "phone-1").lift("w1", 0, 6, 1))
	s.add(t, mix("c30"))
	s.add(t, newDevice("birch", "phone-1").lift("w1", 0, 6, 1))
	dir := t.TempDir()
	cfg := newConfig(t, dir, s)
	p, err := projector.Open(cfg)
	require.NoError(t, err)
	stop := run(t, p)
	reach(t, p, s.last)
	require.NoError(t, stop())
	require.NoError(t, p.Close())
	// A site that comes after a restart takes the company's events too.
	s.add(t, newDevice("cedar", "phone-1").lift("w1", 0, 6, 1))
	s.add(t, mix("c40"))
	p = open(t, cfg)
	stop = run(t, p)
	reach(t, p, s.last)
	require.NoError(t, stop())
	other := foldAll(t, s)
	require.Equal(t, digest(t, other), digest(t, p))
	view(t, p, func(v projector.View) {
		require.Equal(t, []string{"alder", "birch", "cedar"}, v.Sites())
		for _, name := range v.Sites() {
			for _, m := range []string{"c30", "c40"} {
				require.Contains(t, v.Site(name).Mixes, m, name)
			}
		}
	})
}

func TestWallsAreEvictedOnlyWhenClean(t *testing.T) {
	s := newTape()
	d := newDevice("alder", "phone-1")
	for i := range 200 {
		s.add(t, d.reading("w"+string(rune('a'+i%20)), float64(i%20)))
	}
	want := digest(t, foldAll(t, s))
	s.cuts = []int{60}
	cfg := newConfig(t, t.TempDir(), s)
	cfg.WallsMax = 3
	p := open(t, cfg)
	stop := run(t, p)
	reach(t, p, s.last)
	require.NoError(t, stop())
	require.LessOrEqual(t, p.WallsInMemory(), 3)
	require.Equal(t, want, digest(t, p))
	view(t, p, func(v projector.View) {
		for _, ref := range v.Walls("") {
			require.NotNil(t, v.Wall(ref))
		}
	})
	require.LessOrEqual(t, p.WallsInMemory(), 3)
}
