package phone

import (
	"cmp"
	"slices"
	"time"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/events"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// returnedFor is how long an alert that ended and that nobody acknowledged is
// still in the snapshot.
const returnedFor = 24 * time.Hour

// alerts puts together what ought to stand and what was raised and is open. rests
// are those of the wall and of its site.
func (in *Input) alerts(list []scheduler.Alert, alarms []wall.Alarm, rests []wall.Rest) []Alert {
	out := []Alert{}
	raised := map[[2]string]int{}
	for i, a := range alarms {
		if a.Stands() {
			raised[[2]string{a.Kind, a.Cause}] = i
		}
	}
	for _, a := range list {
		key := [2]string{a.Kind, a.Cause}
		if i, ok := raised[key]; ok {
			alert := in.alert(alarms[i], rests)
			alert.Priority, alert.Since, alert.Text = a.Priority, down(a.Since), in.says(a.Kind, a.Text, a.About)
			out = append(out, alert)
			delete(raised, key)
			continue
		}
		out = append(out, Alert{Kind: a.Kind, Cause: a.Cause, Priority: a.Priority, Since: down(a.Since), Text: in.says(a.Kind, a.Text, a.About), Who: events.Addressees(a.Kind)})
	}
	for i, a := range alarms {
		last, stands := raised[[2]string{a.Kind, a.Cause}]
		if stands && last == i || in.returned(a) {
			out = append(out, in.alert(a, rests))
		}
	}
	rank := func(p string) int {
		return slices.Index([]string{scheduler.Urgent, scheduler.High, scheduler.Medium, scheduler.Low}, p)
	}
	over := func(a Alert) bool { return a.State == wall.StateReturned }
	slices.SortStableFunc(out, func(a, b Alert) int {
		return cmp.Or(compareBool(over(a), over(b)), cmp.Compare(rank(a.Priority), rank(b.Priority)), cmp.Compare(a.Since.UnixMilli(), b.Since.UnixMilli()),
			cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Cause, b.Cause))
	})
	return out
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// returned reports whether an alert ended of late and nobody acknowledged it.
func (in *Input) returned(a wall.Alarm) bool {
	return !a.Stands() && a.Acknowledged == 0 && in.Now.UnixMilli() < a.ClearedAt+returnedFor.Milliseconds()
}

// says gives an alert's words in the units of the site, in English, as which the page
// marks them.
func (in *Input) says(kind, words string, about *events.About) string {
	say, _ := face.Says("en", in.site(), in.Now, kind, words, about)
	return say
}

func (in *Input) alert(a wall.Alarm, rests []wall.Rest) Alert {
	now := in.Now.UnixMilli()
	rest, rested := wall.Resting(rests, a.Kind, a.Cause, now)
	out := Alert{
		ID: a.ID, Kind: a.Kind, Cause: a.Cause, Priority: a.Priority, Since: ms(a.Since), Text: in.says(a.Kind, a.Text, a.About), Acknowledged: a.Acknowledged != 0, Who: events.Addressees(a.Kind),
		State: a.StateAt(now, func(string, string, int64) bool { return rested }),
	}
	switch out.State {
	case wall.StateShelved:
		out.Until, out.Reason = ms(a.ShelvedUntil), a.ShelvedReason
	case wall.StateOutOfService:
		out.Until, out.Reason = ms(rest.Until), rest.Reason
	}
	if in.Person == "" {
		return out
	}
	for _, y := range slices.Concat(a.Told, in.told[a.ID]) {
		if y.Person != in.Person || y.Outcome == "withheld" || y.What == "cleared" {
			continue
		}
		out.Told = true
		if y.Channel == "phone" {
			out.Message = y.Message
		}
	}
	return out
}
