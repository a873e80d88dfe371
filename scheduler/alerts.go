package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// alerts lists what ought to stand on the wall now, by kind and cause, and the
// open points that are no alerts.
func (k *look) alerts(a *Assessment, acc *account, win criteria) ([]Alert, []string) {
	c := collector{zone: k.site.Zone()}
	if a.State == StateHandedOver {
		// Nothing is watched any more. What was done to it before may come to be
		// known only now, and what was too early does not become right by it.
		k.stripAlerts(&c)
		k.faceAlerts(&c)
		return sorted(c.list), nil
	}
	k.placingAlerts(&c, a)
	k.jointAlerts(&c, a)
	k.riseAlerts(&c)
	k.loadAlerts(&c)
	k.stripAlerts(&c)
	k.permitAlerts(&c, a)
	k.overdueAlerts(&c, a, win)
	k.frostAlerts(&c, a, acc)
	k.probeAlerts(&c, a)
	k.gustAlert(&c, a)
	k.doubtAlerts(&c)
	a.Nearing = sorted(c.near)
	return sorted(c.list), c.open
}

// placingAlerts tell of the placing and of what stands about the wall, in the
// order of the work.
func (k *look) placingAlerts(c *collector, a *Assessment) {
	k.checkAlerts(c, a)
	k.braceAlerts(c, a)
	k.loadPoints(c)
	k.loadFigures(c)
	k.riskAlerts(c, a)
	k.pressureAlert(c, a)
	k.openingAlerts(c)
	k.stopAlert(c, a)
	k.vibrationAlerts(c)
	k.vibrationPoints(c, a.Rate)
	k.lineAlerts(c, a)
	k.worksAlerts(c)
	k.faceAlerts(c)
	k.testPoint(c, a.Take)
}

type collector struct {
	zone *time.Location
	list []Alert
	near []Alert
	open []string
}

// point notes an open point: something to be done that is no alert.
func (c *collector) point(format string, args ...any) {
	c.open = append(c.open, fmt.Sprintf(format, args...))
}

// add notes an alert and returns it for its numbers, until the next is noted.
func (c *collector) add(kind, cause string, since int64, format string, args ...any) *Alert {
	c.list = append(c.list, Alert{Kind: kind, Cause: cause, Priority: AlertKinds[kind].Priority, Since: moment(since), Text: fmt.Sprintf(format, args...)})
	return &c.list[len(c.list)-1]
}

// nearing notes that a value is inside the deadband of an alert's limit.
func (c *collector) nearing(kind, cause string) {
	c.near = append(c.near, Alert{Kind: kind, Cause: cause, Priority: AlertKinds[kind].Priority, Near: true})
}

// sorted puts alerts in order of kind and cause, one of each.
func sorted(list []Alert) []Alert {
	slices.SortStableFunc(list, func(a, b Alert) int { return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Cause, b.Cause)) })
	return slices.CompactFunc(list, func(a, b Alert) bool { return a.Kind == b.Kind && a.Cause == b.Cause })
}

func (k *look) jointAlerts(c *collector, a *Assessment) {
	for _, j := range a.Joints {
		where := j.Where()
		deadline := j.Deadline.UnixMilli()
		switch {
		case j.State == JointCold && !j.Treated:
			c.add(AlertJointCold, where, deadline, "Cold joint at %s: covered %.0f min after placing, limit %.0f min (%s). The bracing stays until it is treated.",
				where, j.AgeMin, j.LimitMin, j.LimitBy).place(j.FromM, j.ToM).measured("age", j.AgeMin, j.LimitMin)
		case j.State == JointClosing || j.State == JointPastLimit:
			since := deadline - closingFrom(deadline-j.Placed.UnixMilli())
			c.add(AlertJointClosing, where, since, "Joint at %s %s", where, k.closingWords(j)).
				place(j.FromM, j.ToM).until(deadline).measured("age", j.AgeMin, j.LimitMin)
		}
	}
}

// closingWords say when a joint closes, and of one past its limit since when it
// is: a minute that is gone is never told as one to come.
func (k *look) closingWords(j Joint) string {
	deadline := j.Deadline.UnixMilli()
	at := k.clockOnly(deadline)
	switch {
	case k.past(deadline):
		return fmt.Sprintf("is past its limit since %s (%s). Concrete placed on it now makes a cold joint: ask the engineer first.", at, j.LimitBy)
	case k.past(floorMinute(deadline)):
		return fmt.Sprintf("closes within this minute, %s (%s). Place there only if the concrete is at hand now.", at, j.LimitBy)
	default:
		return fmt.Sprintf("closes at %s (%s). Place there before then.", at, j.LimitBy)
	}
}

// riseBand is how far over its limit a rise is a watch and no alarm yet, mm.
const riseBand = 50

// riseKept is how long a rise that was too fast stays an alert.
const riseKept = hourMS

func (k *look) riseAlerts(c *collector) {
	for i := range k.wall.Pour.Lifts {
		l := &k.wall.Pour.Lifts[i]
		at := l.Ended.Early
		// Within 50 mm or 5 minutes of the limit it is a watch, not an alarm.
		if l.Rise55 <= k.policy.RiseMM || at+riseKept <= k.now || !k.past(at) {
			continue
		}
		k.at(at + riseKept)
		where := stretch(l.RiseFrom, l.RiseTo)
		cause := where + " " + moment(at).Format("2006-01-02T15:04Z")
		if l.Rise55 <= k.policy.RiseMM+riseBand {
			c.nearing(AlertRiseFast, cause)
			continue
		}
		c.add(AlertRiseFast, cause, at, "Rose %.2f m in 60 min at %s, limit %.2f m. Move on, and look at the form.",
			metres(l.Rise), where, metres(k.policy.RiseMM)).
			place(metres(l.RiseFrom), metres(l.RiseTo)).measured("height", metres(l.Rise), metres(k.policy.RiseMM))
	}
}

// loadKept is how long after its discharge an old load stays an alert.
const loadKept = 2 * hourMS

func (k *look) loadAlerts(c *collector) {
	p := &k.wall.Pour
	for _, y := range p.Loads {
		if y.Batched == 0 || y.Rejected != 0 && k.past(y.Rejected) {
			continue
		}
		limit, ended := y.Batched+k.policy.LoadS*secondMS, y.Ended
		if ended == 0 {
			ended = p.Finished // nothing is placed after the finish
		}
		end := k.now
		if ended != 0 && k.past(ended) {
			end = ended
			k.at(ended + loadKept)
		}
		k.at(limit + 1)
		if end <= limit || ended != 0 && ended+loadKept <= k.now {
			continue
		}
		c.add(AlertLoadOld, "load "+y.Name, limit, "Load %s was batched at %s: over %d min old. Discharge ends, or it is sent back on the foreman's word.",
			strings.TrimSpace(y.Name+" "+y.Ticket), k.clockOnly(y.Batched), k.policy.LoadS/60).
			load(y.Name).until(limit).measured("age", minutesOf(end-y.Batched), minutesOf(limit-y.Batched))
	}
}

func (k *look) frostAlerts(c *collector, a *Assessment, acc *account) {
	for _, f := range acc.freezes {
		if !f.early || k.released(Frost, f.to, f.named) != nil {
			continue
		}
		how := "was read or seen"
		if f.assumed {
			how = "has to be assumed, since the top was not read"
		}
		c.add(AlertFrozen, "freeze "+moment(f.from).Format("2006-01-02T15:04Z"), f.from, "Frost in the concrete %s before 3.5 MPa: 0 °C or less %s. Equivalent age begins again at the thaw; the engineer decides.", k.local(f.from), how)
	}
	if acc.metAt == 0 && (a.State == StateCuring || a.State == StatePlacing) {
		k.frostAhead(c)
	}
}

// frostBand is by how much a forecast has to be over 0 °C before frost is no
// longer ahead, hundredths of a degree.
const frostBand = 100

// frostAhead tells of the first frost forecast within a day. It goes by the night:
// one frost on both sides of midnight is one alert.
func (k *look) frostAhead(c *collector) {
	night := func(at int64) string {
		return "frost " + time.UnixMilli(at-dayMS/2).In(c.zone).Format("2006-01-02")
	}
	told := ""
	for _, h := range k.site.Hours {
		if h.At+hourMS <= k.now || h.Coldest > frostBand {
			continue
		}
		if !k.past(h.At - dayMS) {
			return
		}
		k.at(h.At + hourMS)
		switch cause := night(h.At); {
		case cause == told:
		case told == "" && h.Coldest <= 0:
			told = cause
			c.add(AlertFrostAhead, cause, max(k.wall.Pour.Started, h.At-dayMS), "Frost is forecast from %s (%s °C) and the concrete is not cured. Cover the top and the openings now.",
				k.local(h.At), formatFixed(float64(h.Coldest)/100, 1)).until(h.At).measured("temperature", float64(h.Coldest)/100, 0)
		default:
			c.nearing(AlertFrostAhead, cause)
		}
	}
}

func (k *look) probeAlerts(c *collector, a *Assessment) {
	if a.State != StatePlacing && a.State != StateCuring || !a.Strip.CuredAt.IsZero() {
		return
	}
	for _, t := range k.wall.Readings.Tracks() {
		at, ok := t.LastAt()
		if !ok || t.Typed() || t.Place != "top" && t.Place != "core" && t.Place != "face" {
			continue
		}
		if k.past(at + silentMS) {
			c.add(AlertProbeSilent, t.Place+" "+t.Probe, at+silentMS, "Probe %s (%s) has said nothing since %s. Until it does, the coldest substitute counts.", t.Probe, t.Place, k.local(at)).device(t.Probe)
		}
	}
}

func (k *look) doubtAlerts(c *collector) {
	for _, d := range k.wall.Doubts() {
		doubtAlert(c, d)
	}
}

func doubtAlert(c *collector, d wall.Doubt) {
	switch {
	case d.Key.ID == "" && d.Run == (wall.Run{}):
		c.add(AlertEventRefused, "others", d.Since, "From message %d to message %d entries were %s. They count as doubts until a named person answers them together, by the last and all before it.", d.Message, d.Last, d.What)
	case d.Key.ID == "" && !d.Single():
		c.add(AlertEventRefused, fmt.Sprintf("message %d", d.Message), d.Since, "From message %d to message %d entries were %s. They count as one doubt until a named person answers it by one of them.", d.Message, d.Last, d.What)
	case d.Key.ID == "":
		c.add(AlertEventRefused, fmt.Sprintf("message %d", d.Message), d.Since, "Message %d was %s. It counts as a doubt until a named person answers it.", d.Message, d.What)
	case d.Clock:
		c.add(AlertClockDoubtful, "event "+d.Key.ID, d.Since, "Entry %s of %s is in doubt: %s. The safer time counts until a named person answers it.", d.Key.ID, d.Key.Source, d.What).device(d.Key.Source)
	default:
		c.add(AlertEventRefused, "event "+d.Key.ID, d.Since, "Entry %s of %s does nothing: %s. It counts as a doubt until a named person answers it.", d.Key.ID, d.Key.Source, d.What).device(d.Key.Source)
	}
}

// gapAlertAfter is how long a gap in a device's numbers may last before it is an alert.
const gapAlertAfter = 10 * minuteMS

// AlertsOfSite lists what ought to stand on the site as a whole, and the next
// moment at which time alone changes it (zero: never). It is as pure as Assess.
func AlertsOfSite(s *site.State, d *site.Devices, hub Hub, now time.Time) ([]Alert, time.Time) {
	c := collector{zone: s.Zone()}
	k := look{site: s, now: now.UnixMilli()}
	d.Gaps(func(device string, g site.Gap) {
		if k.past(g.Since + gapAlertAfter) {
			c.add(AlertRecordGap, fmt.Sprintf("device %s number %d", device, g.From), g.Since,
				"Numbers %s of device %s have not come since %s. Every wall of the site stays shut until they come or an officer gives them up by name.", numbers(g), device, k.local(g.Since)).device(device)
		}
	})
	for _, doubt := range s.Doubts() {
		doubtAlert(&c, doubt)
	}
	return sorted(c.list), moment(k.next)
}
