package stream

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/nats-io/nkeys"
	"golang.org/x/crypto/bcrypt"

	"earlyage/events"
)

// ConfInput is what ServerConf needs to know. An address is host:port.
type ConfInput struct {
	Name      string   // of the server; default "earlyage"
	Dir       string   // folder of the stream's files
	Client    string   // of NATS clients
	Websocket string   // empty: off
	Origins   []string // web origins whose pages may open a websocket; default: only the listener's own
	MQTT      string   // empty: off
	Monitor   string   // of the monitoring, for CheckSync; keep it on loopback
	CertFile  string   // PEM; empty: not encrypted
	KeyFile   string   // PEM

	Hub     string // public nkey (U...) that the hub connects with
	Devices []ConfDevice

	// AccountsOnly leaves all out but the accounts: for a configuration of one's own,
	// such as that of a cluster, which includes the file. Only Hub, Devices and
	// MaxPerDevice count then.
	AccountsOnly bool

	MaxPerDevice   int // connections of one device at a time; default 4. One more is refused.
	MaxConnections int // of the server; default 4096
}

// ConfDevice is a device that may connect.
type ConfDevice struct {
	Admission
	Key          string // public nkey; empty for a probe
	User         string // of a probe
	PasswordHash string // bcrypt, of a probe
}

// ServerConf writes the configuration of an external nats-server that admits the
// hub and these devices alone. What each may do is what the embedded server lets
// it do: accounts, imports and permissions are the same. Four things only the
// embedded one has: limits on what a device sends in a second and in a day, turns
// among devices that send at once, an end of the oldest connection where there are
// too many (here the newest is refused), and MQTT client ids that are kept apart.
//
// A device ends by being left out: write the file anew and have the server read
// it (nats-server --signal reload). It has to read it twice before it hears a
// device that is new: server 2.15 begins with the imports of an account at the
// second reading after the account came. Until then the device's events wait in
// its outbox. The same input gives the same bytes.
func ServerConf(in ConfInput) ([]byte, error) {
	if err := in.check(); err != nil {
		return nil, fmt.Errorf("server configuration: %w", err)
	}
	in.Devices = slices.SortedFunc(slices.Values(in.Devices), func(a, b ConfDevice) int {
		return cmp.Compare(a.Source.String(), b.Source.String())
	})
	var c conf
	c.line("# Made by the hub from its people and devices: changes here are lost. After a")
	c.line("# change have the server read it twice (nats-server --signal reload): the first")
	c.line("# time ends who is left out, the second lets a new device's events through.")
	if !in.AccountsOnly {
		in.listeners(&c)
	}
	c.open("accounts {")
	in.hubAccount(&c)
	in.probeAccount(&c)
	for _, d := range in.Devices {
		if !d.Probe {
			in.deviceAccount(&c, d)
		}
	}
	c.close("}")
	return c.Bytes(), nil
}

func (in *ConfInput) check() error {
	in.Name = cmp.Or(in.Name, "earlyage")
	if in.MaxPerDevice <= 0 {
		in.MaxPerDevice = maxPerDevice
	}
	if in.MaxConnections <= 0 {
		in.MaxConnections = ServerConfig{}.maxConnections()
	}
	errs := []error{in.checkDevices()}
	if !in.AccountsOnly {
		errs = append(errs, in.checkListeners())
	}
	if !nkeys.IsValidPublicUserKey(in.Hub) {
		errs = append(errs, fmt.Errorf("the hub's key %q is not the public key of a user", in.Hub))
	}
	return errors.Join(errs...)
}

func (in *ConfInput) checkListeners() error {
	var errs []error
	for field, value := range map[string]string{"Dir": in.Dir, "Client": in.Client, "Monitor": in.Monitor} {
		if value == "" {
			errs = append(errs, fmt.Errorf("%s is empty", field))
		}
	}
	for field, addr := range map[string]string{"Client": in.Client, "Websocket": in.Websocket, "MQTT": in.MQTT, "Monitor": in.Monitor} {
		if _, _, err := listenAddress(field, addr); err != nil {
			errs = append(errs, err)
		}
	}
	if (in.CertFile == "") != (in.KeyFile == "") {
		errs = append(errs, errors.New("a CertFile and a KeyFile go together"))
	}
	return errors.Join(errs...)
}

func (in *ConfInput) checkDevices() error {
	var errs []error
	seen := map[string]bool{in.Hub: true}
	once := func(what, name string) {
		if seen[name] {
			errs = append(errs, fmt.Errorf("%s %q stands twice", what, name))
		}
		seen[name] = true
	}
	for _, d := range in.Devices {
		_, err := events.ParseSource(d.Source.String())
		switch {
		case err != nil:
			errs = append(errs, err)
			continue
		case d.Probe && (d.User == "" || d.Key != ""):
			errs = append(errs, fmt.Errorf("device %s is a probe: it has a user and no key", d.Source))
		case d.Probe && !isHash(d.PasswordHash):
			errs = append(errs, fmt.Errorf("device %s: its password is not a bcrypt hash", d.Source))
		case !d.Probe && !nkeys.IsValidPublicUserKey(d.Key):
			errs = append(errs, fmt.Errorf("device %s: %q is not the public key of a user", d.Source, d.Key))
		}
		once("device", d.Source.String())
		once("key or user", cmp.Or(d.Key, d.User))
	}
	return errors.Join(errs...)
}

func isHash(s string) bool {
	_, err := bcrypt.Cost([]byte(s))
	return err == nil
}

// conf is a configuration as it is written.
type conf struct {
	bytes.Buffer
	depth int
}

func (c *conf) line(format string, values ...any) {
	c.WriteString(strings.Repeat("  ", c.depth))
	fmt.Fprintf(c, format, values...)
	c.WriteByte('\n')
}

func (c *conf) open(format string, values ...any) {
	c.line(format, values...)
	c.depth++
}

func (c *conf) close(text string) {
	c.depth--
	c.line("%s", text)
}

// listText writes strings as a list.
func listText(all []string) string {
	quoted := make([]string, len(all))
	for i, s := range all {
		quoted[i] = strconv.Quote(s)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

func (in *ConfInput) listeners(c *conf) {
	c.line("server_name: %q", in.Name)
	c.line("listen: %q", in.Client)
	c.line("http: %q # for the hub, which asks whether the server syncs always", in.Monitor)
	c.open("jetstream {")
	c.line("store_dir: %q", in.Dir)
	c.line("sync_interval: always # an acknowledgement means that the event is on the disk")
	c.close("}")
	c.line("max_payload: %d # the greatest event and its headers", maxPayload)
	c.line("max_connections: %d", in.MaxConnections+hubConnections)
	c.line("max_subscriptions: %d", maxSubscriptions)
	// Both kinds of client can connect: those that wait for the greeting, and those
	// that encrypt from the first byte.
	in.tls(c, "handshake_first: auto")
	if in.Websocket != "" {
		c.open("websocket {")
		c.line("listen: %q", in.Websocket)
		if len(in.Origins) > 0 {
			c.line("allowed_origins: %s", listText(in.Origins))
		} else {
			c.line("same_origin: true")
		}
		if in.tls(c, ""); in.CertFile == "" {
			c.line("no_tls: true")
		}
		c.close("}")
	}
	if in.MQTT != "" {
		c.open("mqtt {")
		c.line("listen: %q", in.MQTT)
		in.tls(c, "")
		c.close("}")
	}
}

func (in *ConfInput) tls(c *conf, more string) {
	if in.CertFile == "" {
		return
	}
	c.open("tls {")
	c.line("cert_file: %q", in.CertFile)
	c.line("key_file: %q", in.KeyFile)
	if more != "" {
		c.line("%s", more)
	}
	c.close("}")
}

const hubAccount = "HUB"

func (in *ConfInput) hubAccount(c *conf) {
	c.open("%s {", hubAccount)
	c.line("jetstream: enabled")
	c.line("users: [ { nkey: %q } ]", in.Hub)
	// One export of services: the server takes no answer back through the export
	// that its request came by.
	c.line(`exports: [ { service: ">" }, { stream: "receipt.>" }, { stream: "alert.>" }, { stream: "told.>" } ]`)
	c.close("}")
}

func (in *ConfInput) probeAccount(c *conf) {
	c.open("%q {", probesAccount)
	c.line("jetstream: enabled # for the sessions of MQTT")
	c.line(`imports: [ { service: { account: %s, subject: "probe.>" } } ]`, hubAccount)
	c.open("users: [")
	for _, d := range in.Devices {
		if d.Probe {
			c.line("{ user: %q, password: %q, allowed_connection_types: [MQTT], permissions: %s }", d.User, d.PasswordHash, permissionsText(d.Admission))
		}
	}
	c.close("]")
	c.close("}")
}

func (in *ConfInput) deviceAccount(c *conf, d ConfDevice) {
	c.open("%q {", accountName(d.Source))
	c.line("limits: { max_connections: %d }", in.MaxPerDevice)
	c.line("users: [ { nkey: %q, allowed_connection_types: [STANDARD, WEBSOCKET], permissions: %s } ]", d.Key, permissionsText(d.Admission))
	c.open("imports: [")
	services, streams := importsOf(d.Source)
	for _, s := range services {
		c.line("{ service: { account: %s, subject: %q } }", hubAccount, s)
	}
	for _, s := range streams {
		c.line("{ stream: { account: %s, subject: %q } }", hubAccount, s)
	}
	c.close("]")
	c.close("}")
}

func permissionsText(a Admission) string {
	publish, subscribe := Permissions(a)
	only := func(allow []string, deny ...string) string {
		if len(allow) == 0 {
			return `{ deny: ">" }`
		}
		text := "{ allow: " + listText(allow)
		if len(deny) > 0 {
			text += ", deny: " + listText(deny)
		}
		return text + " }"
	}
	return "{ publish: " + only(publish) + ", subscribe: " + only(subscribe, anyQueueGroup) + " }"
}
