// Command write writes ALERTS.md in the folder of package scheduler, from which
// go generate runs it.
package main

import (
	"fmt"
	"os"

	"earlyage/scheduler/internal/alertpage"
)

func main() { os.Exit(run()) }

func run() int {
	if err := os.WriteFile("ALERTS.md", alertpage.Page(), 0o644); err != nil { // #nosec G306 -- a page of the repository
		fmt.Fprintf(os.Stderr, "write ALERTS.md: %v\n", err)
		return 1
	}
	return 0
}
