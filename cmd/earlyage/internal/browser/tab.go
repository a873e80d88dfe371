package browser

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// ShotsEnv names the folder that pictures of the pages are written to; unset:
// none are.
const ShotsEnv = "EARLYAGE_SHOTS"

// Wait is the longest that a tab waits for anything.
const Wait = time.Minute

// Tab is one tab of a browser. Every method fails the test where what it asks
// for does not come within Wait.
type Tab struct {
	t    testing.TB
	ctx  context.Context
	size Size
	name string

	mu      sync.Mutex
	errors  []string // mu
	allowed []string // mu: parts of messages that the test expects
}

// Tab opens a tab in a profile of its own: it shares cookies and storage with no
// other. The name stands in messages and before the names of pictures.
func (b *Browser) Tab(name string, size Size) *Tab {
	return b.tab(name, size, chromedp.WithNewBrowserContext())
}

// Beside opens a second tab of the same person: cookies and storage are shared.
func (t *Tab) Beside(name string) *Tab {
	b := &Browser{t: t.t, ctx: t.ctx}
	return b.tab(name, t.size)
}

func (b *Browser) tab(name string, size Size, opts ...chromedp.ContextOption) *Tab {
	b.t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx, opts...)
	t := &Tab{t: b.t, ctx: ctx, size: size, name: name}
	require.NoError(b.t, chromedp.Do(ctx), "open tab %s", name)
	messages, ended := chromedp.Console(ctx), make(chan struct{})
	go func() {
		defer close(ended)
		for m, err := range messages {
			if err != nil {
				return
			}
			t.heard(m)
		}
	}()
	b.t.Cleanup(func() {
		cancel()
		<-ended
		require.Empty(b.t, t.unexpected(), "tab %s wrote errors to the console", name)
	})
	t.Resize(size)
	return t
}

// heard keeps what a page complains of.
func (t *Tab) heard(m chromedp.ConsoleMessage) {
	if m.Type != "error" && m.Type != "assert" && !m.IsException() {
		return
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.errors = append(t.errors, fmt.Sprintf("%s %s (%s:%d)", m.Type, m.Text, m.URL, m.Line+1))
}

func (t *Tab) unexpected() (left []string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, e := range t.errors {
		ok := false
		for _, part := range t.allowed {
			ok = ok || strings.Contains(e, part)
		}
		if !ok {
			left = append(left, e)
		}
	}
	return left
}

// Expect says that an error with this part on the console is what the test
// brings about, such as a network that is cut.
func (t *Tab) Expect(part string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.allowed = append(t.allowed, part)
}

// Context is for what the methods of a tab do not do.
func (t *Tab) Context() context.Context { return t.ctx }

// Do runs actions.
func (t *Tab) Do(actions ...chromedp.Action[chromedp.Void]) {
	t.t.Helper()
	ctx, cancel := context.WithTimeout(t.ctx, Wait)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		t.fail(err)
	}
}

// fail ends the test and shows where the tab stood.
func (t *Tab) fail(err error) {
	t.t.Helper()
	ctx, cancel := context.WithTimeout(t.ctx, Wait)
	defer cancel()
	text, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`location.href + "\n" + (document.body ? document.body.innerText : "")`))
	require.FailNow(t.t, fmt.Sprintf("tab %s: %v", t.name, err), "the page showed:\n%s\nconsole: %v", text, t.unexpected())
}

// Resize gives the window a size.
func (t *Tab) Resize(size Size) {
	t.t.Helper()
	var opts []chromedp.EmulateViewportOption
	if size.Mobile {
		opts = append(opts, chromedp.EmulateMobile, chromedp.EmulateTouch, chromedp.EmulatePortrait)
	}
	t.Do(chromedp.EmulateViewport(size.Width, size.Height, opts...))
	t.size = size
}

// Open goes to a page and waits until it is loaded.
func (t *Tab) Open(url string) {
	t.t.Helper()
	t.Do(chromedp.Navigate(url))
}

// Reload loads the page again.
func (t *Tab) Reload() {
	t.t.Helper()
	t.Do(chromedp.Reload())
}

// Press clicks what a CSS selector names, once it is to be seen and lies still, as
// a finger does: at its place on the screen. What is exchanged or moves just then
// gets no click; it is looked for and pressed again.
func (t *Tab) Press(selector string) {
	t.t.Helper()
	ctx, cancel := context.WithTimeout(t.ctx, Wait)
	defer cancel()
	t.See(selector)
	place := `(async () => {
		const frame = () => new Promise(requestAnimationFrame), find = () => document.querySelector(` + quote(selector) + `);
		await document.fonts.ready;
		find()?.scrollIntoView({block: "center", inline: "center", behavior: "instant"});
		await frame();
		const e = find(), was = e?.getBoundingClientRect();
		await frame();
		const is = e?.isConnected && e.getBoundingClientRect();
		if (!is || !is.width || is.x !== was.x || is.y !== was.y) return null;
		window.pressed = false;
		document.addEventListener("click", c => { window.pressed = c.target.closest(` + quote(selector) + `) !== null; }, {capture: true, once: true});
		return [is.x + is.width / 2, is.y + is.height / 2];
	})()`
	var last error
	for ctx.Err() == nil {
		at, err := chromedp.Run(ctx, chromedp.Evaluate[[]float64](place, chromedp.EvalAwaitPromise))
		if err != nil || len(at) != 2 {
			last = err
			continue
		}
		if last = chromedp.Do(ctx, chromedp.MouseClickXY(at[0], at[1])); last != nil {
			continue
		}
		// A press that leads to another page leaves none behind.
		if landed, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`window.pressed !== false`)); err != nil || landed {
			return
		}
	}
	t.fail(fmt.Errorf("press %s: %w (%v)", selector, ctx.Err(), last))
}

// Type types into a field.
func (t *Tab) Type(selector, text string) {
	t.t.Helper()
	t.Do(chromedp.SendKeys(chromedp.CSS(selector), text, chromedp.NodeVisible))
}

// Keys types on the keyboard, wherever the focus is.
func (t *Tab) Keys(keys string) {
	t.t.Helper()
	t.Do(chromedp.KeyEvent(keys))
}

// See waits until something is to be seen.
func (t *Tab) See(selector string) {
	t.t.Helper()
	t.Do(chromedp.WaitVisible(chromedp.CSS(selector)))
}

// Text returns what a person reads in an element.
func (t *Tab) Text(selector string) string {
	t.t.Helper()
	return Ask[string](t, `document.querySelector(`+quote(selector)+`).innerText`)
}

// SeeText waits until an element holds a text.
func (t *Tab) SeeText(selector, text string) {
	t.t.Helper()
	t.Until(`(document.querySelector(` + quote(selector) + `)?.innerText ?? "").includes(` + quote(text) + `)`)
}

// Until waits until an expression of JavaScript is true, also over a page that
// loads anew meanwhile.
func (t *Tab) Until(expression string) {
	t.t.Helper()
	ctx, cancel := context.WithTimeout(t.ctx, Wait)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	var last error
	for {
		// Between two pages there is nothing to ask; the next look finds the new one.
		done, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`!!(`+expression+`)`))
		if err == nil && done {
			return
		}
		last = err
		select {
		case <-tick.C:
		case <-ctx.Done():
			t.fail(fmt.Errorf("never true: %s (%v)", expression, last))
		}
	}
}

// Ask evaluates an expression of JavaScript; a promise is waited for.
func Ask[T any](t *Tab, expression string) T {
	t.t.Helper()
	ctx, cancel := context.WithTimeout(t.ctx, Wait)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.fail(fmt.Errorf("%s: %w", expression, err))
	}
	return v
}

// Shot writes a picture of the whole page where ShotsEnv says.
func (t *Tab) Shot(name string) {
	t.t.Helper()
	dir := os.Getenv(ShotsEnv)
	if dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(t.ctx, Wait)
	defer cancel()
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(t.t, err, "picture %s", name)
	require.NoError(t.t, os.MkdirAll(dir, 0o750))
	require.NoError(t.t, os.WriteFile(filepath.Join(dir, t.name+"-"+name+".png"), png, 0o600))
}

// Offline switches the browser's own network off or on. An open websocket stays
// up, deaf; a Relay cuts that too.
func (t *Tab) Offline(off bool) {
	t.t.Helper()
	t.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
			EmulateOfflineServiceWorker: new(off),
			MatchedNetworkConditions:    []*network.Conditions{{DownloadThroughput: -1, UploadThroughput: -1, Offline: off}},
		})
		return err
	}))
}

// Passkeys gives the tab an authenticator that consents to everything, as a
// thumb on a reader does.
func (t *Tab) Passkeys() {
	t.t.Helper()
	t.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		if _, err := chromedp.Call(ctx, webauthn.Enable, webauthn.EnableParams{}); err != nil {
			return err
		}
		_, err := chromedp.Call(ctx, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{
			Options: &webauthn.VirtualAuthenticatorOptions{
				Protocol: webauthn.AuthenticatorProtocolCtap2, Transport: webauthn.AuthenticatorTransportInternal,
				HasResidentKey: true, HasUserVerification: true, IsUserVerified: true, AutomaticPresenceSimulation: true,
			},
		})
		return err
	}))
}

// ZoomText makes all text twice as large, as a person with weak eyes sets it.
func (t *Tab) ZoomText(percent int) {
	t.t.Helper()
	t.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, page.SetFontSizes, page.SetFontSizesParams{
			FontSizes: &page.FontSizes{Standard: int64(16 * percent / 100), Fixed: int64(13 * percent / 100)},
		})
		return err
	}))
}
