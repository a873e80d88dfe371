package projector

import (
	"cmp"
	"slices"
	"sync"

	"earlyage/events"
	"earlyage/projector/wall"
)

// Change says what a commit, or all commits of a catching-up, touched.
type Change struct {
	Through uint64
	Walls   []Ref
	Sites   []string
	People  bool // persons, roles or devices changed: see Projector.Register
}

const feedRoom = 64

// feed hands changes to subscribers. It never waits for one: a reader whose
// channel is full is cut.
type feed struct {
	mu   sync.Mutex
	subs map[chan Change]struct{} // mu
}

// Subscribe returns the changes from now on. The channel is closed by cancel,
// by Close, or when its reader falls 64 changes behind; a reader that was cut
// must take a whole picture again. Before the head of the stream is reached
// nothing is sent; then one change names all that happened until then.
func (p *Projector) Subscribe() (changes <-chan Change, cancel func()) {
	return p.feed.subscribe()
}

func (f *feed) subscribe() (<-chan Change, func()) {
	c := make(chan Change, feedRoom)
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.subs == nil {
		f.subs = map[chan Change]struct{}{}
	}
	f.subs[c] = struct{}{}
	return c, func() {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.cut(c)
	}
}

// cut closes a subscriber's channel once. The caller holds mu.
func (f *feed) cut(c chan Change) {
	if _, ok := f.subs[c]; ok {
		delete(f.subs, c)
		close(c)
	}
}

func (f *feed) send(ch Change) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for c := range f.subs {
		select {
		case c <- ch:
		default:
			f.cut(c)
		}
	}
}

func (f *feed) close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for c := range f.subs {
		f.cut(c)
	}
}

// unsaid gathers what is committed and not yet told to anyone.
type unsaid struct {
	mu      sync.Mutex
	through uint64 // mu, as all below
	walls   map[Ref]struct{}
	sites   map[string]struct{}
	people  bool
	devices map[events.Source]struct{} // whose receipts are due; an empty Device: the whole site's
}

// add notes a committed batch. It names what the messages are about, not what
// they changed: after a commit that was applied but reported failed nothing
// changes again, yet somebody has to be told. It reports whether one of them is
// about the whole company.
func (u *unsaid) add(items []item) (company bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.init()
	for i := range items {
		it := &items[i]
		u.through = max(u.through, it.seq)
		u.people = u.people || it.people
		if it.placed {
			u.place(it.at)
			company = company || it.at == Ref{Site: "_"}
		}
		for _, also := range []Ref{it.firstAt, it.named} {
			if also != (Ref{}) {
				u.place(also)
			}
		}
		if it.number != 0 {
			u.devices[events.Source{Site: it.at.Site, Device: it.device}] = struct{}{}
		}
		if it.at.Wall == "" && it.refusal == nil && (it.event.Kind == "gap.written-off" || wall.IsChange(it.event.Kind)) {
			u.devices[events.Source{Site: it.at.Site}] = struct{}{} // it may have moved any device's receipt
		}
	}
	return company
}

func (u *unsaid) addSite(name string) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.init()
	u.place(Ref{Site: name})
}

func (u *unsaid) init() {
	if u.walls == nil {
		u.walls, u.sites = map[Ref]struct{}{}, map[string]struct{}{}
	}
	if u.devices == nil {
		u.devices = map[events.Source]struct{}{}
	}
}

func (u *unsaid) place(at Ref) {
	if at.Wall == "" {
		u.sites[at.Site] = struct{}{}
	} else {
		u.walls[at] = struct{}{}
	}
}

// owe adds devices whose receipts are due.
func (u *unsaid) owe(devices []events.Source) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.init()
	for _, d := range devices {
		u.devices[d] = struct{}{}
	}
}

// takeChange returns what has changed since it was last asked.
func (u *unsaid) takeChange() (Change, bool) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if len(u.walls)+len(u.sites) == 0 {
		return Change{}, false
	}
	ch := Change{Through: u.through, People: u.people, Walls: make([]Ref, 0, len(u.walls)), Sites: make([]string, 0, len(u.sites))}
	for at := range u.walls {
		ch.Walls = append(ch.Walls, at)
	}
	for s := range u.sites {
		ch.Sites = append(ch.Sites, s)
	}
	slices.SortFunc(ch.Walls, func(a, b Ref) int { return cmp.Or(cmp.Compare(a.Site, b.Site), cmp.Compare(a.Wall, b.Wall)) })
	slices.Sort(ch.Sites)
	u.walls, u.sites, u.people = nil, nil, false
	return ch, true
}

func (u *unsaid) takeDevices() []events.Source {
	u.mu.Lock()
	defer u.mu.Unlock()
	list := make([]events.Source, 0, len(u.devices))
	for d := range u.devices {
		list = append(list, d)
	}
	u.devices = nil
	return list
}
