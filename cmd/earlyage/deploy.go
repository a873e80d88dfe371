package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"golang.org/x/crypto/bcrypt"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
)

type deployCmd struct {
	NATSConfig natsConfigCmd `cmd:"" name:"nats-config" help:"Write the configuration of a NATS server beside the hub, with an account for each site and everybody who has joined, to the standard output."`
}

type natsConfigCmd struct {
	reach
	HubKey string `required:"" placeholder:"KEY" help:"Public key (U...) that the hub connects with: the one of serve --nats-seed."`
	Store  string `required:"" type:"path" placeholder:"DIR" help:"Folder of the stream, on the server's machine."`
	Name   string `default:"earlyage" help:"Name of the server."`

	Client    string `default:"0.0.0.0:4222" help:"Where NATS clients connect."`
	Websocket string `placeholder:"HOST:PORT" help:"Where NATS clients connect over websocket; without it nowhere."`
	MQTT      string `name:"mqtt" placeholder:"HOST:PORT" help:"Where MQTT clients connect; without it nowhere."`
	Monitor   string `default:"127.0.0.1:8222" help:"Where the hub asks whether the server syncs before it acknowledges; nobody else should reach it."`

	Origin []string `placeholder:"URL" help:"Web origin whose pages may open a websocket; default only the listener's own."`

	TLSCert string `name:"tls-cert" placeholder:"FILE" help:"Certificate, PEM, on the server's machine."`
	TLSKey  string `name:"tls-key" placeholder:"FILE" help:"Its key, PEM."`
	Probes  string `placeholder:"FILE" help:"The probes' passwords as bcrypt hashes: USER HASH, one to a line; - reads from the standard input. A probe that is not in it may not connect."`
}

// Run implements the command.
func (c natsConfigCmd) Run(ctx context.Context, con console) error {
	if (c.TLSCert == "") != (c.TLSKey == "") {
		return usagef("deploy: --tls-cert and --tls-key go together")
	}
	if _, err := stream.PublicKeyOf(c.HubKey); err != nil {
		return usagef("hub-key: %q; allowed: the public half of an nkey, U and 55 characters; never the seed", clipKey(c.HubKey))
	}
	hashes, err := c.hashes(con.In)
	if err != nil {
		return err
	}
	client, err := c.client("")
	if err != nil {
		return err
	}
	var devices api.Devices
	if _, err := client.Get(ctx, api.PathDevices, nil, &devices); err != nil {
		return err
	}
	var people api.People
	if _, err := client.Get(ctx, api.PathPeople, nil, &people); err != nil {
		return err
	}
	list, without := confDevices(devices.Devices, people.People, hashes)
	text, err := stream.ServerConf(stream.ConfInput{
		Name: c.Name, Dir: c.Store, Client: c.Client, Websocket: c.Websocket, Origins: c.Origin, MQTT: c.MQTT, Monitor: c.Monitor,
		CertFile: c.TLSCert, KeyFile: c.TLSKey, Hub: c.HubKey, Devices: list,
	})
	if err != nil {
		return err
	}
	for _, user := range without {
		fmt.Fprintf(con.Err, "earlyage: probe %s has no hash in --probes and may not connect\n", user)
	}
	if _, err := con.Out.Write(text); err != nil {
		return fmt.Errorf("deploy: %w", err)
	}
	return nil
}

// clipKey shows enough of a key to recognise it and nothing of a seed.
func clipKey(s string) string {
	if strings.HasPrefix(s, "S") {
		return "S..."
	}
	return s[:min(len(s), 60)]
}

// hashes reads USER HASH lines.
func (c natsConfigCmd) hashes(in io.Reader) (map[string]string, error) {
	if c.Probes == "" {
		return nil, nil
	}
	if c.Probes != "-" {
		f, err := os.Open(c.Probes)
		if err != nil {
			return nil, usageError{fmt.Errorf("probes: %w", err)}
		}
		defer f.Close()
		in = f
	}
	hashes := map[string]string{}
	lines := bufio.NewScanner(in)
	for n := 1; lines.Scan(); n++ {
		word := strings.Fields(lines.Text())
		if len(word) == 0 || strings.HasPrefix(word[0], "#") {
			continue
		}
		if len(word) != 2 {
			return nil, usagef("probes: line %d; allowed: USER HASH", n)
		}
		if _, err := bcrypt.Cost([]byte(word[1])); err != nil {
			return nil, usagef("probes: line %d, user %q; allowed: a bcrypt hash, and never the password itself", n, word[0])
		}
		hashes[word[0]] = word[1]
	}
	return hashes, lines.Err()
}

// confDevices lists who may connect and what they may publish; and the probes
// that have no password there.
func confDevices(devices []api.Device, people []api.Person, hashes map[string]string) (list []stream.ConfDevice, without []string) {
	roles := map[string]api.Roles{}
	for _, p := range people {
		if !p.Retired {
			roles[p.Person] = p.Roles
		}
	}
	for _, d := range devices {
		src := events.Source{Site: d.Site, Device: d.Device}
		conf := stream.ConfDevice{
			Admission: stream.Admission{Source: src, Kinds: mayPublish(d, roles[d.Person]), Probe: d.Sort == events.SortProbe, Wall: d.Wall},
			Key:       d.Key,
		}
		if conf.Probe {
			conf.User = roster.UserOf(src)
			conf.PasswordHash = hashes[conf.User]
		}
		switch {
		case d.Revoked || len(conf.Kinds) == 0:
		case conf.Probe && conf.PasswordHash == "":
			without = append(without, conf.User)
		default:
			list = append(list, conf)
		}
	}
	return list, without
}

// mayPublish is what a device may publish, as the register has it.
func mayPublish(d api.Device, of api.Roles) []events.Kind {
	switch {
	case d.Sort == events.SortPhone:
		return events.KindsOf(slices.Concat(of[everySite], of[d.Site])...)
	case len(d.Kinds) > 0:
		return d.Kinds
	default:
		return events.KindsOf(events.Probe)
	}
}
