package door

import (
	"net/http"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Limits are how much one may ask. The zero of a field is its default. They are
// wide enough for a whole site behind one address.
type Limits struct {
	Address, AddressBurst int // requests a second from one address, and at once; default 100 and 1000
	Account, AccountBurst int // requests a second of one person or device; default 20 and 200
	// Tries are wrong codes, signatures and passkeys from one address, a
	// minute, and at once; default 6 and 20. What was right is not counted.
	// There is no such count by account: nobody guesses a key, and a stranger
	// must not be able to shut a person out.
	Tries, TriesBurst int
}

func (l *Limits) fill() {
	for at, value := range map[*int]int{
		&l.Address: 100, &l.AddressBurst: 1000, &l.Account: 20, &l.AccountBurst: 200, &l.Tries: 6, &l.TriesBurst: 20,
	} {
		if *at <= 0 {
			*at = value
		}
	}
}

// limits count by address and by account.
type limits struct {
	addresses, accounts, tries *meters
}

func newLimits(l Limits) *limits {
	return &limits{
		addresses: newMeters(rate.Limit(l.Address), l.AddressBurst),
		accounts:  newMeters(rate.Limit(l.Account), l.AccountBurst),
		tries:     newMeters(rate.Limit(l.Tries)/60, l.TriesBurst),
	}
}

// mostMeters bounds the memory of one table: two generations of so many. A meter
// is forgotten when so many others were used after it.
const mostMeters = 1 << 15

type meter struct {
	*rate.Limiter
	under int // tries under way, not yet known right or wrong
}

type meters struct {
	mu    sync.Mutex
	limit rate.Limit
	burst int
	young map[string]*meter // guarded by mu, as are old and the meters
	old   map[string]*meter
}

func newMeters(limit rate.Limit, burst int) *meters {
	return &meters{limit: limit, burst: burst, young: map[string]*meter{}}
}

// of gives the meter of a key. mu is held.
func (m *meters) of(key string) *meter {
	one := m.young[key]
	if one != nil {
		return one
	}
	if one = m.old[key]; one == nil {
		one = &meter{Limiter: rate.NewLimiter(m.limit, m.burst)}
	}
	if len(m.young) >= mostMeters {
		m.young, m.old = map[string]*meter{}, m.young
	}
	m.young[key] = one
	return one
}

// allow counts one request.
func (m *meters) allow(key string, now time.Time) bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.of(key).AllowN(now, 1)
}

// try begins a try, if one is free. done must be called once; wrong counts it.
func (m *meters) try(key string, now time.Time) (done func(wrong bool), ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	one := m.of(key)
	if one.TokensAt(now)-float64(one.under) < 1 {
		return nil, false
	}
	one.under++
	return func(wrong bool) {
		m.mu.Lock()
		defer m.mu.Unlock()
		one.under--
		if wrong {
			one.AllowN(now, 1)
		}
	}, true
}

// addressOf gives the network that a request came from: what one subscriber
// has, a whole /64 where addresses are that many. What a header says of it is
// not believed.
func addressOf(r *http.Request) string {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
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
