package wallpage_test

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
	"earlyage/scheduler"
)

var looked = map[string]string{
	"exceptions": "/exceptions",
	"cold":       "/walls/tverrbakken/wall-1",
	"permit":     "/walls/tverrbakken/wall-2",
	"open":       "/walls/tverrbakken/yard",
	"planned":    "/walls/tverrbakken/byre",
	"placing":    "/walls/tverrbakken/cellar",
	"as-of":      "/walls/tverrbakken/wall-1?as-of=2026-11-04T15:00",
	"odd":        "/walls/tverrbakken/wall-1?kind=!",
	"missing":    "/walls/tverrbakken/none",
	"es":         "/walls/tverrbakken/wall-1?lang=es",
	"es-list":    "/exceptions?lang=es",
}

func TestPagesAreGood(t *testing.T) {
	s := serve(t, week(t).fold(noon), noon)
	b := suite.Browser(t)
	for _, size := range []struct {
		name string
		size browser.Size
	}{{"phone", browser.Phone}, {"desk", browser.Desk}} {
		tab := b.Tab("wall-"+size.name, size.size)
		tab.Expect("404")
		for name, path := range looked {
			tab.Open(s.address + path)
			tab.Until(`document.querySelector("main h1") && document.fonts.status === "loaded"`)
			tab.Shot(name)
			tab.Good()
		}
		tab.ZoomText(200)
		for _, name := range []string{"cold", "exceptions"} {
			tab.Open(s.address + looked[name])
			tab.Until(`document.querySelector("main h1") && document.fonts.status === "loaded"`)
			tab.Good()
		}
		tab.Shot("exceptions-200")
	}
}

func TestPagesAreValid(t *testing.T) {
	s := serve(t, week(t).fold(noon), noon)
	documents := map[string]string{}
	for name, path := range looked {
		status := http.StatusOK
		if name == "missing" {
			status = http.StatusNotFound
		}
		documents[name] = s.get(t, path, status)
	}
	browser.ValidHTML(t, documents)
}

// One picture is to be seen at each width, and boxes that scroll can be scrolled
// with the keyboard.
func TestPicturesAndKeys(t *testing.T) {
	s := serve(t, week(t).fold(noon), noon)
	tab := suite.Browser(t).Tab("keys", browser.Desk)
	for _, width := range []int64{390, 800, 1440} {
		tab.Resize(browser.Size{Width: width, Height: 900})
		tab.Open(s.address + looked["cold"])
		shown := browser.Ask[[]int](tab, `[...document.querySelectorAll(".picture")].map(p => [...p.children].filter(c => c.getBoundingClientRect().width > 0).length)`)
		require.Equal(t, []int{1, 1, 1, 1, 1}, shown, "%d px", width)
	}
	tab.Do(chromedp.Focus(chromedp.CSS("#hours")))
	tab.Keys(kb.PageDown)
	tab.Until(`document.querySelector("#hours").scrollTop > 0`)
	// The timeline is filtered with the keyboard alone.
	tab.Do(chromedp.Focus(chromedp.CSS("[name=q]")))
	tab.Keys("hairline" + kb.Enter)
	tab.Until(`new URL(location).searchParams.get("q") === "hairline" && document.querySelectorAll(".entries > li").length === 1`)
}

// An answer that anything may be stripped is gone after a minute, on a page that
// nobody loads again.
func TestWhatIsOldIsNotShown(t *testing.T) {
	s := serve(t, week(t).fold(noon), noon)
	tab := suite.Browser(t).Tab("old", browser.Desk)
	tab.Open(s.address + looked["open"])
	tab.SeeText("#say", "may strip since")
	tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`document.getAnimations().forEach(a => a.currentTime = 54000), true`))
		return err
	}))
	require.True(t, browser.Ask[bool](tab, `document.querySelector("#say").getBoundingClientRect().height > 0`))
	browser.Ask[bool](tab, `document.getAnimations().forEach(a => a.currentTime = 56000), true`)
	tab.Until(`document.querySelector("#say").getBoundingClientRect().height === 0 && document.querySelector("p.stale").getBoundingClientRect().height > 0`)
	require.Zero(t, browser.Ask[int](tab, `[...document.querySelectorAll(".state")].filter(e => e.innerText === "window open" && e.getBoundingClientRect().height > 0).length`))
	require.Equal(t, 2, browser.Ask[int](tab, `[...document.querySelectorAll(".picture")].filter(p => p.getBoundingClientRect().height > 0).length`), "curves and pour are still there")
}

// On paper the page stands whole, with the caution and what it rests on at the
// foot.
func TestPaper(t *testing.T) {
	s := serve(t, week(t).fold(noon), noon)
	tab := suite.Browser(t).Tab("paper", browser.Desk)
	for _, name := range []string{"cold", "exceptions", "placing"} {
		tab.Open(s.address + looked[name])
		tab.Until(`document.fonts.status === "loaded"`)
		tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
			_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
			return err
		}))
		require.False(t, browser.Ask[bool](tab, `document.querySelector(".band").checkVisibility()`), name)
		foot := tab.Text(".paper")
		require.Contains(t, foot, scheduler.Caution, name)
		require.Contains(t, foot, "Record through message 421", name)
		require.Empty(t, browser.Ask[[]string](tab, `[...document.querySelectorAll("main :not(svg *, svg)")].filter(e => e.checkVisibility() && e.textContent.trim() && getComputedStyle(e).color !== "rgb(0, 0, 0)").slice(0, 5).map(e => e.outerHTML.slice(0, 100))`), "black on white")
		var pdf []byte
		tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
			out, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PrintBackground: new(true), PreferCSSPageSize: new(true)})
			if err == nil {
				pdf = out.Data
			}
			return err
		}))
		require.Greater(t, len(pdf), 10000)
		if dir := os.Getenv(browser.ShotsEnv); dir != "" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "paper-"+name+".pdf"), pdf, 0o600))
		}
	}
}
