package main

import (
	"bytes"
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/events"
)

type registerCmd struct {
	reach
	Site  string `arg:"" optional:"" help:"Which site; without it all that are in sight."`
	Wall  string `placeholder:"WALL" help:"Only this wall of the site."`
	From  string `placeholder:"DATE" help:"The first local date of the site, as 2026-11-02; without it since the record began."`
	To    string `placeholder:"DATE" help:"The last local date; without it today."`
	Units string `default:"" enum:",si,us" placeholder:"si|us" help:"Units of the table; without it what each site has set."`

	CSV    string `name:"csv" placeholder:"FILE" help:"Write the braces as CSV."`
	XLSX   string `name:"xlsx" placeholder:"FILE" help:"Write a workbook: braces, totals, what it is."`
	JSON   string `name:"json" placeholder:"FILE" help:"Write the register as JSON."`
	PDF    string `name:"pdf" placeholder:"FILE" help:"Write the register as PDF."`
	Paper  string `placeholder:"FILE" help:"Write the paper of the wall as PDF; with --wall."`
	Bundle string `placeholder:"FILE" help:"Write the record of the wall in a file that proves itself, for earlyage verify; with --wall."`
	Size   string `default:"a4" enum:"a4,letter" help:"Size of the paper: a4 or letter."`
	Lang   string `default:"" placeholder:"LANG" help:"Language of the PDF and of the paper: en or es; without it English."`
}

// Help is shown below the usage.
func (registerCmd) Help() string {
	return "Without a file the register is shown as a table. One command makes all files that it is asked for, each whole or not at all, readable by its owner only."
}

// Run implements the command.
func (c registerCmd) Run(ctx context.Context, con console) error {
	if err := c.check(); err != nil {
		return err
	}
	client, err := c.client(c.Site)
	if err != nil {
		return err
	}
	files, err := c.fetch(ctx, client)
	if err != nil {
		return err
	}
	reg, body, err := c.ask(ctx, client)
	if err != nil {
		return err
	}
	made, err := c.write(&reg, body)
	if err != nil {
		return err
	}
	if files = append(made, files...); len(files) == 0 {
		return reg.Text(con.Out, c.Units)
	}
	for _, f := range files {
		if err := writeWhole(f.name, f.body); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(con.Out, "written", f.name); err != nil {
			return fmt.Errorf("write: %w", err)
		}
	}
	return nil
}

// check refuses what makes no sense before anything is asked or written.
func (c registerCmd) check() error {
	for _, x := range []struct{ field, value string }{{"site", c.Site}, {"wall", c.Wall}} {
		if x.value != "" && !events.IsToken(x.value) {
			return usagef("%s %q: allowed: a-z, 0-9 and -, 1 to 40 characters", x.field, x.value)
		}
	}
	if c.Lang != "" && !slices.Contains(words.Languages(), c.Lang) {
		return usagef("--lang %q: there is %s", c.Lang, strings.Join(words.Languages(), ", "))
	}
	switch {
	case c.Wall != "" && c.Site == "":
		return usagef("--wall %s: needs the SITE that it is on", c.Wall)
	case c.Bundle != "" && c.Wall == "":
		return usagef("--bundle: is of one wall; give SITE and --wall")
	case c.Paper != "" && c.Wall == "":
		return usagef("--paper: is of one wall; give SITE and --wall")
	}
	seen := map[string]bool{}
	for _, name := range []string{c.CSV, c.XLSX, c.JSON, c.PDF, c.Paper, c.Bundle} {
		if name == "" {
			continue
		}
		if name = filepath.Clean(name); seen[name] {
			return usagef("%s: is asked for twice", name)
		}
		seen[name] = true
	}
	return nil
}

// file is one that is asked for, made whole before any is written.
type file struct {
	name string
	body []byte
}

func (c registerCmd) ask(ctx context.Context, client api.Client) (reg api.Register, body []byte, err error) {
	body, err = client.Get(ctx, api.PathRegister, api.AskRegister{Site: c.Site, Wall: c.Wall, From: c.From, To: c.To}.Query(), &reg)
	return reg, body, err
}

// fetch asks the hub for what only it makes.
func (c registerCmd) fetch(ctx context.Context, client api.Client) (out []file, err error) {
	printed := api.AskRegister{Site: c.Site, Wall: c.Wall, From: c.From, To: c.To, Format: api.RegisterPDF, Size: c.Size, Lang: c.Lang}
	for _, f := range []struct {
		name, path string
		query      url.Values
	}{
		{c.PDF, api.PathRegister, printed.Query()},
		{c.Paper, api.WallPath(c.Site, c.Wall) + "/" + api.WallPaper, url.Values{"size": {c.Size}, "lang": {c.Lang}}},
		{c.Bundle, api.WallPath(c.Site, c.Wall) + "/" + api.WallBundle, nil},
	} {
		if f.name == "" {
			continue
		}
		body, err := client.File(ctx, f.path, f.query)
		if err != nil {
			return nil, err
		}
		out = append(out, file{f.name, body})
	}
	return out, nil
}

// write makes of one answer what is made here, so that all of it says the same.
func (c registerCmd) write(reg *api.Register, body []byte) (out []file, err error) {
	if c.JSON != "" {
		out = append(out, file{c.JSON, append(bytes.Clone(body), '\n')})
	}
	var text, workbook bytes.Buffer
	if c.CSV != "" {
		if err := reg.CSV(&text); err != nil {
			return nil, err
		}
		out = append(out, file{c.CSV, text.Bytes()})
	}
	if c.XLSX != "" {
		if err := reg.XLSX(&workbook); err != nil {
			return nil, err
		}
		out = append(out, file{c.XLSX, workbook.Bytes()})
	}
	return out, nil
}

// writeWhole writes a file whole or not at all: beside its place, and then into it.
// A crash leaves the old file, and perhaps the one beside.
func writeWhole(name string, body []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+".*") // mode 0600
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	defer func() {
		if err != nil {
			_ = f.Close()
			_ = os.Remove(f.Name())
			err = fmt.Errorf("write %s: %w", name, err)
		}
	}()
	if _, err = f.Write(body); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}
