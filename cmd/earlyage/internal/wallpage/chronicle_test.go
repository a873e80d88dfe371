package wallpage_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/projector"
	"earlyage/scheduler"
)

var barn = scheduler.Ref{Site: "tverrbakken", Wall: "barn"}

// recount gathers the timeline of a wall, as of a moment or, if it is zero, now.
func recount(t testing.TB, s *store, ref scheduler.Ref, asOf time.Time) (out wallpage.Chronicle) {
	t.Helper()
	require.NoError(t, s.Wall(t.Context(), ref, asOf, func(in wallpage.Input) error { out = wallpage.ChronicleOf(in); return nil }))
	return out
}

func told(c wallpage.Chronicle, f wallpage.Filter) (out []string) {
	name := func(id string) string { return names[id] }
	for _, x := range c.Worded(words.Of("en"), name, "", f) {
		l := x.Line
		line := fmt.Sprintf("%d %s | %s | %s | %s", x.Seq, l.Kind.Text, l.Happened, l.Recorded, l.Who)
		if l.OfNumber != "" {
			line += " | about " + l.OfNumber
		}
		if l.Struck {
			line += " | struck"
		}
		for _, n := range l.Notes {
			line += " | " + strings.TrimSpace(n.Text+" "+n.LinkText)
		}
		out = append(out, line)
	}
	return out
}

// What the timeline says of each message of testdata/changed.txt, written by hand
// from the script alone. The moments are the script's; a time to strip is rounded up.
func TestTimelineByHand(t *testing.T) {
	r := readScript(t, "changed")
	s := r.fold(r.moment("2026-11-03@12:00"))
	const day = "Tue 3 Nov "
	refused := ""
	all := told(recount(t, s, barn, time.Time{}), wallpage.Filter{})
	for i, line := range all {
		if strings.HasPrefix(line, "8 ") {
			all[i], refused = "8", line
		}
	}
	require.Regexp(t, `struck \| Refused, field data\.topp_m: .* \| Settled by Birk, Tue 3 Nov 09:40 CET: a telephone of another firm, nothing was placed 9$`, refused, "the reason is the decoder's own")
	require.Equal(t, []string{
		"2 Wall laid out | " + day + "07:00 CET | " + day + "07:00 CET | Ask",
		"3 Braces set | " + day + "07:05 CET | " + day + "07:05 CET | Ask",
		"4 Pour started | " + day + "08:00 CET | " + day + "08:00 CET | Ask",
		"5 Lift placed | " + day + "08:05 to 08:29 CET | " + day + "08:30 CET | Ask | Amended by Tuva, " + day + "10:00 CET: typed 20 minutes early. Instead: ended " + day + "08:49 CET. A second person has not countersigned it 10 | Both versions count, the safer of each, until a second person countersigns.",
		"6 Time to strip stated | " + day + "08:31 CET | " + day + "08:31 CET | the hub",
		"7 String line read | " + day + "09:10 CET | " + day + "09:10 CET | Ask | struck | Withdrawn by Tuva, " + day + "10:20 CET: read on another wall. Countersigned by Birk, " + day + "10:30 CET 11",
		"8",
		"9 Doubt settled | " + day + "09:40 CET | " + day + "09:40 CET | Birk | about 8",
		"10 Entry amended | " + day + "10:00 CET | " + day + "10:00 CET | Tuva | about 5",
		"11 Entry withdrawn | " + day + "10:20 CET | " + day + "10:20 CET | Tuva | about 7 | Countersigned by Birk, " + day + "10:30 CET 12",
		"12 Entry countersigned | " + day + "10:30 CET | " + day + "10:30 CET | Birk | about 11",
		"13 Lift placed | " + day + "08:50 to 09:15 CET | " + day + "11:15 CET | Ask",
		"14 Time to strip stated | " + day + "11:16 CET | " + day + "11:16 CET | the hub | Other than the statement before: state: placing → curing; governs: complete → temperature; cured: not known → Thu 5 Nov 10:16 CET",
		"15 Alert raised | " + day + "11:15 CET | " + day + "11:20 CET | the hub | Acknowledged by Birk, " + day + "11:30 CET: the engineer comes",
		"16 Alert seen | " + day + "11:30 CET | " + day + "11:30 CET | Birk | about 15",
	}, all)

	then := told(recount(t, s, barn, r.moment("2026-11-03@10:00").Add(-time.Second)), wallpage.Filter{})
	require.Len(t, then, 8, "before the amendment")
	require.Equal(t, "5 Lift placed | "+day+"08:05 to 08:29 CET | "+day+"08:30 CET | Ask", then[3])
	waiting := told(recount(t, s, barn, r.moment("2026-11-03@10:20")), wallpage.Filter{Kind: "line"})
	require.Len(t, waiting, 1)
	require.Contains(t, waiting[0], "read on another wall. A second person has not countersigned it 11")

	require.Len(t, told(recount(t, s, barn, time.Time{}), wallpage.Filter{Query: "another WALL"}), 2, "in the void, and beside what it took out")
	require.Len(t, told(recount(t, s, barn, time.Time{}), wallpage.Filter{Kind: "!"}), 4)
}

// As of any message's moment the timeline is that of a store that ends there.
func TestTimelineAsOfIsTheStoreThatEndsThere(t *testing.T) {
	for _, x := range []struct {
		script string
		ref    scheduler.Ref
		every  int // of the messages of the wall, so that the test stays short
	}{{"changed", barn, 1}, {"units", barn, 1}, {"week", wall1, 24}} {
		r := week(t)
		until := noon
		if x.script != "week" {
			r = readScript(t, x.script)
			until = r.moment("2026-11-03@12:00")
		}
		whole := r.fold(until)
		last := recount(t, whole, x.ref, time.Time{})
		for i := 0; i < len(last.Entries); i += x.every {
			at := last.Entries[i].Recorded.Time
			was, ends := recount(t, whole, x.ref, at), recount(t, r.fold(at), x.ref, time.Time{})
			require.Equal(t, len(ends.Entries), len(was.Entries), "%s as of message %d", x.script, last.Entries[i].Seq)
			for n := range ends.Entries {
				require.Equal(t, ends.Entries[n], was.Entries[n], "%s: message %d as of message %d", x.script, ends.Entries[n].Seq, last.Entries[i].Seq)
			}
			require.Equal(t, ends.Said, was.Said, "%s as of message %d", x.script, last.Entries[i].Seq)
			require.Equal(t, ends.Wall, was.Wall)
			for _, e := range was.Entries {
				require.False(t, e.Recorded.After(at))
				for _, c := range e.Changes {
					require.False(t, c.At.After(at))
				}
			}
		}
		require.NoError(t, whole.p.Read(func(v projector.View) error {
			n := 0
			err := v.Leaves(projector.Ref(x.ref), func(projector.Leaf) error { n++; return nil })
			require.Len(t, last.Entries, n, "nothing is left out")
			return err
		}))
	}
}

// The head of a past moment says both windows, and that they differ.
func TestChronicleHead(t *testing.T) {
	r := readScript(t, "changed")
	s := r.fold(r.moment("2026-11-03@12:00"))
	head := strings.Join(recount(t, s, barn, r.moment("2026-11-03@10:25")).Head(words.Of("en"), 3), "\n")
	require.Contains(t, head, "barn, Tverrbakken, as of Tue 3 Nov 2026 10:25 CET. 3 of 10 messages.")
	require.Contains(t, head, "Stated Tue 3 Nov 08:31 CET, message 6: the window is shut;")
	require.Contains(t, head, "By the record at Tue 3 Nov 2026 10:25 CET: ")
	require.Contains(t, head, "The two differ: messages about this wall that came after it and that the statement does not count yet: 5.")
	require.Len(t, recount(t, s, barn, time.Time{}).Head(words.Of("en"), 15), 1, "of the present the window itself is asked")

	before := strings.Join(recount(t, s, barn, r.moment("2026-11-03@08:00")).Head(words.Of("en"), 3), "\n")
	require.Contains(t, before, "The hub had stated nothing of the window.")
}
