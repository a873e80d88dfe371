package main

import (
	"context"
	"io"
	"log/slog"
	"time"

	"earlyage/cmd/earlyage/internal/hub"
)

type serveCmd struct {
	Data string `default:"data" type:"path" help:"Folder of all data: stream, kept bytes, view."`
	HTTP string `name:"http" default:"127.0.0.1:8480" help:"Where the hub answers and shows its metrics; empty: nowhere."`

	Client    string `default:"127.0.0.1:4222" help:"Where NATS clients connect; empty: nowhere." group:"Embedded server"`
	Websocket string `default:"127.0.0.1:8481" help:"Where NATS clients connect over websocket; empty: nowhere." group:"Embedded server"`
	MQTT      string `name:"mqtt" default:"127.0.0.1:1883" help:"Where MQTT clients connect; empty: nowhere." group:"Embedded server"`

	NATS        string `name:"nats" placeholder:"URL" help:"Use this server in place of the embedded one." group:"Existing server"`
	NATSMonitor string `name:"nats-monitor" placeholder:"URL" help:"Its HTTP monitoring, to check that it syncs before it acknowledges." group:"Existing server"`

	Log        string        `default:"text" enum:"text,json" placeholder:"text|json" help:"Form of the log, on the standard error."`
	Verbose    bool          `short:"v" help:"Log more."`
	StopWithin time.Duration `default:"30s" help:"How long stopping may take."`
}

// Run implements the command.
func (c serveCmd) Run(ctx context.Context, con console) error {
	if (c.NATS == "") != (c.NATSMonitor == "") {
		return usagef("serve: --nats and --nats-monitor go together: the hub must see that the server syncs before it acknowledges")
	}
	return hub.Run(ctx, hub.Config{
		Dir: c.Data, Client: c.Client, Websocket: c.Websocket, MQTT: c.MQTT, HTTP: c.HTTP,
		NATS: c.NATS, Monitor: c.NATSMonitor, StopWithin: c.StopWithin, Log: logger(con.Err, c.Log, c.Verbose),
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
