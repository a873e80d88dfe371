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
	f, v := culprit(k, out)
	if f == "" {
		return &InputError{Reason: err.Error(), cause: err}
	}
	return &InputError{Flag: f, Value: v.typed(), Reason: out.Name + ": " + allowed(out, v.limit, sys), cause: err}
}

// quantity is the value of a flag with a unit.
type quantity interface {
	typed() string
	limit(float64, string, unit.System) string
	value() float64
}

// culprit is the flag whose value was refused: of those that the library calls
// by that name, the one with that very value, or else the first.
func culprit(k *kong.Context, out concrete.RangeError) (string, quantity) {
	var name string
	var first quantity
	for _, f := range flags(k) {
		v, ok := f.Target.Interface().(quantity)
		if !ok || v.typed() == "" || !slices.Contains(strings.Split(f.Tag.Get("names"), "|"), out.Name) {
			continue
		}
		if v.value() == out.Value {
			return f.Name, v
		}
		if first == nil {
			name, first = f.Name, v
		}
	}
	return name, first
}

// allowed writes the range of a refusal in the units of a flag.
func allowed(out concrete.RangeError, write func(float64, string, unit.System) string, sys unit.System) string {
	least := write(out.Min, out.Unit, sys)
	if math.IsInf(out.Max, 1) {
		return fmt.Sprintf("allowed %s and over", least)
	}
	return fmt.Sprintf("allowed %s to %s", least, write(out.Max, out.Unit, sys))
}

// refused says whether an error is a refusal of one of the values named.
func refused(err error, names ...string) bool {
	var out concrete.RangeError
	return errors.As(err, &out) && slices.Contains(names, out.Name)
}
