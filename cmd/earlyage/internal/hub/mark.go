package hub

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/scheduler"
)

// Mark says that a folder holds a demo, and at which moment of its own time it
// was left.
type Mark struct {
	At     time.Time `json:"at"`
	Signed bool      `json:"signed,omitzero"` // its devices have joined, and sign
}

const markFile = "demo.json"

// ReadMark reads the mark of a folder; ok is false where there is none.
func ReadMark(dir string) (m Mark, ok bool, err error) {
	text, err := os.ReadFile(filepath.Join(dir, markFile))
	if errors.Is(err, fs.ErrNotExist) {
		return Mark{}, false, nil
	}
	if err == nil {
		err = json.Unmarshal(text, &m)
	}
	if err != nil {
		return Mark{}, false, fmt.Errorf("read %s: %w", filepath.Join(dir, markFile), err)
	}
	return m, true, nil
}

// WriteMark marks a folder as a demo's. The file is whole or as it was.
func WriteMark(dir string, m Mark) error {
	text, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("write demo mark: %w", err)
	}
	path := filepath.Join(dir, markFile)
	f, err := os.OpenFile(path+".new", os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return fmt.Errorf("write demo mark: %w", err)
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(path+".new", path)
	}
	if err != nil {
		return fmt.Errorf("write demo mark: %w", err)
	}
	return nil
}

// demoClock goes on from the moment at which a demo was left. It is never
// behind what is recorded.
type demoClock struct {
	*scheduler.Real
	behind atomic.Int64 // ns that the machine's clock is ahead of it
}

func newDemoClock(at time.Time) *demoClock {
	c := &demoClock{}
	c.behind.Store(int64(time.Since(at)))
	c.Real = scheduler.NewReal(func() time.Time { return time.Now().Add(-time.Duration(c.behind.Load())) })
	return c
}

// notBefore sets the clock forward to a moment if it is behind it: a hub that
// was killed had no time to note where it was.
func (c *demoClock) notBefore(at time.Time) {
	if lag := at.Sub(c.Now()); lag > 0 {
		c.behind.Add(-int64(lag))
	}
}
