package board_test

import (
	"testing"

	"earlyage/cmd/earlyage/internal/browser"
)

// Every page at both sizes, with a quiet morning and with twelve walls.
func TestPagesAreGood(t *testing.T) {
	in := readRecord(t, "testdata/morning.txt").input(morning)
	s := serve(t, many(in, 12), nil)
	for _, size := range []struct {
		name string
		size browser.Size
	}{{"phone", browser.Phone}, {"desk", browser.Desk}} {
		tab := browser.Start(t).Tab("board-"+size.name, size.size)
		for _, page := range []string{"board", "alerts", "braces", "week"} {
			tab.Open("http://" + s.address + "/" + page)
			tab.Until(`document.querySelector("#walls, .lead")`)
			tab.Shot(page)
			tab.Good()
		}
	}
}
