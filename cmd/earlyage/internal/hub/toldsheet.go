package hub

import (
	"fmt"
	"html"
	"slices"
	"strings"
	"sync"
	"time"

	"earlyage/events"
	"earlyage/notify"
	"earlyage/notify/notice"
	"earlyage/notify/text"
	"earlyage/projector"
)

// composer speaks as package text does. With the sheets of the day, keepers and
// officers are given a checkpoint of the record: one that many people have in
// their mail cannot be changed afterwards.
type composer struct {
	notify.Words
	hub *Hub
}

// Sheet implements notify.Composer.
func (c composer) Sheet(n notice.Notice, f text.Facts) notice.Message {
	m := c.Words.Sheet(n, f)
	name := n.Issued.Name()
	if name == events.WeeklySheet {
		m = c.withRegister(m, n)
	}
	if name == events.EveningSheet || !holdsCheckpoints(f.Reader.Roles) {
		return m
	}
	signed, err := c.hub.checkpoints.newest(c.hub.projector, f.Now)
	if err != nil {
		c.hub.log.Error("no checkpoint for the sheet", "site", n.Site, "err", err)
		return m
	}
	return withCheckpoint(m, signed, c.hub.projector.VerifierKey())
}

// withRegister adds the bracing register of the week to its sheet. A sheet goes out
// without it rather than not at all.
func (c composer) withRegister(m notice.Message, n notice.Notice) notice.Message {
	files, err := c.hub.registers.ofWeek(c.hub, n.Site, n.Issued.Date)
	if err != nil {
		c.hub.log.Error("no register for the weekly sheet", "site", n.Site, "err", err)
		return m
	}
	m.Attach = append(m.Attach, files...)
	return m
}

func holdsCheckpoints(roles []events.Role) bool {
	return slices.Contains(roles, events.Keeper) || slices.Contains(roles, events.Officer)
}

// withCheckpoint adds a checkpoint to a message, as text and as a file.
func withCheckpoint(m notice.Message, c projector.SignedCheckpoint, key string) notice.Message {
	lead := "Checkpoint of the record. Keep it: earlyage verify and any program that reads C2SP checkpoints can tell by it whether the record was changed."
	note := strings.TrimSpace(string(c.Note))
	m.Plain = fmt.Sprintf("%s\n\n%s\n\n%s\n\nThe hub's key: %s\n", strings.TrimRight(m.Plain, "\n"), lead, note, key)
	if before, after, ok := strings.Cut(m.HTML, "</body>"); ok {
		part := fmt.Sprintf("<p>%s</p>\n<pre style=\"white-space:pre-wrap;overflow-wrap:anywhere\">%s\n\n%s</pre>\n",
			html.EscapeString(lead), html.EscapeString(note), html.EscapeString("The hub's key: "+key))
		m.HTML = before + part + "</body>" + after
	}
	m.Attach = append(m.Attach, notice.Attachment{Name: fmt.Sprintf("record-%d.checkpoint", c.Size), Type: "text/plain", Body: c.Note})
	return m
}

// checkpointFor is how long a checkpoint serves for sheets: those of one morning
// carry the same.
const checkpointFor = time.Hour

// checkpoints keeps the newest one that went out.
type checkpoints struct {
	mu   sync.Mutex
	last projector.SignedCheckpoint
	made time.Time
}

func (c *checkpoints) newest(p *projector.Projector, now time.Time) (projector.SignedCheckpoint, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.made.IsZero() && now.Sub(c.made).Abs() < checkpointFor {
		return c.last, nil
	}
	signed, err := p.Checkpoint()
	if err == nil {
		c.last, c.made = signed, now
	}
	return signed, err
}
