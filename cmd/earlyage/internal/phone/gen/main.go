// Command gen makes the phone's scripts from their sources, in the folder that
// it is run in.
package main

import (
	"fmt"
	"os"

	"earlyage/cmd/earlyage/internal/phone/bundle"
)

func main() {
	if err := bundle.Write("."); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
