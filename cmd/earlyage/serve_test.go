package main

import (
	"bufio"
	"context"
	"encoding/binary"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/events/stream"
	"earlyage/testdata/loopback"
)

// process is a hub that runs as a program of its own.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	log  []string
	done chan struct{} // its log has ended
}

// serve starts a hub that takes events from anybody, and returns when it answers.
func serve(t *testing.T, args ...string) *process {
	t.Helper()
	p := &process{t: t, cmd: exec.Command("earlyage", append([]string{"serve", "--websocket=", "--mqtt=", "--metrics=", "--unsigned"}, args...)...), done: make(chan struct{})}
	out, err := p.cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, p.cmd.Start())
	t.Cleanup(p.kill)
	ready := make(chan struct{})
	go func() {
		defer close(p.done)
		var once sync.Once
		for lines := bufio.NewScanner(out); lines.Scan(); {
			p.log = append(p.log, lines.Text())
			if strings.Contains(lines.Text(), "msg=answering") {
				once.Do(func() { close(ready) })
			}
		}
		_, _ = io.Copy(io.Discard, out)
	}()
	select {
	case <-ready:
	case <-p.done:
		require.FailNow(t, "the hub ended", strings.Join(p.log, "\n"))
	case <-time.After(time.Minute):
		require.FailNow(t, "the hub does not answer")
	}
	return p
}

// kill ends it at once, as a power switch would end the process.
func (p *process) kill() {
	if p.cmd.ProcessState != nil {
		return
	}
	_ = p.cmd.Process.Kill()
	<-p.done
	_ = p.cmd.Wait()
}

// stop asks it to end and returns its exit status.
func (p *process) stop(sig os.Signal) int {
	require.NoError(p.t, p.cmd.Process.Signal(sig))
	<-p.done
	_ = p.cmd.Wait()
	return p.cmd.ProcessState.ExitCode()
}

func freePort(t *testing.T) string {
	t.Helper()
	at, err := loopback.Free()
	require.NoError(t, err)
	return at
}

// A hub stops in the reverse order of its start, with status 0, and goes on
// where it stopped. Its folder is nobody else's to read, or to use.
func TestServeStopsAndGoesOn(t *testing.T) {
	dir, web, client := filepath.Join(t.TempDir(), "data"), freePort(t), freePort(t)
	args := []string{"--data", dir, "--http", web, "--client", client}
	p := serve(t, args...)
	info, err := os.Stat(dir)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o700), info.Mode().Perm())

	other, err := exec.Command("earlyage", "serve", "--unsigned", "--data", dir, "--http=", "--client=", "--websocket=", "--mqtt=", "--metrics=").CombinedOutput()
	require.Error(t, err, "a second hub on one folder")
	require.Contains(t, string(other), "another hub has this folder open")
	socket, err := api.Dial(api.Where{Socket: filepath.Join(dir, hub.SocketName)})
	require.NoError(t, err)
	_, err = socket.Get(t.Context(), api.PathHealth, nil, &api.Health{})
	require.NoError(t, err, "the socket is the first one's still")

	nc, js := connect(t, client)
	require.NoError(t, publishNumbered(t.Context(), js, 1))
	require.Equal(t, 0, p.stop(syscall.SIGTERM))
	require.Equal(t, []string{
		"socket", "http", "web", "scheduler", "routes", "notify", "told", "identities", "receipts", "projector", "store", "connection", "server", "listener", "folder",
	}, stopped(p.log))

	p = serve(t, args...)
	receiptOf(t, nc, 1)
	require.Equal(t, []string{"mill/a"}, wallsOf(t, web))
	require.Equal(t, 0, p.stop(os.Interrupt))
}

// What a hub must not do has to be asked for by name, each time.
func TestServeRefuses(t *testing.T) {
	dir := t.TempDir()
	plain := []string{"serve", "--data", dir, "--http=", "--client=", "--websocket=", "--mqtt=", "--metrics="}
	for flag, says := range map[string]string{
		"--http=0.0.0.0:0": "--plain-on-network", "--client=0.0.0.0:0": "--plain-on-network", "--websocket=0.0.0.0:0": "--plain-on-network",
		"--mqtt=0.0.0.0:0": "--plain-on-network", "--metrics=0.0.0.0:0": "--plain-on-network", "--tls-cert=x.pem": "go together",
		"--address=hub.example": "scheme, host and port", "--nats=nats://127.0.0.1:1": "--nats-monitor",
	} {
		status, text := earlyage(t, append(plain, flag)...)
		require.NotEqual(t, 0, status, flag)
		require.Contains(t, text, says, flag)
	}
	p := serve(t, "--unsigned", "--data", dir, "--http", freePort(t), "--client=", "--metrics=")
	require.Equal(t, 0, p.stop(syscall.SIGTERM))
	status, text := earlyage(t, plain...)
	require.NotEqual(t, 0, status)
	require.Contains(t, text, "--unsigned")
}

func stopped(log []string) []string {
	var parts []string
	for _, line := range log {
		if strings.Contains(line, "msg=stopped") {
			_, part, _ := strings.Cut(line, "part=")
			parts = append(parts, part)
		}
	}
	return parts
}

func wallsOf(t *testing.T, web string) []string {
	t.Helper()
	var w api.Walls
	_, err := api.Client{Hub: "http://" + web}.Get(t.Context(), api.PathWalls, nil, &w)
	require.NoError(t, err)
	var names []string
	for _, one := range w.Walls {
		names = append(names, one.Place())
	}
	return names
}

// numbered makes the event with a number of one device: the wall's layout, then
// readings.
func numbered(n uint64) events.Event {
	celsius := 20 + float64(n%10)/10
	e := events.Event{
		ID: fmt.Sprintf("reading-%d", n), Source: events.Source{Site: "mill", Device: "probe"}, Kind: "temperature.read", Wall: "a",
		Time: time.Now().UTC(), Sequence: n, Data: &events.TemperatureRead{Place: "top", Celsius: &celsius},
	}
	if n == 1 {
		length, height, core := 6.0, 2.4, 150.0
		e.Kind, e.Data = "wall.laid-out", &events.WallLaidOut{LengthM: &length, HeightM: &height, CoreMM: &core}
	}
	return e
}

// publishNumbered publishes until it is acknowledged, under one message id.
func publishNumbered(ctx context.Context, js jetstream.JetStream, n uint64) error {
	e := numbered(n)
	body, err := e.Encode()
	if err != nil {
		return err
	}
	id := stream.NewMsgID()
	for {
		try, cancel := context.WithTimeout(ctx, 200*time.Millisecond)
		_, err := js.Publish(try, e.Subject(), body, jetstream.WithMsgID(id))
		cancel()
		if err == nil || ctx.Err() != nil {
			return ctx.Err()
		}
	}
}

func connect(t *testing.T, addr string) (*nats.Conn, jetstream.JetStream) {
	t.Helper()
	nc, err := nats.Connect("nats://"+addr, nats.Timeout(time.Minute), nats.MaxReconnects(-1), nats.ReconnectWait(2*time.Millisecond), nats.ReconnectJitter(0, 0))
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	js, err := jetstream.New(nc)
	require.NoError(t, err)
	return nc, js
}

var long = flag.Bool("long", false, "kill the hub 100 times")

// Killed at any moment, the hub loses nothing that was acknowledged and counts
// nothing twice: its view is what a fresh rebuild from the stream gives.
func TestKilledHubLosesNothing(t *testing.T) {
	kills := 20
	if *long {
		kills = 100
	}
	dir, web, client := t.TempDir(), freePort(t), freePort(t)
	args := []string{"--data", dir, "--http", web, "--client", client}
	seed := [32]byte{}
	binary.LittleEndian.PutUint64(seed[:], uint64(time.Now().UnixNano()))
	t.Logf("seed %x", seed[:8])
	random := rand.New(rand.NewChaCha8(seed))

	p := serve(t, args...)
	nc, js := connect(t, client)
	ctx, cancel := context.WithCancel(t.Context())
	var acknowledged uint64
	ended := make(chan error, 1)
	go func() {
		for n := uint64(1); ; n++ {
			if err := publishNumbered(ctx, js, n); err != nil {
				ended <- err
				return
			}
			acknowledged = n
		}
	}()
	for range kills {
		timer := time.NewTimer(time.Duration(random.IntN(100)) * time.Millisecond)
		<-timer.C
		p.kill()
		p = serve(t, args...)
	}
	require.Empty(t, ended, "the client goes on over every kill")
	cancel()
	require.ErrorIs(t, <-ended, context.Canceled)
	require.Greater(t, acknowledged, uint64(kills), "the client published between the kills")

	receipt := receiptOf(t, nc, acknowledged)
	t.Logf("%d events acknowledged over %d kills", acknowledged, kills)
	require.GreaterOrEqual(t, receipt.UpTo, acknowledged, "every acknowledged number is held")
	require.Empty(t, receipt.Refused)
	require.Equal(t, 0, p.stop(syscall.SIGTERM))
	for _, from := range []string{"keep", "stream"} {
		out, err := exec.Command("earlyage", "rebuild", "--check", "--data", dir, "--from", from).CombinedOutput()
		require.NoError(t, err, "%s", out)
		require.Contains(t, string(out), "The view that was there is the same")
	}
}

// receiptOf asks until the hub holds a number.
func receiptOf(t *testing.T, nc *nats.Conn, upTo uint64) stream.Receipt {
	t.Helper()
	src := events.Source{Site: "mill", Device: "probe"}
	sub, err := nc.SubscribeSync(stream.ReceiptSubject(src))
	require.NoError(t, err)
	deadline := time.Now().Add(time.Minute)
	for {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		r, err := stream.AskReceipt(ctx, nc, src)
		cancel()
		if err == nil && r.UpTo >= upTo {
			return r
		}
		require.True(t, time.Now().Before(deadline), "receipt %v, %v", r, err)
		_, _ = sub.NextMsg(time.Second) // the next receipt, or a second
	}
}
