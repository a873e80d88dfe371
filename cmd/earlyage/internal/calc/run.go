package calc

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"reflect"
	"strings"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete/unit"
)

// output is what every subcommand takes.
type output struct {
	JSON  bool        `name:"json" help:"The result as JSON."`
	Units unit.System `default:"si" placeholder:"si|us" help:"Units of the result: si or us. Flags take both."`
}

// run computes, and writes the answer: as text, or as JSON.
func (o output) run(k *kong.Context, w io.Writer, work func(unit.System) (*answer, error)) error {
	return o.deliver(k, w, "", work)
}

// plotted is output with a picture.
type plotted struct {
	output
	Plot string `placeholder:"FILE.svg" help:"Draw the curve to this file."`
}

func (p plotted) run(k *kong.Context, w io.Writer, work func(unit.System) (*answer, error)) error {
	if p.Plot != "" && !strings.HasSuffix(p.Plot, ".svg") {
		return &InputError{Flag: "plot", Value: p.Plot, Reason: "allowed: a file name that ends in .svg"}
	}
	return p.deliver(k, w, p.Plot, work)
}

// deliver writes nothing before the whole answer is there.
func (o output) deliver(k *kong.Context, w io.Writer, plot string, work func(unit.System) (*answer, error)) error {
	a, err := work(o.Units)
	if err != nil {
		return explain(k, err, o.Units)
	}
	if !a.finite() {
		return &InputError{Reason: "the result is no finite number"}
	}
	var text bytes.Buffer
	if o.JSON {
		err = a.writeJSON(&text, o.Units, typedFlags(k))
	} else {
		err = a.writeText(&text, o.Units)
	}
	if err != nil {
		return err
	}
	if plot != "" {
		if err := a.draw(plot); err != nil {
			return err
		}
	}
	if _, err := text.WriteTo(w); err != nil {
		return fmt.Errorf("write result: %w", err)
	}
	return nil
}

func (a *answer) draw(file string) error {
	if a.picture == nil {
		return &InputError{Flag: "plot", Value: file, Reason: "there is no curve for these flags"}
	}
	svg, err := a.picture.svg()
	if err != nil {
		return err
	}
	if err := os.WriteFile(file, svg, 0o644); err != nil { // #nosec G306 -- a picture for others to see, under the umask
		return fmt.Errorf("write picture: %w", err)
	}
	return nil
}

// notInputs are the flags that say how to answer, not what is asked.
var notInputs = map[string]bool{"json": true, "units": true, "plot": true, "help": true}

// typedFlags are the flags of the subcommand as they were typed, defaults
// included.
func typedFlags(k *kong.Context) map[string]any {
	in := map[string]any{}
	for _, f := range flags(k) {
		if notInputs[f.Name] {
			continue
		}
		if v := typed(f.Target); v != nil {
			in[f.Name] = v
		}
	}
	return in
}

// typed is one flag's value as it was typed, or nil.
func typed(v reflect.Value) any {
	switch x := v.Interface().(type) {
	case interface{ typed() string }:
		if x.typed() == "" {
			return nil
		}
		return x.typed()
	case bool:
		return x
	}
	if v.Kind() == reflect.Slice {
		var list []any
		for i := range v.Len() {
			list = append(list, typed(v.Index(i)))
		}
		if list == nil {
			return nil
		}
		return list
	}
	if v.IsZero() {
		return nil
	}
	return v.Interface()
}

func flags(k *kong.Context) []*kong.Flag {
	node := k.Selected()
	if node == nil {
		return nil
	}
	return node.Flags
}
