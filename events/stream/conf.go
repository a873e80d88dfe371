package stream

import "errors"

// ConfInput is what ServerConf needs to know.
type ConfInput struct {
	Name      string // of the server; default "earlyage"
	Dir       string // folder of the stream's files
	Client    string // host:port of NATS clients
	Websocket string // host:port; empty: off
	MQTT      string // host:port; empty: off
	Monitor   string // host:port of the monitoring, for CheckSync; keep it on loopback
	CertFile  string // PEM; empty: not encrypted
	KeyFile   string // PEM
	Hub       string // public nkey (U...) that the hub connects with
	Devices   []ConfDevice
}

// ConfDevice is a device that may connect.
type ConfDevice struct {
	Admission
	Key          string // public nkey; empty for a probe
	User         string // of a probe
	PasswordHash string // bcrypt, of a probe; empty: it may not connect
}

// ServerConf writes the configuration of an external nats-server that admits the
// hub and these devices alone, each with its own account and permissions.
func ServerConf(in ConfInput) ([]byte, error) {
	if in.Dir == "" {
		return nil, errors.New("server configuration: Dir is empty")
	}
	return nil, errors.New("server configuration: not written")
}
