package wall_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earlyage/events"
	"earlyage/projector/wall"
)

// flood is a record of refused messages and of answers to them, in the order of
// the stream: one message a second.
type flood struct {
	refused []wall.Refused // those accepted in their place are marks of their own
	facts   []wall.Fact
}

func secondOf(seq uint64) time.Time { return pourDay.Add(time.Duration(seq) * time.Second) }

func refusedAt(seq uint64, device, field string) wall.Refused {
	return wall.Refused{Seq: seq, Recorded: secondOf(seq), ID: fmt.Sprint("r", seq), Source: "/site/north/device/" + device, Field: field, Reason: fmt.Sprint("no ", seq)}
}

// answerAt settles the run of a refused message.
func answerAt(seq uint64, of wall.Refused) wall.Fact {
	f := benchFact(seq, secondOf(seq), "doubt.settled", &events.DoubtSettled{Message: of.Seq, Reason: "seen"})
	f.By, f.Settles = "p-boss", of.Run()
	return f
}

func allAt(seq, through uint64) wall.Fact {
	f := benchFact(seq, secondOf(seq), "doubt.settled", &events.DoubtSettled{Message: through, All: true, Reason: "seen"})
	f.By = "p-boss"
	return f
}

func voidAt(seq uint64, of wall.Fact) wall.Fact {
	f := benchFact(seq, secondOf(seq), "record.voided", &events.RecordVoided{Target: events.Target(of.Key()), Reason: "wrong"})
	f.By = "p-other"
	return f
}

// drawFlood draws few messages or more than are held, of one device or of more
// than are held apart.
func drawFlood(t *rapid.T) flood {
	rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "chance"), 3))
	messages := rapid.SampledFrom([]int{1, 5, 40, 40, 1005, 1500, 3000}).Draw(t, "messages")
	devices := rapid.SampledFrom([]int{1, 3, 3, 190, 450}).Draw(t, "devices")
	var out flood
	for seq := uint64(1); seq <= uint64(messages); seq++ {
		some := rng.IntN(100)
		if len(out.refused) == 0 {
			some = 99
		}
		switch before := rng.IntN(max(1, len(out.refused))); {
		case some < 3:
			out.facts = append(out.facts, answerAt(seq, out.refused[before]))
		case some < 4:
			out.facts = append(out.facts, allAt(seq, uint64(rng.IntN(messages+5))+1))
		case some < 5 && len(out.facts) > 0:
			out.facts = append(out.facts, voidAt(seq, out.facts[rng.IntN(len(out.facts))]))
		case some < 10:
			out.refused = append(out.refused, wall.Refused{Seq: out.refused[before].Seq, Instead: seq})
		default:
			out.refused = append(out.refused, refusedAt(seq, fmt.Sprint("phone-", rng.IntN(devices)), []string{"data", "signature"}[rng.IntN(2)]))
		}
	}
	// What stands for another message is no message to be answered by.
	out.facts = slices.DeleteFunc(out.facts, func(f wall.Fact) bool {
		d, ok := f.Data.(*events.DoubtSettled)
		return ok && !d.All && f.Settles == (wall.Run{})
	})
	return out
}

// held is a store as it stands after a state's chunks were put in.
type held map[string][]byte

func (h held) put(chunks []wall.Chunk) {
	for _, c := range chunks {
		if c.Value == nil {
			delete(h, string(c.Key))
		} else {
			h[string(c.Key)] = bytes.Clone(c.Value)
		}
	}
}

func (h held) load(t require.TestingT) *wall.State {
	s, err := wall.Load("north", "w1", func(yield func(key, value []byte) bool) {
		for k, v := range h {
			if !yield([]byte(k), v) {
				return
			}
		}
	})
	require.NoError(t, err)
	require.Empty(t, s.Dirty(), "what was loaded is stored")
	return s
}

// TestRefusedRunsInAnyOrder: any permutation, duplication and batch split of
// refused messages, of what was accepted in their place and of the answers gives
// the same state and the same bytes in the store, through any restart.
func TestRefusedRunsInAnyOrder(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := drawFlood(rt)
		whole, want := wall.New("north", "w1"), held{}
		whole.AddRefused(in.refused...)
		whole.Add(in.facts...)
		want.put(whole.Dirty())

		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "order"), 4))
		type part struct {
			refused *wall.Refused
			fact    *wall.Fact
		}
		var parts []part
		for range 2 {
			for i := range in.refused {
				parts = append(parts, part{refused: &in.refused[i]})
			}
			for i := range in.facts {
				parts = append(parts, part{fact: &in.facts[i]})
			}
		}
		rng.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
		state, store := wall.New("north", "w1"), held{}
		for len(parts) > 0 {
			n := min(len(parts), 1+rng.IntN(1+len(in.refused)/3))
			for _, x := range parts[:n] {
				if x.fact != nil {
					state.Add(*x.fact)
				}
			}
			var list []wall.Refused
			for _, x := range parts[:n] {
				if x.refused != nil {
					list = append(list, *x.refused)
				}
			}
			state.AddRefused(list...)
			store.put(state.Dirty())
			if rng.IntN(3) == 0 {
				digest := state.Digest()
				state = store.load(rt)
				require.Equal(rt, digest, state.Digest(), "through the store")
			}
			parts = parts[n:]
		}
		require.Equal(rt, whole.Doubts(), state.Doubts())
		require.Equal(rt, whole.Digest(), state.Digest())
		require.Equal(rt, want, store)
		require.Equal(rt, whole.Digest(), store.load(rt).Digest())
	})
}

// covered says, from the whole record, whether a refused message is over.
func (f *flood) covered(m wall.Refused) bool {
	voided := map[events.Key]bool{}
	for _, x := range f.facts {
		if d, ok := x.Data.(*events.RecordVoided); ok {
			voided[d.Target.Key()] = true
		}
	}
	for _, x := range f.facts {
		d, ok := x.Data.(*events.DoubtSettled)
		if ok && !voided[x.Key()] && m.Seq < x.Seq && (d.All && m.Seq <= d.Message || !d.All && x.Settles == m.Run()) {
			return true
		}
	}
	return slices.ContainsFunc(f.refused, func(r wall.Refused) bool { return r.Seq == m.Seq && r.Instead != 0 })
}

// TestNoRefusedMessageIsLost: however many there are, one that nobody has
// answered is within a doubt, the doubts are few, and while all are held nothing
// else is one.
func TestNoRefusedMessageIsLost(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := drawFlood(rt)
		s := wall.New("north", "w1")
		s.AddRefused(in.refused...)
		s.Add(in.facts...)
		doubts := s.Doubts()
		byRun, refused := map[wall.Run]wall.Doubt{}, 0
		for _, d := range doubts {
			if d.Key.ID == "" {
				byRun[d.Run] = d
				refused++
			}
		}
		require.LessOrEqual(rt, refused, 201)
		require.Len(rt, byRun, refused)
		want, all := map[wall.Run]int{}, 0
		for _, m := range in.refused {
			if m.Field != "" {
				all++
			}
			if m.Field == "" || in.covered(m) {
				continue
			}
			want[m.Run()]++
			d, apart := byRun[m.Run()]
			others, any := byRun[wall.Run{}]
			require.True(rt, apart && d.Message <= m.Seq && m.Seq <= d.Last || any && others.Message <= m.Seq && m.Seq <= others.Last,
				"message %d of %v is in no doubt: %v", m.Seq, m.Run(), doubts)
		}
		if all <= 1000 && len(want) <= 200 {
			require.Len(rt, byRun, len(want))
			for run, n := range want {
				require.Equal(rt, n, byRun[run].Count, "%v", run)
				require.False(rt, byRun[run].More)
			}
		}
	})
}

func TestOneAnswerSettlesTheRunOfAMessage(t *testing.T) {
	first, second, third, other := refusedAt(1, "phone-1", "data"), refusedAt(2, "phone-1", "data"), refusedAt(3, "phone-1", "data"), refusedAt(4, "phone-2", "data")
	s := wall.New("north", "w1")
	s.AddRefused(first)
	require.Equal(t, []wall.Doubt{{Message: 1, Last: 1, Count: 1, Run: first.Run(), What: "refused: data no 1", Since: secondOf(1).UnixMilli()}}, s.Doubts())
	s.AddRefused(second, third, other)
	require.Len(t, s.Doubts(), 2)
	require.Equal(t, "refused: 3 messages of phone-1; the first: data no 1", s.Doubts()[0].What)
	s.Add(answerAt(5, second))
	require.Len(t, s.Doubts(), 1, "any of them names the run")
	require.EqualValues(t, 4, s.Doubts()[0].Message, "another device's stays")

	later := refusedAt(6, "phone-1", "data")
	s.AddRefused(later)
	require.Len(t, s.Doubts(), 2)
	require.EqualValues(t, 6, s.Doubts()[1].Message, "what came after the answer is a new doubt")
	require.Equal(t, 1, s.Doubts()[1].Count)

	s.Add(allAt(9, 6))
	require.Empty(t, s.Doubts(), "all up to a message")
	s.AddRefused(refusedAt(8, "phone-3", "data"))
	require.Len(t, s.Doubts(), 1, "the one who answered all up to 6 did not speak of 8")
}

// TestAnAnswerIsOfWhatItsAuthorCanHaveSeen: who answers without signal has not
// seen what was refused until the answer came in.
func TestAnAnswerIsOfWhatItsAuthorCanHaveSeen(t *testing.T) {
	first, unseen := refusedAt(1, "phone-1", "data"), refusedAt(2, "phone-1", "data")
	unseen.Recorded = secondOf(3600)
	answer := answerAt(3, first)
	answer.Recorded = secondOf(7200) // entered at second 3
	s := wall.New("north", "w1")
	s.AddRefused(first, unseen)
	s.Add(answer)
	require.Len(t, s.Doubts(), 1)
	require.EqualValues(t, 2, s.Doubts()[0].Message)
}

func TestAnAnswerToAMessageElsewhereSettlesNothing(t *testing.T) {
	s := wall.New("north", "w1")
	s.AddRefused(refusedAt(1, "phone-1", "data"), refusedAt(5, "phone-1", "data"))
	s.Add(answerAt(7, refusedAt(3, "phone-1", "data")))
	require.Len(t, s.Doubts(), 1, "message 3 is not on this wall")
}

// TestManyRefusedMessagesCostOneDoubt: and what is stored of them stays small.
func TestManyRefusedMessagesCostOneDoubt(t *testing.T) {
	s, store := wall.New("north", "w1"), held{}
	for seq := uint64(1); seq <= 12_000; seq++ {
		s.AddRefused(refusedAt(seq, "phone-1", "signature"))
		store.put(s.Dirty())
	}
	require.Len(t, s.Doubts(), 1)
	require.Equal(t, "refused: over 1000 messages of phone-1; the first: signature no 1", s.Doubts()[0].What)
	require.Len(t, store, 1001)
	s.Add(answerAt(12_001, refusedAt(500, "phone-1", "signature")))
	require.Empty(t, s.Doubts(), "by one of those that are not held by themselves")
	s.Add(voidAt(12_002, answerAt(12_001, refusedAt(500, "phone-1", "signature"))))
	require.Len(t, s.Doubts(), 1, "the answer was voided")

	for seq := uint64(13_001); seq <= 15_000; seq++ { // each of another device
		s.AddRefused(refusedAt(seq, fmt.Sprint("d", seq), "source"))
	}
	require.Len(t, s.Doubts(), 201)
	last := s.Doubts()[slices.IndexFunc(s.Doubts(), func(d wall.Doubt) bool { return d.Run == wall.Run{} })]
	require.Contains(t, last.What, "of many devices")
	require.EqualValues(t, 15_000, last.Last)
	s.Add(allAt(15_001, last.Last))
	require.Empty(t, s.Doubts())
}

// TestAcceptedInItsPlace: a message that was refused and then accepted under the
// same key is over, whichever of the two is known first.
func TestAcceptedInItsPlace(t *testing.T) {
	refused, instead := refusedAt(4, "phone-1", "signature"), wall.Refused{Seq: 4, Instead: 9}
	for _, order := range [][]wall.Refused{{refused, instead}, {instead, refused}, {instead, refused, refused, instead}} {
		s := wall.New("north", "w1")
		for _, r := range order {
			s.AddRefused(r)
		}
		require.Empty(t, s.Doubts())
		require.Len(t, s.Refused(), 1)
		s.AddRefused(refusedAt(5, "phone-1", "signature"))
		require.EqualValues(t, 5, s.Doubts()[0].Message, "another one is not over by that")
	}
}

// BenchmarkRefused puts one more refused message on a wall that has had so many.
func BenchmarkRefused(b *testing.B) {
	for _, had := range []uint64{0, 1000, 100_000} {
		b.Run(fmt.Sprint("after ", had), func(b *testing.B) {
			s, seq := wall.New("north", "w1"), uint64(1)
			for ; seq <= had; seq++ {
				s.AddRefused(refusedAt(seq, "phone-1", "signature"))
			}
			s.Dirty()
			b.ReportAllocs()
			for b.Loop() {
				seq++
				s.AddRefused(refusedAt(seq, "phone-1", "signature"))
				s.Dirty()
			}
		})
	}
}
