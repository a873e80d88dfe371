package calc

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// InputError says that what was asked makes no sense. It names the flag, the
// value as it was typed, and what is allowed. Its exit status is 2.
type InputError struct {
	Flag   string // without the dashes; empty if no single flag is at fault
	Value  string // as typed; may be empty
	Reason string
	cause  error
}

// Error names the flag, the value and what is allowed.
func (e *InputError) Error() string {
	at := ""
	switch {
	case e.Flag != "" && e.Value != "":
		at = "--" + e.Flag + " " + e.Value + ": "
	case e.Flag != "":
		at = "--" + e.Flag + ": "
	}
	return at + e.Reason
}

// Unwrap is what the library said.
func (e *InputError) Unwrap() error { return e.cause }

// ExitCode is the exit status that belongs to bad input.
func (e *InputError) ExitCode() int { return 2 }

// wanted says that a flag is missing.
func wanted(flag, example string) error {
	return &InputError{Flag: flag, Reason: "wanted, as in --" + flag + " " + example}
}

// explain turns an error of the library into one about the flag that caused it.
// A flag's tag "names" lists what the library calls its value.
func explain(k *kong.Context, err error, sys unit.System) error {
	var bad *InputError
	if errors.As(err, &bad) {
		return err
	}
	var out concrete.RangeError
	if !errors.As(err, &out) {
		return &InputError{Reason: err.Error(), cause: err}
	}
	for _, f := range flags(k) {
		if !slices.Contains(strings.Split(f.Tag.Get("names"), "|"), out.Name) {
			continue
		}
		if v, ok := f.Target.Interface().(interface {
			typed() string
			limit(float64, unit.System) string
		}); ok && v.typed() != "" {
			return &InputError{Flag: f.Name, Value: v.typed(), Reason: out.Name + ": " + allowed(out, v.limit, sys), cause: err}
		}
	}
	return &InputError{Reason: err.Error(), cause: err}
}

// allowed writes the range of a refusal in the units of a flag.
func allowed(out concrete.RangeError, write func(float64, unit.System) string, sys unit.System) string {
	size := map[string]float64{"min": 1. / 60, "d": 24}[out.Unit] // a duration counts in h
	if size == 0 {
		size = 1
	}
	least := write(out.Min*size, sys)
	if math.IsInf(out.Max, 1) {
		return fmt.Sprintf("allowed %s and over", least)
	}
	return fmt.Sprintf("allowed %s to %s", least, write(out.Max*size, sys))
}
