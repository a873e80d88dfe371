package deploy_test

import (
	"bufio"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// buildHub builds the hub's own program, once for all tests.
var buildHub = sync.OnceValues(func() (string, error) {
	var err error
	if builtHub, err = os.MkdirTemp("", "earlyage-deploy-"); err != nil {
		return "", err
	}
	path := filepath.Join(builtHub, "earlyage")
	out, err := exec.Command("go", "build", "-o", path, "earlyage/cmd/earlyage").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("build earlyage: %w\n%s", err, out)
	}
	return path, nil
})

// builtHub is the folder of the program, when it was built.
var builtHub string

// tried is a command of this folder on folders, files and ports of the test.
func tried(t *testing.T, args []string, without ...string) *exec.Cmd {
	t.Helper()
	program, err := buildHub()
	require.NoError(t, err)
	dir := t.TempDir()
	writeCertificate(t, dir)
	out := []string{}
	for _, arg := range args {
		flag, value, _ := strings.Cut(arg, "=")
		switch {
		case slices.Contains(without, flag):
			continue
		case flag == "--data":
			value = filepath.Join(dir, "data")
		case flag == "--tls-cert" || flag == "--tls-key":
			value = filepath.Join(dir, filepath.Base(value))
		default:
			value = regexp.MustCompile(`:\d+$`).ReplaceAllString(value, ":0")
		}
		if strings.Contains(arg, "=") {
			arg = flag + "=" + value
		}
		out = append(out, arg)
	}
	for _, flag := range []string{"http", "client", "websocket", "mqtt", "metrics"} { // the defaults too are somebody's else here
		if !slices.ContainsFunc(out, func(arg string) bool { return strings.HasPrefix(arg, "--"+flag+"=") }) {
			out = append(out, "--"+flag+"=127.0.0.1:0")
		}
	}
	return exec.Command(program, out...) // #nosec G204 -- the program that was built here
}

func writeCertificate(t *testing.T, dir string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour), DNSNames: []string{"hub.example"}}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "tls.crt"), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "tls.key"), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}), 0o600))
}

// starts demands that a command runs until it is told to stop.
func starts(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	out, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	late := time.AfterFunc(time.Minute, func() { _ = cmd.Process.Kill() })
	defer late.Stop()
	var said strings.Builder
	up := false
	for lines := bufio.NewScanner(io.TeeReader(out, &said)); lines.Scan(); {
		if !up && strings.Contains(lines.Text(), `"msg":"answering"`) {
			up = true
			require.NoError(t, cmd.Process.Signal(syscall.SIGTERM))
		}
	}
	require.NoError(t, cmd.Wait(), said.String())
	require.True(t, up, said.String())
}

// The commands of the container and of the unit start. Reached from a network
// without a certificate they do not, unless that is asked for by name.
func TestCommandsStart(t *testing.T) {
	container := []string{}
	for _, in := range containerFile(t) {
		if in.word == "CMD" {
			container = execForm(t, in.rest)
		}
	}
	text, err := os.ReadFile("earlyage.service")
	require.NoError(t, err)
	unit := regexp.MustCompile(`(?m)^ExecStart=/usr/local/bin/earlyage (.*)$`).FindStringSubmatch(string(text))
	dropIn := regexp.MustCompile(`(?m)^#   ExecStart=/usr/local/bin/earlyage (.*)$`).FindStringSubmatch(string(text))
	require.Len(t, unit, 2)
	require.Len(t, dropIn, 2)
	for name, args := range map[string][]string{"container": container, "unit": strings.Fields(unit[1]), "unit on the network": strings.Fields(dropIn[1])} {
		t.Run(name, func(t *testing.T) {
			requireCommand(t, args)
			starts(t, tried(t, args))
			if name == "unit" {
				return
			}
			out, err := tried(t, args, "--tls-cert", "--tls-key").CombinedOutput()
			require.Error(t, err)
			require.Contains(t, string(out), "--plain-on-network")
			starts(t, tried(t, append(args[:len(args):len(args)], "--plain-on-network"), "--tls-cert", "--tls-key"))
		})
	}
}
