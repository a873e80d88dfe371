package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/events"
	"earlyage/events/stream"
)

// machine is what every command takes that uses this machine's devices.
type machine struct {
	Outbox string `env:"EARLYAGE_OUTBOX" type:"path" placeholder:"DIR" help:"Folder of this machine's outboxes and keys; default ~/.local/state/earlyage/outbox."`
}

// ring is that folder. Below it, in SITE/DEVICE, lies a device's outbox, and
// beside the outbox of a device that has joined its identity and what the hub
// has told it of itself.
type ring string

func (m machine) ring() (ring, error) {
	if m.Outbox != "" {
		return ring(m.Outbox), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no --outbox and no home folder: %w", err)
	}
	return ring(filepath.Join(home, ".local", "state", "earlyage", "outbox")), nil
}

// Files of a joined device, beside its outbox.
const (
	identityFile = "identity"
	nextFile     = "identity.next" // the key of a rotation that has no answer yet
	toldFile     = "joined.json"
)

// joined is a device of this machine that has joined a hub.
type joined struct {
	stream.Identity
	dir  string
	told told
}

// told is what a hub has told a device of itself. The roles may have changed
// since; the hub decides.
type told struct {
	Hub    string        `json:"hub"`            // where it joined, http://host:port
	NATS   string        `json:"nats,omitzero"`  // where it publishes; empty: as --nats says
	Roles  []events.Role `json:"roles,omitzero"` // of its person on its site
	Kinds  []events.Kind `json:"kinds,omitzero"` // what it may record
	HubKey string        `json:"hub_key,omitzero"`
	At     time.Time     `json:"at"` // when the hub said so
}

func (r ring) dir(src events.Source) string { return filepath.Join(string(r), src.Site, src.Device) }

// load reads a device that has joined; fs.ErrNotExist: it has not.
func (r ring) load(src events.Source) (*joined, error) {
	j := &joined{dir: r.dir(src)}
	var err error
	if j.Identity, err = stream.LoadIdentity(filepath.Join(j.dir, identityFile)); err != nil {
		return nil, err
	}
	if j.Source != src {
		return nil, fmt.Errorf("identity in %s is of %s", j.dir, j.Source)
	}
	text, err := os.ReadFile(filepath.Join(j.dir, toldFile))
	if err == nil {
		err = json.Unmarshal(text, &j.told)
	}
	if err != nil {
		return nil, fmt.Errorf("what the hub told %s: %w", src, err)
	}
	return j, nil
}

// keep writes what the hub told and then the identity. A crash between the two
// leaves a device that has not joined yet, and its key where it was made.
func (j *joined) keep() error {
	if err := os.MkdirAll(j.dir, 0o700); err != nil {
		return fmt.Errorf("keep identity: %w", err)
	}
	if err := j.note(); err != nil {
		return err
	}
	return j.Save(filepath.Join(j.dir, identityFile))
}

// note writes what the hub told.
func (j *joined) note() error {
	text, err := json.Marshal(j.told, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("note what the hub told: %w", err)
	}
	f, err := os.CreateTemp(j.dir, toldFile+"-*") // its mode is 0600
	if err != nil {
		return fmt.Errorf("note what the hub told: %w", err)
	}
	_, err = f.Write(append(text, '\n'))
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), filepath.Join(j.dir, toldFile))
	}
	if err != nil {
		return fmt.Errorf("note what the hub told: %w", errors.Join(err, os.Remove(f.Name())))
	}
	return nil
}

// all lists the devices of a site that have joined, in order of site and name;
// site is empty for every site.
func (r ring) all(site string) ([]*joined, error) {
	if site == "" {
		site = "*"
	}
	files, err := filepath.Glob(filepath.Join(globEscape(string(r)), site, "*", identityFile))
	if err != nil {
		return nil, fmt.Errorf("look for identities in %s: %w", r, err)
	}
	var list []*joined
	for _, file := range files {
		dir := filepath.Dir(file)
		src := events.Source{Site: filepath.Base(filepath.Dir(dir)), Device: filepath.Base(dir)}
		if src.Site == joiningDir {
			continue
		}
		j, err := r.load(src)
		if err != nil {
			return nil, err
		}
		list = append(list, j)
	}
	return list, nil
}

// globEscape takes the meaning from what is a pattern for filepath.Glob.
func globEscape(path string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(path)
}

// ours finds the device of this machine that has joined a site: the one that is
// named, or the only one. Nil without an error: none has.
func (r ring) ours(site, device string) (*joined, error) {
	if device != "" {
		j, err := r.load(events.Source{Site: site, Device: device})
		if errors.Is(err, fs.ErrNotExist) {
			return nil, nil
		}
		return j, err
	}
	list, err := r.all(site)
	switch {
	case err != nil || len(list) == 0:
		return nil, err
	case len(list) > 1:
		return nil, usagef("device: this machine has joined %s as %s; say which with --device", site, names(list))
	}
	return list[0], nil
}

func names(list []*joined) string {
	words := make([]string, len(list))
	for i, j := range list {
		words[i] = j.Source.Device
	}
	return strings.Join(words, ", ")
}

// howToJoin says what to do for a device on a site; it ends what says why.
func howToJoin(site string) string {
	if site == "" {
		site = "SITE"
	}
	return fmt.Sprintf("ask a keeper, or one who has a role on the site and may invite, for earlyage invite PERSON --site %s, and then: earlyage join LINK", site)
}
