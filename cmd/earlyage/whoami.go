package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/events"
)

type whoamiCmd struct {
	machine
	Site   string `help:"Only as on this site."`
	Device string `help:"Only as this device."`
	JSON   bool   `name:"json" help:"JSON, a device to a line."`
}

// Run implements the command.
func (c whoamiCmd) Run(ctx context.Context, con console) error {
	ring, err := c.ring()
	if err != nil {
		return err
	}
	list, err := ring.all(c.Site)
	if err != nil {
		return err
	}
	list = slices.DeleteFunc(list, func(j *joined) bool { return c.Device != "" && j.Source.Device != c.Device })
	if len(list) == 0 {
		return fmt.Errorf("whoami: this machine has joined no hub%s: %s", onSite(c.Site), howToJoin(c.Site))
	}
	failed := false
	for i, j := range list {
		trouble := j.refresh(ctx)
		failed = failed || trouble != nil
		if c.JSON {
			err = writeSelf(con.Out, j)
		} else {
			if i > 0 {
				fmt.Fprintln(con.Out)
			}
			err = tellSelf(con.Out, j)
		}
		if err != nil {
			return err
		}
		if trouble != nil {
			fmt.Fprintf(con.Err, "earlyage: %s/%s: as the hub said at %s; now: %v\n", j.Source.Site, j.Source.Device, j.told.At.Local().Format("15:04 MST Mon 2 Jan"), trouble)
			if advice := advise(trouble, j); advice != "" {
				fmt.Fprintf(con.Err, "earlyage: %s.\n", advice)
			}
		}
	}
	if failed {
		return errTold
	}
	return nil
}

func onSite(site string) string {
	if site == "" {
		return ""
	}
	return " on " + siteWord(site)
}

// advise says what to do where the hub does not know a device any more.
func advise(err error, j *joined) string {
	if !errors.Is(err, api.ErrSignIn) {
		return ""
	}
	if _, statErr := os.Stat(filepath.Join(j.dir, nextFile)); statErr == nil {
		return fmt.Sprintf("a new key of %s/%s has had no answer yet: earlyage rotate --site %s --device %s goes on with it", j.Source.Site, j.Source.Device, j.Source.Site, j.Source.Device)
	}
	return "the hub does not know this device's key: it was shut out, or the person has no role any more. To join anew, " + howToJoin(j.Source.Site)
}

func tellSelf(out io.Writer, j *joined) error {
	person := j.Person
	if person == "" {
		person = "nobody's"
	}
	public, err := j.Public()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "device  %s/%s\nperson  %s\nroles   %s\nhub     %s\nkey     %s\n", j.Source.Site, j.Source.Device, person, orDash(roleWords(j.told.Roles)), j.told.Hub, public)
	if err == nil {
		err = writeMay(out, j.kinds())
	}
	return err
}

// self is what whoami says of a device, for programs.
type self struct {
	Site   string        `json:"site"`
	Device string        `json:"device"`
	Person string        `json:"person,omitzero"`
	Roles  []events.Role `json:"roles,omitzero"`
	Kinds  []events.Kind `json:"kinds"`
	Hub    string        `json:"hub"`
	Key    string        `json:"key"` // the public half
	At     time.Time     `json:"at"`  // when the hub said so
}

func writeSelf(out io.Writer, j *joined) error {
	public, err := j.Public()
	if err != nil {
		return err
	}
	text, err := json.Marshal(self{j.Source.Site, j.Source.Device, j.Person, j.told.Roles, j.kinds(), j.told.Hub, public, j.told.At}, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("whoami: %w", err)
	}
	return line(out, text)
}

// refresh asks the hub, as the device, who it is, and keeps the answer.
func (j *joined) refresh(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, refreshMost)
	defer cancel()
	client, err := api.Dial(api.Where{URL: j.told.Hub, Identity: &j.Identity})
	if err != nil {
		return err
	}
	var me door.Me
	if _, err := client.Get(ctx, api.PathMe, nil, &me); err != nil {
		return err
	}
	j.told.Roles, j.told.Kinds, j.told.At = rolesOn(me.Roles, j.Source.Site), nil, time.Now().UTC()
	if me.Device != nil {
		j.told.Kinds = me.Device.Kinds
	}
	return j.note()
}

// rolesOn lists the roles that hold on a site, in the order of events.Roles.
func rolesOn(roles api.Roles, site string) []events.Role {
	return slices.DeleteFunc(events.Roles(), func(r events.Role) bool {
		return !slices.Contains(roles[site], r) && !slices.Contains(roles[everySite], r)
	})
}

// refreshMost is how long the hub is waited for.
const refreshMost = 5 * time.Second

// heardLately is how long what the hub said of a device is taken as it was.
const heardLately = time.Minute

// may refuses what the person's roles do not cover. What this machine was told
// earlier may have changed, so it asks, and before it refuses it asks in any
// case; without an answer the entry is kept and the hub decides.
func (j *joined) may(ctx context.Context, con console, list []events.Event) error {
	if j == nil {
		return nil
	}
	var silent error
	asked := time.Since(j.told.At) > heardLately
	if asked {
		silent = j.refresh(ctx)
	}
	if j.told.At.IsZero() || j.against(list) == nil {
		return nil
	}
	if !asked {
		silent = j.refresh(ctx)
	}
	if err := silent; err != nil {
		fmt.Fprintf(con.Err, "earlyage: by what the hub said at %s this is refused (%v); it cannot be asked now, so the entry is kept and the hub decides\n",
			j.told.At.Local().Format("15:04 MST Mon 2 Jan"), j.against(list))
		return nil
	}
	if err := j.against(list); err != nil {
		return usageError{fmt.Errorf("%w. Nothing is kept; let somebody with such a role record it, or ask a keeper for the role", err)}
	}
	return nil
}

// against is why what the device may record does not cover an event, or nil.
func (j *joined) against(list []events.Event) error {
	roles := j.told.Roles
	if j.Person == "" {
		roles = []events.Role{events.Probe}
	}
	kinds := j.told.Kinds
	for _, e := range list {
		if err := e.MayBeBy(roles...); err != nil {
			return err
		}
		if j.Person == "" && len(kinds) > 0 && !slices.Contains(kinds, e.Kind) {
			return &events.Refusal{Field: "type", Value: string(e.Kind), Allowed: "what this station was enrolled for: " + kindWords(kinds)}
		}
	}
	return nil
}
