package wallpage

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/picture"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Page is one wall whole. Of a picture it holds the model, drawn by the shell.
type Page struct {
	At       face.Time       `json:"at"`
	AsOf     bool            `json:"as_of"`
	Through  uint64          `json:"through"`
	Level    bool            `json:"level"`
	Doubts   []string        `json:"doubts"`
	Demo     bool            `json:"demo"`
	Site     face.Site       `json:"site"`
	Identity Identity        `json:"identity"`
	Wall     face.Wall       `json:"wall"` // all that the assessment says, by place
	MayStrip bool            `json:"may_strip"`
	OpenedAt face.Time       `json:"opened_at"`
	Met      []bool          `json:"met"` // of the criteria, in their order
	Due      []Due           `json:"due"`
	Sheet    scheduler.Sheet `json:"sheet"`
	Braces   []Brace         `json:"braces"`
	Loads    []Load          `json:"loads"`
	Checks   []Check         `json:"checks"`
	Lines    []Line          `json:"lines"`
	Alarms   []face.Alarm    `json:"alarms"`
	Open     []Doubt         `json:"open_doubts"`
	Said     face.Said       `json:"said"` // as the hub had stated it last
	Timeline []Entry         `json:"timeline"`

	Surface  picture.Wall     `json:"-"`
	Progress picture.Progress `json:"-"`
	Curing   picture.Curing   `json:"-"`
	Bracing  picture.Register `json:"-"`
	Pour     picture.Pour     `json:"-"`
}

// Identity is what the wall is.
type Identity struct {
	Name    string  `json:"name"`
	Crew    string  `json:"crew"`
	Form    string  `json:"form"`
	Mix     string  `json:"mix"`
	Rated   float64 `json:"rated_kpa"` // of the form; 0: not said
	Length  float64 `json:"length_m"`
	Height  float64 `json:"height_m"`
	Top     float64 `json:"top_m"` // of the concrete, planned
	Core    float64 `json:"core_m"`
	Closed  bool    `json:"closed"`
	Laid    bool    `json:"laid_out"`
	NeedM3  float64 `json:"need_m3"`
	TiedIn  face.Time
	Started face.Time
	Ended   face.Time
}

// Due is a moment that is to come, or a joint's that is past.
type Due struct {
	At    face.Time `json:"at"`
	What  string    `json:"what"` // a key of the texts wall.due
	Name  string    `json:"name"` // of a load, a permit, a kind of alert, a face, a criterion
	FromM float64   `json:"from_m"`
	ToM   float64   `json:"to_m"`
	Up    bool      `json:"up"` // a time to strip: rounded up; else down
}

// Doubt is what a named person has to answer.
type Doubt struct {
	Seq   uint64    `json:"seq"`
	Since face.Time `json:"since"`
	What  string    `json:"what"`
	Clock bool      `json:"clock"`
}

// Make gathers the page. It is pure.
func Make(in Input) Page {
	a := in.Sheet.Assessment
	out := Page{
		At: face.Time{Time: in.At}, AsOf: in.AsOf, Through: in.Through, Level: in.Level, Doubts: slices.Clone(in.Doubts), Demo: in.Demo,
		Site:     face.Site{Site: in.Site.Site, Name: in.Site.Name(), Zone: in.Site.Zone().String(), Units: in.Site.Units()},
		Identity: identityOf(in.Wall), Wall: face.ByPlace(a), Sheet: in.Sheet, OpenedAt: face.Time{Time: a.Strip.OpenedAt},
		MayStrip: a.Strip.Open && in.Level && !in.AsOf && len(in.Doubts) == 0 && a.State == scheduler.StateMayStrip,
		Due:      dueOf(in), Braces: bracesOf(in), Loads: loadsOf(a), Checks: checksOf(in), Lines: linesOf(in.Wall),
		Alarms: alarmsOf(in), Open: doubtsOf(in.Wall), Said: saidOf(in), Timeline: timelineOf(in),
		Surface: picture.FromRecord(in.Site, in.Wall, a), Progress: picture.ProgressFromRecord(in.Site, in.Wall, a),
		Curing:  picture.CurvesFromRecord(in.Site, in.Wall, in.Sheet),
		Bracing: picture.RegisterFromRecord(in.Site, in.Wall, a), Pour: picture.PourFromRecord(in.Site, in.Wall, a),
	}
	for _, c := range a.Strip.Criteria {
		out.Met = append(out.Met, c.Met)
	}
	out.checkUnits(in)
	if !out.MayStrip && !out.AsOf {
		out.hush()
	}
	return out
}

// hush takes out of the pictures that anything may be stripped: nothing now
// stands behind it.
func (p *Page) hush() {
	if p.Surface.State == strings.ReplaceAll(scheduler.StateMayStrip, "-", " ") {
		p.Surface.State = ""
	}
	for i := range p.Surface.Braces {
		if p.Surface.Braces[i].State == picture.BraceMayStrip {
			p.Surface.Braces[i].State = picture.BraceStanding
		}
	}
	for i := range p.Bracing.Bars {
		if p.Bracing.Bars[i].State == picture.BraceMayStrip {
			p.Bracing.Bars[i].State = picture.BraceStanding
		}
	}
	p.Progress.Open, p.Progress.Opened = false, time.Time{}
}

func ms(at int64) face.Time {
	if at == 0 {
		return face.Time{}
	}
	return face.Time{Time: time.UnixMilli(at).UTC()}
}

func metres(mm int) float64 { return float64(mm) / 1000 }

func identityOf(w *wall.State) Identity {
	h, g := &w.Holding, &w.Holding.Geometry
	return Identity{
		Name: cmp.Or(h.Name, w.Wall), Crew: h.Crew, Form: h.Form, Mix: h.Mix, Rated: float64(h.RatedPa) / 1000,
		Length: metres(g.Length), Height: metres(g.Height), Top: metres(g.Top), Core: metres(h.CoreMM), Closed: g.Closed, Laid: h.LaidOut,
		NeedM3: float64(h.NeedML) / 1e6, TiedIn: ms(h.TiedIn), Started: ms(w.Pour.Started), Ended: ms(w.Pour.Finished),
	}
}

// dueOf lists what is to come, the next first, and joints past their limit.
func dueOf(in Input) []Due {
	var out []Due
	for _, d := range slices.Concat(placingDue(in), windowDue(in), peopleDue(in)) {
		if !d.At.IsZero() && (d.At.After(in.At) || d.What == "joint."+scheduler.JointPastLimit) {
			out = append(out, d)
		}
	}
	slices.SortStableFunc(out, func(x, y Due) int { return x.At.Compare(y.At.Time) })
	return out
}

// placingDue is what is due while the wall is filled.
func placingDue(in Input) (out []Due) {
	a := in.Sheet.Assessment
	for _, j := range a.Joints {
		if j.State != scheduler.JointCold {
			out = append(out, Due{At: face.Time{Time: j.Deadline}, What: "joint." + j.State, FromM: j.FromM, ToM: j.ToM})
		}
	}
	out = append(out, batches(a.Fronts)...)
	for _, l := range a.Loads {
		if l.Arrived.IsZero() && l.State != scheduler.LoadRejected {
			out = append(out, Due{At: face.Time{Time: l.Expected}, What: "load", Name: l.Name})
		}
	}
	return append(out, Due{At: face.Time{Time: a.Take.BalanceAt}, What: "balance"})
}

// windowDue is when criteria will be met, and what is expected.
func windowDue(in Input) (out []Due) {
	a := in.Sheet.Assessment
	for _, c := range a.Strip.Criteria {
		if !c.Met {
			out = append(out, Due{At: face.Time{Time: c.MetAt}, What: "criterion", Name: c.Name, Up: true})
		}
	}
	if e := a.Strip.Expected; a.Strip.CuredAt.IsZero() {
		out = append(out, Due{At: face.Time{Time: e.Early}, What: "early", Up: true}, Due{At: face.Time{Time: e.Likely}, What: "likely", Up: true}, Due{At: face.Time{Time: e.Late}, What: "late", Up: true})
	}
	for _, f := range a.Faces {
		if f.State == scheduler.FaceStanding {
			out = append(out, Due{At: face.Time{Time: f.Earliest}, What: "face", Name: f.Face, Up: true})
		}
	}
	return out
}

// peopleDue is what ends of what people said.
func peopleDue(in Input) (out []Due) {
	for _, p := range in.Wall.Holding.Permits {
		if p.Withdrawn == 0 {
			out = append(out, Due{At: ms(p.Until), What: "permit", Name: p.Number})
		}
	}
	for _, x := range in.Wall.Alarms() {
		if x.Stands() {
			out = append(out, Due{At: ms(x.ShelvedUntil), What: "shelved", Name: x.Kind})
		}
	}
	return out
}

// batches are the last moments to batch a load: one for fronts side by side at
// one height, the earliest of theirs.
func batches(fronts []scheduler.Front) (out []Due) {
	top := 0.0
	for _, f := range fronts {
		d := Due{At: face.Time{Time: f.BatchBy}, What: "batch", FromM: f.FromM, ToM: f.ToM}
		n := len(out) - 1
		if d.At.IsZero() {
			continue
		}
		if n < 0 || out[n].ToM != f.FromM || top != f.TopM {
			out, top = append(out, d), f.TopM
			continue
		}
		out[n].ToM = f.ToM
		if d.At.Before(out[n].At.Time) {
			out[n].At = d.At
		}
	}
	return out
}

func doubtsOf(w *wall.State) []Doubt {
	out := []Doubt{}
	for _, d := range w.Doubts() {
		out = append(out, Doubt{d.Message, ms(d.Since), d.What, d.Clock})
	}
	return out
}

// alarmsOf lists the alerts ever raised on the wall, those that stand first.
func alarmsOf(in Input) []face.Alarm {
	out := []face.Alarm{}
	rests, told := slices.Concat(in.Wall.Rests(), in.Site.Rests()), in.Site.Told()
	for _, a := range in.Wall.Alarms() {
		out = append(out, face.AlarmOf(in.Site.Site, in.Wall.Wall, a, in.At, rests, told[a.ID]))
	}
	slices.SortStableFunc(out, func(x, y face.Alarm) int {
		return cmp.Or(boolean(!x.Cleared.IsZero())-boolean(!y.Cleared.IsZero()), x.Since.Compare(y.Since.Time))
	})
	return out
}

func boolean(b bool) int {
	if b {
		return 1
	}
	return 0
}
