package hub

import (
	"cmp"
	"slices"
	"sync"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

// toldPlaces holds what the walls are called on which somebody cannot be told of
// an alert, so that who reads the record can say it without reading it again. Safe
// for concurrent use.
type toldPlaces struct {
	mu    sync.Mutex
	names map[notice.Place]string // mu
}

// set looks up the names; a wall without one is called by its token.
func (p *toldPlaces) set(list []desk.Trouble, walls func(site string, tokens []string) map[string]string) {
	tokens := map[string][]string{}
	for _, t := range list {
		tokens[t.Site] = append(tokens[t.Site], t.Wall)
	}
	names := map[notice.Place]string{}
	for site, list := range tokens {
		slices.Sort(list)
		list = slices.DeleteFunc(slices.Compact(list), func(wall string) bool { return wall == "" })
		called := walls(site, list)
		for _, wall := range list {
			names[notice.Place{Site: site, Wall: wall}] = cmp.Or(called[wall], wall)
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.names = names
}

// name is what a wall is called, and nothing for a whole site; ok is false while
// that is not looked up.
func (p *toldPlaces) name(at notice.Place) (name string, ok bool) {
	if at.Wall == "" {
		return "", true
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	name, ok = p.names[at]
	return name, ok
}
