package routes

import (
	"slices"
	"time"

	"earlyage/events"
	"earlyage/notify/desk"
)

// Default is what holds where there is no file: ladders by who acts first on the
// kind of alert, sheets by role, no shifts, no quiet hours, and neither mail nor
// hooks, for which there is no server.
func Default() *File { return &File{} }

// byDefault is the ladder of a kind without a route.
func byDefault(kind string) []Rung {
	foreman, officer, engineer := events.Foreman, events.Officer, events.Engineer
	dispatcher, keeper := events.Dispatcher, events.Keeper
	type roles = []events.Role
	if early(kind) {
		return rungs(roles{foreman, officer, engineer}, roles{dispatcher})
	}
	switch events.ActsFirst(kind) {
	case events.Crew:
		return rungs(roles{events.Crew, foreman}, roles{foreman}, roles{officer}, roles{dispatcher})
	case foreman:
		if events.Latches(kind) { // what cannot be undone is for who can judge it
			return rungs(roles{foreman}, roles{officer}, roles{officer, engineer}, roles{dispatcher})
		}
		return rungs(roles{foreman}, roles{officer}, roles{dispatcher})
	case officer, engineer:
		return rungs(roles{events.ActsFirst(kind)}, roles{foreman, officer}, roles{officer, engineer}, roles{dispatcher})
	case keeper:
		return rungs(roles{keeper}, roles{dispatcher}, roles{officer}, roles{keeper, dispatcher})
	}
	// The dispatcher's own, and a kind that this program does not know yet.
	return rungs(roles{dispatcher}, roles{foreman}, roles{officer}, roles{dispatcher})
}

// rungs are as late as they may be.
func rungs(list ...[]events.Role) (out []Rung) {
	for i, roles := range list {
		out = append(out, Rung{After: latest(i), Call: Call{Roles: roles}})
	}
	return out
}

// early reports whether a kind tells of what was taken off too early: an officer
// or an engineer alone may answer it.
func early(kind string) bool {
	may := events.Addressees(kind)
	return len(may) > 0 && !slices.ContainsFunc(may, func(r events.Role) bool { return r != events.Officer && r != events.Engineer })
}

// sheetByDefault is who gets a sheet without a line of the file.
func sheetByDefault(sheet string) Call {
	switch sheet {
	case Weekly:
		return Call{Roles: []events.Role{events.Officer}}
	case Beat:
		// With it goes a checkpoint: it is to lie where whoever keeps the hub cannot
		// reach it.
		return Call{Roles: []events.Role{events.Keeper, events.Officer}}
	}
	return Call{Roles: []events.Role{events.Dispatcher, events.Foreman}}
}

// tighten gives the rungs that are left the times that they may have: where one
// was passed over the next ones come earlier, never later.
func tighten(list []desk.Rung) []desk.Rung {
	for i := range list {
		list[i].After = min(list[i].After, latest(i))
	}
	return list
}

// over is how long quiet hours may last.
const over = 7 * 24 * time.Hour
