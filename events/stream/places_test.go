package stream_test

import (
	"bufio"
	"net"
	"slices"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"earlyage/events"
	"earlyage/events/stream"
)

func TestNetworkOf(t *testing.T) {
	for remote, want := range map[string]string{
		"192.0.2.7:1234":                "192.0.2.7",
		"[::ffff:192.0.2.7]:1234":       "192.0.2.7",
		"[2001:db8:1:2:3:4:5:6]:1":      "2001:db8:1:2::/64",
		"[2001:db8:1:2:ffff::]:9":       "2001:db8:1:2::/64",
		"[2001:db8:1:3::]:9":            "2001:db8:1:3::/64",
		"[fe80::1%eth0]:9":              "fe80::/64",
		"pipe":                          "pipe",
		"2001:db8:1:2:aaaa:bbbb:cccc:d": "2001:db8:1:2::/64",
	} {
		require.Equal(t, want, stream.NetworkOf(remote), remote)
	}
}

// Connections that say nothing take the places of each other, and never those of
// who shakes hands: neither of all, nor of one address.
func TestFrontIdleConnectionsGiveWay(t *testing.T) {
	for name, x := range map[string]struct {
		cfg   stream.FrontConfig
		ended [2]int // by eight that come, before the first device and before the second
	}{
		"all":     {stream.FrontConfig{Most: 8}, [2]int{2, 7}}, // a quarter is kept free of them
		"address": {stream.FrontConfig{PerAddress: 8}, [2]int{0, 8}},
	} {
		t.Run(name, func(t *testing.T) {
			g := guard(t, func(c *stream.ServerConfig) { c.Front = &x.cfg })
			var devices []*nats.Conn
			ended := make(chan int, 100)
			open := 0
			idle := func(n int) {
				for range n {
					conn, err := net.Dial("tcp", hostOf(t, g.srv.ClientURL()))
					require.NoError(t, err)
					t.Cleanup(func() { _ = conn.Close() })
					r := bufio.NewReader(conn)
					_, err = r.ReadString('\n') // the greeting: it has its place
					require.NoError(t, err)
					i := open
					open++
					go func() {
						_, _ = r.ReadString('\n') // until it is ended
						ended <- i
					}()
				}
			}
			oldest := 0
			gone := func(n int) {
				t.Helper()
				var got, want []int
				for range n {
					got, want = append(got, <-ended), append(want, oldest)
					oldest++
				}
				slices.Sort(got)
				require.Equal(t, want, got, "not those that have waited longest")
			}
			for i, id := range []stream.Identity{g.reg.device(t, "a", "phone-1", events.Crew), g.reg.device(t, "a", "phone-2", events.Crew)} {
				idle(8)
				gone(x.ended[i])
				nc, _ := g.as(t, id, nats.NoReconnect())
				gone(1)
				devices = append(devices, nc)
			}
			for _, nc := range devices {
				_, _, err := stream.PublishOne(testContext(t), nc, "pour.a.w1.pour.started", []byte("x"), "")
				require.NoError(t, err)
			}
			require.Empty(t, ended)
		})
	}
}
