package hub

import (
	"bytes"
	"net/http"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/face"
	"earlyage/projector"
)

const (
	watchEvery   = 500 * time.Millisecond // at most so many changes reach a viewer
	watchTimeout = 10 * time.Second       // a viewer that takes longer to read is cut
	keepAlive    = 15 * time.Second
)

// watch streams changes as Server-Sent Events: first the whole picture, then
// what became different, of the sites that the viewer sees then. A viewer that falls behind is cut, and gets the whole
// picture when it comes again.
func (w *web) watch(rw http.ResponseWriter, r *http.Request) {
	changes, cancel := w.hub.projector.Subscribe()
	defer cancel()
	rw.Header().Set("Content-Type", "text/event-stream")
	rw.Header().Set("Cache-Control", "no-store")
	v := &viewer{web: w, caller: door.CallerOf(r.Context()), rw: rw, out: http.NewResponseController(rw), shown: map[projector.Ref][]byte{}, standing: map[string]face.Alarm{}}
	due := map[projector.Ref]bool{}
	if v.tell(nil) != nil {
		return
	}
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	quiet := time.Now()
	for {
		var err error
		select {
		case <-r.Context().Done():
			return
		case c, open := <-changes:
			if !open {
				return
			}
			for _, ref := range c.Walls {
				due[ref] = true
			}
			for _, s := range c.Sites {
				due[projector.Ref{Site: s}] = true
			}
			continue
		case <-tick.C:
			if !w.hub.admitted(v.caller) {
				return
			}
			if len(due) > 0 {
				err = v.tell(due)
				clear(due)
				quiet = time.Now()
			} else if time.Since(quiet) > keepAlive {
				err = v.write([]byte(": still here\n\n"))
				quiet = time.Now()
			}
		}
		if err != nil {
			return
		}
	}
}

// viewer remembers what one client has been shown.
type viewer struct {
	web      *web
	caller   door.Caller
	rw       http.ResponseWriter
	out      *http.ResponseController
	shown    map[projector.Ref][]byte
	standing map[string]face.Alarm
}

// tell sends what differs on the walls and sites that are due; nil: on all.
func (v *viewer) tell(due map[projector.Ref]bool) error {
	var ch api.Changed
	err := v.web.hub.look(v.web.hub.sightOf(v.caller), func(p pictured) error {
		ch.Head = p.head(v.web.hub.demo)
		for _, ref := range p.Walls("") {
			if due == nil || due[ref] || due[projector.Ref{Site: ref.Site}] || due[projector.Ref{Site: "_"}] {
				if err := v.wall(p, ref, &ch); err != nil {
					return err
				}
			}
		}
		v.alarms(p, &ch)
		return nil
	})
	if err != nil {
		return err
	}
	if due != nil && len(ch.Walls)+len(ch.Raised)+len(ch.Cleared) == 0 {
		return nil
	}
	body, err := json.Marshal(ch, json.Deterministic(true))
	if err != nil {
		return err
	}
	return v.write(append(append([]byte("data: "), body...), "\n\n"...))
}

// wall adds a wall if what a person would see of it has changed: sums that grow
// by themselves are no change.
func (v *viewer) wall(p pictured, ref projector.Ref, ch *api.Changed) error {
	w := face.FromAssessment(p.assess(ref))
	seen := face.Wall{State: w.State, Strip: w.Strip, Open: w.Open}
	seen.Strip.Criteria = nil
	for _, j := range w.Joints {
		seen.Joints = append(seen.Joints, face.Joint{FromM: j.FromM, ToM: j.ToM, TopM: j.TopM, State: j.State})
	}
	key, err := json.Marshal(seen, json.Deterministic(true))
	if err != nil {
		return err
	}
	if !bytes.Equal(key, v.shown[ref]) {
		v.shown[ref] = key
		ch.Walls = append(ch.Walls, w)
	}
	return nil
}

func (v *viewer) alarms(p pictured, ch *api.Changed) {
	all := p.alarms("", true)
	for _, a := range all {
		old, known := v.standing[a.ID]
		switch {
		case a.Cleared.IsZero() && !known:
			ch.Raised = append(ch.Raised, a)
			v.standing[a.ID] = a
		case !a.Cleared.IsZero() && known && old.Cleared.IsZero():
			ch.Cleared = append(ch.Cleared, a)
			v.standing[a.ID] = a
		}
	}
}

func (v *viewer) write(text []byte) error {
	if err := v.out.SetWriteDeadline(time.Now().Add(watchTimeout)); err != nil {
		return err
	}
	if _, err := v.rw.Write(text); err != nil {
		return err
	}
	return v.out.Flush()
}
