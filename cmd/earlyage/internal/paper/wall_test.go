package paper_test

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"

	"earlyage/cmd/earlyage/internal/paper"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/scheduler"
)

// edges asks what every page has to carry.
func edges(t *testing.T, what string, pages []sheet, seal *register.Checkpoint, more ...string) {
	t.Helper()
	for n, p := range pages {
		text := p.text()
		carried := append([]string{fmt.Sprintf("page %d of %d", n+1, len(pages)), seal.Root, fmt.Sprintf("%d messages", seal.Size), seal.At.UTC().Format("2006-01-02 15:04:05 UTC"), scheduler.Caution}, more...)
		for _, say := range carried {
			require.Contains(t, text, tight(say), "%s, page %d", what, n+1)
		}
	}
}

// MediaBox in points: A4 is 210 by 297 mm (ISO 216), Letter 8.5 by 11 inches.
func TestEveryPageOfAWall(t *testing.T) {
	for ref, in := range theWeek(t).papers {
		for _, s := range []struct {
			size       paper.Size
			wide, high float64
		}{{paper.A4, 210 / 25.4 * 72, 297 / 25.4 * 72}, {paper.Letter, 8.5 * 72, 11 * 72}} {
			what := fmt.Sprintf("%v %s", ref, s.size)
			raw := wallPDF(t, in, s.size)
			require.Equal(t, raw, wallPDF(t, in, s.size), "%s: the same bytes twice", what)
			pages := read(t, raw)
			for _, p := range pages {
				wide, high := s.wide, s.high
				if p.wide > p.high { // the register lies on its side
					wide, high = high, wide
				}
				require.InDelta(t, wide, p.wide, 0.01, what)
				require.InDelta(t, high, p.high, 0.01, what)
			}
			head := []string{in.Page.Site.Name + " / " + in.Page.Identity.Name, "as of"}
			edges(t, what, pages, in.Register.Checkpoint, append(head, "Record digest "+in.Page.Sheet.Digest)...)
			within(t, what, pages)
			require.NotContains(t, string(raw), "/JavaScript", what)
			require.Contains(t, string(raw), "/Lang (en)", what)
			require.Contains(t, string(raw), "/Outlines", what)
			require.Contains(t, string(raw), "/Author (earlyage)", what)
			for _, who := range in.Page.Report(in.Words, named).People {
				require.NotContains(t, utf16Text(string(raw[bytes.LastIndex(raw, []byte("/Producer")):])), who.Name, "%s: no person stands in the metadata", what)
			}
		}
	}
}

func TestSpanish(t *testing.T) {
	in := theWeek(t).papers[frozen]
	in.Words = words.Of("es")
	raw := wallPDF(t, in, paper.A4)
	require.Contains(t, string(raw), "/Lang (es)")
	pages := read(t, raw)
	within(t, "es", pages)
	require.Contains(t, pages[0].text(), tight(in.Words.T("paper.page", "n", 1, "all", len(pages))))
	require.NotContains(t, allText(pages), "paper.", "every key has its text")
}

// The register speaks the language that is asked for too, and says when in the time
// of the site that it is of.
func TestTheRegisterInSpanish(t *testing.T) {
	week := theWeek(t)
	es := words.Of("es")
	for what, reg := range map[string]register.Register{"all sites": week.register, "one wall": week.papers[early].Register} {
		var out bytes.Buffer
		require.NoError(t, paper.Register(&out, reg, es, paper.A4))
		require.Contains(t, out.String(), "/Lang (es)", what)
		pages := read(t, out.Bytes())
		within(t, what, pages)
		text := allText(pages)
		for _, key := range []string{"paper.totals", "paper.head.early", "paper.head.kept", "paper.part.proof", "paper.how.note"} {
			require.Contains(t, text, tight(es.T(key)), "%s: %s", what, key)
			require.NotEqual(t, es.T(key), words.Of(words.English).T(key))
		}
		require.NotContains(t, text, "paper.", "every key has its text")
	}
	at := week.papers[early].Page.At.UTC()
	local := at.In(week.papers[early].Page.Site.Location())
	require.Contains(t, read(t, registerPDF(t, week.papers[early].Register, paper.A4))[0].text(), tight(local.Format("as of Mon 2 Jan 2006 15:04 EST")))
	require.Contains(t, read(t, registerPDF(t, week.register, paper.A4))[0].text(), tight(at.Format("as of 2006-01-02 15:04 UTC")))
}

// An officer sees on the first page how the bracing came off, and beside each brace who
// did it on which device; what was entered late stands with when it was recorded.
func TestHowTheBracingCameOff(t *testing.T) {
	in := theWeek(t).papers[early]
	pages := read(t, wallPDF(t, in, paper.A4))
	require.Contains(t, pages[0].text(), tight("Braces: 5; Standing: 0; Off: 5; Early: 5; Without permit: 5; Kept, least: 26:48 h"))
	follows(t, allText(pages), "the register's rows", "Bracing register of this wall", "b1", "Mon 2 Nov 10:45 EST", named("p-9d4e"), "phone-a2", "shut", "cured Wed 4 Nov 13:12 EST",
		"Tue 3 Nov 16:00 EST", named("p-9d4e"), "phone-a2", "recorded 16:10 EST", "message 797")
	require.NotContains(t, pages[0].text(), "Braces:0")
	planned := read(t, wallPDF(t, theWeek(t).papers[planned], paper.A4))
	require.Contains(t, planned[0].text(), tight("core 7.87 in"), "a core is no length in feet")
}

// thousandths writes whole nanoseconds as hours, cut after the third decimal.
func thousandths(ns int64) string {
	const hour, milli = int64(3600e9), int64(3600e6)
	return fmt.Sprintf("%d.%03d", ns/hour, ns%hour/milli)
}

// follows asks that texts stand one after the other, with anything between them.
func follows(t *testing.T, text, what string, said ...string) string {
	t.Helper()
	for _, s := range said {
		_, after, ok := strings.Cut(text, tight(s))
		require.True(t, ok, "%s: %q of %q", what, s, said)
		text = after
	}
	return text
}

func TestTheSheetsNumbers(t *testing.T) {
	for ref, in := range theWeek(t).papers {
		what := fmt.Sprint(ref)
		text := allText(read(t, wallPDF(t, in, paper.A4)))
		s := in.Page.Sheet
		hours := follows(t, text, what, "Calculation sheet", "Calculation sheet")
		if ref == planned {
			require.Empty(t, s.Hours)
		} else {
			require.NotEmpty(t, s.Hours, what)
			hours = follows(t, hours, what, "needed "+thousandths(s.NeedNS))
		}
		for _, h := range s.Hours {
			hours = follows(t, hours, what, fmt.Sprintf("%d of %d min", h.Counted/60, h.Seconds/60), thousandths(h.Sum[0])+" h")
		}
		for _, r := range s.Others {
			require.Contains(t, text, tight(r.Name), what)
			require.Contains(t, text, tight(r.Source), what)
		}
		for _, c := range s.Assessment.Strip.Criteria {
			require.Contains(t, text, tight(in.Words.T("criterion."+c.Name)), what)
		}
		require.Contains(t, text, tight("not set by an engineer"), what)
		require.Contains(t, text, s.Rules, what)
	}
}

// clock writes seconds as hours and minutes, rounded down.
func clock(s int64) string {
	if s < 0 {
		return "−" + clock(-s)
	}
	return fmt.Sprintf("%d:%02d h", s/3600, s%3600/60)
}

func rowSays(r register.Row) []string {
	said := []string{r.Brace}
	if r.Set.Seq != 0 {
		said = append(said, named(r.Set.By), fmt.Sprintf("message %d", r.Set.Seq))
	}
	if r.Permit.Number != "" {
		said = append(said, r.Permit.Number, named(r.Permit.By))
	}
	if r.Stripped.Seq != 0 {
		said = append(said, named(r.Stripped.By), fmt.Sprintf("message %d", r.Stripped.Seq))
	}
	said = append(said, clock(r.KeptS), clock(r.AgeS))
	if r.Margin.Known {
		said = append(said, clock(r.Margin.S))
	}
	for _, x := range r.Exceptions {
		said = append(said, x.Text)
	}
	return said
}

func TestTheRegistersNumbers(t *testing.T) {
	week := theWeek(t)
	text := allText(read(t, wallPDF(t, week.papers[early], paper.A4)))
	rows := week.papers[early].Register.Sites[0].Walls[0].Rows
	require.True(t, rows[0].Early)
	text = follows(t, text, "paper of the wall", "Bracing register of this wall")
	for _, r := range rows {
		text = follows(t, text, r.Brace, rowSays(r)...)
	}

	raw := registerPDF(t, week.register, paper.Letter)
	require.Equal(t, raw, registerPDF(t, week.register, paper.Letter), "the same bytes twice")
	pages := read(t, raw)
	edges(t, "register", pages, week.register.Checkpoint, "Bracing register: all sites", "as of")
	within(t, "register", pages)
	for _, p := range pages {
		require.Equal(t, []float64{792, 612}, []float64{p.wide, p.high})
	}
	sum := week.register.Total
	text = follows(t, allText(pages), "totals", "Totals", "All",
		fmt.Sprint(sum.Braces), fmt.Sprint(sum.Standing), fmt.Sprint(sum.Stripped), fmt.Sprint(sum.Early), fmt.Sprint(sum.Unpermitted), fmt.Sprint(sum.Exceptions),
		clock(*sum.KeptMeanS), clock(*sum.KeptLeastS), clock(*sum.MarginLeastS))
	n := 0
	for _, s := range week.register.Sites {
		for _, w := range s.Walls {
			text = follows(t, text, w.Wall, w.Name)
			for _, r := range w.Rows {
				text = follows(t, text, w.Wall+" "+r.Brace, rowSays(r)...)
				n++
			}
		}
	}
	require.Equal(t, sum.Braces, n)
}

// What is printed of the checkpoint is enough to check it, by a reader of signed
// notes that is not ours (golang.org/x/mod/sumdb/note).
func TestThePrintedCheckpointCanBeChecked(t *testing.T) {
	in := theWeek(t).papers[early]
	pages := read(t, wallPDF(t, in, paper.A4))
	last := pages[len(pages)-1]
	var typed []string
	for _, r := range last.runs {
		if r.font == "utf8mono" {
			typed = append(typed, r.say)
		}
	}
	require.NotEmpty(t, typed)
	key := typed[len(typed)-1]
	require.Equal(t, in.Register.Checkpoint.Key, key)
	text := typed[:len(typed)-1]
	text = append(text[:len(text)-1:len(text)-1], "", text[len(text)-1]) // the empty line before the signature
	verifier, err := note.NewVerifier(key)
	require.NoError(t, err)
	opened, err := note.Open([]byte(strings.Join(text, "\n")+"\n"), note.VerifierList(verifier))
	require.NoError(t, err)
	require.Contains(t, opened.Text, in.Register.Checkpoint.Root)
	require.Contains(t, last.text(), tight("earlyage verify FILE --key KEY --checkpoint"))
}

func TestWhatIsSaidOfAnEarlyStrip(t *testing.T) {
	in := theWeek(t).papers[early]
	text := allText(read(t, wallPDF(t, in, paper.A4)))
	require.NotEmpty(t, in.Page.Alarms)
	for _, a := range in.Page.Alarms {
		require.Contains(t, text, tight(a.Text))
		for _, x := range a.Told {
			require.Contains(t, text, tight(named(x.Person)+x.Channel))
		}
	}
	for _, e := range in.Page.Timeline {
		if e.Kind != "temperature.read" {
			require.Contains(t, text, fmt.Sprint(e.Seq), "message %d", e.Seq)
		}
	}
	for _, say := range []string{"Requester of the permit", "Competent reviewer", "Issuer", "Safety officer", "No permit is recorded."} {
		require.Contains(t, text, tight(say))
	}
	for _, say := range []string{"is safe", "may strip"} {
		require.NotContains(t, text, tight(say))
	}
}

func TestASizeThatIsNone(t *testing.T) {
	require.ErrorIs(t, paper.Wall(io.Discard, theWeek(t).papers[planned], "a5"), paper.ErrSize)
	require.ErrorIs(t, paper.Register(io.Discard, register.Register{}, words.Of("en"), "legal"), paper.ErrSize)
	require.NoError(t, paper.Register(io.Discard, register.Register{}, words.Of("en"), paper.A4), "an empty one")
}

func BenchmarkWall(b *testing.B) {
	in := theWeek(b).papers[early]
	b.ReportAllocs()
	for b.Loop() {
		require.NoError(b, paper.Wall(io.Discard, in, paper.A4))
	}
}

func BenchmarkRegister(b *testing.B) {
	reg := theWeek(b).register
	b.ReportAllocs()
	for b.Loop() {
		require.NoError(b, paper.Register(io.Discard, reg, words.Of("en"), paper.A4))
	}
}
