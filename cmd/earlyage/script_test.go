package main

import (
	"context"
	"errors"
	"flag"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"earlyage/cmd/earlyage/internal/hub"
)

var updateScripts = flag.Bool("update", false, "write the expected output of the scripts")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"earlyage": func() { os.Exit(run()) }})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		UpdateScripts:       *updateScripts,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status": statusCmd, "hub": hubCmd, "settle": settleCmd,
		},
	})
}

// status N PROGRAM ARGS... runs a program that must end with that status.
func statusCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N program [args...]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	var exit *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("status %d, want %d", got, want)
	}
}

type running struct{ hub *hub.Hub }

// hub FOLDER runs a hub on free ports until the script ends; $HUB is where it
// answers, $NATS where clients connect.
func hubCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: hub folder")
	}
	h, err := hub.Start(context.Background(), hub.Config{
		Dir: ts.MkAbs(args[0]), Client: "127.0.0.1:0", HTTP: "127.0.0.1:0", Synchronised: func() bool { return true },
	})
	ts.Check(err)
	ts.Defer(func() { ts.Check(h.Stop()) })
	ts.Setenv("HUB", h.HTTPURL())
	ts.Setenv("EARLYAGE_HUB", h.HTTPURL())
	ts.Setenv("NATS", h.ClientURL())
	ts.Setenv("EARLYAGE_NATS", h.ClientURL())
	hubs[ts.Getenv("WORK")] = running{h}
}

// hubs are the hubs of the scripts, by their folder. Scripts run one by one.
var hubs = map[string]running{}

// settle waits until the hub has folded and said all that there is.
func settleCmd(ts *testscript.TestScript, neg bool, args []string) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	ts.Check(hubs[ts.Getenv("WORK")].hub.Settle(ctx))
}
