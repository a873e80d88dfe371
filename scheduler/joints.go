package scheduler

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"earlyage/projector/wall"
)

// feltExtra is what a joint gains, once, when the running vibrator still sinks
// into it under its own weight.
const feltExtra = 15 * minuteMS

// joints lists the open fronts and the joints that were covered past their
// limit, in order of station and height.
func (k *look) joints() []Joint {
	var out []Joint
	p := &k.wall.Pour
	if p.Finished == 0 || !k.past(p.Finished) {
		out = k.openJoints()
	}
	for _, c := range k.coldContacts() {
		lim := k.limitOf(&p.Lifts[c.Lower], c.Placed, c.Covered, c.From, c.To)
		if c.AgeMS <= lim.ms || k.plannedJoint(c.Placed, lim.ms) {
			continue
		}
		out = append(out, Joint{FromM: metres(c.From), ToM: metres(c.To), TopM: metres(c.Level), HeadM: metres(c.Head), Placed: moment(c.Placed), Deadline: moment(c.Placed + lim.ms),
			AgeMin: minutesOf(c.AgeMS), LimitMin: minutesOf(lim.ms), State: JointCold, LimitBy: lim.by, Treated: k.treated(&c),
			CoveredBySeq: p.Lifts[c.Upper].Entry.Seq, LowerSeq: p.Lifts[c.Lower].Entry.Seq, LowerIdx: uint64(c.Lower)}) // #nosec G115 -- an index
	}
	slices.SortFunc(out, func(a, b Joint) int {
		return cmp.Or(cmp.Compare(a.FromM, b.FromM), cmp.Compare(a.TopM, b.TopM), cmp.Compare(a.ToM, b.ToM), strings.Compare(a.State, b.State),
			cmp.Compare(a.LowerSeq, b.LowerSeq), cmp.Compare(a.CoveredBySeq, b.CoveredBySeq))
	})
	return out
}

func minutesOf(ms int64) float64 { return math.Floor(float64(ms)/float64(minuteMS)*10) / 10 }

// coldContacts are the joints that were covered so late that their limit has to
// be looked at.
func (k *look) coldContacts() []wall.Contact {
	p := &k.wall.Pour
	if len(p.Contacts) == 0 {
		return nil
	}
	least := k.leastLimit()
	var out []wall.Contact
	for i := range p.Contacts {
		if c := &p.Contacts[i]; c.AgeMS > least {
			out = append(out, *c)
		}
	}
	return out
}

// plannedJoint reports whether the pour was stopped there on purpose before the
// joint was past its limit: then it is a construction joint. A stop that is
// declared later makes none, and none does after which placing went on within that
// limit: then nobody has made the joint ready.
func (k *look) plannedJoint(placed, limit int64) bool {
	return slices.ContainsFunc(k.wall.Pour.Stops, func(s wall.Stop) bool {
		return s.Planned && s.At >= placed && s.At <= placed+limit && k.past(s.At) && !k.wentOn(s.At, placed+limit)
	})
}

// wentOn reports whether a lift was begun after a moment and up to another.
func (k *look) wentOn(after, until int64) bool {
	return slices.ContainsFunc(k.wall.Pour.Lifts, func(l wall.Lift) bool {
		return l.Began.Early > after && l.Began.Early <= until && k.past(l.Began.Early)
	})
}

// openJoints are the open fronts under the planned top, one for each lift that
// shows at the surface, and the ends of lifts that nothing has met yet.
func (k *look) openJoints() []Joint {
	p := &k.wall.Pour
	byLift := map[int]int{}
	var out []Joint
	for _, s := range p.Stretches {
		if !p.Open(s) {
			continue
		}
		l, mid := &p.Lifts[s.Top.Lift], (s.From+s.To)/2
		placed := min(l.EarlyAt(mid, s.From), l.EarlyAt(mid, s.To))
		j, open := k.openJoint(s.Top, placed, s.From, s.To)
		if !open {
			continue
		}
		if i, seen := byLift[s.Top.Lift]; seen && out[i].ToM == j.FromM {
			out[i].merge(j)
			continue
		}
		byLift[s.Top.Lift] = len(out)
		out = append(out, j)
	}
	g := &k.wall.Holding.Geometry
	for i := range p.Stretches {
		left, right := &p.Stretches[i], i+1
		if right == len(p.Stretches) {
			if !g.Closed || len(p.Stretches) == 1 {
				break
			}
			right = 0
		}
		next := &p.Stretches[right]
		if slices.Contains(g.Bulkheads, next.From) {
			continue
		}
		out = append(out, k.openNoses(left, next, left.To, byLift)...)
		out = append(out, k.openNoses(next, left, next.From, byLift)...)
	}
	return out
}

// openNoses are the ends of the layers of one stretch that stand over the next,
// of lifts whose surface is not itself an open joint.
func (k *look) openNoses(s, next *wall.Stretch, station int, byLift map[int]int) (out []Joint) {
	for y := s.Top; y != nil && y.Top > next.Height(); y = y.Below {
		if _, open := byLift[y.Lift]; open || !k.wall.Pour.Room(next, y) {
			continue
		}
		if j, open := k.openJoint(y, k.wall.Pour.Lifts[y.Lift].EarlyAt((s.From+s.To)/2, station), station, station); open {
			j.TopM, j.HeadM = metres(max(y.Bottom, next.Height())), metres(y.Top)
			out = append(out, j)
		}
	}
	return out
}

func (j *Joint) merge(o Joint) {
	from := j.FromM
	if o.Deadline.Before(j.Deadline) {
		*j = o
	}
	j.FromM, j.ToM = from, o.ToM
}

func (k *look) openJoint(y *wall.Layer, placed int64, from, to int) (Joint, bool) {
	if !k.past(placed) {
		return Joint{}, false
	}
	l := &k.wall.Pour.Lifts[y.Lift]
	lim := k.limitOf(l, placed, k.now, from, to)
	if k.plannedJoint(placed, lim.ms) {
		return Joint{}, false
	}
	j := Joint{FromM: metres(from), ToM: metres(to), TopM: metres(y.Top), Placed: moment(placed), Deadline: moment(placed + lim.ms),
		AgeMin: minutesOf(k.now - placed), LimitMin: minutesOf(lim.ms), LimitBy: lim.by, LowerSeq: l.Entry.Seq, LowerIdx: uint64(y.Lift)} // #nosec G115 -- an index
	switch {
	case k.past(placed + lim.ms):
		j.State = JointPastLimit
	case k.past(placed + lim.ms - closingFrom(lim.ms)):
		j.State = JointClosing
	default:
		j.State = JointLive
	}
	return j, true
}

// closingFrom is how long before its end a joint is closing: the larger of the
// last fifth and 15 minutes.
func closingFrom(limitMS int64) int64 { return max(limitMS/5, 15*minuteMS) }

// treated reports whether a cold joint was answered over its whole stretch,
// since the concrete under it was placed.
func (k *look) treated(c *wall.Contact) bool {
	at := c.From // of a nose its one station
	for {
		reach, answered := at, false
		for _, t := range k.wall.Pour.Treated {
			if t.From <= at && at <= t.To && t.At >= c.Placed && k.past(t.At) {
				reach, answered = max(reach, t.To), true
			}
		}
		switch {
		case answered && reach >= c.To:
			return true
		case reach == at:
			return false
		}
		at = reach
	}
}
