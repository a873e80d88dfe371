package stream

import (
	"fmt"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
)

// addUsers makes the hub's key, which lives as long as this server, and lets in
// whom the guard admits; without one, whoever comes without a name.
func (s *Server) addUsers(cfg ServerConfig) (err error) {
	if s.hub, s.public, err = newUser(); err != nil {
		return err
	}
	if cfg.Front != nil {
		s.front = newFront(cfg.Front.withDefaults(cfg.maxConnections()), s.log)
	}
	if cfg.Guard == nil {
		_, anyone, err := newUser()
		if err != nil {
			return err
		}
		s.opts.Nkeys = []*server.NkeyUser{{Nkey: s.public}, {Nkey: anyone, Permissions: anyPermissions()}}
		s.opts.NoAuthUser = anyone
		return nil
	}
	most := cfg.MaxPerDevice
	if most <= 0 {
		most = maxPerDevice
	}
	s.gate = newGate(cfg.Guard, s.public, most, s.log)
	if s.gate.front = s.front; s.front != nil {
		s.front.guarded = true
	}
	s.opts.CustomClientAuthentication, s.opts.AlwaysEnableNonce = s.gate, true
	return nil
}

func newUser() (nkeys.KeyPair, string, error) {
	key, err := nkeys.CreateUser()
	if err != nil {
		return nil, "", fmt.Errorf("make a user's key: %w", err)
	}
	public, err := key.PublicKey()
	if err != nil {
		return nil, "", fmt.Errorf("make a user's key: %w", err)
	}
	return key, public, nil
}

// anyPermissions are those of a client without a name: publish events, ask,
// read the stream by its own consumers. DenyDelete and DenyPurge stand in the
// stream's configuration, but a changed configuration (MaxMsgs 1) trims it and a
// deletion ends it, so both are the hub's alone.
func anyPermissions() *server.Permissions {
	deny := []string{"receipt.>", "alert.>", "told.>", "$SYS.>", "$MQTT.>"}
	for _, call := range []string{
		"STREAM.CREATE", "STREAM.UPDATE", "STREAM.DELETE", "STREAM.PURGE", "STREAM.MSG.DELETE", "STREAM.SNAPSHOT",
		"STREAM.RESTORE", "STREAM.PEER", "STREAM.LEADER", "STREAM.CANCEL_MOVE", "META", "SERVER", "ACCOUNT",
	} {
		deny = append(deny, "$JS.API."+call+".>")
	}
	return &server.Permissions{
		Publish:   &server.SubjectPermission{Deny: deny},
		Subscribe: &server.SubjectPermission{Deny: []string{"ask.>", "$SYS.>"}},
	}
}
