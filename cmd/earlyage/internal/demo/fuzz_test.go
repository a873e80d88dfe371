package demo

import (
	"io/fs"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	scripts "earlyage/testdata/demo"
)

// FuzzScript reads a script, which may be anything: an error, or entries by
// devices of sites that the script names.
func FuzzScript(f *testing.F) {
	files, err := fs.Glob(scripts.Scripts, "*.txt")
	require.NoError(f, err)
	for _, name := range files {
		text, err := fs.ReadFile(scripts.Scripts, name)
		require.NoError(f, err)
		f.Add(string(text))
	}
	f.Add("site a UTC\nperson p foreman P\ndevice d phone p\ndevice m probe wall=w\nlost d 2026-01-01@00:00 gone\ntries 2026-01-01 00:00 d hold.released w hold=h\nlook w 2026-01-01@00:00 hold words\nprobe d top w 2026-01-01@00:00 2026-01-02@00:00\nend 2026-01-03@00:00\n")
	f.Add("site a UTC\ndevice d\n")
	f.Add("site a Nowhere/Else\n")
	f.Add("site a UTC\nprobe d top w 0001-01-01@00:00 9999-12-31@00:00\n")
	f.Fuzz(func(t *testing.T, text string) {
		s := newScript()
		if s.read(text) != nil || s.enrol() != nil {
			return
		}
		for _, e := range s.entries {
			require.NotNil(t, s.sites[e.device.site])
			if e.device.device != "" {
				require.NotNil(t, s.devices[e.device])
			}
			require.False(t, e.at.IsZero())
		}
		require.IsNonDecreasing(t, moments(inOrder(s.entries)))
	})
}

func moments(entries []entry) (out []int64) {
	out = append(out, math.MinInt64)
	for _, e := range entries {
		out = append(out, max(out[len(out)-1], e.at.UnixMilli()))
		if e.at.UnixMilli() != out[len(out)-1] {
			return []int64{1, 0} // out of order
		}
	}
	return out
}
