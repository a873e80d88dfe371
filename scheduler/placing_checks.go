package scheduler

import (
	"fmt"
	"strings"

	"earlyage/projector/wall"
	"earlyage/scheduler/checks"
)

// CheckList is how one check list of the wall stands.
type CheckList struct {
	Name    string
	Version string
	Items   []checks.Item // after the site's changes
	Open    []checks.Missing
}

// checkLists reads the lists that are in question: before placing always, the
// others from when they can be answered.
func (k *look) checkLists(a *Assessment) []CheckList {
	if a.State == StateHandedOver || a.State == StateStripped || !k.policy.ChecksNeeded {
		return nil
	}
	names := []string{checks.Before}
	if len(k.wall.Pour.Lifts) > 0 {
		names = append(names, checks.During)
	}
	if k.wall.Pour.Finished != 0 && k.past(k.wall.Pour.Finished) {
		names = append(names, checks.After)
	}
	changes := k.siteChanges()
	out := make([]CheckList, 0, len(names))
	for _, name := range names {
		items := checks.Items(name, changes)
		out = append(out, CheckList{Name: name, Version: checks.Version(), Items: items, Open: checks.Open(items, func(id string) (checks.Reply, bool) { return k.reply(name, id) })})
	}
	return out
}

func (k *look) siteChanges() []checks.Change {
	if len(k.site.Checklist) == 0 {
		return nil
	}
	out := make([]checks.Change, 0, len(k.site.Checklist))
	for _, c := range k.site.Checklist {
		out = append(out, checks.Change{List: c.List, Item: c.Item, Waive: c.Change == "waive", Text: c.Text, Unit: c.Unit, Least: c.Least, Most: c.Most, Stop: c.Stop, By: c.By, Reason: c.Reason})
	}
	return out
}

func (k *look) reply(list, id string) (checks.Reply, bool) {
	a, ok := k.wall.Holding.Checks[wall.CheckItem{List: list, Item: id}]
	if !ok || !k.past(a.At) {
		return checks.Reply{}, false
	}
	return checks.Reply{Answer: a.Answer, Lo: float64(a.Lo) / 1000, Hi: float64(a.Hi) / 1000, Valued: a.Valued, By: a.By, Note: a.Note}, true
}

// checkNames is how many open items a text names.
const checkNames = 4

// checkAlerts: concrete before the list before placing is complete is an alert,
// everything else that is open a point.
func (k *look) checkAlerts(c *collector, a *Assessment) {
	for _, l := range a.Checks {
		if len(l.Open) == 0 {
			continue
		}
		if p := &k.wall.Pour; l.Name == checks.Before && p.Started != 0 && k.past(p.Started) {
			c.add(AlertChecksOpen, checks.Before, p.Started, "Concrete was placed and the check list before placing is open: %s. Answer it now.", missingWords(l.Open))
			continue
		}
		c.point("checks %s placing: %s", l.Name, missingWords(l.Open))
	}
}

func missingWords(open []checks.Missing) string {
	var out []string
	for _, m := range open[:min(checkNames, len(open))] {
		out = append(out, m.ID+" ("+m.Why+")")
	}
	if n := len(open) - checkNames; n > 0 {
		out = append(out, fmt.Sprintf("%d more", n))
	}
	return strings.Join(out, ", ")
}
