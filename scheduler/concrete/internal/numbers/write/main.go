// Command write writes NUMBERS.md in the folder of package concrete, from which
// go generate runs it.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"earlyage/scheduler/concrete/internal/numbers"
)

func main() { os.Exit(run()) }

func run() int {
	page, err := numbers.Page(".", filepath.Join("..", "..", "testdata", "reference"))
	if err == nil {
		err = os.WriteFile("NUMBERS.md", page, 0o644) // #nosec G306 -- a page of the repository
	}
	if err != nil {
		fmt.Fprintf(os.Stderr, "write NUMBERS.md: %v\n", err)
		return 1
	}
	return 0
}
