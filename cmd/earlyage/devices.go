package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
	"earlyage/events/stream"
)

type devicesCmd struct {
	List   devicesListCmd   `cmd:"" help:"Every device, whose it is, and whether it is shut out."`
	Revoke devicesRevokeCmd `cmd:"" help:"Shut a device out, at once. What it recorded stands."`
	Probe  devicesProbeCmd  `cmd:"" help:"Enrol a probe, which cannot sign: user, password and topics for MQTT."`
}

type devicesListCmd struct {
	reach
	Site string `help:"Only this site."`
	All  bool   `help:"Those that are shut out too."`
	JSON bool   `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c devicesListCmd) Run(ctx context.Context, con console) error {
	client, err := c.client(c.Site)
	if err != nil {
		return err
	}
	var all api.Devices
	body, err := client.Get(ctx, api.PathDevices, nil, &all)
	if err != nil {
		return err
	}
	if c.JSON {
		return line(con.Out, body)
	}
	return writeDevices(con.Out, slices.DeleteFunc(all.Devices, func(d api.Device) bool {
		return c.Site != "" && d.Site != c.Site || d.Revoked && !c.All
	}))
}

func writeDevices(out io.Writer, list []api.Device) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(out, "No device. To add one: earlyage invite PERSON --site SITE, and earlyage join LINK on the machine that joins.")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	_, failed := fmt.Fprintln(w, "DEVICE\tSORT\tPERSON\tMAY SAY\tSTATE")
	for _, d := range list {
		state := "joined"
		if d.Revoked {
			state = "shut out: " + d.Reason
		}
		_, err := fmt.Fprintf(w, "%s/%s\t%s\t%s\t%s\t%s\n", d.Site, d.Device, d.Sort, orDash(d.Person), saying(d), state)
		failed = errors.Join(failed, err)
	}
	return errors.Join(failed, w.Flush())
}

// saying is what a device may say, in few words.
func saying(d api.Device) string {
	what := "by the person's roles"
	if d.Sort != "phone" {
		what = "by the role of probes"
	}
	if len(d.Kinds) > 0 {
		what = kindWords(d.Kinds)
	}
	if d.Wall != "" {
		what += " on " + d.Wall
	}
	return what
}

func kindWords(kinds []events.Kind) string {
	words := make([]string, len(kinds))
	for i, k := range kinds {
		words[i] = string(k)
	}
	return strings.Join(words, ", ")
}

type devicesRevokeCmd struct {
	reach
	Device string `arg:"" placeholder:"SITE/DEVICE" help:"Which device."`
	Reason string `required:"" help:"Why; it stands in the record."`
}

// Run implements the command.
func (c devicesRevokeCmd) Run(ctx context.Context, con console) error {
	src, err := parseDevice("device", c.Device)
	if err != nil {
		return err
	}
	client, err := c.client(src.Site)
	if err != nil {
		return err
	}
	if err := client.Post(ctx, api.DevicePath(src)+"/revoke", api.Revocation{Reason: c.Reason}, nil); err != nil {
		return err
	}
	_, err = fmt.Fprintf(con.Out, "%s is shut out. What it recorded stands; for a new one: earlyage invite\n", c.Device)
	return err
}

type devicesProbeCmd struct {
	reach
	Device string   `arg:"" placeholder:"SITE/DEVICE" help:"The site and a new name for the probe."`
	Wall   string   `help:"The only wall that it measures; without it any wall of the site."`
	Kind   []string `placeholder:"KIND" help:"What it may say, such as temperature.read; give it again for more. Default all that probes may."`
	JSON   bool     `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c devicesProbeCmd) Run(ctx context.Context, con console) error {
	src, err := parseDevice("device", c.Device)
	if err != nil {
		return err
	}
	probe := api.NewProbe{Site: src.Site, Device: src.Device, Wall: c.Wall}
	if probe.Kinds, err = probeKinds(c.Kind); err != nil {
		return err
	}
	if c.Wall != "" && !events.IsToken(c.Wall) {
		return usagef("wall: %q; allowed: a-z, 0-9 and -, 1 to 40 characters", c.Wall)
	}
	client, err := c.client(src.Site)
	if err != nil {
		return err
	}
	var secret api.ProbeSecret
	if err := client.Post(ctx, api.PathProbes, probe, &secret); err != nil {
		return err
	}
	if c.JSON {
		return writeJSON(con.Out, secret)
	}
	return tellProbe(con.Out, probe, secret)
}

func probeKinds(words []string) ([]events.Kind, error) {
	var kinds []events.Kind
	for _, word := range words {
		k := events.Kind(word)
		if !k.Known() || !k.MayRecord(events.Probe) {
			return nil, usagef("kind: %q; allowed for a probe: %s", word, kindWords(events.KindsOf(events.Probe)))
		}
		kinds = append(kinds, k)
	}
	return kinds, nil
}

func tellProbe(out io.Writer, p api.NewProbe, secret api.ProbeSecret) error {
	kinds := p.Kinds
	if len(kinds) == 0 {
		kinds = events.KindsOf(events.Probe)
	}
	if _, err := fmt.Fprintf(out, "Probe %s/%s, over MQTT 3.1.1\n  client id  %s\n  user       %s\n  password   %s\nThe password is shown this once. Topics, QoS 1:\n",
		p.Site, p.Device, stream.MQTTClientID(events.Source{Site: p.Site, Device: p.Device}), secret.User, secret.Password); err != nil {
		return err
	}
	open := false
	for _, k := range kinds {
		wall := p.Wall
		switch {
		case k.SiteWide() && p.Wall != "":
			continue
		case k.SiteWide():
			wall = everySite
		case wall == "":
			wall, open = "WALL", true
		}
		if _, err := fmt.Fprintf(out, "  %s\n", probeTopic(p.Site, p.Device, wall, k)); err != nil {
			return err
		}
	}
	if open {
		if _, err := fmt.Fprintln(out, "WALL stands for the name of the wall that is measured."); err != nil {
			return err
		}
	}
	return nil
}

// probeTopic is the MQTT topic of a probe's subject.
func probeTopic(site, device, wall string, k events.Kind) string {
	return strings.Join([]string{"probe", site, device, wall, strings.ReplaceAll(string(k), ".", "/")}, "/")
}
