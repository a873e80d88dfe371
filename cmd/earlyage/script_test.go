package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/rogpeppe/go-internal/testscript"

	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/scheduler"
)

var updateScripts = flag.Bool("update", false, "write the expected output of the scripts")

// A program under the race detector looks for races for another second when it has
// done its work; a script runs dozens of programs.
const raceWait = "atexit_sleep_ms=50"

func TestMain(m *testing.M) {
	if os.Getenv("GORACE") == "" {
		if err := os.Setenv("GORACE", raceWait); err != nil {
			panic(err)
		}
	}
	testscript.Main(m, map[string]func(){"earlyage": func() { os.Exit(run()) }})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		UpdateScripts:       *updateScripts,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("GORACE", os.Getenv("GORACE"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status": statusCmd, "hub": hubCmd, "settle": settleCmd, "later": laterCmd,
			"invited": invitedCmd, "named": namedCmd, "ago": agoCmd, "until": untilCmd, "measure": measureCmd, "altered": alteredCmd,
			"entries": entriesCmd,
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

// running is the hub of a script, whose clock can be set forward.
type running struct {
	*hub.Hub
	ahead atomic.Int64 // ns
}

// hub [-unsigned] FOLDER runs a hub on free ports until the script ends. $HUB is
// where it answers, $NATS where clients connect, $MQTT where probes do. On its
// own machine it is reached by --data FOLDER; the script's commands reach it as
// other machines would.
func hubCmd(ts *testscript.TestScript, neg bool, args []string) {
	unsigned := len(args) == 2 && args[0] == "-unsigned"
	if neg || len(args) != 1 && !unsigned {
		ts.Fatalf("usage: hub [-unsigned] folder")
	}
	r := &running{}
	var err error
	r.Hub, err = hub.Start(context.Background(), hub.Config{
		Dir: ts.MkAbs(args[len(args)-1]), Client: "127.0.0.1:0", HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Unsigned: unsigned,
		Synchronised: func() bool { return true },
		Clock:        scheduler.NewReal(func() time.Time { return time.Now().Add(time.Duration(r.ahead.Load())) }),
	})
	ts.Check(err)
	ts.Defer(func() { ts.Check(r.Stop()) })
	ts.Setenv("HUB", r.HTTPURL())
	ts.Setenv("EARLYAGE_HUB", r.HTTPURL())
	ts.Setenv("NATS", r.ClientURL())
	ts.Setenv("EARLYAGE_NATS", r.ClientURL())
	ts.Setenv("MQTT", r.MQTTAddr())
	hubs.Store(ts.Getenv("WORK"), r)
}

// hubs are the hubs of the scripts, by their folder. Scripts run side by side.
var hubs sync.Map

func hubOf(ts *testscript.TestScript) *running {
	r, ok := hubs.Load(ts.Getenv("WORK"))
	if !ok {
		ts.Fatalf("no hub runs: hub FOLDER starts one")
	}
	return r.(*running)
}

// settle waits until the hub has folded and said all that there is.
func settleCmd(ts *testscript.TestScript, neg bool, args []string) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	ts.Check(hubOf(ts).Settle(ctx))
}

// later DURATION sets the hub's clock forward.
func laterCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: later duration")
	}
	by, err := time.ParseDuration(args[0])
	ts.Check(err)
	hubOf(ts).ahead.Add(int64(by))
}

var linkShown = regexp.MustCompile(`(?m)^  link +(\S+/join#\S+)$`)

// invited FILE takes the link that the command before has shown into a file.
func invitedCmd(ts *testscript.TestScript, neg bool, args []string) {
	found := linkShown.FindStringSubmatch(ts.ReadFile("stdout"))
	if neg || len(args) != 1 || found == nil {
		ts.Fatalf("usage: invited file, after earlyage invite")
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(found[1]+"\n"), 0o600))
}

// named VARIABLE REGEXP sets a variable to what the regexp's group finds in what
// the command before has written.
func namedCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: named variable regexp")
	}
	found := regexp.MustCompile("(?m)" + args[1]).FindStringSubmatch(ts.ReadFile("stdout"))
	if len(found) != 2 {
		ts.Fatalf("%q finds nothing in: %s", args[1], ts.ReadFile("stdout"))
	}
	ts.Setenv(args[0], found[1])
}

// until REGEXP PROGRAM ARGS... runs a program again and again until what it
// writes matches.
func untilCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: until regexp program [args...]")
	}
	want := regexp.MustCompile("(?m)" + args[0])
	for end := time.Now().Add(time.Minute); ; {
		ts.Check(ts.Exec(args[1], args[2:]...))
		if want.MatchString(ts.ReadFile("stdout")) {
			return
		}
		if time.Now().After(end) {
			ts.Fatalf("%q is not in: %s", args[0], ts.ReadFile("stdout"))
		}
	}
}

// ago VARIABLE DURATION sets a variable to a time before now.
func agoCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: ago variable duration")
	}
	by, err := time.ParseDuration(args[1])
	ts.Check(err)
	ts.Setenv(args[0], time.Now().Add(-by).UTC().Format(time.RFC3339))
}

// altered FILE OLD NEW puts NEW in the place of the first OLD in a file, which must
// be there; both are of one length.
func alteredCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 || len(args[1]) != len(args[2]) {
		ts.Fatalf("usage: altered file old new, of one length")
	}
	path := ts.MkAbs(args[0])
	raw, err := os.ReadFile(path)
	ts.Check(err)
	at := bytes.Index(raw, []byte(args[1]))
	if at < 0 {
		ts.Fatalf("%q is not in %s", args[1], args[0])
	}
	copy(raw[at:], args[2])
	ts.Check(os.WriteFile(path, raw, 0o600))
}

// entries FILE takes the timeline that the command before has shown into a file,
// without its first line: the minute of the answer stands there.
func entriesCmd(ts *testscript.TestScript, neg bool, args []string) {
	head, entries, found := strings.Cut(ts.ReadFile("stdout"), "\n")
	if neg || len(args) != 1 || !found || !strings.Contains(head, "as of") {
		ts.Fatalf("usage: entries file, after earlyage timeline")
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(entries), 0o600))
}

// measure USER PASSWORD TOPIC AT CELSIUS publishes a reading over MQTT as the
// probe that the user name says; with ! it is not let in.
func measureCmd(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 5 {
		ts.Fatalf("usage: [!] measure user password topic at celsius")
	}
	part := strings.Split(args[2], "/")
	body := fmt.Sprintf(`{"specversion":"1.0","id":%q,"source":"/site/%s/device/%s","type":"earlyage.temperature.read.v1","subject":%q,"time":%q,`+
		`"datacontenttype":"application/json","data":{"place":"top","at":%q,"celsius":%s}}`,
		"reading-"+args[3], part[1], part[2], part[3], time.Now().UTC().Format(time.RFC3339), args[3], args[4])
	client := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + ts.Getenv("MQTT")).SetClientID(part[1] + "/" + part[2]).
		SetUsername(args[0]).SetPassword(args[1]).SetAutoReconnect(false).SetConnectTimeout(time.Minute))
	token := client.Connect()
	if !token.WaitTimeout(time.Minute) {
		ts.Fatalf("no answer over MQTT")
	}
	if neg {
		if token.Error() == nil {
			ts.Fatalf("%s is let in", args[0])
		}
		return
	}
	ts.Check(token.Error())
	defer client.Disconnect(100)
	sent := client.Publish(args[2], 1, false, body)
	if !sent.WaitTimeout(time.Minute) {
		ts.Fatalf("no acknowledgement over MQTT")
	}
	ts.Check(sent.Error())
}
