package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/replay"
)

type assessCmd struct {
	File  string `arg:"" placeholder:"FILE" help:"Recorded stream: CloudEvents, one to a line, in the order recorded. - reads from the standard input."`
	At    string `required:"" placeholder:"TIME" help:"The moment, RFC 3339 with offset. What was recorded later is left out."`
	JSON  bool   `name:"json" help:"JSON. The same file and moment give the same bytes."`
	Sheet string `placeholder:"SITE/WALL" help:"The calculation sheet of one wall in place of the table of all."`
	Units string `default:"" enum:",si,us" placeholder:"si|us" help:"Units shown; without it what each site has set."`
}

// Run implements the command.
func (c assessCmd) Run(con console) error {
	at, err := time.Parse(time.RFC3339, c.At)
	if err != nil {
		return usagef("at: %q; allowed: an RFC 3339 time with offset, such as 2026-11-05T09:00:00-05:00", c.At)
	}
	in := con.In
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return usageError{fmt.Errorf("assess: %w", err)}
		}
		defer f.Close()
		in = f
	}
	record, err := replay.Read(in, at.UTC())
	if err != nil {
		return fmt.Errorf("assess %s: %w", c.File, err)
	}
	if record.Later > 0 {
		fmt.Fprintf(con.Err, "earlyage: %d entries were recorded after %s and are left out\n", record.Later, c.At)
	}
	page := face.Page{Sites: record.Sites(), Units: c.Units}
	switch {
	case c.Sheet != "":
		return c.sheet(con.Out, page, record)
	case c.JSON:
		return writeReport(con.Out, record)
	}
	if err := page.Walls(con.Out, record.At, record.Walls()); err != nil {
		return err
	}
	return page.Refused(con.Out, record.Refused)
}

func writeReport(w io.Writer, record *replay.Record) error {
	return writeJSON(w, face.Report{At: face.Time{Time: record.At}, Walls: record.Walls(), Refused: record.Refused})
}

func writeJSON(w io.Writer, v any) error {
	text, err := json.Marshal(v, json.Deterministic(true), jsontext.WithIndent("  "))
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	return line(w, text)
}

func (c assessCmd) sheet(w io.Writer, page face.Page, record *replay.Record) error {
	site, wall, _ := strings.Cut(c.Sheet, "/")
	sheet, ok := record.Sheet(site, wall)
	if !ok {
		return usagef("sheet: %q; allowed: SITE/WALL of a wall in the record", c.Sheet)
	}
	a := face.ByPlace(sheet.Assessment)
	if c.JSON {
		return writeJSON(w, api.Wall{Head: api.Head{At: face.Time{Time: record.At}, Level: true, Doubts: []string{}, Sites: []face.Site{page.Sites[site]}}, Wall: a, Sheet: &sheet})
	}
	return page.Sheet(w, record.At, a, sheet)
}
