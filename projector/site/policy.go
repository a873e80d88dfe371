package site

import (
	"math"
	"slices"

	"earlyage/events"
	"earlyage/projector/wall"
)

// Policy is what holds for a site's windows and joints, in integers: seconds,
// millimetres, hundredths of a MPa, cm/s.
type Policy struct {
	FloorS       int64
	AgeS         int64
	Rules        []Rule // every one of them has to be met
	JointS       int64
	JointHotS    int64
	GustCM       int
	PermitNeeded bool
	PermitWhole  bool // one whose form lacks something does not stand
	TieInNeeded  bool
	OverdueS     int64
	RiseMM       int
	LoadS        int64
	LineMM       int
	MPa100       int
	SheetMinute  int // minutes after local midnight
	TravelS      int64
	FaceS        int64 // of a form's face, from the last concrete; 0: not set
	ChecksNeeded bool
}

// Rule is a maturity rule by name, with its constants.
type Rule struct {
	Name       string
	QK         int
	DatumCenti int
}

// FloorS is the floor of every window, in seconds: 48 hours. Nothing lowers it.
const FloorS = 48 * 3600

// Default is the policy before anybody set one.
func Default() Policy {
	return Policy{FloorS: FloorS, AgeS: FloorS, Rules: []Rule{{Name: "arrhenius", QK: 5000}}, JointS: 150 * 60, JointHotS: 120 * 60,
		GustCM: 900, PermitNeeded: true, TieInNeeded: true, OverdueS: 72 * 3600, RiseMM: 1200, LoadS: 90 * 60, LineMM: 6, SheetMinute: 6 * 60, TravelS: 30 * 60, ChecksNeeded: true}
}

// with applies what a change gives; what it does not give stays.
func (p Policy) with(d *events.Policy) Policy {
	p.FloorS = max(FloorS, orInt(wall.Seconds(d.FloorH), p.FloorS))
	p.AgeS = max(FloorS, orInt(wall.Seconds(d.EquivalentH), p.AgeS))
	p.Rules = p.rules(d)
	p.JointS = orInt(minutes(d.JointMin), p.JointS)
	p.JointHotS = orInt(minutes(d.JointHotMin), p.JointHotS)
	p.OverdueS = orInt(wall.Seconds(d.OverdueH), p.OverdueS)
	p.LoadS = orInt(minutes(d.LoadMin), p.LoadS)
	p.TravelS = orInt(minutes(d.TravelMin), p.TravelS)
	p.FaceS = orInt(wall.Seconds(d.FaceH), p.FaceS)
	p.GustCM = scaled(d.GustMPS, 100, p.GustCM)
	p.RiseMM = scaled(d.RiseM, 1000, p.RiseMM)
	p.LineMM = scaled(d.LineMM, 1, p.LineMM)
	p.MPa100 = scaled(d.StrengthMPa, 100, p.MPa100)
	if d.PermitNeeded != nil {
		p.PermitNeeded = *d.PermitNeeded
	}
	if d.PermitWhole != nil {
		p.PermitWhole = *d.PermitWhole
	}
	if d.TieInNeeded != nil {
		p.TieInNeeded = *d.TieInNeeded
	}
	if d.ChecksNeeded != nil {
		p.ChecksNeeded = *d.ChecksNeeded
	}
	if d.SheetAt != nil {
		h, m := (*d.SheetAt)[:2], (*d.SheetAt)[3:]
		p.SheetMinute = 60*(10*int(h[0]-'0')+int(h[1]-'0')) + 10*int(m[0]-'0') + int(m[1]-'0')
	}
	return p
}

func (p Policy) rules(d *events.Policy) []Rule {
	if d.Rule == nil && d.QK == nil && d.DatumC == nil {
		return p.Rules
	}
	out := make([]Rule, len(p.Rules))
	for i, r := range p.Rules {
		if d.Rule != nil {
			r.Name = *d.Rule
		}
		r.QK = scaled(d.QK, 1, r.QK)
		r.DatumCenti = scaled(d.DatumC, 100, r.DatumCenti)
		out[i] = r
	}
	return compact(out)
}

func compact(r []Rule) []Rule {
	slices.SortFunc(r, func(a, b Rule) int {
		if a.Name != b.Name {
			if a.Name < b.Name {
				return -1
			}
			return 1
		}
		return 10000*(a.QK-b.QK) + a.DatumCenti - b.DatumCenti
	})
	return slices.Compact(r)
}

func orInt(v, old int64) int64 {
	if v == 0 {
		return old
	}
	return v
}

func minutes(m *float64) int64 {
	if m == nil {
		return 0
	}
	return int64(math.Floor(float64(*m * 60)))
}

func scaled(v *float64, by float64, old int) int {
	if v == nil {
		return old
	}
	return int(math.Round(float64(*v * by)))
}

// safer takes field by field what makes a strip later and a joint, a load or a
// rise earlier; of two maturity rules both have to be met.
func (p Policy) safer(q Policy) Policy {
	p.FloorS, p.AgeS = max(p.FloorS, q.FloorS), max(p.AgeS, q.AgeS)
	p.Rules = compact(append(slices.Clone(p.Rules), q.Rules...))
	p.JointS, p.JointHotS = min(p.JointS, q.JointS), min(p.JointHotS, q.JointHotS)
	p.GustCM, p.RiseMM, p.LineMM = min(p.GustCM, q.GustCM), min(p.RiseMM, q.RiseMM), min(p.LineMM, q.LineMM)
	p.PermitNeeded, p.TieInNeeded = p.PermitNeeded || q.PermitNeeded, p.TieInNeeded || q.TieInNeeded
	p.PermitWhole = p.PermitWhole || q.PermitWhole
	p.OverdueS, p.LoadS = min(p.OverdueS, q.OverdueS), min(p.LoadS, q.LoadS)
	p.MPa100, p.TravelS = max(p.MPa100, q.MPa100), max(p.TravelS, q.TravelS)
	p.FaceS, p.ChecksNeeded = max(p.FaceS, q.FaceS), p.ChecksNeeded || q.ChecksNeeded
	p.SheetMinute = q.SheetMinute
	return p
}

// change applies one entry of policy: at once where a second person let it
// count, otherwise only as far as it is on the safe side.
func (p Policy) change(e *wall.Entry, policy func(events.Data) *events.Policy) Policy {
	out := p
	for _, v := range e.Versions {
		q := p.with(policy(v))
		if e.Signed && !e.Maybe && len(e.Versions) == 1 {
			out = q
			continue
		}
		out = out.safer(q)
	}
	return out
}
