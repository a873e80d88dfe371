package scheduler

import (
	"slices"
	"strings"

	"earlyage/projector/wall"
)

// stripAlerts judges every strip at the moment at which it happened.
func (k *look) stripAlerts(c *collector) {
	for i := range k.taken {
		s := &k.taken[i]
		at := s.Began.Early
		if !k.past(at) {
			continue
		}
		cause, then := "strip "+s.Key.ID, k.then(at)
		if s.moved {
			at++ // it stood a moment before
		}
		joints := then.joints()
		if why := then.notOpenFor(&s.Strip, joints); why != "" {
			c.add(AlertStripEarly, cause, at, "%s stripped %s, before the window was open: %s. Stay out to the wall's height + 1.2 m, call the engineer, brace again only on their word.",
				s.what(), k.local(at), why).takenOff(k, s).clear(k)
		}
		if why := then.unpermitted(&s.Strip, joints); why != "" {
			c.add(AlertStripUnpermitted, cause, at, "%s stripped %s %s. Stay out to the wall's height + 1.2 m until a competent person has looked at the wall.",
				s.what(), k.local(at), why).takenOff(k, s).clear(k)
		}
	}
}

// takenOff names what was taken off, and where it stood.
func (a *Alert) takenOff(k *look, s *taken) *Alert {
	a.braces(k, k.strippedBy(&s.Strip))
	if s.moved {
		a.place(metres(s.from), metres(s.to))
	}
	return a
}

// then is a look at a moment past by what is known now: the policy that held
// then, the gaps known then, no doubt of the hub about today.
func (k *look) then(at int64) *look {
	t := &look{site: k.site, devices: k.devices, wall: k.wall, now: at, mix: k.mix, heats: k.heats, zero: k.zero, stands: k.stands}
	t.setPolicy(k.site.PolicyAt(at))
	t.permitFates()
	return t
}

// notOpenFor says why what was stripped could not be, or "": of named braces by
// what each answers for and by its neighbours, otherwise by the whole wall.
func (k *look) notOpenFor(s *wall.Strip, joints []Joint) string {
	if s.All {
		return k.notOpen(joints)
	}
	windows := k.braceWindows(joints)
	for _, name := range s.Braces {
		i := slices.IndexFunc(windows, func(w BraceWindow) bool { return w.Name == name })
		if i < 0 || len(windows[i].Strip.Criteria) == 0 {
			return k.notOpen(joints) // it did not stand then, whatever came of it later: the whole wall's window
		}
		if why := shutBy(windows[i].Strip); why != "" {
			return "brace " + name + ": " + why + " was not met"
		}
		if why := windows[i].beside; why != "" {
			return why
		}
	}
	return ""
}

// shutBy names the first criterion but the permit that was not met; a wind that
// nobody measured is no proof of an early strip, of a brace or of one beside it.
func shutBy(s Strip) string {
	if i := slices.IndexFunc(s.Criteria, forbids); i >= 0 {
		return s.Criteria[i].Name
	}
	return ""
}

func forbids(c Criterion) bool {
	return !c.Met && c.Name != Permit && (c.Name != Wind || c.Have != windUnknown)
}

// keptShut names what governed a window that shutBy has something against; else "".
func keptShut(s Strip) string {
	if slices.ContainsFunc(s.Criteria, func(c Criterion) bool { return c.Name == s.Governs && forbids(c) }) {
		return s.Governs
	}
	return shutBy(s)
}

// notOpen says which criteria were not met, or "". A permit has an alert of its
// own, and wind that nobody measured makes no strip an early one.
func (k *look) notOpen(joints []Joint) string {
	acc := k.account()
	c := k.judge(acc, joints)
	var names []string
	for _, n := range c.beforePermit() {
		if !n.met && !(n.name == Wind && n.have == windUnknown) {
			names = append(names, n.name)
		}
	}
	switch len(names) {
	case 0:
		return ""
	case 1:
		return names[0] + " was not met"
	default:
		return strings.Join(names, ", ") + " were not met"
	}
}

// overdueAlerts tells of braces that stand long after the window opened. Wind
// closes today's strip, and leaves them as late as they are.
func (k *look) overdueAlerts(c *collector, a *Assessment, win criteria) {
	if win.steady == 0 || a.State != StateMayStrip && a.State != StateCuring {
		return
	}
	due := win.steady + k.policy.OverdueS*secondMS
	if k.past(due) {
		c.add(AlertBraceOverdue, "window "+moment(win.steady).Format("2006-01-02T15:04Z"), due, "Braces stand %d h after the window opened %s. Strip them, or say why they stay.",
			k.policy.OverdueS/3600, k.local(win.steady)).braces(k, k.standingNames())
	}
}

// strippedBy names the braces that one entry took off.
func (k *look) strippedBy(s *wall.Strip) []string {
	if !s.All {
		return s.Braces
	}
	return namesOf(k.mayHaveStood(s.Began.Early))
}

func (s *taken) what() string {
	switch {
	case s.All:
		return "All braces"
	case s.moved:
		return "Brace " + strings.Join(s.Braces, ", ") + " set at another place, and so"
	}
	return "Brace " + strings.Join(s.Braces, ", ")
}

// unpermitted says how a strip had no permit that stood for what it took off, or
// "": where none is asked for, or each brace had one.
func (k *look) unpermitted(s *wall.Strip, joints []Joint) string {
	if !k.policy.PermitNeeded {
		return ""
	}
	if len(k.wall.Holding.Permits) == 0 {
		return noPermit
	}
	accounts := map[int64]*account{}
	for _, y := range k.partsTaken(s) {
		if accounts[y.zero] == nil {
			accounts[y.zero] = y.account()
		}
		if why := y.noPermit(y.beforePermit(accounts[y.zero], joints), joints, s.Permit); why != "" {
			return why
		}
	}
	return ""
}

const noPermit = "without a permit to strip"

// partsTaken are looks at what a strip took off: the whole wall, or brace by brace.
func (k *look) partsTaken(s *wall.Strip) (out []*look) {
	if s.All {
		return []*look{k}
	}
	list := k.standingAt(k.now)
	for _, name := range s.Braces {
		p := part{name, reach{0, k.wall.Holding.Geometry.Length}, k.zero}
		if i := slices.IndexFunc(list, func(b *wall.Brace) bool { return b.Name == name }); i >= 0 && len(k.wall.Pour.Lifts) > 0 {
			p.reach = k.reachOf(list, i)
			p.zero = k.clockZero(p.reach)
		}
		out = append(out, k.on(p, k.now))
	}
	return out
}

// noPermit says how no permit stood for what is looked at, or "". Of several it
// speaks of the one that the strip named, else of the last.
func (k *look) noPermit(list []named, joints []Joint, number string) string {
	var of *wall.Permit
	var found ruling
	for _, p := range k.wall.Holding.Permits {
		if p.For != "strip" || p.At > k.now {
			continue
		}
		r := k.permitRuling(p, list, joints)
		if r.met {
			return ""
		}
		if of == nil || of.Number != number || p.Number == number {
			of, found = p, r
		}
	}
	switch {
	case of == nil:
		return noPermit
	case of.Withdrawn != 0 && of.Withdrawn <= k.now:
		return "after permit " + of.Number + " was withdrawn " + k.local(of.Withdrawn)
	case of.Until != 0 && of.Until <= k.now:
		return "after permit " + of.Number + " lapsed " + k.local(of.Until)
	case !k.permits(of):
		return "outside permit " + of.Number + ", which is for " + forWhat(of)
	default:
		why, _, _ := strings.Cut(found.note, "; incomplete: ")
		return "under permit " + of.Number + ", which did not stand: " + why
	}
}
