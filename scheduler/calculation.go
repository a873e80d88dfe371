package scheduler

import (
	"cmp"
	"encoding/hex"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"earlyage/events"
	"earlyage/projector/site"
	"earlyage/projector/wall"
)

// Sheet is the calculation sheet of one wall at one moment: all that a person
// needs to follow the sum by hand. Sums are integers, in nanoseconds at the
// reference temperature (10⁻⁹ s; 3,600,000,000,000 of them are an hour at
// 20 °C), so that the rows add up to them exactly. Times are UTC.
type Sheet struct {
	Assessment Assessment `json:"-"` // every criterion with what it has, needs and rests on

	Rules   string `json:"rules"`   // version of the rule set
	Caution string `json:"caution"` // stands under every sheet
	Digest  string `json:"digest"`  // SHA-256 of the wall's record that the sheet was computed from, hex

	Zero     ClockZero      `json:"clock_zero"`
	Policy   []Setting      `json:"policy"`
	PolicyBy string         `json:"policy_by"` // who set the site's policy last; empty: nobody, the defaults
	Criteria []SetCriterion `json:"criteria"`  // what engineers set for this wall or its mixes
	Mixes    []SheetMix     `json:"mixes"`

	Permits []PermitState       `json:"permits,omitzero"` // to strip, that somebody may hold
	Probe   *events.StatedProbe `json:"probe,omitzero"`   // counted last

	Weighed []string    `json:"weighed"` // the maturity rules of the policy with their constants; Earned and Sum are in this order
	NeedNS  int64       `json:"need_ns"` // equivalent age asked for
	Hours   []SheetHour `json:"hours"`   // since clock zero, whole five-minute slots that are past
	Resets  []Reset     `json:"resets"`  // where the sums began again
	Sum     []int64     `json:"sum_ns"`  // the sums now
	Others  []OtherRule `json:"others"`  // what each published rule would say; they differ two to one at 5 °C
}

// ClockZero is the last concrete, and what set it.
type ClockZero struct {
	At      time.Time `json:"at,omitzero"` // zero: no concrete is recorded
	By      string    `json:"by"`          // kind of the event, such as lift.placed
	ID      string    `json:"id"`          // of the event
	Source  string    `json:"source"`
	Person  string    `json:"person"`
	Entered time.Time `json:"entered,omitzero"` // by the device's own clock
	Early   time.Time `json:"early,omitzero"`   // the earliest moment that the record allows; At is the latest
	Note    string    `json:"note"`             // why the two differ
}

// Setting is one value of the site's policy as it bears on this wall.
type Setting struct {
	Name    string `json:"name"`
	Value   string `json:"value"`
	Unit    string `json:"unit"`
	Default bool   `json:"default"` // the tool's own: print "not set by an engineer"
}

// SetCriterion is what an engineer set.
type SetCriterion struct {
	By      string    `json:"by"`
	At      time.Time `json:"at"`
	Drawing string    `json:"drawing"`
	Clause  string    `json:"clause"`
	Mix     string    `json:"mix"` // empty: all
	Says    string    `json:"says"`
}

// SheetMix is a mix planned for the wall or delivered to it.
type SheetMix struct {
	Name     string `json:"name"`     // empty: not said
	Known    bool   `json:"known"`    // approved, and countersigned by a second person
	Binder   string `json:"binder"`   // portland, blended, unknown
	Retarder string `json:"retarder"` // yes, no, not said
	By       string `json:"by"`       // who approved it
	Note     string `json:"note"`
}

// SheetHour is one hour of the sum, or the part of it that counts.
type SheetHour struct {
	At      time.Time `json:"at"`      // beginning of the hour (UTC), or clock zero
	Seconds int64     `json:"seconds"` // of time past in it
	Counted int64     `json:"counted"` // seconds of them for which a temperature counts
	CentiC  int       `json:"centi_c"` // mean temperature over the counted seconds, hundredths of a degree, rounded down
	Source  string    `json:"source"`  // in words, the one that counted longest first
	Frozen  bool      `json:"frozen"`  // part of it counts as frost
	Earned  []int64   `json:"earned_ns"`
	Sum     []int64   `json:"sum_ns"` // at its end
}

// Reset says that the sums began again after a freeze.
type Reset struct {
	From    time.Time `json:"from"` // first sign of frost
	To      time.Time `json:"to"`   // last sign
	Assumed bool      `json:"assumed"`
	Lost    []int64   `json:"lost_ns"` // what had been earned before
}

// OtherRule is what one published rule would say.
type OtherRule struct {
	Name   string    `json:"name"`
	Source string    `json:"source"` // publication, and how far it was checked
	Have   string    `json:"have"`   // rounded down
	Need   string    `json:"need"`
	Unit   string    `json:"unit"`
	Met    bool      `json:"met"`
	MetAt  time.Time `json:"met_at,omitzero"` // rounded up to the minute
	Likely time.Time `json:"likely,omitzero"` // expected, where it is not met and a forecast or reading lets it be said
	Policy bool      `json:"policy"`          // it is one that the site's policy goes by
	Note   string    `json:"note"`
}

// SheetOf makes the calculation sheet. It is as pure as Assess, and its sums are
// the ones that Assess goes by: in each row the sum is the one before it, plus
// what was earned, less what a freeze took.
func SheetOf(s *site.State, d *site.Devices, w *wall.State, hub Hub, now time.Time) Sheet {
	k := lookAt(s, d, w, hub, now)
	digest := w.Digest()
	out := Sheet{Assessment: Assess(s, d, w, hub, now), Rules: Rules, Caution: Caution, Digest: hex.EncodeToString(digest[:]),
		Zero: k.clockZeroOf(), Policy: k.settings(), PolicyBy: s.PolicyBy, Mixes: k.sheetMixes(), NeedNS: k.policy.AgeS * nanoHour}
	out.Permits, out.Probe = out.Assessment.Permits, out.Assessment.Basis.Probe
	for _, c := range k.criteria {
		out.Criteria = append(out.Criteria, SetCriterion{By: c.By, At: moment(c.At), Drawing: c.Drawing, Clause: c.Clause, Mix: c.Mix, Says: criterionText(c)})
	}
	for _, r := range k.policy.Rules {
		out.Weighed = append(out.Weighed, maturityOf(r).Name())
	}
	k.sumUp(&out)
	return out
}

// sumUp runs the account once more and writes it down.
func (k *look) sumUp(out *Sheet) {
	a := k.accountant(k.now)
	others := k.otherRules(a)
	var rows hourRows
	a.each = func(at, seconds int64, t slotTemp, earned []int64) {
		rows.add(at, seconds, t, earned)
		others.add(at, seconds, t)
	}
	a.began = func(f freeze, lost []int64) {
		rows.reset(f, lost)
		others.reset()
	}
	a.run(k.now)
	out.Hours, out.Resets, out.Sum = rows.finish(a.out.sums), rows.resets, a.out.sums
	out.Others = others.finish(&a.out)
}

// hourRows gathers the slots of an account by the hour.
type hourRows struct {
	rows    []SheetHour
	area    int64 // hundredths of a degree times seconds, of the last row
	by      map[string]int64
	running []int64
	resets  []Reset
	frozen  freeze // the last slot of it
}

func (r *hourRows) add(at, seconds int64, t slotTemp, earned []int64) {
	if n := len(r.rows); n == 0 || floorDiv(r.rows[n-1].At.UnixMilli(), hourMS) != floorDiv(at, hourMS) {
		r.close()
		r.rows = append(r.rows, SheetHour{At: moment(at), Earned: make([]int64, len(earned))})
		r.area, r.by = 0, map[string]int64{}
	}
	if r.running == nil {
		r.running = make([]int64, len(earned))
	}
	row := &r.rows[len(r.rows)-1]
	row.Seconds += seconds
	row.Frozen = row.Frozen || t.frozen
	r.by[t.words()] += seconds
	if t.source != FromNothing {
		row.Counted += seconds
		r.area += int64(t.centi) * seconds
	}
	for i, e := range earned {
		row.Earned[i] += e
		r.running[i] += e
	}
}

// close finishes the last row, once.
func (r *hourRows) close() {
	if len(r.rows) == 0 || r.rows[len(r.rows)-1].Sum != nil {
		return
	}
	row := &r.rows[len(r.rows)-1]
	row.Sum = slices.Clone(r.running)
	if row.Counted > 0 {
		row.CentiC = int(floorDiv(r.area, row.Counted))
	}
	words := slices.SortedFunc(maps.Keys(r.by), func(a, b string) int { return cmp.Or(cmp.Compare(r.by[b], r.by[a]), strings.Compare(a, b)) })
	row.Source = strings.Join(words, "; ")
}

// reset begins the sums again; while frost lasts it only grows.
func (r *hourRows) reset(f freeze, lost []int64) {
	if n := len(r.rows); n > 0 && floorDiv(r.rows[n-1].At.UnixMilli(), hourMS) != floorDiv(f.from, hourMS) {
		r.close() // the frost comes with the next hour
	}
	if n := len(r.resets); n > 0 && r.frozen.to == f.from && r.frozen.assumed == f.assumed {
		r.resets[n-1].To = moment(f.to)
	} else {
		r.resets = append(r.resets, Reset{From: moment(f.from), To: moment(f.to), Assumed: f.assumed, Lost: slices.Clone(lost)})
	}
	r.frozen = f
	clear(r.running)
}

// finish closes the rows. A sign of frost in the slot that is not yet over may
// have begun the sums again.
func (r *hourRows) finish(sums []int64) []SheetHour {
	r.close()
	if n := len(r.rows); n > 0 {
		r.rows[n-1].Sum = slices.Clone(sums)
	}
	return r.rows
}

// clockZeroOf says what set clock zero, and why it may be later than it was entered.
func (k *look) clockZeroOf() ClockZero {
	p := &k.wall.Pour
	if p.ClockZero == 0 {
		return ClockZero{Note: "no concrete is recorded"}
	}
	z := ClockZero{At: moment(p.ClockZero), By: string(p.ClockZeroBy), ID: p.ClockZeroKey.ID, Source: p.ClockZeroKey.Source}
	entries := k.wall.Entries()
	i := slices.IndexFunc(entries, func(e wall.Entry) bool { return e.Key() == p.ClockZeroKey })
	if i < 0 {
		return z
	}
	e := &entries[i]
	z.Person, z.Entered, z.Early = e.By, e.Time, e.Ended.EarlyTime()
	_, ended := e.Span()
	var why []string
	late := e.Time.Sub(ended)
	switch {
	case e.Maybe:
		why = append(why, "voided: it counts until a second person lets the void count")
	case len(e.Versions) > 1:
		why = append(why, "amended: the later counts until a second person lets the change count")
	case late > lateEntry && !e.Signed:
		why = append(why, "entered "+strconv.Itoa(int(late/time.Minute))+" min after: it counts at its entry until a second person countersigns")
	case late > rememberedEntry:
		why = append(why, "entered "+strconv.Itoa(int(late/time.Minute))+" min after: remembered, give or take 15 min")
	}
	for _, d := range k.wall.Doubts() {
		if d.Key == p.ClockZeroKey {
			why = append(why, d.What)
		}
	}
	z.Note = strings.Join(why, "; ")
	return z
}

// How long after the fact an entry is remembered, and counts at its entry; as in
// the fold.
const (
	rememberedEntry = 10 * time.Minute
	lateEntry       = 60 * time.Minute
)

// settings are the values that bear on this wall, engineers' criteria included.
func (k *look) settings() []Setting {
	p, d := k.policy, site.Default()
	hours := func(s int64) string { return hoursText(s) }
	minutes := func(s int64) string { return strconv.FormatInt(s/60, 10) }
	cent := func(v int) string { return trimZero(float64(v) / 100) }
	yes := map[bool]string{true: "yes", false: "no"}
	var rules []string
	for _, r := range p.Rules {
		rules = append(rules, maturityOf(r).Name())
	}
	list := []Setting{
		{"floor since the last concrete", hours(p.FloorS), "h", p.FloorS == d.FloorS},
		{"equivalent age at 20 °C", hours(p.AgeS), "h", p.AgeS == d.AgeS},
		{"maturity rule", strings.Join(rules, " and "), "", slices.Equal(p.Rules, d.Rules)},
		{"greatest gust", cent(p.GustCM), "m/s", p.GustCM == d.GustCM},
		{"tied in before the strip", yes[p.TieInNeeded || k.wall.Holding.TieInNeeded], "", p.TieInNeeded == d.TieInNeeded},
		{"permit to strip", yes[p.PermitNeeded], "", p.PermitNeeded == d.PermitNeeded},
		{"whole form of the permit", yes[p.PermitWhole], "", p.PermitWhole == d.PermitWhole},
		{"string line in 3 m", strconv.Itoa(p.LineMM), "mm", p.LineMM == d.LineMM},
		{"open joint up to 25 °C", minutes(p.JointS), "min", p.JointS == d.JointS},
		{"open joint above 25 °C", minutes(p.JointHotS), "min", p.JointHotS == d.JointHotS},
		{"rise in 60 min", formatFixed(metres(p.RiseMM), 2), "m", p.RiseMM == d.RiseMM},
		{"age of a load", minutes(p.LoadS), "min", p.LoadS == d.LoadS},
		{"overdue after", hours(p.OverdueS), "h", p.OverdueS == d.OverdueS},
	}
	if p.MPa100 > 0 {
		list = append(list, Setting{"strength", mpa(p.MPa100), "MPa", false})
	}
	return list
}

func criterionText(c wall.Criterion) string {
	var says []string
	add := func(on bool, text string) {
		if on {
			says = append(says, text)
		}
	}
	add(c.FloorS > 0, "floor "+hoursText(c.FloorS)+" h")
	add(c.AgeS > 0, "equivalent age "+hoursText(c.AgeS)+" h")
	add(c.MPa100 > 0, "strength "+mpa(c.MPa100)+" MPa")
	add(c.CoreSaid && c.CoreCounts, "the core stands for the top")
	add(c.CoreSaid && !c.CoreCounts, "the core does not stand for the top")
	add(c.AgeSaid && c.AgeSuffices, "equivalent age suffices")
	add(c.AgeSaid && !c.AgeSuffices, "equivalent age does not suffice")
	add(c.Waits, "what it allows waits for a second person")
	return strings.Join(says, ", ")
}

func (k *look) sheetMixes() []SheetMix {
	var out []SheetMix
	for _, name := range k.mixNames() {
		m := k.site.Mixes[name]
		row := SheetMix{Name: name, Known: m.Known, By: m.By, Binder: "not said", Retarder: "not said"}
		for i, v := range m.Versions {
			retarder := "not said"
			if v.Retarder != nil {
				retarder = map[bool]string{true: "yes", false: "no"}[*v.Retarder]
			}
			if i > 0 && (row.Binder != v.Binder || row.Retarder != retarder) {
				row.Note = "approvals differ: what one of them does not allow, the wall does not"
			}
			row.Binder, row.Retarder = v.Binder, retarder
		}
		if len(m.Versions) == 0 {
			row.Note = "no approval is recorded"
		}
		out = append(out, row)
	}
	return out
}
