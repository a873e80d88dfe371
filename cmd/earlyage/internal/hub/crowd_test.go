package hub_test

import (
	"net"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/hub"
)

// arrivals is a listener whose connections a test makes.
type arrivals struct {
	net.Listener
	come chan net.Conn
}

func (a arrivals) Accept() (net.Conn, error) {
	conn, open := <-a.come
	if !open {
		return nil, net.ErrClosed
	}
	return conn, nil
}

// guest is one end of a connection from an address.
type guest struct {
	net.Conn
	from string
	left chan struct{}
}

func (g *guest) RemoteAddr() net.Addr { a, _ := net.ResolveTCPAddr("tcp", g.from); return a }

func (g *guest) Close() error {
	select {
	case <-g.left:
	default:
		close(g.left)
	}
	return nil
}

func (g *guest) gone() bool {
	select {
	case <-g.left:
		return true
	default:
		return false
	}
}

// Open connections are counted, in all and from one network. A new one takes the
// place of the one that has been idle longest, else of one that has not asked
// yet, never of one that is at work.
func TestConnectionsAreCounted(t *testing.T) {
	for name, limits := range map[string][2]int{"in all": {3, 9}, "from one network": {9, 3}} {
		t.Run(name, func(t *testing.T) {
			refused := 0
			in := arrivals{come: make(chan net.Conn, 9)}
			c := hub.NewCrowd(in, limits[0], limits[1], func(string) { refused++ })
			come := func() (*guest, net.Conn) {
				g := &guest{from: "[2001:db8::1]:7", left: make(chan struct{})}
				in.come <- g
				conn, err := c.Accept()
				require.NoError(t, err)
				return g, conn
			}
			busy, busyConn := come()
			c.State(busyConn, http.StateActive)
			older, olderConn := come()
			newer, newerConn := come()
			c.State(newerConn, http.StateActive)
			c.State(olderConn, http.StateActive)
			c.State(olderConn, http.StateIdle)
			c.State(newerConn, http.StateIdle)

			fresh, freshConn := come()
			require.True(t, older.gone(), "the one that was idle longest makes room")
			require.False(t, busy.gone() || newer.gone() || fresh.gone())
			require.NoError(t, olderConn.Close(), "its end is not counted twice")
			c.State(newerConn, http.StateActive)
			next, nextConn := come()
			require.True(t, fresh.gone(), "one that has not asked makes room")
			c.State(nextConn, http.StateActive)
			require.NoError(t, freshConn.Close())

			require.NoError(t, newerConn.Close())
			_, last := come()
			require.Zero(t, refused, "there was room for it")
			require.NoError(t, last.Close())
			require.False(t, busy.gone() || next.gone())
			close(in.come)
			_, err := c.Accept()
			require.ErrorIs(t, err, net.ErrClosed)
		})
	}
}

// Where all are at work, a newcomer is ended and the next is waited for.
func TestNoRoom(t *testing.T) {
	in, refused := arrivals{come: make(chan net.Conn, 9)}, []string{}
	c := hub.NewCrowd(in, 9, 1, func(from string) { refused = append(refused, from) })
	list := []*guest{}
	for _, from := range []string{"192.0.2.1:1", "192.0.2.1:2", "192.0.2.2:3"} {
		g := &guest{from: from, left: make(chan struct{})}
		list = append(list, g)
		in.come <- g
	}
	first, err := c.Accept()
	require.NoError(t, err)
	c.State(first, http.StateActive)
	second, err := c.Accept()
	require.NoError(t, err)
	require.Equal(t, "192.0.2.2:3", second.RemoteAddr().String(), "another network has room")
	require.Equal(t, []string{"192.0.2.1:2"}, refused)
	require.Equal(t, []bool{false, true, false}, []bool{list[0].gone(), list[1].gone(), list[2].gone()})
	require.NoError(t, first.Close())
	in.come <- &guest{from: "192.0.2.1:4", left: make(chan struct{})}
	_, err = c.Accept()
	require.NoError(t, err)
	require.Len(t, refused, 1)
}

// One subscriber's addresses are counted as one.
func TestNetworks(t *testing.T) {
	for remote, want := range map[string]string{
		"192.0.2.7:1": "192.0.2.7", "[::ffff:192.0.2.7]:2": "192.0.2.7", "[2001:db8:1:2:3::4]:5": "2001:db8:1:2::/64",
		"[2001:db8:1:2:9::4]:6": "2001:db8:1:2::/64", "[fe80::1%eth0]:7": "fe80::/64", "@": "@",
	} {
		require.Equal(t, want, hub.NetworkOf(remote), remote)
	}
}
