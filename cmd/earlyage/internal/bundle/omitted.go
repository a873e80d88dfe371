package bundle

import (
	"fmt"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/projector"
	"earlyage/projector/site"
	"earlyage/scheduler"
)

// A log shows of each message that it is in its place; of a message that is not
// in the file it shows nothing. That nothing of the wall was left out shows
// otherwise: by the hub's own words, each of which names the one before it and
// the digest of the state that it saw, and by the running numbers of the devices.
// After the last of these nothing does, and that is said.

// chain checks that the hub's words about the wall follow one another.
func (r *Report) chain(f *file, list []statement) {
	stated, held := map[uint64]bool{}, map[uint64]bool{}
	for _, s := range list {
		stated[s.seq] = true
	}
	for i := range f.entries {
		held[f.entries[i].leaf.Seq] = true
	}
	missing := 0
	lost := func(line int, what string, seq uint64) {
		if missing++; missing <= mostNamed {
			r.fails("line %d: %s, message %d, is not in the bundle: it was left out", line, what, seq)
		}
	}
	for _, s := range list {
		if s.said.Preceding != 0 && !stated[s.said.Preceding] {
			lost(s.line, "the statement before it", s.said.Preceding)
		}
		if s.said.Through >= s.seq {
			r.fails("line %d: the statement rests on messages that came after it", s.line)
		}
	}
	for i := range f.entries {
		e, err := events.Decode(f.entries[i].leaf.Subject, f.entries[i].leaf.Body)
		if err != nil || e.Wall != r.Head.Wall {
			continue
		}
		if d, ok := e.Data.(*events.AlertRaised); ok && d.Preceding != 0 && !held[d.Preceding] {
			lost(f.entries[i].line, "the hub's word before it about the same", d.Preceding)
		}
	}
	if missing > mostNamed {
		r.fails("And so %s", count(missing-mostNamed, "more of the hub's words", "more of the hub's words"))
	}
	if missing == 0 && len(list) > 0 {
		r.holds("Each of the hub's words about the wall names the one before it, and none is missing between the first and the last")
	}
}

// unshown says what the file cannot show: what may be missing from it.
func (r *Report) unshown(f *file, list []statement, play *replayed) error {
	r.notShown("The log has %d messages, %d of them are here: that the others are none of this wall's is the hub's word. A device's own copy shows what it sent for 30 days", r.Last.Size, r.Messages)
	bound, said := uint64(0), ""
	for _, s := range list {
		if s.said.Through > bound {
			bound, said = s.said.Through, fmt.Sprintf("the last statement, of %s", minute(s.said.At))
		}
	}
	after, early := 0, 0
	for i := range f.entries {
		if f.entries[i].leaf.Seq > bound {
			after++
		}
		if seq := f.entries[i].leaf.Seq; seq < f.head.SignedFrom {
			early++
		}
	}
	switch {
	case len(list) == 0:
		r.notShown("The hub has stated nothing of the wall: no digest binds what is here")
	default:
		r.notShown("The digest in %s covers what the hub knew by then. %s here from after it; one that bears no device's number, such as a probe's reading, or that was its device's last, could be missing after it without a trace", said, count(after, "message is", "messages are"))
	}
	if !f.head.Unsigned && f.head.SignedFrom > 1 {
		r.notShown("%s from before message %d, when the hub asked for no signatures: who sent them is the hub's word", count(early, "message is", "messages are"), f.head.SignedFrom)
	}
	return play.projector.Read(func(v projector.View) error {
		if devices := v.Devices(r.Head.Site); devices != nil {
			r.gaps(devices)
		}
		r.unraised(f, v)
		return nil
	})
}

// raisedWithin is how long the hub may take, after a restart say, to raise an
// alert.
const raisedWithin = time.Hour

// unraised finds alerts that ought to stand by the messages and were never
// raised: no digest covers the hub's words about alerts.
func (r *Report) unraised(f *file, v projector.View) {
	at := projector.Ref{Site: r.Head.Site, Wall: r.Head.Wall}
	w := v.Wall(at)
	if w == nil || len(f.entries) == 0 || r.Head.Rules != scheduler.Rules {
		return // another rule set has other alerts
	}
	raised := map[[2]string]bool{}
	for i := range f.entries {
		e, err := events.Decode(f.entries[i].leaf.Subject, f.entries[i].leaf.Body)
		if err != nil || e.Wall != at.Wall {
			continue
		}
		if d, ok := e.Data.(*events.AlertRaised); ok {
			raised[[2]string{d.Kind, d.Cause}] = true
		}
	}
	now := f.entries[len(f.entries)-1].leaf.Recorded
	for _, a := range scheduler.Assess(v.Site(at.Site), v.Devices(at.Site), w, scheduler.Hub{}, now).Alerts {
		if !a.Near && a.Since.Before(now.Add(-raisedWithin)) && !raised[[2]string{a.Kind, a.Cause}] {
			r.fails("By the messages an alert stands since %s (%s), and the hub's word about it is not in the bundle: it was left out, or never said: %s", minute(a.Since), a.Kind, strings.TrimSuffix(a.Text, "."))
		}
	}
}

// gaps names the numbers of devices that are not there and not written off. An
// honest record can have them: the hub shuts every window of the site for it.
func (r *Report) gaps(devices *site.Devices) {
	n := 0
	devices.Gaps(func(device string, g site.Gap) {
		if n++; n > mostNamed {
			return
		}
		what := fmt.Sprintf("number %d", g.From)
		if g.To > g.From {
			what = fmt.Sprintf("numbers %d to %d", g.From, g.To)
		}
		r.notShown("Of device %s, %s: not in the bundle and not written off. Either the hub never received that, and then every window of the site was shut while it was missing, or it was left out of the bundle", device, what)
	})
	if n > mostNamed {
		r.notShown("And so %s of numbers", count(n-mostNamed, "more gap", "more gaps"))
	}
}
