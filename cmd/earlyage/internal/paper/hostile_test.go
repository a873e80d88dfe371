package paper_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/paper"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/events"
	"earlyage/projector"
	"earlyage/scheduler"
)

// tape makes the messages of one phone, a minute apart.
type tape struct {
	t      *testing.T
	at     time.Time
	leaves []projector.Leaf
}

func (p *tape) say(kind events.Kind, on string, data events.Data) {
	p.t.Helper()
	n := uint64(len(p.leaves) + 1)
	p.at = p.at.Add(time.Minute)
	e := events.Event{ID: fmt.Sprintf("e%d", n), Source: events.Source{Site: "yard", Device: "phone-x"}, Kind: kind, Wall: on, Time: p.at, By: "p-0000", Sequence: n, Data: data}
	body, err := e.Encode()
	require.NoError(p.t, err, kind)
	p.leaves = append(p.leaves, projector.Leaf{Seq: n, Recorded: p.at, Subject: e.Subject(), Body: body})
}

// Names and reasons such as nobody ought to give, each as long as may be.
var hostile = []string{
	strings.Repeat("W", 80),
	strings.Repeat("long words and more ", 4),
	"(brackets) \\back\\slashes\\ %PDF-1.3 endstream endobj",
	"\U0001F9F1 \u202eright to left\u202c \u0645\u062d\u0645\u062f \u5b89\u5168",
	"<script>alert(1)</script> & \"quotes\"",
	"e\u0301\u0301\u0301 \u00ad soft \u200b none",
}

func long(i, most int) string {
	s := strings.Repeat(hostile[i%len(hostile)]+" ", 1+most/len(hostile[i%len(hostile)]))
	for len(s) > most {
		s = strings.TrimSpace(s[:len(s)-1])
	}
	return strings.ToValidUTF8(s, "")
}

func TestHostileNamesAndFiveHundredMessages(t *testing.T) {
	p := &tape{t: t, at: time.Date(2026, 11, 2, 6, 0, 0, 0, time.UTC)}
	m := func(x float64) *float64 { return &x }
	p.say("site.opened", "", &events.SiteOpened{Name: long(3, 80), Zone: "Europe/Oslo"})
	var braces []events.BracePlan
	for i := range 60 {
		braces = append(braces, events.BracePlan{Name: fmt.Sprintf("b%d-%s", i, strings.Repeat("x", 20)), AtM: m(float64(i))})
	}
	p.say("wall.laid-out", "wall-1", &events.WallLaidOut{Name: long(0, 80), LengthM: m(60), HeightM: m(2.4), CoreMM: m(200), Braces: braces})
	p.say("brace.set", "wall-1", &events.BraceSet{Braces: braces})
	for i := 0; len(p.leaves) < 500; i++ {
		number := long(i, 30) + fmt.Sprint(i)
		p.say("permit.issued", "wall-1", &events.PermitIssued{Number: number, For: "strip", Conditions: long(i, 2000)})
		p.say("permit.withdrawn", "wall-1", &events.PermitWithdrawn{Number: number, Reason: long(i+1, 500)})
	}
	ref := scheduler.Ref{Site: "yard", Wall: "wall-1"}
	rows := []projector.RefusedRow{{Seq: 20, Recorded: p.at, Site: "yard", Wall: "wall-1", Source: "/site/yard/device/phone-x", Field: long(1, 60), Reason: long(0, 400)}}
	seal := &register.Checkpoint{Key: strings.Repeat("k", 300), At: face.Time{Time: p.at}, Size: 500, Root: strings.Repeat("r", 44), Note: long(0, 80) + "\n" + long(2, 900)}
	for size, n := range map[paper.Size]int{paper.A4: len(p.leaves), paper.Letter: 100} { // what goes on for long does so in one size
		in, err := printed(wallpage.Messages(p.leaves[:n], rows), ref, p.at.Add(time.Hour), seal)
		require.NoError(t, err)
		in.Name = func(string) string { return long(3, 200) }
		pages := read(t, wallPDF(t, in, size))
		require.Greater(t, len(pages), n/5)
		within(t, string(size), pages)
		text := allText(pages)
		for _, say := range []string{"U+1F9F1", "<script>alert(1)</script>", "(brackets)\\back\\slashes\\", paper.Clean(hostile[5][:3])} {
			require.Contains(t, text, tight(say))
		}
		for i := range n {
			require.Contains(t, text, fmt.Sprint(i+1))
		}
	}
}

// A row that is higher than a page is printed in pieces, and whole.
func TestARowHigherThanAPage(t *testing.T) {
	p := &tape{t: t, at: time.Date(2026, 11, 2, 6, 0, 0, 0, time.UTC)}
	m := func(x float64) *float64 { return &x }
	p.say("site.opened", "", &events.SiteOpened{Name: "Yard", Zone: "Europe/Oslo"})
	var braces []events.BracePlan
	for i := range 900 {
		braces = append(braces, events.BracePlan{Name: fmt.Sprintf("brace-number-%04d-of-a-long-wall", i), AtM: m(float64(i))})
	}
	p.say("wall.laid-out", "wall-1", &events.WallLaidOut{LengthM: m(1000), HeightM: m(2.4), CoreMM: m(200), Braces: braces})
	in, err := printed(wallpage.Messages(p.leaves, nil), scheduler.Ref{Site: "yard", Wall: "wall-1"}, p.at, nil)
	require.NoError(t, err)
	pages := read(t, wallPDF(t, in, paper.A4))
	within(t, "long", pages)
	text := follows(t, allText(pages), "timeline", "The whole timeline", "The whole timeline")
	for _, b := range braces {
		text = follows(t, text, b.Name, b.Name[len("brace-number-"):len("brace-number-0000")])
	}
	require.Contains(t, text, tight(in.Words.T("paper.foot.none")))
}
