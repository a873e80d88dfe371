package browser

import (
	"context"
	"errors"
	"fmt"
	"os/exec"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// Size is that of a window in CSS pixels.
type Size struct {
	Width, Height int64
	Mobile        bool // a touch screen
}

// The two sizes that every page is looked at in.
var (
	Phone = Size{390, 844, true}
	Desk  = Size{1440, 900, false}
)

// Browser is a running Chromium.
type Browser struct {
	t   testing.TB
	ctx context.Context
}

const startWait = time.Minute

// Start starts a Chromium that ends with the test.
func Start(t testing.TB) *Browser {
	t.Helper()
	c, err := launch(t.TempDir())
	require.NoError(t, err)
	t.Cleanup(func() {
		if err := c.end(); err != nil {
			t.Logf("close the browser: %v", err)
		}
	})
	return &Browser{t: t, ctx: c.ctx}
}

// chromium is a running process and how it ends.
type chromium struct {
	ctx context.Context
	end func() error
}

func launch(profile string) (*chromium, error) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		return nil, errors.New("no chromium on the PATH: the pages are tested in a real browser; " +
			"on Debian: apt-get install --no-install-recommends chromium fonts-dejavu-core; .ci/test does it")
	}
	parent, stop := context.WithCancel(context.Background())
	alloc, cancel := chromedp.NewExecAllocator(parent, append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.UserDataDir(profile), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-dev-shm-usage", true),
		chromedp.Flag("hide-scrollbars", false), chromedp.WSURLReadTimeout(startWait))...)
	ctx, end := chromedp.NewContext(alloc)
	c := &chromium{ctx: ctx, end: func() error {
		// The browser is asked to close, so that its profile is not written to while
		// the folder is removed.
		closing, done := context.WithTimeout(ctx, 20*time.Second)
		defer done()
		err := chromedp.Cancel(closing)
		end()
		cancel()
		stop()
		return err
	}}
	if err := chromedp.Do(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("start %s: %w", path, err), c.end())
	}
	return c, nil
}
