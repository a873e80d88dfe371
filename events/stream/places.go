package stream

import (
	"container/list"
	"fmt"
	"net"
	"net/netip"
	"sync"
)

// places counts the connections through the front. Who has not said who it is
// never holds more than three quarters of them, and gives way: when they are
// taken, the one that has waited longest is ended for the newcomer. Whoever opens
// connections and says nothing so keeps nobody out who shakes hands in time.
type places struct {
	most    int // in all
	address int // from one address

	mu      sync.Mutex
	all     int
	from    map[string]int
	waiting *list.List // of *place: not admitted yet, oldest first
}

// place is one connection's.
type place struct {
	address string
	end     func() // ends the connection

	at   *list.Element // in waiting; nil: admitted
	gone bool
}

func newPlaces(most, address int) *places {
	return &places{most: most, address: address, from: map[string]int{}, waiting: list.New()}
}

// networkOf is what connections are counted by: an IPv4 address, or the /64 of an
// IPv6 address, since one customer has all the addresses of it.
func networkOf(remote string) string {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		host = remote
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return host
	}
	if ip = ip.Unmap().WithZone(""); ip.Is4() {
		return ip.String()
	}
	return netip.PrefixFrom(ip, 64).Masked().String()
}

// take gives a place, and ends another connection for it where it must; or it
// says that there are too many. ended is how many it ended.
func (s *places) take(address string, end func()) (p *place, ended int, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.from[address] >= s.address {
		if !s.dropOldest(address) {
			return nil, ended, fmt.Errorf("%d connections are open from this address", s.from[address])
		}
		ended++
	}
	if s.all >= s.most || s.waiting.Len() >= s.most-s.most/4 {
		if !s.dropOldest("") {
			return nil, ended, fmt.Errorf("%d connections are open", s.all)
		}
		ended++
	}
	p = &place{address: address, end: end}
	p.at = s.waiting.PushBack(p)
	s.all++
	s.from[address]++
	return p, ended, nil
}

// dropOldest ends the connection that has waited longest, of one address or of
// all. Called under mu.
func (s *places) dropOldest(address string) bool {
	for e := s.waiting.Front(); e != nil; e = e.Next() {
		if p := e.Value.(*place); address == "" || p.address == address {
			s.free(p)
			p.end()
			return true
		}
	}
	return false
}

// admitted says that a connection has said who it is.
func (s *places) admitted(p *place) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if p.at != nil {
		s.waiting.Remove(p.at)
		p.at = nil
	}
}

// leave gives the place back.
func (s *places) leave(p *place) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.free(p)
}

// free is leave under mu.
func (s *places) free(p *place) {
	if p.gone {
		return
	}
	p.gone = true
	if p.at != nil {
		s.waiting.Remove(p.at)
		p.at = nil
	}
	s.all--
	if s.from[p.address]--; s.from[p.address] == 0 {
		delete(s.from, p.address)
	}
}
