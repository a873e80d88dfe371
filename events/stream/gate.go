package stream

import (
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
	"golang.org/x/time/rate"

	"earlyage/events"
)

// probesAccount is the account of the connections that speak MQTT. The server
// keeps their sessions in streams, which it makes in the connection's account;
// so they share one that holds nothing else. MQTT 3.1.1 knows no reply subject,
// which is what the others are kept apart for.
const probesAccount = "probes"

// gate asks the guard about every connection, and puts a device into an account
// of its own.
//
// The server does not check the reply subject of a message against permissions:
// whoever may publish a request may have the acknowledgement sent to any subject
// of the account, so that it is stored, heard by others, or answered by them. An
// account of a device's own holds nothing but the few imports below. What is
// left is a reply that one of these imports could take out again. Server 2.15
// does not do that, for two reasons that each suffice: an answer is not taken
// back through the export that its request came by, and there is only one; and an
// answer that meets an import with a wildcard goes on under its own subject,
// which nobody hears, and not under the reply's. A test watches over it.
type gate struct {
	guard Guard
	hub   string // the hub's public key
	most  int    // connections of a device
	log   *slog.Logger
	srv   *server.Server // set before it starts
	front *front         // nil: none

	refusals rate.Sometimes // what a stranger can make the log say

	// asking is held for reading from the question to the guard until the answer is
	// noted: who takes it for writing knows that every connection is noted, or will
	// be judged by what the guard knows now.
	asking sync.RWMutex

	mu       sync.Mutex
	accounts map[events.Source]*server.Account
	seats    map[events.Source][]uint64 // the server's numbers of a device's connections, oldest first
}

func newGate(guard Guard, hub string, most int, log *slog.Logger) *gate {
	return &gate{
		guard: guard, hub: hub, most: most, log: log,
		accounts: map[events.Source]*server.Account{}, seats: map[events.Source][]uint64{}, refusals: seldom(),
	}
}

// seldom lets ten of a kind into the log, and one a second after that.
func seldom() rate.Sometimes { return rate.Sometimes{First: 10, Interval: time.Second} }

// open makes what the accounts of devices import from. Called when the server
// runs and nobody can reach it yet.
func (g *gate) open(withMQTT bool) error {
	hub := g.srv.GlobalAccount()
	err := errors.Join(
		hub.AddServiceExport(">", nil), // the only one: see gate
		hub.AddStreamExport("receipt.>", nil),
		hub.AddStreamExport("alert.>", nil),
		hub.AddStreamExport("told.>", nil),
	)
	if err != nil {
		return fmt.Errorf("export from the hub's account: %w", err)
	}
	if !withMQTT {
		return nil
	}
	probes, err := g.srv.RegisterAccount(probesAccount)
	if err != nil {
		return fmt.Errorf("account of the probes: %w", err)
	}
	if err := probes.EnableJetStream(nil, nil); err != nil {
		return fmt.Errorf("account of the probes: %w", err)
	}
	if err := probes.AddServiceImport(hub, "probe.>", ""); err != nil {
		return fmt.Errorf("account of the probes: %w", err)
	}
	return nil
}

// Check is called by the server for every connection that has said who it is.
func (g *gate) Check(c server.ClientAuthentication) bool {
	claim, err := g.claimOf(c)
	switch {
	case err != nil:
	case claim.Key == g.hub:
		c.RegisterUser(&server.User{Username: "hub"}) // in the account where it is: the hub's
		return true
	default:
		err = g.admit(c, claim)
	}
	if err != nil {
		g.refusals.Do(func() {
			g.log.Warn("nats connection refused", "remote", claim.Remote, "key", claim.Key, "user", claim.User, "cause", err.Error())
		})
	}
	return err == nil
}

// claimOf reads what a connection says of itself and verifies its signature of
// the nonce. The server gives every connection a nonce but those that speak MQTT.
func (g *gate) claimOf(c server.ClientAuthentication) (Claim, error) {
	o, nonce := c.GetOpts(), c.GetNonce()
	claim := Claim{Remote: g.remote(c)}
	if c.Kind() != server.CLIENT {
		return claim, fmt.Errorf("%w: not a client", ErrNotAdmitted)
	}
	if len(nonce) == 0 {
		claim.User, claim.Password = o.Username, o.Password
		if claim.User == "" || claim.Password == "" {
			return claim, fmt.Errorf("%w: no user or no password", ErrNotAdmitted)
		}
		return claim, nil
	}
	if o.Nkey == "" || o.Username != "" || o.Password != "" || o.Token != "" || o.JWT != "" {
		return claim, fmt.Errorf("%w: a key, and nothing else, opens this listener", ErrNotAdmitted)
	}
	claim.Key = o.Nkey
	if err := verifyNonce(o.Nkey, o.Sig, nonce); err != nil {
		return claim, fmt.Errorf("%w: %w", ErrNotAdmitted, err)
	}
	return claim, nil
}

func verifyNonce(public, signature string, nonce []byte) error {
	if !nkeys.IsValidPublicUserKey(public) {
		return errors.New("not the public key of a user")
	}
	sig, err := base64.RawURLEncoding.DecodeString(signature)
	if err != nil { // some clients write the other form
		if sig, err = base64.StdEncoding.DecodeString(signature); err != nil {
			return errors.New("the signature is not base64")
		}
	}
	key, err := nkeys.FromPublicKey(public)
	if err != nil {
		return fmt.Errorf("public key: %w", err)
	}
	if err := key.Verify(nonce, sig); err != nil {
		return errors.New("the nonce is not signed by this key")
	}
	return nil
}

// remote is the address that a connection comes from.
func (g *gate) remote(c server.ClientAuthentication) string {
	addr := c.RemoteAddress()
	if addr == nil {
		return ""
	}
	if g.front != nil {
		return g.front.remoteOf(addr.String())
	}
	return addr.String()
}

// admit asks the guard and gives the connection what it may have.
func (g *gate) admit(c server.ClientAuthentication, claim Claim) error {
	g.asking.RLock()
	defer g.asking.RUnlock()
	a, err := g.guard.Admit(claim)
	if err != nil {
		return err
	}
	if _, err := events.ParseSource(a.Source.String()); err != nil {
		return fmt.Errorf("the guard admits %s: %w", a.Source, err)
	}
	if a.Probe != (claim.Key == "") {
		return fmt.Errorf("%w: %s must come %s", ErrNotAdmitted, a.Source, map[bool]string{true: "by MQTT, with its password", false: "with its key"}[a.Probe])
	}
	if err := g.ownSession(c, a); err != nil {
		return err
	}
	account, err := g.account(a)
	if err != nil {
		return fmt.Errorf("account of %s: %w", a.Source, err)
	}
	g.seat(a.Source, c.GetID())
	if addr := c.RemoteAddress(); addr != nil && g.front != nil {
		g.front.admitted(addr.String(), a.Source, a.Probe)
	}
	c.RegisterUser(&server.User{Username: a.Source.String(), Account: account, Permissions: permissionsOf(a)})
	return nil
}

// ownSession refuses an MQTT client id that is another device's. The server ends
// the connection that has an id when another comes with the same one.
func (g *gate) ownSession(c server.ClientAuthentication, a Admission) error {
	if !a.Probe {
		return nil
	}
	info, err := g.info(c.GetID())
	if err != nil {
		return err
	}
	if want := MQTTClientID(a.Source); info.MQTTClient != want {
		return fmt.Errorf("%w: MQTT client id %q, must be %q", ErrNotAdmitted, info.MQTTClient, want)
	}
	return nil
}

// MQTTClientID is the client id with which a probe must connect.
func MQTTClientID(src events.Source) string { return src.Site + "/" + src.Device }

// info is what the server knows of a connection.
func (g *gate) info(cid uint64) (*server.ConnInfo, error) {
	z, err := g.srv.Connz(&server.ConnzOptions{CID: cid})
	if err != nil {
		return nil, fmt.Errorf("connection %d: %w", cid, err)
	}
	if len(z.Conns) != 1 {
		return nil, fmt.Errorf("connection %d is gone", cid)
	}
	return z.Conns[0], nil
}

// anyQueueGroup is every subject in every queue group. The server shares what an
// import brings among the members of groups of one name, in whatever accounts they
// are: a device could take its neighbours' alerts away.
const anyQueueGroup = "> >"

func permissionsOf(a Admission) *server.Permissions {
	publish, subscribe := Permissions(a)
	only := func(list []string) *server.SubjectPermission {
		if len(list) == 0 {
			return &server.SubjectPermission{Deny: []string{">"}}
		}
		return &server.SubjectPermission{Allow: list}
	}
	hear := only(subscribe)
	hear.Deny = append(hear.Deny, anyQueueGroup)
	return &server.Permissions{Publish: only(publish), Subscribe: hear}
}

// account returns a device's own account, with imports of no more than it may
// use; for a probe, the one of all probes.
func (g *gate) account(a Admission) (*server.Account, error) {
	if a.Probe {
		return g.srv.LookupAccount(probesAccount)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if have, ok := g.accounts[a.Source]; ok {
		return have, nil
	}
	own, _ := g.srv.LookupOrRegisterAccount(accountName(a.Source))
	services, streams := importsOf(a.Source)
	var errs []error
	for _, subject := range services {
		errs = append(errs, own.AddServiceImport(g.srv.GlobalAccount(), subject, ""))
	}
	for _, subject := range streams {
		errs = append(errs, own.AddStreamImport(g.srv.GlobalAccount(), subject, ""))
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	g.accounts[a.Source] = own
	return own, nil
}

// importsOf are what a device's account takes from the hub's: what it asks of it
// and what it hears from it.
func importsOf(src events.Source) (services, streams []string) {
	return []string{"pour." + src.Site + ".>", AskSubject(src)}, []string{ReceiptSubject(src), "alert." + src.Site + ".>", ToldSubject(src)}
}

func accountName(src events.Source) string { return src.Site + "." + src.Device }

// seat notes a connection. A device that has as many as it may loses its oldest:
// that is most often one which the device has lost already and the server not
// yet noticed, and a device without signal must not be kept out by its own past.
func (g *gate) seat(src events.Source, cid uint64) {
	g.mu.Lock()
	list := slices.DeleteFunc(g.seats[src], func(cid uint64) bool { return g.srv.GetClient(cid) == nil })
	over := max(0, len(list)+1-g.most)
	ended := slices.Clone(list[:over])
	g.seats[src] = append(slices.Clone(list[over:]), cid)
	g.mu.Unlock()
	for _, cid := range ended {
		if g.srv.DisconnectClientByID(cid) == nil {
			g.log.Warn("device has too many connections, its oldest is ended", "device", src.String(), "most", g.most)
		}
	}
}

// disconnect ends the connections of the devices that match.
func (g *gate) disconnect(match func(events.Source) bool) (n int) {
	g.asking.Lock()
	defer g.asking.Unlock()
	g.mu.Lock()
	var ended []uint64
	for src, list := range g.seats {
		if match(src) {
			ended = append(ended, list...)
			delete(g.seats, src)
		}
	}
	g.mu.Unlock()
	for _, cid := range ended {
		if g.srv.DisconnectClientByID(cid) == nil {
			n++
		}
	}
	return n
}
