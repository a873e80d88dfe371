package scheduler

import (
	"cmp"
	"slices"
	"time"

	"earlyage/projector/wall"
)

// strip is an entry that took braces off, judged at its moment as its alerts are.
type strip struct {
	*look
	entry       *wall.Strip
	early       string
	unpermitted string
	window      Strip   // of the wall
	joints      []Joint // as they were then
	accounts    map[int64]*account
}

// stripOf judges an entry, once for all braces that it took off; nil: the fold has
// no such strip.
func (b *bracing) stripOf(e *wall.Entry) *strip {
	if y, judged := b.strips[e.Key()]; judged {
		return y
	}
	i := slices.IndexFunc(b.taken, func(s taken) bool { return s.Key == e.Key() })
	if i < 0 {
		return nil
	}
	s := &b.taken[i].Strip
	y := &strip{look: b.then(s.Began.Early), entry: s, accounts: map[int64]*account{}}
	b.strips[e.Key()] = y
	y.joints = y.look.joints()
	y.early = y.notOpenFor(s, y.joints)
	y.unpermitted = y.look.unpermitted(s, y.joints)
	acc := y.account()
	y.accounts[y.zero] = acc
	y.window = y.look.window(y.judge(acc, y.joints), acc)
	return y
}

// part is what a window is asked of: the reach of a brace, or with no name the
// whole wall.
type part struct {
	brace string
	reach reach
	zero  int64
}

// on is the look at a part, at a moment, by the same policy.
func (k *look) on(p part, now int64) *look {
	y := *k
	y.now, y.next, y.brace, y.reach, y.zero = now, 0, p.brace, p.reach, p.zero
	return &y
}

// partsOf are what a brace answers for and what its neighbours do, itself first;
// of one that does not stand, the whole wall.
func (k *look) partsOf(name string) []part {
	list := k.standingAt(k.now)
	i := slices.IndexFunc(list, func(b *wall.Brace) bool { return b.Name == name })
	if i < 0 || len(k.wall.Pour.Lifts) == 0 {
		return []part{{zero: k.zero}}
	}
	var out []part
	before, after := k.neighbours(list, i)
	for _, n := range [3]int{i, before, after} {
		if n >= 0 {
			r := k.reachOf(list, n)
			out = append(out, part{list[n].Name, r, k.clockZero(r)})
		}
	}
	return out
}

// judgeStand judges one standing: where it was stripped, then; else now.
func (b *bracing) judgeStand(y *Stand) {
	at, then := b.look.now, &strip{look: b.look, joints: b.now.Joints, accounts: map[int64]*account{}}
	off := y.off()
	if off != nil {
		if s := b.stripOf(off); s != nil {
			at, then = s.now, s
			y.Early, y.Unpermitted = s.early, s.unpermitted
		}
	}
	y.State = b.stateOf(y)
	parts := then.partsOf(y.Brace)
	b.window(y, then, parts, at, off != nil)
	zero := parts[0].zero
	y.Zero, y.ZeroBy = moment(zero), b.broughtBy(zero)
	from := zero
	if y.Set != nil {
		from = max(from, y.Set.Ended.Late)
	}
	if zero != 0 && at > from {
		y.KeptS = floorDiv(at-from, minuteMS) * 60
	}
	y.AgeS, y.Rule = then.on(parts[0], at).ageNow()
	b.permitFor(y, then, parts[0], at)
	b.statedThen(y, then, at)
}

// stateOf is the state of a brace that stands as the assessment has it.
func (b *bracing) stateOf(y *Stand) string {
	if y.Stripped != nil {
		return BraceStripped
	}
	for _, w := range b.now.Braces {
		if w.Name == y.Brace {
			return w.State
		}
	}
	return BraceStanding
}

// window finds when the window opened, or by what is known now would have.
func (b *bracing) window(y *Stand, then *strip, parts []part, at int64, off bool) {
	if off && then.entry != nil && then.entry.All {
		parts = []part{{zero: then.zero}} // it took the whole wall's window
	}
	var opened int64
	open, after := true, aftermath{}
	for i, p := range parts {
		look := then.on(p, at)
		list := lines(look.beforePermit(then.accountOf(look), then.joints))
		if i == 0 && allMet(list[:atCured]) {
			y.Cured = moment(metAt(list[:atCured]))
		}
		if allMet(list) {
			if opened = max(opened, metAt(list)); open {
				y.Governs = cmp.Or(y.Governs, last(list))
			}
			continue
		}
		if open {
			open, y.Governs = false, look.governs(list, 0)
		}
		if off {
			b.afterwards(y, then.on(p, b.look.now), list, i == 0, &after)
		}
	}
	switch {
	case open && off:
		y.Opened, y.Margin = moment(opened), Margin{S: floorDiv(at-opened, minuteMS) * 60, Known: true}
	case open:
		y.Opened = moment(opened)
	case off:
		y.Governs = cmp.Or(after.unmet, after.by, y.Governs)
		y.Margin = Margin{S: -60, Known: true, AtMost: after.unmet != "", By: after.by}
		if after.later > at {
			y.Margin.S = floorDiv(at-after.later, minuteMS) * 60
		}
		if after.unmet == "" {
			y.Opened = moment(max(opened, after.later))
		}
	}
}

// aftermath is what became of the criteria that a strip did not wait for.
type aftermath struct {
	later int64  // the last of them was met, or a floor will be
	by    string // which
	unmet string // what the window still waits for
}

// afterwards finds when what a strip did not wait for was met after it.
func (b *bracing) afterwards(y *Stand, today *look, list []named, own bool, out *aftermath) {
	acc := today.account()
	now := lines(today.beforePermit(acc, b.now.Joints))
	if own && y.Cured.IsZero() && allMet(now[:atCured]) {
		y.Cured = moment(metAt(now[:atCured]))
	}
	for i := range now {
		n := &now[i]
		if !slices.ContainsFunc(list, func(x named) bool { return x.name == n.name && !x.met }) {
			n.met = true // the strip did wait for it, whatever came later
			continue
		}
		n.met = n.met && n.at != 0
		if n.at > out.later { // of a floor also where it is still to come
			out.later, out.by = n.at, n.name
		}
	}
	if out.unmet == "" && !allMet(now) {
		_, likely, _ := today.expect(acc)
		out.unmet = today.governs(now, likely)
	}
}

// lines are the criteria by which a strip is early: all but the permit, and but a
// wind that nobody measured.
func lines(list []named) []named {
	return slices.DeleteFunc(list, func(n named) bool { return n.name == Wind && n.have == windUnknown })
}

// ageNow is the equivalent age at the look's moment, also past what is asked for.
func (k *look) ageNow() (seconds int64, rule string) {
	a := k.accountant(k.now)
	a.all = false // it does not stop at the need
	a.run(k.now)
	for i, sum := range a.out.sums {
		if rule == "" || sum/nanoHour < seconds {
			seconds, rule = sum/nanoHour, maturityOf(k.policy.Rules[i]).Name()
		}
	}
	return seconds, rule
}

// broughtBy finds the entry that set a clock zero.
func (b *bracing) broughtBy(zero int64) *wall.Entry {
	entries := b.wall.Entries()
	for i := range entries {
		e := &entries[i]
		switch e.Kind {
		case "lift.placed", "lift.consolidated", "load.discharged", "line.corrected":
			if zero != 0 && e.Ended.Late == zero {
				return e
			}
		}
	}
	return nil
}

// permitFor finds the permit to strip that was there for a brace: one that stood,
// else the one that the strip names, else the last that was issued before.
func (b *bracing) permitFor(y *Stand, then *strip, p part, at int64) {
	number, look := "", then.on(p, at)
	if then.entry != nil {
		number = then.entry.Permit
	}
	var list []named
	best := -1
	for _, x := range b.wall.Holding.Permits {
		if x.For != "strip" {
			continue
		}
		if !x.Covers(y.Brace, y.AtMM) {
			y.Others = true
			continue
		}
		rank := 0
		if x.Number == number {
			rank += 2
		}
		if x.At <= at {
			rank++
			if list == nil {
				list = look.beforePermit(then.accountOf(look), then.joints)
			}
			if look.permitRuling(x, list, then.joints).met {
				rank += 4
			}
		}
		if rank >= best {
			best, y.Permit, y.Stood = rank, x, rank >= 4
		}
	}
	if y.Stood {
		y.Released = look.fateOf(y.Permit).on
	}
}

// accountOf sums up for a look, once for each clock zero.
func (y *strip) accountOf(k *look) *account {
	if y.accounts[k.zero] == nil {
		y.accounts[k.zero] = k.account()
	}
	return y.accounts[k.zero]
}

// statedWithin is how far a statement's time may be off what is known now and is
// the same: statements are to the second.
const statedWithin = time.Minute

// statedThen finds what the hub said of the wall then, and compares that with what
// is known now.
func (b *bracing) statedThen(y *Stand, then *strip, at int64) {
	y.Now = b.now.Strip
	if then.entry != nil {
		y.Now = then.window
	}
	for i := range b.said {
		if b.said[i].At.UnixMilli() <= at {
			y.Said = &b.said[i]
		}
	}
	if y.Said != nil && then.entry != nil {
		y.Differs = y.Said.Open != y.Now.Open || y.Said.CuredAt.Sub(y.Now.CuredAt).Abs() >= statedWithin
	}
}
