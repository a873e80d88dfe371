package browser_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/browser"
)

const page = `<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>A page</title><meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="icon" href="data:,"></head>
<body><main><h1>A page</h1><button type="button" id="more">One more</button><p id="count" aria-live="polite">0</p>
<p id="net">none</p></main><script src="/count.js"></script></body></html>`

const script = `let n = 0;
document.getElementById("more").addEventListener("click", async () => {
	document.getElementById("count").textContent = ++n;
	try { document.getElementById("net").textContent = await (await fetch("/say?" + n)).text(); }
	catch { document.getElementById("net").textContent = "cut"; }
});`

func serve(t *testing.T) *httptest.Server {
	mux := http.NewServeMux()
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, page) })
	mux.HandleFunc("/count.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		fmt.Fprint(w, script)
	})
	mux.HandleFunc("/say", func(w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, "said "+r.URL.RawQuery) })
	s := httptest.NewServer(mux)
	t.Cleanup(s.Close)
	return s
}

func TestAPageIsUsedAsAPersonDoes(t *testing.T) {
	s := serve(t)
	relay := browser.NewRelay(t, s.Listener.Addr().String())
	b := browser.Start(t)
	tab := b.Tab("phone", browser.Phone)
	tab.Open("http://" + relay.Addr() + "/")
	tab.Good()
	tab.Press("#more")
	tab.SeeText("#count", "1")
	tab.SeeText("#net", "said 1")
	tab.Shot("pressed")
	require.Equal(t, "A page", tab.Text("h1"))

	tab.Expect("ERR_")
	relay.Cut(true)
	tab.Press("#more")
	tab.SeeText("#net", "cut")
	relay.Cut(false)
	tab.Press("#more")
	tab.SeeText("#net", "said 3")

	relay.Deaf(false, true)
	tab.Press("#more")
	tab.SeeText("#count", "4")
	require.Equal(t, "said 3", tab.Text("#net"), "nothing arrives")
	relay.Deaf(false, false)
	tab.SeeText("#net", "said 4")

	tab.Offline(true)
	tab.Press("#more")
	tab.SeeText("#net", "cut")
	tab.Offline(false)
	tab.Press("#more")
	tab.SeeText("#net", "said 6")
}

func TestValidHTML(t *testing.T) {
	browser.ValidHTML(t, map[string]string{"page": page})
}
