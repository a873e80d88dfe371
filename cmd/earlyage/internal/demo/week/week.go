// Package week makes the demo's data for tests of what is done with them. The demo is
// played by the built program in a process of its own: under the race detector, which
// its own tests run it with, it takes several times as long.
package week

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
)

// Make leaves the demo's data in a new folder, which the caller removes.
func Make(ctx context.Context) (dir string, err error) {
	if dir, err = os.MkdirTemp("", "earlyage-week-"); err != nil {
		return "", fmt.Errorf("make a week: %w", err)
	}
	program, data := filepath.Join(dir, "earlyage"), filepath.Join(dir, "data")
	for _, args := range [][]string{{"go", "build", "-o", program, "earlyage/cmd/earlyage"}, {program, "demo", "--keep", data}} {
		if out, err := exec.CommandContext(ctx, args[0], args[1:]...).CombinedOutput(); err != nil { // #nosec G204 -- the words above
			_ = os.RemoveAll(dir)
			return "", fmt.Errorf("make a week: %s: %w\n%.2000s", args[0], err, out)
		}
	}
	return data, os.Remove(program)
}
