package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// PermitState is what becomes of a permit to strip that was issued, is not
// withdrawn and has not lapsed.
type PermitState struct {
	Number   string    `json:"number"`
	Braces   []string  `json:"braces,omitzero"` // empty: all
	FromM    *float64  `json:"from_m,omitzero"` // of a stretch: only braces within it
	ToM      *float64  `json:"to_m,omitzero"`
	Stands   bool      `json:"stands"`
	Why      string    `json:"why,omitzero"`      // why it does not
	Since    time.Time `json:"since,omitzero"`    // of one that stood and does not: when what shook it was recorded
	Released string    `json:"released,omitzero"` // on whose release it stands; empty: on its own
	Lacks    []string  `json:"lacks,omitzero"`    // what its form lacks
}

// permitStates lists what became of the live permits, in the order of the record.
func (k *look) permitStates() (out []PermitState) {
	for _, p := range k.livePermits() {
		f := k.fates[p]
		s := PermitState{Number: p.Number, Braces: p.Braces, Lacks: p.Lacks}
		if p.From >= 0 {
			s.FromM, s.ToM = new(metres(p.From)), new(metres(p.To))
		}
		switch {
		case f == nil:
			s.Why = "it is for nothing that stands"
		case len(f.shut) == 0 && f.why == "":
			s.Stands, s.Released = true, f.on
		default:
			s.Why = cmp.Or(f.why, strings.Join(f.shut, ", "))
			if !f.early {
				s.Since = moment(f.since)
			}
		}
		out = append(out, s)
	}
	return out
}

func (k *look) livePermits() (out []*wall.Permit) {
	if !k.policy.PermitNeeded || len(k.hub.Doubts) > 0 {
		return nil
	}
	for _, p := range k.wall.Holding.Permits {
		if p.For == "strip" && p.At <= k.now && (p.Withdrawn == 0 || p.Withdrawn > k.now) && (p.Until == 0 || p.Until > k.now) {
			out = append(out, p)
		}
	}
	return out
}

// permitAlerts tell of permits that somebody holds and that do not stand, until
// they are withdrawn, lapse, or nothing stands any more that they are for.
func (k *look) permitAlerts(c *collector, a *Assessment) {
	if a.State == StateStripped {
		return
	}
	for _, p := range k.livePermits() {
		if len(p.Lacks) > 0 {
			c.point("Permit %s to strip is %s.", p.Number, events.Lacking(p.Lacks))
		}
		f := k.fates[p]
		if f == nil || len(f.shut) == 0 && f.why == "" {
			continue
		}
		cause, names := "permit "+p.Key.ID, k.bracesThat(func(b *wall.Brace) bool {
			return (b.Stripped == 0 || !k.past(b.Stripped)) && p.Covers(b.Name, b.At)
		})
		if f.early {
			c.add(AlertPermitEarly, cause, p.At, "Permit %s to strip, issued by %s %s, does not stand: %s. Withdraw it and tell whoever holds it.",
				p.Number, p.By, k.local(p.At), cmp.Or(f.why, "the window was shut by "+strings.Join(f.shut, ", "))).braces(k, names).until(p.Until)
			continue
		}
		c.add(AlertPermitShaken, cause, f.since, "Permit %s to strip, issued by %s %s, no longer stands since %s, by what was recorded then: %s. Tell whoever plans to strip. A new permit is needed once the window is open.",
			p.Number, p.By, k.local(p.At), k.local(f.since), strings.Join(f.shut, ", ")).braces(k, names).until(p.Until)
	}
}

// MayPermit says why a permit to strip that somebody issues now would not stand;
// nothing: it would. It asks of now what the fold asks of the moment from which the
// permit counts, and of the wind what is forecast as well.
func MayPermit(s *site.State, d *site.Devices, w *wall.State, hub Hub, now time.Time, p *events.PermitIssued, by string) (against []string) {
	k := lookAt(s, d, w, hub, now)
	if p.For != "strip" || !k.policy.PermitNeeded {
		return nil
	}
	add := func(on bool, format string, args ...any) {
		if on {
			against = append(against, fmt.Sprintf(format, args...))
		}
	}
	add(by != "" && p.RequestedBy == by, "who asks for a permit does not issue it")
	add(p.ReviewedBy != "" && p.ReviewedBy == p.RequestedBy, "who asks for a permit does not review it")
	add(!p.Until.IsZero() && !p.Until.After(now), "it would have lapsed before it is recorded")
	add(!p.Until.IsZero() && p.Until.Sub(now) > events.PermitMost, "it would hold longer than 14 days")
	if lacks := events.PermitLacks(p, by); k.policy.PermitWhole && len(lacks) > 0 {
		add(true, "%s", events.Lacking(lacks))
	}
	var covered []string
	if p.Basis == events.BasisRelease {
		r := k.reliedOn(&wall.Permit{Release: p.Release.Key(), At: k.now})
		add(r == nil, "the engineer's release that it names does not stand")
		if r != nil {
			covered = releaseCovers[r.Releases]
		}
	}
	return append(against, k.shutNow(p, covered)...)
}

// shutNow says what is not met now of what a permit would be for.
func (k *look) shutNow(p *events.PermitIssued, covered []string) (out []string) {
	a := Assess(k.site, k.devices, k.wall, k.hub, time.UnixMilli(k.now))
	tell := func(whose string, s Strip) {
		for _, c := range s.Criteria[:min(atPermit, len(s.Criteria))] {
			if !c.Met && !slices.Contains(covered, c.Name) {
				out = append(out, strings.TrimSpace(fmt.Sprintf("%s%s is not met: %s of %s %s", whose, c.Name, c.Have, c.Need, c.Unit)))
			}
		}
	}
	if len(p.Braces) == 0 && p.FromM == nil {
		tell("", a.Strip)
		return out
	}
	q := wall.Permit{Braces: p.Braces, From: -1}
	if p.FromM != nil {
		q.From, q.To = int(min(*p.FromM, *p.ToM)*1000), int(max(*p.FromM, *p.ToM)*1000)
	}
	found := false
	for _, b := range a.Braces {
		if b.State == BracePlanned || b.State == BraceStripped || !q.Covers(b.Name, k.stationOf(b.Name)) {
			continue
		}
		found = true
		if len(b.Strip.Criteria) == 0 {
			tell("", a.Strip)
			continue
		}
		tell("brace "+b.Name+": ", b.Strip)
	}
	if !found {
		out = append(out, "no brace stands that it would be for")
	}
	return out
}
