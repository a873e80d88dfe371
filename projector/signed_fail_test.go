package projector_test

import (
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/projector"
)

// TestRegisterOutlivesFailedWrites fails every write of every file once, applied
// and not applied, while people and devices change: the verdicts are the same.
func TestRegisterOutlivesFailedWrites(t *testing.T) {
	story := func(t *testing.T) *crew {
		c := newCrew(t)
		c.cuts = []int{5}
		c.send(c.anna, c.anna.lift("w1", 1))
		c.appoint("alder", "p-anna", events.Engineer)
		c.send(c.anna, c.anna.lift("w1", 2)) // no longer hers to say
		old := c.ben.key
		c.rekey(c.ben, "anew")
		late := c.ben.event("w2", "hold.placed", "p-ben", &events.HoldPlaced{Hold: "h", Reason: "cracks"})
		c.addSigned(t, old, late)
		c.send(c.ben, late)
		c.revoke(c.cara)
		c.send(c.cara, c.cara.event("w1", "hold.released", "p-cara", &events.HoldReleased{Hold: "h", Reason: "r"}))
		c.send(c.logger, c.logger.reading("w2", 9))
		return c
	}
	first := foldRecord(t, story(t).record)
	want, register := digest(t, first), first.Register()
	view(t, first, func(v projector.View) { require.EqualValues(t, 3, v.Hub().Refused) })
	for _, file := range []string{"keep.db", "view.db"} {
		for _, applied := range []bool{false, true} {
			for write := range 4 {
				t.Run(fmt.Sprintf("%s/applied=%t/write=%d", file, applied, write), func(t *testing.T) {
					synctest.Test(t, func(t *testing.T) {
						c := story(t)
						f := &fault{file: file, applied: applied, err: errors.New("injected"), after: -1}
						cfg := signedConfig(t, t.TempDir(), c.tape)
						cfg.OpenWith(f.open)
						p := open(t, cfg)
						f.arm(write)
						stop := run(t, p)
						time.Sleep(10 * time.Second)
						require.Equal(t, 1, f.hits())
						require.Equal(t, want, digest(t, p))
						require.Equal(t, register, p.Register())
						require.NoError(t, stop())
					})
				})
			}
		}
	}
}
