package stream

import (
	"errors"
	"slices"

	"earlyage/events"
)

// ErrNotAdmitted is wrapped by a Guard that does not let a claim in.
var ErrNotAdmitted = errors.New("not admitted")

// Claim is what a connection says of itself. A Key is proven: the connection has
// signed the server's nonce with its private half. A password is not proven yet.
type Claim struct {
	Key      string // public nkey (U...); empty: it came with user and password
	User     string // <site>.<device>, as the guard gave it
	Password string
	Remote   string // address that the connection comes from, host:port
}

// Admission is who a connection is and what it may say.
type Admission struct {
	Source events.Source
	Kinds  []events.Kind // it may publish these and no others
	Probe  bool          // it publishes on probe.<site>.<device>, not on pour.<site>
	Wall   string        // the only wall that it may name; empty: any of its site
}

// Guard decides who may connect. Admit is called for every connection, from
// several goroutines at once, and must return soon.
type Guard interface {
	Admit(Claim) (Admission, error)
}

// InboxPrefix is what the answers to a device begin with.
func InboxPrefix(src events.Source) string { return "_INBOX." + src.Site + "." + src.Device }

// ToldSubject is where the hub tells a device's person what concerns them. The
// device alone hears it, and the hub alone speaks on it.
func ToldSubject(src events.Source) string { return "told." + src.Site + "." + src.Device }

// Permissions are the subjects that a device may publish on and subscribe to,
// in alphabetical order; it may do nothing else.
func Permissions(a Admission) (publish, subscribe []string) {
	publish = []string{}
	before := "pour." + a.Source.Site
	if a.Probe {
		before = "probe." + a.Source.Site + "." + a.Source.Device
	}
	for _, k := range a.Kinds {
		for _, wall := range wallsOf(k, a.Wall) {
			publish = append(publish, before+"."+wall+"."+string(k))
		}
	}
	if !a.Probe {
		publish = append(publish, AskSubject(a.Source))
		subscribe = []string{
			InboxPrefix(a.Source) + ".>", ReceiptSubject(a.Source), "alert." + a.Source.Site + ".>", ToldSubject(a.Source),
		}
	}
	slices.Sort(publish)
	slices.Sort(subscribe)
	return slices.Compact(publish), subscribe
}

// wallsOf returns the wall tokens under which a kind may stand.
func wallsOf(k events.Kind, wall string) []string {
	switch {
	case !k.Known() || k.SchedulerOnly():
		return nil
	case k.SiteWide() && wall != "":
		return nil
	case k.SiteWide():
		return []string{"_"}
	case wall != "":
		return []string{wall}
	}
	return []string{"*"}
}
