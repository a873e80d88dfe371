package register_test

import (
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/register"
	"earlyage/projector/wall"
)

// A site of a thousand walls, each stripped brace by brace after three days at 10 °C
// and six hours; its register, and each format of it.
func BenchmarkThousandWalls(b *testing.B) {
	w := newWorld(b, "Europe/Oslo").opened("policy.permit_needed=false")
	w.pour("a", "2026-10-05", "10:00", "2026-10-10@10:00", 10)
	w.record(`
		2026-10-09 09:00 phone p-crew wind.read - gust_mps=3
		2026-10-09 10:00 phone p-crew brace.stripped a braces=b1
		2026-10-09 11:00 phone p-crew brace.stripped a braces=b2
		2026-10-09 12:00 phone p-crew brace.stripped a braces=b3`)
	q := register.Query{At: w.moment("2026-10-10@10:00")}
	f := w.fold(q.At)
	for i := range 999 {
		name := fmt.Sprintf("w%04d", i)
		f.walls[name] = wall.New(w.site, name)
		for _, x := range w.facts {
			if x.Wall == "a" {
				x.Wall = name
				f.walls[name].Add(x)
			}
		}
	}
	var reg register.Register
	b.Run("make", func(b *testing.B) {
		for b.Loop() {
			reg = register.Join(register.Register{}, q, []register.Site{register.Make(q, f.input())})
		}
		require.Equal(b, 3000, reg.Total.Braces)
		require.Equal(b, 3000, reg.Total.Stripped)
	})
	reg = register.Join(register.Register{}, q, []register.Site{register.Make(q, f.input())})
	for name, write := range map[string]func(io.Writer) error{"csv": reg.CSV, "xlsx": reg.XLSX, "json": reg.JSON, "text": func(w io.Writer) error { return reg.Text(w, "") }} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				require.NoError(b, write(io.Discard))
			}
		})
	}
}
