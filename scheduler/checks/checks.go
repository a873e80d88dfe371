// Package checks holds the check lists of a pour: before, during and after
// placing. The lists are data with a version (lists.json), in our own words;
// a site adds items to them or waives some, by name and reason.
//
// What it guarantees: every item has a reason, and says where its figure comes
// from and how far that was checked. Few items, the stop items, are answered one
// by one with what was measured; the rest of a list is answered under one
// signature, and an item of it that was answered with no stays open whoever
// signs. The package is pure and safe for concurrent use.
package checks

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"sync"
)

// Names of the lists.
const (
	Before = "before"
	During = "during"
	After  = "after"
)

// Rest is the item under which a list is signed: all that is not answered one by one.
const Rest = "rest"

// Answers.
const (
	Yes    = "yes"
	No     = "no"
	Waived = "waived" // does not apply to this wall
)

// Item is one line of a list.
type Item struct {
	ID     string   `json:"id"`
	Text   string   `json:"text"`
	Reason string   `json:"reason"`
	Least  *float64 `json:"least,omitempty"` // of the number answered
	Most   *float64 `json:"most,omitempty"`
	Value  *float64 `json:"value,omitempty"` // the usual figure, where it is no limit
	Unit   string   `json:"unit,omitempty"`
	Source string   `json:"source"` // of the figure, or of the practice; empty: none
	Status string   `json:"status"` // found, from memory, common practice no source, or the site's own
	Stop   bool     `json:"stop,omitempty"`

	WaivedBy  string `json:"-"` // the site does without it
	WaivedFor string `json:"-"` // for this reason
}

// Tolerance says in words what the item's number may be, or is usually; empty:
// it has none.
func (i *Item) Tolerance() string {
	num := func(v *float64) string { return strconv.FormatFloat(*v, 'f', -1, 64) }
	switch {
	case i.Least != nil && i.Most != nil:
		return fmt.Sprintf("%s to %s %s", num(i.Least), num(i.Most), i.Unit)
	case i.Most != nil:
		return fmt.Sprintf("at most %s %s", num(i.Most), i.Unit)
	case i.Least != nil:
		return fmt.Sprintf("at least %s %s", num(i.Least), i.Unit)
	case i.Value != nil:
		return fmt.Sprintf("%s %s", num(i.Value), i.Unit)
	default:
		return ""
	}
}

// Asks reports whether the item is answered with a number of its own.
func (i *Item) Asks() bool { return i.Stop && (i.Least != nil || i.Most != nil) }

// accepts reports whether all that may have been measured lies within the tolerance.
func (i *Item) accepts(r Reply) bool {
	return (i.Least == nil || r.Lo >= *i.Least) && (i.Most == nil || r.Hi <= *i.Most)
}

type list struct {
	Name  string `json:"name"`
	Items []Item `json:"items"`
}

//go:embed lists.json
var data []byte

var read = sync.OnceValue(func() (all struct {
	Version string `json:"version"`
	Lists   []list `json:"lists"`
}) {
	if err := json.Unmarshal(data, &all); err != nil {
		panic("checks: the embedded lists cannot be read: " + err.Error())
	}
	return all
})

// Version is that of the lists. A change of their meaning is a new one.
func Version() string { return read().Version }

// Names lists the lists, in the order of the pour.
func Names() []string { return []string{Before, During, After} }

// Change is a site's change of a list.
type Change struct {
	List, Item  string
	Waive       bool
	Text, Unit  string
	Least, Most *float64
	Stop        bool
	By, Reason  string
}

// Items are the items of a list after a site's changes, taken one after the
// other. A waived item stays in its place, marked. An unknown list has none. The
// result must not be changed.
func Items(name string, changes []Change) []Item {
	var out []Item
	for _, l := range read().Lists {
		if l.Name == name {
			out = l.Items
		}
	}
	cloned := false
	for _, c := range changes {
		if c.List != name || c.Item == Rest {
			continue
		}
		if !cloned {
			out, cloned = slices.Clone(out), true
		}
		out = c.apply(out)
	}
	return out
}

func (c Change) apply(items []Item) []Item {
	i := slices.IndexFunc(items, func(x Item) bool { return x.ID == c.Item })
	switch {
	case i >= 0 && c.Waive:
		items[i].WaivedBy, items[i].WaivedFor = c.By, c.Reason
	case i >= 0:
		items[i].WaivedBy, items[i].WaivedFor = "", ""
		items[i].stricter(c)
	case !c.Waive:
		items = append(items, Item{ID: c.Item, Text: c.Text, Reason: c.Reason, Least: c.Least, Most: c.Most, Unit: c.Unit, Stop: c.Stop, Source: c.By, Status: "the site's own"})
	}
	return items
}

// stricter takes from a change of an item that is there only what asks for more.
func (i *Item) stricter(c Change) {
	i.Stop = i.Stop || c.Stop
	if c.Unit != i.Unit {
		return
	}
	if c.Most != nil && (i.Most == nil || *c.Most < *i.Most) {
		i.Most = c.Most
	}
	if c.Least != nil && (i.Least == nil || *c.Least > *i.Least) {
		i.Least = c.Least
	}
}

// Reply is the last answer to an item. Lo and Hi are the least and the greatest
// that may have been measured.
type Reply struct {
	Answer string
	Lo, Hi float64
	Valued bool
	By     string // who answered; empty: nobody is named
	Note   string
}

// Missing is an item that is not answered as it has to be.
type Missing struct {
	Item
	Why string
}

// Open lists what of a list is not answered: every stop item by itself, an item
// that was answered with no, and the rest, as one item, until it is signed by
// name. reply gives the last answer to an item.
func Open(items []Item, reply func(id string) (Reply, bool)) (out []Missing) {
	left := 0
	for n := range items {
		i := &items[n]
		if i.WaivedBy != "" {
			continue
		}
		r, answered := reply(i.ID)
		answered = answered && r.Answer != ""
		if !answered && !i.Stop {
			left++
			continue
		}
		if why := i.missing(r, answered); why != "" {
			out = append(out, Missing{*i, why})
		}
	}
	if signed, _ := reply(Rest); left > 0 && (signed.Answer != Yes || signed.By == "") {
		out = append(out, Missing{Item{ID: Rest, Text: "All that is not answered one by one", Reason: "One person answers for it by name"}, fmt.Sprintf("%d items not signed", left)})
	}
	return out
}

// missing says why an item that was answered, or is a stop item, is open, or "".
func (i *Item) missing(r Reply, answered bool) string {
	switch {
	case !answered:
		return "not answered"
	case r.Answer == No:
		return "answered no"
	case r.Answer == Waived && i.Stop && (r.By == "" || r.Note == ""):
		return "waived without name and reason"
	case r.Answer == Waived:
		return ""
	case i.Asks() && !r.Valued:
		return "no number"
	case r.Valued && !i.accepts(r):
		return fmt.Sprintf("%s, %s", measured(r), i.Tolerance())
	default:
		return ""
	}
}

func measured(r Reply) string {
	lo, hi := strconv.FormatFloat(r.Lo, 'f', -1, 64), strconv.FormatFloat(r.Hi, 'f', -1, 64)
	if lo == hi {
		return lo
	}
	return lo + " or " + hi
}
