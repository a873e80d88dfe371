package face

import (
	"math"
	"time"

	"earlyage/scheduler"
)

// Report is the JSON of an assessment of a whole record.
type Report struct {
	At      Time      `json:"at"`
	Walls   []Wall    `json:"walls"`
	Refused []Refused `json:"refused"`
}

// Wall is the JSON of one wall's assessment.
type Wall struct {
	Site   string  `json:"site"`
	Wall   string  `json:"wall"`
	State  string  `json:"state"`
	Strip  Window  `json:"strip"`
	Joints []Joint `json:"joints"`
	Alerts []Alert `json:"alerts"`

	// By place, where it is asked for and there is something to say.
	Fronts  []Front  `json:"fronts,omitzero"`
	Braces  []Brace  `json:"braces,omitzero"`
	Faces   []Face   `json:"faces,omitzero"`
	Placing *Placing `json:"placing,omitzero"`
	Open    []string `json:"open_points,omitzero"`
}

// Window is the cure window.
type Window struct {
	Open     bool        `json:"open"`
	CuredAt  Time        `json:"cured_at"`
	Earliest Time        `json:"earliest"`
	Expected Expected    `json:"expected"`
	Governs  string      `json:"governs"`
	Criteria []Criterion `json:"criteria"`
}

// Expected is what forecasts say. It opens nothing.
type Expected struct {
	Early  Time `json:"early"`
	Likely Time `json:"likely"`
	Late   Time `json:"late"`
}

// Criterion is one line of the window.
type Criterion struct {
	Name  string `json:"name"`
	Layer string `json:"layer"`
	MetAt Time   `json:"met_at"`
	Have  string `json:"have"`
	Need  string `json:"need"`
	Unit  string `json:"unit"`
	Note  string `json:"note"`
}

// Joint is an open joint, or a cold one.
type Joint struct {
	FromM    float64 `json:"from_m"`
	ToM      float64 `json:"to_m"`
	TopM     float64 `json:"top_m"`
	AgeMin   float64 `json:"age_min"`   // rounded up to 0.1
	LimitMin float64 `json:"limit_min"` // rounded down to 0.1
	State    string  `json:"state"`
}

// Alert is one that ought to stand.
type Alert struct {
	Kind     string `json:"kind"`
	Priority string `json:"priority"`
	Since    Time   `json:"since"`
	Text     string `json:"text"`
}

// Refused is a line of a recorded stream that could not be accepted.
type Refused struct {
	Line   int    `json:"line"`
	ID     string `json:"id"`
	Field  string `json:"field"`
	Reason string `json:"reason"`
}

// FromAssessment gives the JSON of an assessment.
func FromAssessment(a scheduler.Assessment) Wall {
	w := Wall{
		Site: a.Site, Wall: a.Wall, State: a.State,
		Strip: Window{
			Open: a.Strip.Open, CuredAt: Time{a.Strip.CuredAt}, Earliest: Time{a.Strip.Earliest},
			Expected: Expected{Time{a.Strip.Expected.Early}, Time{a.Strip.Expected.Likely}, Time{a.Strip.Expected.Late}},
			Governs:  a.Strip.Governs,
			Criteria: make([]Criterion, 0, len(a.Strip.Criteria)),
		},
		Joints: make([]Joint, 0, len(a.Joints)), Alerts: make([]Alert, 0, len(a.Alerts)),
	}
	for _, c := range a.Strip.Criteria {
		met := Time{c.MetAt}
		w.Strip.Criteria = append(w.Strip.Criteria, Criterion{c.Name, c.Layer, met, c.Have, c.Need, c.Unit, c.Note})
	}
	for _, j := range a.Joints {
		w.Joints = append(w.Joints, Joint{j.FromM, j.ToM, j.TopM, tenth(j.AgeMin, math.Ceil), tenth(j.LimitMin, math.Floor), j.State})
	}
	for _, al := range a.Alerts {
		w.Alerts = append(w.Alerts, Alert{al.Kind, al.Priority, Time{al.Since}, al.Text})
	}
	return w
}

// ByPlace gives the JSON of an assessment with all that is said of stretches,
// braces and faces.
func ByPlace(a scheduler.Assessment) Wall {
	w := FromAssessment(a)
	w.byPlace(a)
	return w
}

// tenth rounds to 0.1; what is within 1e-6 of a tenth is that tenth, so that
// the last bits of a product move nothing.
func tenth(x float64, round func(float64) float64) float64 {
	scaled := x * 10
	if near := math.Round(scaled); math.Abs(scaled-near) < 1e-6 {
		return near / 10
	}
	return round(scaled) / 10
}

// Place names a wall for people.
func (w Wall) Place() string { return w.Site + "/" + w.Wall }

// Site is what a face needs of a site: its name, zone and units.
type Site struct {
	Site  string `json:"site"`
	Name  string `json:"name"`
	Zone  string `json:"zone"`
	Units string `json:"units"`
}

// Location returns the site's zone, or UTC where it is not known.
func (s Site) Location() *time.Location {
	if s.Zone == "" {
		return time.UTC
	}
	loc, err := time.LoadLocation(s.Zone)
	if err != nil {
		return time.UTC
	}
	return loc
}
