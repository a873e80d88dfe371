package main

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/nats-io/nkeys"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/events/stream"
)

type joinCmd struct {
	machine
	Link   string `arg:"" optional:"" default:"-" help:"The link of the invitation; - reads it, or the code alone, from the standard input. A link without its code: the code is read from there."`
	Hub    string `env:"EARLYAGE_HUB" placeholder:"URL" help:"Address of the hub, where the code alone is given."`
	Device string `help:"Name of this device; default one that the hub makes."`
	NATS   string `name:"nats" env:"EARLYAGE_NATS" placeholder:"URL" help:"Where this device will publish; default port 4222 of the hub's host."`
	JSON   bool   `name:"json" help:"The hub's answer as JSON."`
}

// Run implements the command.
func (c joinCmd) Run(ctx context.Context, con console) error {
	if c.Device != "" && !events.IsToken(c.Device) {
		return usagef("device: %q; allowed: a-z, 0-9 and -, 1 to 40 characters", c.Device)
	}
	hub, code, err := c.invitation(con)
	if err != nil {
		return err
	}
	client, err := api.Dial(api.Where{URL: hub})
	if err != nil {
		return err
	}
	ring, err := c.ring()
	if err != nil {
		return err
	}
	// The key is on the disk before its public half leaves this machine: whatever
	// is cut off after that, what the hub has enrolled can be used.
	key, file, err := ring.keyFor(code)
	if err != nil {
		return err
	}
	answer, err := c.post(ctx, client, key, code)
	if err != nil {
		return joinTrouble(err, hub)
	}
	j := &joined{
		Identity: stream.Identity{Source: events.Source{Site: answer.Site, Device: answer.Device}, Person: answer.Person, Seed: key.Seed},
		told:     told{Hub: hub, NATS: c.NATS, Roles: answer.Roles, HubKey: answer.HubKey, At: time.Now().UTC()},
	}
	j.dir = ring.dir(j.Source)
	// A crash before this is whole leaves the key where it was made; the same
	// command finds it there and asks again.
	if err := j.keep(); err != nil {
		return err
	}
	if err := os.RemoveAll(filepath.Dir(file)); err != nil {
		return fmt.Errorf("join: the device has joined, but its first key file is still there: %w", err)
	}
	if c.JSON {
		return writeJSON(con.Out, answer)
	}
	return tellJoined(con.Out, j)
}

// invitation reads the hub's address and the code.
func (c joinCmd) invitation(con console) (hub, code string, err error) {
	text := c.Link
	if text == "-" {
		if text, err = readLine(con, "Link of the invitation: "); err != nil {
			return "", "", err
		}
	}
	hub = c.Hub
	if strings.Contains(text, "://") {
		if hub, code, err = splitLink(text); err != nil {
			return "", "", err
		}
	} else {
		code = text
	}
	if code == "" {
		if code, err = readLine(con, "Code of the invitation: "); err != nil {
			return "", "", err
		}
	}
	if hub == "" {
		return "", "", usagef("join: give the whole link, or with the code alone --hub URL")
	}
	return hub, code, nil
}

// splitLink takes https://hub.example/join#code apart.
func splitLink(text string) (hub, code string, err error) {
	u, err := url.Parse(text)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return "", "", usagef("join: the link is not one such as https://hub.example/join#code") // its words could hold the code
	}
	code, u.Fragment, u.RawFragment = u.Fragment, "", ""
	u.Path, u.RawPath, u.RawQuery = strings.TrimSuffix(strings.TrimSuffix(u.Path, "/"), "/join"), "", ""
	return u.String(), code, nil
}

func readLine(con console, prompt string) (string, error) {
	if isTerminal(con.Err) {
		fmt.Fprint(con.Err, prompt)
	}
	text, err := bufio.NewReader(io.LimitReader(con.In, 4096)).ReadString('\n')
	text = strings.TrimSpace(text)
	if text == "" {
		return "", usageError{errors.Join(errors.New("join: no link or code on the standard input"), noEOF(err))}
	}
	return text, nil
}

func noEOF(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// joiningDir holds keys whose device has no name yet; it is no site's name.
const joiningDir = "joining.d"

// keyFor makes the key for an invitation, or finds the one that an earlier try
// with it has made, and returns it with its file.
func (r ring) keyFor(code string) (stream.Identity, string, error) {
	sum := sha256.Sum256([]byte("earlyage join key " + code))
	file := filepath.Join(string(r), joiningDir, hex.EncodeToString(sum[:8]), identityFile)
	key, err := stream.LoadIdentity(file)
	if !errors.Is(err, fs.ErrNotExist) {
		return key, file, err
	}
	if key, err = stream.NewIdentity(events.Source{Site: everySite, Device: "joining"}, ""); err != nil {
		return key, file, err
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return key, file, fmt.Errorf("join: %w", err)
	}
	return key, file, key.Save(file)
}

func (c joinCmd) post(ctx context.Context, client api.Client, key stream.Identity, code string) (roster.Joined, error) {
	var answer roster.Joined
	public, err := key.Public()
	if err != nil {
		return answer, err
	}
	proof, err := prove(key, roster.JoinProof(code))
	if err != nil {
		return answer, err
	}
	err = client.Post(ctx, api.PathJoin, roster.JoinRequest{Code: code, Key: public, Device: c.Device, Proof: proof}, &answer)
	if err != nil {
		return answer, err
	}
	if src := (events.Source{Site: answer.Site, Device: answer.Device}); badSource(src) {
		return answer, fmt.Errorf("join: the hub gave the device no name that can be used: %q on %q", answer.Device, answer.Site)
	}
	return answer, nil
}

func badSource(src events.Source) bool {
	_, err := events.ParseSource(src.String())
	return err != nil
}

// prove signs a text with a device's key, as unpadded URL base64.
func prove(key stream.Identity, text []byte) (string, error) {
	pair, err := nkeys.FromSeed([]byte(key.Seed))
	if err != nil {
		return "", fmt.Errorf("sign with the key of %s: %w", key.Source, err)
	}
	sig, err := pair.Sign(text)
	if err != nil {
		return "", fmt.Errorf("sign with the key of %s: %w", key.Source, err)
	}
	return base64.RawURLEncoding.EncodeToString(sig), nil
}

func joinTrouble(err error, hub string) error {
	var p *api.Problem
	if errors.As(err, &p) {
		return fmt.Errorf("join %s: %w. An invitation is good for one device and 15 minutes; for a new one, %s", hub, err, howToJoin(""))
	}
	return fmt.Errorf("join %s: %w. The key that was made is kept: the same command goes on with it", hub, err)
}

func tellJoined(out io.Writer, j *joined) error {
	whose := "a station, in nobody's hand"
	if j.Person != "" {
		whose = fmt.Sprintf("a device of %s, %s on %s", j.Person, roleWords(j.told.Roles), siteWord(j.Source.Site))
	}
	_, err := fmt.Fprintf(out, "joined %s as %s/%s, %s\nits key lies in %s and nowhere else\n", j.told.Hub, j.Source.Site, j.Source.Device, whose, filepath.Join(j.dir, identityFile))
	if err == nil {
		err = writeMay(out, j.kinds())
	}
	return err
}

// writeMay writes what may be recorded, in lines of a screen's width.
func writeMay(out io.Writer, kinds []events.Kind) error {
	if len(kinds) == 0 {
		_, err := fmt.Fprintln(out, "may record: nothing")
		return err
	}
	const width = 96
	row := "may record:"
	for i, k := range kinds {
		word := " " + string(k)
		if i < len(kinds)-1 {
			word += ","
		}
		if len(row)+len(word) > width {
			if _, err := fmt.Fprintln(out, row); err != nil {
				return err
			}
			row = " "
		}
		row += word
	}
	_, err := fmt.Fprintln(out, row)
	return err
}

// kinds is what a device may record, as the hub last said.
func (j *joined) kinds() []events.Kind {
	switch {
	case len(j.told.Kinds) > 0:
		return j.told.Kinds
	case j.Person == "":
		return events.KindsOf(events.Probe)
	default:
		return events.KindsOf(j.told.Roles...)
	}
}
