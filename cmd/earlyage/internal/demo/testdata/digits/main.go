// Command digits assesses the recorded stream on its standard input at the
// moment given, and writes all that it found, sheets and digests included. The
// test builds it for several instruction sets and compares.
package main

import (
	"fmt"
	"os"
	"time"
	_ "time/tzdata"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/replay"
	"earlyage/scheduler"
)

func main() { os.Exit(run()) }

func run() int {
	if err := write(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

func write(moment string) error {
	at, err := time.Parse(time.RFC3339, moment)
	if err != nil {
		return err
	}
	record, err := replay.Read(os.Stdin, at)
	if err != nil {
		return err
	}
	out := struct {
		Walls  []face.Wall                `json:"walls"`
		Sheets map[string]scheduler.Sheet `json:"sheets"`
	}{record.Walls(), map[string]scheduler.Sheet{}}
	for _, w := range out.Walls {
		out.Sheets[w.Place()], _ = record.Sheet(w.Site, w.Wall)
	}
	return json.MarshalWrite(os.Stdout, out, json.Deterministic(true))
}
