package hub

import (
	"cmp"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// crowd is a listener that bounds how many connections are open, in all and from
// one network. Where there is no room, those that wait for nothing make it: first
// one that is idle between requests, the longest idle first, then one that has not
// yet asked. Where all of them are at work, the newcomer is ended.
type crowd struct {
	net.Listener
	most, perNetwork int
	refused          func(remote string)

	mu      sync.Mutex
	members map[*member]struct{} // mu, as all of a member but its Conn
	from    map[string]int
	seldom  rate.Sometimes
}

// member is one open connection.
type member struct {
	net.Conn
	crowd   *crowd
	network string
	state   http.ConnState
	since   time.Time // in this state
	once    sync.Once
}

const (
	crowdMost       = 4096
	crowdPerNetwork = 256
)

func newCrowd(l net.Listener, most, perNetwork int, refused func(remote string)) *crowd {
	return &crowd{
		Listener: l, most: cmp.Or(most, crowdMost), perNetwork: cmp.Or(perNetwork, crowdPerNetwork), refused: refused,
		members: map[*member]struct{}{}, from: map[string]int{}, seldom: rate.Sometimes{First: 10, Interval: time.Second},
	}
}

// Accept implements net.Listener.
func (c *crowd) Accept() (net.Conn, error) {
	for {
		conn, err := c.Listener.Accept()
		if err != nil {
			return nil, err
		}
		m := &member{Conn: conn, crowd: c, network: networkOf(conn.RemoteAddr().String()), state: http.StateNew, since: time.Now()}
		if c.enter(m) {
			return m, nil
		}
		c.seldom.Do(func() { c.refused(conn.RemoteAddr().String()) })
		_ = conn.Close() // there is nobody to tell
	}
}

// enter lets a connection in, if need be in the place of one that waits.
func (c *crowd) enter(m *member) bool {
	c.mu.Lock()
	var ended *member
	switch {
	case c.from[m.network] >= c.perNetwork:
		ended = c.waiting(m.network)
	case len(c.members) >= c.most:
		ended = c.waiting("")
	default:
		c.add(m)
		c.mu.Unlock()
		return true
	}
	if ended == nil {
		c.mu.Unlock()
		return false
	}
	c.drop(ended)
	c.add(m)
	c.mu.Unlock()
	_ = ended.Conn.Close() // it has been counted out already
	return true
}

// waiting finds who may be ended, of one network or of all. mu is held.
func (c *crowd) waiting(network string) (first *member) {
	order := []http.ConnState{http.StateIdle, http.StateNew}
	for m := range c.members {
		place := slices.Index(order, m.state)
		if place < 0 || network != "" && m.network != network {
			continue
		}
		if first == nil || cmp.Or(cmp.Compare(place, slices.Index(order, first.state)), m.since.Compare(first.since)) < 0 {
			first = m
		}
	}
	return first
}

func (c *crowd) add(m *member) {
	c.members[m] = struct{}{}
	c.from[m.network]++
}

// drop counts a connection out. mu is held.
func (c *crowd) drop(m *member) {
	if _, in := c.members[m]; !in {
		return
	}
	delete(c.members, m)
	if c.from[m.network]--; c.from[m.network] == 0 {
		delete(c.from, m.network)
	}
}

// Close implements net.Conn.
func (m *member) Close() error {
	m.once.Do(func() {
		m.crowd.mu.Lock()
		defer m.crowd.mu.Unlock()
		m.crowd.drop(m)
	})
	return m.Conn.Close()
}

// state notes what a connection does; for http.Server.ConnState.
func (c *crowd) state(conn net.Conn, state http.ConnState) {
	if secure, ok := conn.(interface{ NetConn() net.Conn }); ok {
		conn = secure.NetConn()
	}
	m, ok := conn.(*member)
	if !ok {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	m.state, m.since = state, time.Now()
}

// networkOf is what one subscriber has: an address, or a whole /64 where
// addresses are that many.
func networkOf(remote string) string {
	at, err := netip.ParseAddrPort(remote)
	if err != nil {
		return remote
	}
	a := at.Addr().Unmap().WithZone("")
	if a.Is4() {
		return a.String()
	}
	p, err := a.Prefix(64)
	if err != nil {
		return a.String()
	}
	return p.String()
}
