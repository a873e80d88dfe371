package demo

import (
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
)

// recounts serves what a demo left and looks back along its walls: as of the
// moments of a wall's messages nothing later is shown, nothing is left out, and what
// the hub had stated is what the record of then gives now.
func recounts(t *testing.T, dir string) {
	t.Helper()
	h, err := hub.Start(t.Context(), hub.Config{Dir: dir, StopWithin: time.Minute})
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Stop()) }()
	client, err := api.Dial(api.Where{Socket: h.Socket()})
	require.NoError(t, err)
	defer client.HTTP.CloseIdleConnections()
	ask := func(site, wall string, q url.Values) (out api.Messages) {
		_, err := client.Get(t.Context(), api.WallPath(site, wall)+"/"+api.WallTimeline, q, &out)
		require.NoError(t, err)
		return out
	}
	for _, at := range []struct{ site, wall string }{{"alder-court", "north-2"}, {"stone-draw", "shop-d"}, {"tverrbakken", "wall-3"}} {
		all := ask(at.site, at.wall, nil).Messages
		require.Greater(t, len(all), 100, at.wall)
		compared := 0
		for i := 0; i < len(all); i += 10 {
			moment := all[i].Recorded.Time
			then := ask(at.site, at.wall, url.Values{"as-of": {moment.Format(time.RFC3339)}})
			n := 0
			for n < len(all) && !all[n].Recorded.After(moment) {
				n++
			}
			require.Len(t, then.Messages, n, "%s as of message %d", at.wall, all[i].Seq)
			for j, m := range then.Messages {
				require.Equal(t, all[j].Seq, m.Seq, "%s as of message %d", at.wall, all[i].Seq)
				for _, c := range m.Changes {
					require.False(t, c.At.After(moment), "%s: message %d as of message %d", at.wall, m.Seq, all[i].Seq)
				}
			}
			if w := then.Window; w.Due && w.Seq != 0 {
				require.True(t, w.Agrees, "%s as of message %d: %+v", at.wall, all[i].Seq, w)
				compared++
			}
		}
		require.GreaterOrEqual(t, compared, 5, at.wall)
	}
	early := ask("alder-court", "north-2", url.Values{"kind": {"alert.raised"}, "q": {"early"}}).Messages
	require.NotEmpty(t, early)
	require.NotEmpty(t, early[0].Alarm.Told, "who was told of it")
	require.False(t, early[0].Alarm.Acknowledged.IsZero(), "and who answered")
}
