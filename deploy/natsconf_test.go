package deploy_test

import (
	"bufio"
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/testdata/loopback"
)

// buildServer builds the server's own program, once for all tests.
var buildServer = sync.OnceValues(func() (string, error) {
	var err error
	if built, err = os.MkdirTemp("", "earlyage-nats-server-"); err != nil {
		return "", err
	}
	path := filepath.Join(built, "nats-server")
	out, err := exec.Command("go", "build", "-o", path, "github.com/nats-io/nats-server/v2").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("build nats-server: %w\n%s", err, out)
	}
	return path, nil
})

// built is the folder of the program, when it was built.
var built string

func TestMain(m *testing.M) {
	code := m.Run()
	for _, folder := range []string{built, builtHub} {
		if folder != "" {
			_ = os.RemoveAll(folder) // what is left is a temporary file
		}
	}
	os.Exit(code)
}

// external is a server in a process of its own, with the configuration that
// ServerConf writes.
type external struct {
	in      stream.ConfInput
	path    string // of the configuration
	process *exec.Cmd
	pool    *x509.CertPool
	hub     stream.Identity
	said    chan string // lines of its log
}

func identity(t *testing.T, site, device string) stream.Identity {
	t.Helper()
	id, err := stream.NewIdentity(events.Source{Site: site, Device: device}, "")
	require.NoError(t, err)
	return id
}

func public(t *testing.T, id stream.Identity) string {
	t.Helper()
	key, err := id.Public()
	require.NoError(t, err)
	return key
}

func freeAddress(t *testing.T) string {
	t.Helper()
	at, err := loopback.Free()
	require.NoError(t, err)
	return at
}

// startExternal starts a server that knows the devices.
func startExternal(t *testing.T, devices []stream.ConfDevice) *external {
	t.Helper()
	program, err := buildServer()
	require.NoError(t, err)
	dir := t.TempDir()
	cert, key, pool := certificate(t, dir)
	x := &external{path: filepath.Join(dir, "nats.conf"), pool: pool, hub: identity(t, "_", "hub"), said: make(chan string, 1000)}
	x.in = stream.ConfInput{
		Dir: filepath.Join(dir, "store"), Client: freeAddress(t), Websocket: freeAddress(t), MQTT: freeAddress(t), Monitor: freeAddress(t),
		CertFile: cert, KeyFile: key, Hub: public(t, x.hub), Devices: devices, MaxPerDevice: 3,
	}
	x.write(t)
	x.process = exec.Command(program, "-c", x.path)
	log, err := x.process.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, x.process.Start())
	read := make(chan struct{})
	go func() {
		defer close(read)
		for lines := bufio.NewScanner(log); lines.Scan(); {
			select {
			case x.said <- lines.Text():
			default: // nobody waits for it
			}
		}
	}()
	t.Cleanup(func() {
		require.NoError(t, x.process.Process.Signal(os.Interrupt))
		<-read
		require.NoError(t, x.process.Wait())
	})
	x.waitFor(t, "Server is ready")
	return x
}

func (x *external) write(t *testing.T) {
	t.Helper()
	text, err := stream.ServerConf(x.in)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(x.path, text, 0o600))
}

// reload has the server read its configuration again.
func (x *external) reload(t *testing.T) {
	t.Helper()
	x.write(t)
	require.NoError(t, x.process.Process.Signal(syscall.SIGHUP))
	x.waitFor(t, "Reloaded server configuration")
}

func (x *external) waitFor(t *testing.T, text string) {
	t.Helper()
	late := time.After(patience)
	for {
		select {
		case line := <-x.said:
			if strings.Contains(line, text) {
				return
			}
			require.NotContains(t, line, "[FTL] ")
		case <-late:
			t.Fatalf("the server did not say %q", text)
		}
	}
}

func (x *external) client() *tls.Config { return &tls.Config{RootCAs: x.pool} }

// as connects a device; its refusals go to a channel.
func (x *external) as(t *testing.T, scheme string, id stream.Identity, opts ...nats.Option) (*nats.Conn, chan error) {
	t.Helper()
	said := make(chan error, 1000)
	at := scheme + x.in.Client
	if scheme == "wss://" {
		at = scheme + x.in.Websocket
	}
	nc, err := stream.DialAs(at, "test", nil, id, append(opts, nats.Timeout(patience), nats.Secure(x.client()),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { said <- err }))...)
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	return nc, said
}

func (x *external) probe(d stream.ConfDevice, password string, lost func()) mqtt.Client {
	return mqtt.NewClient(mqtt.NewClientOptions().AddBroker("ssl://" + x.in.MQTT).SetTLSConfig(x.client()).
		SetClientID(stream.MQTTClientID(d.Source)).SetUsername(d.User).SetPassword(password).SetAutoReconnect(false).
		SetConnectionLostHandler(func(mqtt.Client, error) { lost() }))
}

func phone(t *testing.T, id stream.Identity, roles ...events.Role) stream.ConfDevice {
	t.Helper()
	return stream.ConfDevice{Admission: stream.Admission{Source: id.Source, Kinds: events.KindsOf(roles...)}, Key: public(t, id)}
}

func loggerDevice(t *testing.T, device, wall string) stream.ConfDevice {
	t.Helper()
	return stream.ConfDevice{
		Admission: stream.Admission{Source: events.Source{Site: "mill", Device: device}, Probe: true, Wall: wall, Kinds: []events.Kind{"temperature.read"}},
		User:      "mill." + device, PasswordHash: hash(t, "secret-of-"+device),
	}
}

func wait(t *testing.T, token mqtt.Token) {
	t.Helper()
	require.True(t, token.WaitTimeout(patience))
	require.NoError(t, token.Error())
}

// held reads what the stream holds now.
func held(t *testing.T, st *stream.Stream) (all []stream.Message) {
	t.Helper()
	_, last, err := st.Head(testContext(t))
	require.NoError(t, err)
	if last == 0 {
		return nil
	}
	err = st.Read(testContext(t), 0, stream.Limits{}, func(batch []stream.Message) error {
		if all = append(all, batch...); all[len(all)-1].Seq >= last {
			return context.Canceled
		}
		return nil
	})
	require.ErrorIs(t, err, context.Canceled)
	return all
}

// A server of its own does what the embedded one does: each role stores what it
// may record and nothing else, hears its own and nothing else.
func TestExternalServerRoles(t *testing.T) {
	ids, devices := map[events.Role]stream.Identity{}, []stream.ConfDevice{}
	for _, role := range events.Roles() {
		ids[role] = identity(t, "mill", "phone-"+string(role))
		devices = append(devices, phone(t, ids[role], role))
	}
	x := startExternal(t, devices)
	hub, _ := x.as(t, "tls://", x.hub)
	require.NoError(t, stream.CheckSyncOf(testContext(t), hub, "http://"+x.in.Monitor))
	st, err := stream.Open(testContext(t), hub, stream.Config{})
	require.NoError(t, err)
	var want, got []string
	for _, role := range events.Roles() {
		nc, said := x.as(t, "tls://", ids[role])
		for _, k := range events.Kinds() {
			wall := "north"
			if k.SiteWide() {
				wall = "_"
			}
			subject := "pour.mill." + wall + "." + string(k)
			if slices.Contains(events.KindsOf(role), k) {
				_, _, err := stream.PublishOne(testContext(t), nc, subject, []byte("x"), "")
				require.NoError(t, err)
				want = append(want, subject)
				continue
			}
			require.NoError(t, nc.Publish(subject, []byte("x")))
			require.ErrorContains(t, <-said, `Permissions Violation for Publish to "`+subject+`"`)
		}
		for _, subject := range []string{"pour.other.north.pour.started", "probe.mill.p.north.temperature.read", "alert.mill.north", "receipt.mill.phone-crew", "told.mill.phone-crew", "$JS.API.STREAM.DELETE.POURS", "$SYS.REQ.SERVER.PING"} {
			require.NoError(t, nc.Publish(subject, []byte("x")))
			require.ErrorContains(t, <-said, `Permissions Violation for Publish to "`+subject+`"`)
		}
		for _, subject := range []string{">", "pour.>", "receipt.mill.*", "told.mill.*", "told.mill.other", "alert.other.>", "_INBOX.>", "_INBOX.mill.other.>", "$JS.>", "$SYS.>"} {
			_, err := nc.SubscribeSync(subject)
			require.NoError(t, err)
			require.ErrorContains(t, <-said, `Permissions Violation for Subscription to "`+subject+`"`)
		}
	}
	for _, m := range held(t, st) {
		got = append(got, m.Subject)
	}
	require.Equal(t, want, got)
}

// Outbox, receipts, alerts, reply subjects, probes and websockets with a server
// of its own.
func TestExternalServer(t *testing.T) {
	one, two := identity(t, "mill", "phone-1"), identity(t, "mill", "phone-2")
	probe := loggerDevice(t, "probe-7", "north")
	x := startExternal(t, []stream.ConfDevice{phone(t, one, events.Crew), phone(t, two, events.Officer), probe, loggerDevice(t, "probe-8", "")})
	hub, _ := x.as(t, "tls://", x.hub)
	st, err := stream.Open(testContext(t), hub, stream.Config{})
	require.NoError(t, err)
	stop, err := stream.AnswerReceipts(hub, func(events.Source) (stream.Receipt, bool, error) {
		return stream.Receipt{At: time.Now()}, false, nil
	})
	require.NoError(t, err)
	defer stop()

	victim, _ := x.as(t, "wss://", two)
	alerts, err := victim.SubscribeSync("alert.mill.>")
	require.NoError(t, err)
	receipts, err := victim.SubscribeSync(stream.ReceiptSubject(two.Source))
	require.NoError(t, err)
	told, err := victim.SubscribeSync(stream.ToldSubject(two.Source))
	require.NoError(t, err)
	require.NoError(t, victim.Flush())
	evil, _ := x.as(t, "tls://", one)
	for _, reply := range []string{
		"pour.other.north.pour.started", "pour.mill.north.permit.issued", "pour.mill.north.pour.started", "probe.mill.probe-7.north.temperature.read",
		"alert.mill.north", "receipt.mill.phone-2", "told.mill.phone-2", "$JS.API.STREAM.DELETE.POURS",
	} {
		require.NoError(t, evil.PublishRequest("pour.mill.north.pour.started", reply, []byte("x")))
		require.NoError(t, evil.PublishRequest(stream.AskSubject(one.Source), reply, []byte("x")))
	}
	box, err := stream.OutboxConfig{Dir: t.TempDir(), Source: one.Source, Sign: one.Sign}.Open()
	require.NoError(t, err)
	defer func() { require.NoError(t, box.Close()) }()
	_, err = box.AddAll([]events.Event{{Kind: "pour.started", Wall: "north", Data: &events.Moment{}}, {Kind: "pour.finished", Wall: "north", Data: &events.Moment{}}})
	require.NoError(t, err)
	require.NoError(t, box.Drain(testContext(t), evil))
	all := held(t, st)
	require.Len(t, all, 8+3)
	for _, m := range all[:8] {
		require.Equal(t, "pour.mill.north.pour.started x", m.Subject+" "+string(m.Body))
	}
	require.NoError(t, hub.Publish("alert.other.north", []byte("no")))
	require.NoError(t, hub.Publish("alert.mill.north", []byte("an alert")))
	require.NoError(t, hub.Publish(stream.ToldSubject(one.Source), []byte("no")))
	require.NoError(t, hub.Publish(stream.ToldSubject(two.Source), []byte("a message")))
	require.NoError(t, stream.PublishReceipts(testContext(t), hub, []stream.Receipt{{Source: one.Source.String()}, {Source: two.Source.String(), UpTo: 7}}))
	m, err := alerts.NextMsg(patience)
	require.NoError(t, err)
	require.Equal(t, "an alert", string(m.Data))
	m, err = told.NextMsg(patience)
	require.NoError(t, err)
	require.Equal(t, "a message", string(m.Data))
	m, err = receipts.NextMsg(patience)
	require.NoError(t, err)
	r, err := stream.ParseReceipt(two.Source, m.Data)
	require.NoError(t, err)
	require.EqualValues(t, 7, r.UpTo)

	c := x.probe(probe, "secret-of-probe-7", func() {})
	wait(t, c.Connect())
	defer c.Disconnect(0)
	for _, topic := range []string{"pour/mill/north/temperature/read", "probe/mill/probe-8/north/temperature/read", "probe/mill/probe-7/south/temperature/read", "probe/mill/probe-7/north/wind/read"} {
		wait(t, c.Publish(topic, 1, false, "forbidden"))
	}
	wait(t, c.Publish("probe/mill/probe-7/north/temperature/read", 1, false, "reading"))
	all = held(t, st)[11:]
	require.Len(t, all, 1)
	require.Equal(t, "probe.mill.probe-7.north.temperature.read reading", all[0].Subject+" "+string(all[0].Body))
	for _, at := range []string{"tls://" + x.in.Client, "wss://" + x.in.Websocket} {
		// The server may end it before the client has read why.
		_, err := nats.Connect(at, nats.Secure(x.client()), nats.UserInfo(probe.User, "secret-of-probe-7"))
		require.Error(t, err)
	}
	refused := x.probe(probe, "wrong", func() {}).Connect()
	require.True(t, refused.WaitTimeout(patience))
	require.Error(t, refused.Error())
}

// A device that is left out of the configuration ends when the server reads it,
// whatever it speaks; the others go on. One that has a new key comes with that. A
// device that is new is heard when the server has read its configuration twice.
func TestExternalServerRevokes(t *testing.T) {
	gone, stays, turns := identity(t, "mill", "phone-1"), identity(t, "mill", "phone-2"), identity(t, "mill", "phone-3")
	probe := loggerDevice(t, "probe-7", "")
	x := startExternal(t, []stream.ConfDevice{phone(t, gone, events.Crew), phone(t, stays, events.Crew), phone(t, turns, events.Crew), probe})
	hub, _ := x.as(t, "tls://", x.hub)
	_, err := stream.Open(testContext(t), hub, stream.Config{})
	require.NoError(t, err)
	ended := make(chan string, 10)
	tell := func(what string) nats.Option { return nats.ClosedHandler(func(*nats.Conn) { ended <- what }) }
	x.as(t, "tls://", gone, tell("nats"), nats.NoReconnect())
	x.as(t, "wss://", gone, tell("websocket"), nats.NoReconnect())
	x.as(t, "tls://", turns, tell("old key"), nats.NoReconnect())
	rest, _ := x.as(t, "tls://", stays, nats.NoReconnect())
	c := x.probe(probe, "secret-of-probe-7", func() { ended <- "mqtt" })
	wait(t, c.Connect())

	next := identity(t, "mill", "phone-3")
	came := identity(t, "other", "phone-9")
	x.in.Devices = []stream.ConfDevice{phone(t, stays, events.Crew), phone(t, next, events.Crew), phone(t, came, events.Crew)}
	x.reload(t)
	got := []string{<-ended, <-ended, <-ended, <-ended}
	slices.Sort(got)
	require.Equal(t, []string{"mqtt", "nats", "old key", "websocket"}, got)
	for _, id := range []stream.Identity{gone, turns} {
		_, err := stream.DialAs("tls://"+x.in.Client, "test", nil, id, nats.Secure(x.client()))
		require.Error(t, err)
	}
	x.reload(t) // the imports of a new account begin with the second reading
	for _, id := range []stream.Identity{next, came} {
		nc, _ := x.as(t, "tls://", id)
		_, _, err = stream.PublishOne(testContext(t), nc, "pour."+id.Source.Site+".north.pour.started", []byte("x"), "")
		require.NoError(t, err)
	}
	_, _, err = stream.PublishOne(testContext(t), rest, "pour.mill.north.pour.started", []byte("x"), "")
	require.NoError(t, err)
	_, _, err = stream.PublishOne(testContext(t), hub, "pour._._.site.opened", []byte("x"), "")
	require.NoError(t, err, "the hub was cut off")
}

// One connection more than a device may have is refused.
func TestExternalServerConnections(t *testing.T) {
	id := identity(t, "mill", "phone-1")
	x := startExternal(t, []stream.ConfDevice{phone(t, id, events.Crew)})
	for range x.in.MaxPerDevice {
		x.as(t, "tls://", id, nats.NoReconnect())
	}
	_, err := stream.DialAs("tls://"+x.in.Client, "test", nil, id, nats.Secure(x.client()), nats.NoReconnect())
	require.ErrorContains(t, err, "maximum account active connections exceeded")
}

// The same people give the same bytes, in whatever order they come.
func TestServerConfIsTheSameAgain(t *testing.T) {
	a, b := phone(t, identity(t, "mill", "a"), events.Crew), phone(t, identity(t, "mill", "b"), events.Crew)
	in := stream.ConfInput{Dir: "/store", Client: ":4222", Monitor: ":8222", Hub: public(t, identity(t, "_", "hub")), Devices: []stream.ConfDevice{a, b}}
	one, err := stream.ServerConf(in)
	require.NoError(t, err)
	in.Devices = []stream.ConfDevice{b, a}
	two, err := stream.ServerConf(in)
	require.NoError(t, err)
	require.Equal(t, string(one), string(two))
}

func TestServerConfRefuses(t *testing.T) {
	hub, id := identity(t, "_", "hub"), identity(t, "mill", "phone-1")
	good := func() stream.ConfInput {
		return stream.ConfInput{Dir: "/store", Client: ":4222", Monitor: ":8222", Hub: public(t, hub), Devices: []stream.ConfDevice{phone(t, id, events.Crew), loggerDevice(t, "probe-7", "")}}
	}
	_, err := stream.ServerConf(good())
	require.NoError(t, err)
	for want, spoil := range map[string]func(*stream.ConfInput){
		"Dir is empty":                  func(in *stream.ConfInput) { in.Dir = "" },
		"Client is empty":               func(in *stream.ConfInput) { in.Client = "" },
		`MQTT "x"`:                      func(in *stream.ConfInput) { in.MQTT = "x" },
		"a CertFile and a":              func(in *stream.ConfInput) { in.CertFile = "c" },
		"the hub's key \"\"":            func(in *stream.ConfInput) { in.Hub = "" },
		"key or user":                   func(in *stream.ConfInput) { in.Devices[0].Key = in.Hub },
		"stands twice":                  func(in *stream.ConfInput) { in.Devices = append(in.Devices, in.Devices[0]) },
		"not a bcrypt hash":             func(in *stream.ConfInput) { in.Devices[1].PasswordHash = "secret" },
		"a user and no key":             func(in *stream.ConfInput) { in.Devices[1].User = "" },
		"is not the public key of a us": func(in *stream.ConfInput) { in.Devices[0].Key = "x" },
		"source":                        func(in *stream.ConfInput) { in.Devices[0].Source.Site = "a.b" },
	} {
		in := good()
		spoil(&in)
		_, err := stream.ServerConf(in)
		require.ErrorContains(t, err, want)
	}
}
