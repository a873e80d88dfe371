package demo

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/face"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/projector"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// registered is the bracing register of all sites, of the week and what is played
// live after it, as the folder that is left has it.
func registered(t *testing.T, dir string) string {
	t.Helper()
	p, err := projector.Open(projector.Config{Dir: dir, Demo: true})
	require.NoError(t, err)
	defer func() { require.NoError(t, p.Close()) }()
	q := register.Query{At: time.Date(2026, 11, 9, 22, 40, 0, 0, time.UTC), From: "2026-11-02", To: "2026-11-09"}
	var sites []register.Site
	require.NoError(t, p.Read(func(v projector.View) error {
		for _, name := range v.Sites() {
			s := v.Site(name)
			sites = append(sites, register.Make(q, register.Input{
				Site: face.Site{Site: name, Name: s.Name(), Zone: s.Zone().String(), Units: s.Units()}, State: s, Devices: v.Devices(name), Hub: scheduler.Hub{},
				Walls: func(yield func(*wall.State) bool) {
					for _, ref := range v.Walls(name) {
						if w := v.Wall(ref); w != nil && !yield(w) {
							return
						}
					}
				},
			}))
		}
		return nil
	}))
	reg := register.Join(register.Register{Level: true, Doubts: []string{}}, q, sites)
	var out bytes.Buffer
	require.NoError(t, reg.Text(&out, ""))
	return out.String()
}
