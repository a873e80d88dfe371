// Command earlyage keeps the record and the clock of the early hours and days
// of every concrete wall that a company pours.
//
// It ends with status 0 when it did what it was asked, 1 when it could not, and
// 2 when it was asked for something that makes no sense: bad usage, or an event
// that is not acceptable.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // site zones must be known on a machine that has none

	"github.com/alecthomas/kong"

	"earlyage/cmd/earlyage/internal/calc"
	"earlyage/events"
)

func main() { os.Exit(run()) }

func run() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // from then on a second signal ends the process at once
	return command(ctx, os.Args[1:], console{In: os.Stdin, Out: os.Stdout, Err: os.Stderr})
}

// console is what a command reads and writes.
type console struct {
	In       io.Reader
	Out, Err io.Writer
}

const (
	exitDone    = 0
	exitFailure = 1
	exitUsage   = 2
)

// usageError says that what was asked makes no sense.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// errTold is a failure whose reason has been written already.
var errTold = errors.New("told")

// command runs one command line and returns the exit status.
func command(ctx context.Context, args []string, con console) (status int) {
	defer func() {
		if left := recover(); left != nil {
			code, ours := left.(leave)
			if !ours {
				panic(left)
			}
			status = int(code)
		}
	}()
	var g grammar
	parser, err := kong.New(&g,
		kong.Name("earlyage"),
		kong.Description("The record and the clock of every concrete wall that a company pours."),
		kong.Writers(con.Out, con.Err),
		kong.Exit(func(code int) { panic(leave(code)) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(con),
		kong.BindTo(con.Out, (*io.Writer)(nil)),
	)
	if err != nil {
		panic(fmt.Sprintf("earlyage: the grammar is broken: %v", err))
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintf(con.Err, "earlyage: %v\nearlyage --help lists the commands, earlyage COMMAND --help what one takes.\n", err)
		return exitUsage
	}
	return tell(con.Err, k.Run())
}

// leave carries the exit status that the parser asks for, after --help.
type leave int

// tell writes an error for people and gives the exit status.
func tell(w io.Writer, err error) int {
	var refused *events.Refusal
	var usage usageError
	var input *calc.InputError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errTold):
		return exitFailure
	case errors.As(err, &usage), errors.As(err, &refused), errors.As(err, &input):
		fmt.Fprintf(w, "earlyage: %v\n", err)
		return exitUsage
	default:
		fmt.Fprintf(w, "earlyage: %v\n", err)
		if advice := next(err); advice != "" {
			fmt.Fprintf(w, "earlyage: %s.\n", advice)
		}
		return exitFailure
	}
}
