package calc_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/calc"
)

// command runs a command line, wired as in the real program: bad usage and bad
// input end with status 2, whatever else fails with 1.
func command(args []string, out, complain io.Writer) int {
	var grammar struct {
		Calc calc.Command `cmd:"" help:"Compute."`
	}
	parser, err := kong.New(&grammar, kong.Name("earlyage"), kong.Writers(out, complain), kong.BindTo(out, (*io.Writer)(nil)))
	if err != nil {
		panic(err)
	}
	k, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintf(complain, "earlyage: %v\n", err)
		return 2
	}
	if err := k.Run(); err != nil {
		fmt.Fprintf(complain, "earlyage: %v\n", err)
		var bad *calc.InputError
		if errors.As(err, &bad) {
			return bad.ExitCode()
		}
		return 1
	}
	return 0
}

// folder guards the process's current folder, which the flags' file names are
// relative to. The command runs in this process: hundreds of processes of their
// own cost minutes under the race detector.
var folder sync.Mutex

// inScript runs a command line in a script's folder and wants a status.
func inScript(ts *testscript.TestScript, want int, args []string) {
	folder.Lock()
	defer folder.Unlock()
	before, err := os.Getwd()
	ts.Check(err)
	ts.Check(os.Chdir(ts.MkAbs(".")))
	defer func() { ts.Check(os.Chdir(before)) }()
	if got := command(args, ts.Stdout(), ts.Stderr()); got != want {
		ts.Fatalf("earlyage %q: status %d, want %d", args, got, want)
	}
}

// Scripts say "earlyage ..." for status 0, "! earlyage ..." for 2, which is bad
// usage or bad input, and "fails earlyage ..." for 1.
func TestScripts(t *testing.T) {
	scripts, err := filepath.Abs(filepath.Join("testdata", "script"))
	require.NoError(t, err)
	testscript.Run(t, testscript.Params{
		Dir: scripts,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"earlyage": func(ts *testscript.TestScript, refused bool, args []string) {
				inScript(ts, map[bool]int{false: 0, true: 2}[refused], args)
			},
			"fails": func(ts *testscript.TestScript, _ bool, args []string) { inScript(ts, 1, args[1:]) },
		},
	})
}
