package calc_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/rogpeppe/go-internal/testscript"

	"earlyage/cmd/earlyage/internal/calc"
)

// TestMain lets scripts run "earlyage calc", wired as in the real command: bad
// usage and bad input end with status 2, whatever else fails with 1.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"earlyage": func() { os.Exit(command(os.Args[1:], os.Stdout, os.Stderr)) }})
}

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

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: filepath.Join("testdata", "script"), RequireExplicitExec: true})
}
