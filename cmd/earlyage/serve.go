package main

import (
	"context"
	"io"
	"log/slog"
	"time"

	"earlyage/cmd/earlyage/internal/hub"
)

type serveCmd struct {
	Data    string `default:"data" type:"path" help:"Folder of all data: stream, kept bytes, view; and of hub.sock, over which the account that runs the hub may do everything."`
	HTTP    string `name:"http" default:"127.0.0.1:8480" help:"Where the hub answers; empty: nowhere."`
	Metrics string `default:"127.0.0.1:8482" help:"Where the hub shows its metrics, never encrypted; empty: nowhere."`
	Address string `placeholder:"URL" help:"Where people and devices reach the hub, as https://hub.example: stands in invitations, and passkeys belong to it."`

	TLSCert        string   `name:"tls-cert" type:"path" placeholder:"FILE" help:"Certificate of every listener, with its chain (PEM). It is read again when it changes." group:"Encryption"`
	TLSKey         string   `name:"tls-key" type:"path" placeholder:"FILE" help:"Its key (PEM)." group:"Encryption"`
	ACMEDomain     []string `name:"acme-domain" placeholder:"NAME" help:"Get the certificate of this public name from an ACME authority, and accept its terms. --http must be reached on port 443." group:"Encryption"`
	ACMECache      string   `name:"acme-cache" type:"path" placeholder:"FOLDER" help:"Where those certificates and their keys are kept; default: acme within --data." group:"Encryption"`
	ACMEDirectory  string   `name:"acme-directory" placeholder:"URL" help:"Directory of the authority, for one of your own." group:"Encryption"`
	PlainOnNetwork bool     `name:"plain-on-network" help:"Listen outside loopback without a certificate: only where a proxy in front encrypts." group:"Encryption"`

	Client    string `default:"127.0.0.1:4222" help:"Where NATS clients connect; empty: nowhere." group:"Embedded server"`
	Websocket string `default:"127.0.0.1:8481" help:"Where NATS clients connect over websocket; empty: nowhere." group:"Embedded server"`
	MQTT      string `name:"mqtt" default:"127.0.0.1:1883" help:"Where MQTT clients connect; empty: nowhere." group:"Embedded server"`

	NATS          string `name:"nats" placeholder:"URL" help:"Use this server in place of the embedded one. Who may connect to it is for its own configuration to say: earlyage deploy nats-config." group:"Existing server"`
	NATSSeed      string `name:"nats-seed" type:"path" placeholder:"FILE" help:"Seed of the hub's key on it (nkey)." group:"Existing server"`
	NATSMonitor   string `name:"nats-monitor" placeholder:"URL" help:"Its HTTP monitoring, to check that it syncs before it acknowledges." group:"Existing server"`
	NATSWebsocket string `name:"nats-websocket" placeholder:"URL" help:"Its websockets (ws:// or wss://), to which those of phones that come to the hub at /nats are handed on; without it they find none there." group:"Existing server"`

	Routes     string `type:"path" placeholder:"FILE" help:"Route file: who is told of what, in which order, by mail, web hooks and browsers too. It is read again when it changes. earlyage routes check judges one." group:"Telling"`
	Beat       string `placeholder:"URL" help:"Lookout on another machine that gets a heartbeat every minute: earlyage lookout." group:"Telling"`
	BeatSecret string `name:"beat-secret" type:"path" placeholder:"FILE" help:"What signs the heartbeat: the lookout's --secret-file." group:"Telling"`

	ForgetAfter int `name:"forget-after" default:"0" placeholder:"DAYS" help:"Erase the name and addresses of a person so many days after they have retired from everywhere, once a day; 0: never. No message of the record is touched." group:"Personal data"`

	Rate       int `default:"262144" placeholder:"BYTES" help:"Most bytes a second from one NATS or MQTT connection." group:"Limits"`
	Burst      int `default:"2097152" placeholder:"BYTES" help:"Most bytes at once from one." group:"Limits"`
	PerAddress int `default:"256" placeholder:"N" help:"Most connections from one address (a /64 of IPv6), of NATS and of HTTP each. Behind a proxy all have the proxy's: raise it." group:"Limits"`
	PerDevice  int `default:"4" placeholder:"N" help:"Most connections of one device." group:"Limits"`
	Most       int `name:"most-connections" default:"4096" placeholder:"N" help:"Most connections in all, of NATS and of HTTP each." group:"Limits"`

	Unsigned bool `help:"Take events from anybody, without a name and a signature, and show the record to anybody: for trials. Fixed when the folder is made."`

	Log        string        `default:"text" enum:"text,json" placeholder:"text|json" help:"Form of the log, on the standard error."`
	Verbose    bool          `short:"v" help:"Log more."`
	StopWithin time.Duration `default:"30s" help:"How long stopping may take."`
}

const mostForgetDays = 36500

// Run implements the command.
func (c serveCmd) Run(ctx context.Context, con console) error {
	if (c.NATS == "") != (c.NATSMonitor == "") {
		return usagef("serve: --nats and --nats-monitor go together: the hub must see that the server syncs before it acknowledges")
	}
	if (c.Beat == "") != (c.BeatSecret == "") {
		return usagef("serve: --beat and --beat-secret go together: a heartbeat counts only if it is signed")
	}
	if c.ForgetAfter < 0 || c.ForgetAfter > mostForgetDays {
		return usagef("serve: forget-after: %d; allowed: 0..%d days", c.ForgetAfter, mostForgetDays)
	}
	return hub.Run(ctx, hub.Config{
		ForgetAfter: time.Duration(c.ForgetAfter) * 24 * time.Hour, Routes: c.Routes, Beat: hub.Beat{URL: c.Beat, SecretFile: c.BeatSecret},
		Dir: c.Data, Client: c.Client, Websocket: c.Websocket, MQTT: c.MQTT, HTTP: c.HTTP, Metrics: c.Metrics, Address: c.Address,
		TLS:            hub.TLS{CertFile: c.TLSCert, KeyFile: c.TLSKey, Domains: c.ACMEDomain, Cache: c.ACMECache, Directory: c.ACMEDirectory},
		PlainOnNetwork: c.PlainOnNetwork, Unsigned: c.Unsigned,
		Limits: hub.Limits{Rate: c.Rate, Burst: c.Burst, PerAddress: c.PerAddress, PerDevice: c.PerDevice, Most: c.Most},
		NATS:   c.NATS, NATSSeed: c.NATSSeed, NATSWebsocket: c.NATSWebsocket, Monitor: c.NATSMonitor, StopWithin: c.StopWithin, Log: logger(con.Err, c.Log, c.Verbose),
	})
}

func logger(w io.Writer, form string, verbose bool) *slog.Logger {
	opts := &slog.HandlerOptions{Level: slog.LevelInfo}
	if verbose {
		opts.Level = slog.LevelDebug
	}
	if form == "json" {
		return slog.New(slog.NewJSONHandler(w, opts))
	}
	return slog.New(slog.NewTextHandler(w, opts))
}
