package browser

import (
	"context"
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
	path, err := exec.LookPath("chromium")
	if err != nil {
		require.FailNow(t, "no chromium on the PATH: the pages are tested in a real browser",
			"on Debian: apt-get install --no-install-recommends chromium fonts-dejavu-core; .ci/test does it")
	}
	parent, stop := context.WithCancel(context.Background())
	alloc, cancel := chromedp.NewExecAllocator(parent, append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-dev-shm-usage", true),
		chromedp.Flag("hide-scrollbars", false), chromedp.WSURLReadTimeout(startWait))...)
	ctx, end := chromedp.NewContext(alloc)
	t.Cleanup(func() {
		// The browser is asked to close, so that its profile is not written to while
		// the folder is removed.
		closing, done := context.WithTimeout(ctx, 20*time.Second)
		defer done()
		if err := chromedp.Cancel(closing); err != nil {
			t.Logf("close the browser: %v", err)
		}
		end()
		cancel()
		stop()
	})
	require.NoError(t, chromedp.Do(ctx), "start %s", path)
	return &Browser{t: t, ctx: ctx}
}
