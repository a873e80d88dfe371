package board

import (
	"cmp"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Set is braces of one wall that come free together. Those that may not yet be
// stripped are taken to come free with the last of their wall.
type Set struct {
	Site    string    `json:"site"`
	Wall    string    `json:"wall"`
	Name    string    `json:"name"` // of the wall
	N       int       `json:"n"`
	Free    bool      `json:"free"` // they may be stripped now
	Early   face.Time `json:"early"`
	Likely  face.Time `json:"likely"`
	Late    face.Time `json:"late"`
	Waits   string    `json:"waits"`    // the criterion, where no time can be given
	CountOn int       `json:"count_on"` // braces of the site that are free by Late, these included; 0: not to be counted on
}

// setsOf gives the braces that stand at a wall: those that may be stripped, and
// the others with the wall's window.
func setsOf(w Wall, r Row) []Set {
	if r.Standing == 0 {
		return nil
	}
	var out []Set
	set := Set{Site: r.Site, Wall: r.Wall, Name: r.Name}
	if r.MayStrip > 0 {
		free := set
		free.N, free.Free = r.MayStrip, true
		out = append(out, free)
	}
	if set.N = r.Standing - r.MayStrip; set.N == 0 {
		return out
	}
	win, at := r.Window, w.Assessment.At
	switch {
	case r.State != scheduler.StateCuring && r.State != scheduler.StateMayStrip:
		set.Waits = scheduler.Complete
	case win.Earliest.After(at):
		set.Early, set.Likely, set.Late = win.Earliest, win.Earliest, win.Earliest
	case win.CuredAt.IsZero() && !win.Expected.Likely.IsZero():
		set.Early, set.Likely, set.Late = win.Expected.Early, win.Expected.Likely, win.Expected.Late
	default:
		set.Waits = win.Governs
	}
	return append(out, set)
}

// bySite is the order of the braces: by site, those that are free first, then by
// when they surely are.
func bySite(x, y Set) int {
	return cmp.Or(cmp.Compare(x.Site, y.Site), cmp.Compare(truth(!x.Free), truth(!y.Free)), byTime(x.Late.Time, y.Late.Time),
		cmp.Compare(x.Wall, y.Wall))
}

// countOn adds up what the next wall of a site can count on.
func countOn(sets []Set) {
	site, sum := "", 0
	for i := range sets {
		s := &sets[i]
		if s.Site != site {
			site, sum = s.Site, 0
		}
		if s.Free || !s.Late.IsZero() {
			sum += s.N
			s.CountOn = sum
		}
	}
}

// Frost is a night for which frost is forecast.
type Frost struct {
	Date     string    `json:"date"` // the local date on which the night begins
	From     face.Time `json:"from"`
	To       face.Time `json:"to"`
	ColdestC float64   `json:"coldest_c"`
}

const (
	daysShown = 8 // of the week, today included
	noon      = 12 * time.Hour
)

// frosts gives the nights of frost by the coldest forecast issued, from noon to
// noon, of the days that the week shows.
func frosts(s Site, at time.Time) []Frost {
	out := []Frost{}
	if s.State == nil {
		return out
	}
	zone := s.Location()
	for _, h := range s.State.Hours {
		from := time.UnixMilli(h.At).UTC()
		if h.Coldest == wall.None || h.Coldest > 0 || from.Before(at.Add(-24*time.Hour)) || from.After(at.Add(daysShown*24*time.Hour)) {
			continue
		}
		date := from.In(zone).Add(-noon).Format(time.DateOnly)
		if n := len(out); n == 0 || out[n-1].Date != date {
			out = append(out, Frost{Date: date, From: face.Time{Time: from}, ColdestC: float64(h.Coldest) / 100})
		}
		night := &out[len(out)-1]
		night.To, night.ColdestC = face.Time{Time: from.Add(time.Hour)}, min(night.ColdestC, float64(h.Coldest)/100)
	}
	return out
}
