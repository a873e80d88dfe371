package hub

import (
	"fmt"
	"path/filepath"

	"github.com/gofrs/flock"

	"earlyage/projector"
)

// lockFolder takes a hub's folder for this process. It comes before everything
// else that opens something there: a second server on the files of a stream does
// harm to them before the store's own lock would turn it away.
func lockFolder(dir string) (unlock func() error, err error) {
	l := flock.New(filepath.Join(dir, "hub.lock"), flock.SetPermissions(0o600))
	ok, err := l.TryLock()
	switch {
	case err != nil:
		return nil, fmt.Errorf("lock %s: %w", dir, err)
	case !ok:
		return nil, fmt.Errorf("lock %s: %w", dir, projector.ErrLocked)
	}
	return l.Close, nil
}
