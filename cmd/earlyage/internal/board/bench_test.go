package board_test

import (
	"strconv"
	"testing"

	"earlyage/cmd/earlyage/internal/board"
	"earlyage/cmd/earlyage/internal/browser"
)

// What a board of 500 walls costs: to be made, and to be written as a page.
func BenchmarkMake(b *testing.B) {
	in := many(readRecord(b, "testdata/morning.txt").input(morning), 500)
	b.ReportAllocs()
	for b.Loop() {
		board.Make(in)
	}
}

func BenchmarkPage(b *testing.B) {
	for _, c := range []struct {
		name  string
		walls int
	}{{"12", 12}, {"500", 500}} {
		b.Run(c.name, func(b *testing.B) {
			s := serve(b, many(readRecord(b, "testdata/morning.txt").input(morning), c.walls), nil)
			s.get(b, "/board")
			for b.Loop() {
				s.get(b, "/board")
			}
		})
	}
}

// A tick in which 50 of 500 walls change, for one viewer and for ten: one picture
// and one message are made for all of them.
func BenchmarkTick(b *testing.B) {
	for _, c := range []struct {
		name    string
		viewers int
	}{{"1 viewer", 1}, {"10 viewers", 10}} {
		b.Run(c.name, func(b *testing.B) {
			s := serve(b, many(readRecord(b, "testdata/morning.txt").input(morning), 500), func(c *board.Config) { c.Every = 1 })
			viewers := board.NewViewers(s.pages, c.viewers)
			tick, told := 0, 0
			for b.Loop() {
				tick++
				s.change(func(in *board.Input) {
					for i := range 50 {
						in.Walls[(tick*50+i)%len(in.Walls)].Assessment.Rate.PumpM3H = float64(tick)
						in.Walls[(tick*50+i)%len(in.Walls)].Assessment.State = "placing"
					}
				})
				for _, v := range viewers {
					if err := v.Tell(); err != nil {
						b.Fatal(err)
					}
				}
			}
			for _, v := range viewers {
				told += v.Told()
			}
			b.ReportMetric(float64(told)/float64(tick*c.viewers), "B/tick·viewer")
		})
	}
}

// How long it takes from asking for the board until something is painted.
func BenchmarkFirstPaint(b *testing.B) {
	in := readRecord(b, "testdata/morning.txt").input(morning)
	chromium := suite.Browser(b)
	for _, n := range []int{12, 500} {
		b.Run(strconv.Itoa(n), func(b *testing.B) {
			s := serve(b, many(in, n), nil)
			tab, sum := chromium.Tab("paint", browser.Desk), 0.0
			tab.Expect("net::") // the server goes before the page
			for b.Loop() {
				tab.Open("http://" + s.address + "/board")
				tab.Until(`performance.getEntriesByName("first-contentful-paint").length`)
				sum += browser.Ask[float64](tab, `performance.getEntriesByName("first-contentful-paint")[0].startTime`)
			}
			b.ReportMetric(sum/float64(b.N), "ms/paint")
		})
	}
}
