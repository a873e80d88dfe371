package phone_test

import (
	"context"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
)

// contrasts are the texts of what stands over the screen that contrast with their
// ground by less than 7, the ratio of WCAG 2.2's criterion 1.4.6 (from memory); the
// ratio is reckoned as its definition of contrast says.
const contrasts = `(() => {
	const lum = c => { const f = c.map(v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4); return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
	const rgb = s => s.match(/[\d.]+/g).map(Number), out = [];
	for (const e of document.querySelectorAll(".told *")) {
		if (![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) || !e.getClientRects().length) continue;
		let g = e;
		while ((rgb(getComputedStyle(g).backgroundColor)[3] ?? 1) === 0) g = g.parentElement;
		const [a, b] = [getComputedStyle(e).color, getComputedStyle(g).backgroundColor].map(s => lum(rgb(s).slice(0, 3)));
		const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (ratio < 7) out.push(ratio.toFixed(1) + " " + e.textContent);
	}
	return out;
})()`

// What is urgent is read in the sun, on a small phone, whatever theme it is set to:
// what to do is seen and every key is in reach without scrolling, and where there is
// no link that is said beside it.
func TestWhatIsUrgentOnASmallPhoneInTheSun(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	for _, theme := range []string{"light", "dark"} {
		tab := b.Tab("sun", browser.Size{Width: 360, Height: 640, Mobile: true})
		tab.Do(chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
			_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}}})
			return err
		}))
		v := view{sheet: placing(t, "si").sheet("04 09:01"), when: "04 09:12", hash: wallHash, state: told(raised)}
		v.show(t, tab, url)
		picture(t, tab, "sun-"+theme)
		whole(t, tab, theme)
		require.Empty(t, browser.Ask[[]string](tab, contrasts), theme)
		require.Equal(t, "rgb(255, 255, 255)", browser.Ask[string](tab, `getComputedStyle(document.querySelector(".told")).backgroundColor`), theme)
		require.Empty(t, browser.Ask[[]string](tab, `[...document.querySelectorAll(".told-keys .key")].filter(e => e.getBoundingClientRect().bottom > innerHeight).map(e => e.dataset.k)`), "out of reach")
		require.Empty(t, browser.Ask[[]string](tab, `["#told-first", ".told-do"].filter(s => document.querySelector(s).getBoundingClientRect().bottom > document.querySelector(".told-keys").getBoundingClientRect().top)`), "under the keys")
		require.NotContains(t, tab.Text(".told"), "no link")
		browser.Ask[string](tab, `fake.set({link: "down"}); ""`)
		tab.SeeText(".told", "no link")
		picture(t, tab, "sun-down-"+theme)
		browser.Ask[string](tab, `fake.set({link: "up"}); ""`)
		tab.Until(`!document.querySelector(".told").innerText.includes("no link")`)
	}
}

// How urgent an alert of the list is stands there as a word, beside its colour.
func TestTheListSaysHowUrgent(t *testing.T) {
	t.Parallel()
	url, b := screens(t), suite.Browser(t)
	sheet := living(t, "si").sheet("04 10:20")
	tab := on(t, b, url, view{sheet: sheet, when: "04 10:20", hash: wallHash + "/alerts"})
	said := browser.Ask[[]string](tab, `[...document.querySelectorAll("#screen section")].map(e => e.querySelector("p b").innerText)`)
	var want []string
	for _, a := range wallOf(t, sheet, "north-1").Alerts {
		want = append(want, a.Priority)
	}
	require.Equal(t, want, said)
	require.Contains(t, said, "urgent")
	require.Contains(t, said, "high")
}
