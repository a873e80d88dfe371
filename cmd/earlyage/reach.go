package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
)

// reach is what every command takes that asks a hub: the hub on this machine
// through its socket, which its owner's account alone can open, or any hub over
// HTTP as a device that has joined.
type reach struct {
	machine
	Data string `env:"EARLYAGE_DATA" type:"path" placeholder:"DIR" help:"Folder of a hub that runs on this machine: it is asked through its socket. Default ./data where a hub runs on it and no --hub is given."`
	Hub  string `env:"EARLYAGE_HUB" placeholder:"URL" help:"Address of the hub, which is asked as the joined device; default the one that this machine has joined, else http://127.0.0.1:8480."`
	As   string `placeholder:"SITE/DEVICE" help:"Which of this machine's joined devices asks."`
}

const (
	defaultHub = "http://127.0.0.1:8480"
	defaultDir = "data"
)

// client gives the way to the hub: through its socket, else as a device of this
// machine that has joined it, else as nobody. site says whose device where there
// are several; empty: any.
func (r reach) client(site string) (api.Client, error) {
	where, err := r.where(site)
	if err != nil {
		return api.Client{}, err
	}
	return api.Dial(where)
}

// stranger is client for what a hub tells everybody.
func (r reach) stranger() (api.Client, error) {
	where, err := r.where("")
	if err != nil {
		return api.Client{}, err
	}
	where.Identity = nil
	return api.Dial(where)
}

func (r reach) where(site string) (api.Where, error) {
	socket, err := r.socket()
	if err != nil || socket != "" {
		return api.Where{Socket: socket}, err
	}
	ring, err := r.ring()
	if err != nil {
		return api.Where{}, err
	}
	who, err := r.asker(ring, site)
	if err != nil {
		return api.Where{}, err
	}
	where := api.Where{URL: r.Hub}
	if who != nil {
		where.Identity = &who.Identity
		where.URL = cmp.Or(r.Hub, who.told.Hub)
	}
	where.URL = cmp.Or(where.URL, defaultHub)
	return where, nil
}

// socket gives the socket of the hub on this machine; empty: go by HTTP.
func (r reach) socket() (string, error) {
	switch {
	case r.Data != "":
		path := filepath.Join(r.Data, hub.SocketName)
		if isSocket(path) {
			return path, nil
		}
		if r.Hub == "" {
			return "", fmt.Errorf("no hub runs on %s (there is no %s): start it with earlyage serve --data %s, or give --hub URL", r.Data, hub.SocketName, r.Data)
		}
	case r.Hub == "" && r.As == "":
		if path := filepath.Join(defaultDir, hub.SocketName); isSocket(path) {
			return path, nil
		}
	}
	return "", nil
}

func isSocket(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode()&fs.ModeSocket != 0
}

// asker chooses the device that asks: one that has joined the hub that is asked,
// of the site that is asked about if there is one. Nil: this machine has joined
// nothing there. Devices of one person see the same.
func (r reach) asker(ring ring, site string) (*joined, error) {
	if r.As != "" {
		src, err := parseDevice("as", r.As)
		if err != nil {
			return nil, err
		}
		who, err := ring.load(src)
		if errors.Is(err, fs.ErrNotExist) {
			return nil, usagef("as: this machine has not joined as %s; earlyage whoami lists what it has joined as", r.As)
		}
		return who, err
	}
	list, err := ring.all("")
	if err != nil {
		return nil, err
	}
	list = slices.DeleteFunc(list, func(j *joined) bool {
		return r.Hub != "" && strings.TrimRight(r.Hub, "/") != j.told.Hub
	})
	there := func(j *joined) bool { return j.Source.Site == site }
	if slices.ContainsFunc(list, there) {
		list = slices.DeleteFunc(list, func(j *joined) bool { return !there(j) })
	}
	if len(list) == 0 {
		return nil, nil
	}
	for _, j := range list[1:] {
		if j.Person != list[0].Person || j.told.Hub != list[0].told.Hub {
			return nil, usagef("as: this machine has joined as %s/%s and as %s/%s; say who asks with --as SITE/DEVICE", list[0].Source.Site, list[0].Source.Device, j.Source.Site, j.Source.Device)
		}
	}
	return list[0], nil
}

// parseDevice reads SITE/DEVICE.
func parseDevice(field, word string) (events.Source, error) {
	site, device, ok := strings.Cut(word, "/")
	if !ok || site != everySite && !events.IsToken(site) || !events.IsToken(device) {
		return events.Source{}, usagef("%s: %q; allowed: SITE/DEVICE, each of a-z, 0-9 and -, 1 to 40 characters", field, word)
	}
	return events.Source{Site: site, Device: device}, nil
}

// person gives the id of a person that is named by id or by name.
func person(ctx context.Context, c api.Client, word string) (string, error) {
	if strings.HasPrefix(word, "p-") && events.IsToken(word) {
		return word, nil
	}
	var all api.People
	if _, err := c.Get(ctx, api.PathPeople, nil, &all); err != nil {
		return "", err
	}
	var found []string
	for _, p := range all.People {
		if strings.EqualFold(p.Name, word) && !p.Retired {
			found = append(found, p.Person)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", usagef("person: nobody is named %q; earlyage people list shows who there is", word)
	default:
		return "", usagef("person: %q is the name of %s; give the id", word, strings.Join(found, " and "))
	}
}

// next says what to do about an answer of the hub, or is empty.
func next(err error) string {
	switch {
	case errors.Is(err, api.ErrSignIn):
		return "the hub answers only those whom it knows. On its own machine give --data with its folder; elsewhere " + howToJoin("")
	case errors.Is(err, api.ErrNotAllowed):
		return "a keeper may, and whoever runs the hub: on its machine, with --data and its folder. earlyage whoami says what you may"
	default:
		return ""
	}
}
