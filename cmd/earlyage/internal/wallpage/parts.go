package wallpage

import (
	"slices"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Brace is a line of the bracing register.
type Brace struct {
	face.Brace
	Set       face.Time `json:"set"`
	SetBy     string    `json:"set_by"`
	Disturbed face.Time `json:"disturbed"`
	Inspected face.Time `json:"inspected"`
	Permit    string    `json:"permit"` // the number of the last one that covers it
	PermitBy  string    `json:"permit_by"`
	PermitAt  face.Time `json:"permit_at"`
	Off       face.Time `json:"off"` // when it was taken off last, also if it was set again
	By        string    `json:"off_by"`
	Early     bool      `json:"early"` // by an alert that was raised or ought to stand
}

func bracesOf(in Input) []Brace {
	all := face.ByPlace(in.Sheet.Assessment).Braces
	out := []Brace{}
	for _, b := range all {
		x := Brace{Brace: b}
		for _, y := range in.Wall.Holding.Braces {
			if y.Name == b.Name {
				x.Set, x.Disturbed, x.Inspected = ms(y.Set), ms(y.Disturbed), ms(y.Inspected)
			}
		}
		x.SetBy = setBy(in.Wall, b.Name)
		for _, s := range in.Wall.Holding.Strips {
			if s.All || slices.Contains(s.Braces, b.Name) {
				x.Off, x.By, x.Early = face.Time{Time: s.Began.EarlyTime()}, s.By, x.Early || early(in, s)
			}
		}
		for _, p := range in.Wall.Holding.Permits {
			if p.For == "strip" && p.Withdrawn == 0 && (len(p.Braces) == 0 || slices.Contains(p.Braces, b.Name)) {
				x.Permit, x.PermitBy, x.PermitAt = p.Number, p.By, ms(p.At)
			}
		}
		out = append(out, x)
	}
	return out
}

// early reports whether a strip was said to be early.
func early(in Input, s wall.Strip) bool {
	cause := "strip " + s.Key.ID
	return slices.ContainsFunc(in.Sheet.Assessment.Alerts, func(a scheduler.Alert) bool { return a.Kind == scheduler.AlertStripEarly && a.Cause == cause }) ||
		slices.ContainsFunc(in.Wall.Alarms(), func(a wall.Alarm) bool { return a.Kind == scheduler.AlertStripEarly && a.Cause == cause })
}

// setBy is who set a brace last.
func setBy(w *wall.State, name string) (by string) {
	for _, e := range w.Entries() {
		d, ok := e.Last().(*events.BraceSet)
		if ok && slices.ContainsFunc(d.Braces, func(p events.BracePlan) bool { return p.Name == name }) {
			by = e.By
		}
	}
	return by
}

// Load is one load of concrete.
type Load struct {
	Name     string    `json:"name"`
	Ticket   string    `json:"ticket"`
	Mix      string    `json:"mix"`
	State    string    `json:"state"`
	Batched  face.Time `json:"batched"`
	Expected face.Time `json:"expected"`
	Arrived  face.Time `json:"arrived"`
	Began    face.Time `json:"began"`
	Ended    face.Time `json:"ended"`
	AgeMin   float64   `json:"age_min"`
	M3       float64   `json:"volume_m3"`
	SlumpMM  int       `json:"slump_mm"` // -1: not measured
	Celsius  float64   `json:"celsius"`
	Measured bool      `json:"measured"`
	WaterL   float64   `json:"water_l"`
}

func loadsOf(a scheduler.Assessment) []Load {
	out := []Load{}
	for _, l := range a.Loads {
		out = append(out, Load{
			l.Name, l.Ticket, l.Mix, l.State, face.Time{Time: l.Batched}, face.Time{Time: l.Expected}, face.Time{Time: l.Arrived}, face.Time{Time: l.Began}, face.Time{Time: l.Ended},
			l.AgeMin, l.VolumeM3, l.SlumpMM, l.Celsius, l.Measured, l.WaterL,
		})
	}
	return out
}

// Check is one item of a check list, as it stands.
type Check struct {
	List   string    `json:"list"`
	Item   string    `json:"item"`
	Text   string    `json:"text"`
	Need   string    `json:"need"`   // the tolerance, in words
	Answer string    `json:"answer"` // yes, no, waived; empty: open
	Rest   bool      `json:"rest"`   // answered with the list's one signature
	Value  []float64 `json:"value"`  // the least and the greatest measured
	Unit   string    `json:"unit"`
	By     string    `json:"by"`
	At     face.Time `json:"at"`
	Note   string    `json:"note"`
	Open   string    `json:"open"` // why it is open, in words
}

func checksOf(in Input) []Check {
	out := []Check{}
	for _, list := range in.Sheet.Assessment.Checks {
		for _, i := range list.Items {
			c := Check{List: list.Name, Item: i.ID, Text: i.Text, Need: i.Tolerance(), Unit: i.Unit}
			answer, ok := in.Wall.Holding.Checks[wall.CheckItem{List: list.Name, Item: i.ID}]
			if !ok && !i.Stop {
				answer, ok = in.Wall.Holding.Checks[wall.CheckItem{List: list.Name, Item: "rest"}]
				c.Rest = ok
			}
			if ok && answer.Answer != "" {
				c.Answer, c.By, c.At, c.Note = answer.Answer, answer.By, ms(answer.At), answer.Note
				if answer.Valued && !c.Rest {
					c.Value = []float64{float64(answer.Lo) / 1000, float64(answer.Hi) / 1000}
				}
			}
			if i.WaivedBy != "" {
				c.Answer, c.By, c.Note = "waived", i.WaivedBy, i.WaivedFor
			}
			for _, m := range list.Open {
				if m.ID == i.ID {
					c.Open = m.Why
				}
			}
			out = append(out, c)
		}
	}
	return out
}

// Line is one reading of the string line.
type Line struct {
	At     face.Time   `json:"at"`
	After  bool        `json:"after"` // placing
	Sure   bool        `json:"sure"`
	Worst  float64     `json:"worst_m"`
	Whole  float64     `json:"whole_m"`
	Lean   float64     `json:"lean_m"`
	Points [][]float64 `json:"points"` // station and out of line, m
}

func linesOf(w *wall.State) []Line {
	out := []Line{}
	for _, l := range w.Holding.Lines {
		x := Line{At: ms(l.At), After: l.After, Sure: l.Sure, Worst: metres(l.WorstMM), Whole: metres(l.WholeMM), Lean: metres(l.LeanMM)}
		for _, p := range l.Points {
			x.Points = append(x.Points, []float64{metres(p.At), float64(p.Off) / 100000})
		}
		out = append(out, x)
	}
	return out
}
