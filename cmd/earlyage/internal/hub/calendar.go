package hub

import (
	"bytes"
	"cmp"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"go.etcd.io/bbolt"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/door"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/events"
	"earlyage/notify/calendar"
	"earlyage/projector"
	"earlyage/projector/people"
	"earlyage/projector/wall"
	"earlyage/scheduler"
)

// Calendar programs cannot sign in, so each feed has a key in its address. Of the
// key only a hash is kept. A feed ends when it is ended, and when whoever made it
// sees the site no more.

// calendarRow is a feed as it is kept, by its id.
type calendarRow struct {
	api.Calendar
	Hash string `json:"hash"` // SHA-256 of the key, hexadecimal
}

const mostCalendars = 500 // feeds of one hub

var errManyCalendars = &events.Refusal{Field: "calendars", Allowed: fmt.Sprintf("%d feeds; end one that nobody reads", mostCalendars)}

func (h *Hub) calendarRows() (list []calendarRow, err error) {
	drawer, err := h.projector.Drawer("calendars")
	if err != nil {
		return nil, err
	}
	err = drawer.View(func(b *bbolt.Bucket) error {
		return b.ForEach(func(k, v []byte) error {
			var row calendarRow
			if err := json.Unmarshal(v, &row); err != nil {
				return fmt.Errorf("calendar feed %s: %w", k, err)
			}
			list = append(list, row)
			return nil
		})
	})
	return list, err
}

// mayCalendar reports whether a caller sees a feed among their own.
func (w *web) mayCalendar(c door.Caller, row calendarRow) bool {
	return c.Local || row.By != "" && row.By == c.Person || slices.Contains(w.hub.projector.Register().RolesOf(c.Person, people.Company), events.Keeper)
}

func (w *web) calendarList(rw http.ResponseWriter, r *http.Request) {
	rows, err := w.hub.calendarRows()
	out := api.Calendars{Calendars: []api.Calendar{}}
	for _, row := range rows {
		if w.mayCalendar(door.CallerOf(r.Context()), row) {
			out.Calendars = append(out.Calendars, row.Calendar)
		}
	}
	w.answer(rw, out, err)
}

func (w *web) addCalendar(rw http.ResponseWriter, r *http.Request) {
	told(w, rw, r, http.StatusCreated, func(c door.Caller, in api.NewCalendar) (any, error) {
		if c.Person == "" && !c.Local {
			return nil, roster.ErrNotAllowed
		}
		if !slices.Contains(readers{w.hub}.sites(), in.Site) || !w.sight(r).sees(in.Site) {
			return nil, errUnseen
		}
		if _, ok := w.hub.projector.Register().Person(in.Person); in.Person != "" && !ok {
			return nil, &events.Refusal{Field: "person", Value: in.Person, Allowed: "the id of a person, as earlyage people list shows it"}
		}
		return w.hub.newCalendar(c, in)
	})
}

func (h *Hub) newCalendar(c door.Caller, in api.NewCalendar) (out api.Calendar, err error) {
	rows, err := h.calendarRows()
	switch {
	case err != nil:
		return out, err
	case len(rows) >= mostCalendars:
		return out, errManyCalendars
	}
	drawer, err := h.projector.Drawer("calendars")
	if err != nil {
		return out, err
	}
	key := rand.Text() + rand.Text() // 260 bits
	row := calendarRow{Hash: calendarHash(key), Calendar: api.Calendar{
		ID: strings.ToLower(rand.Text()[:12]), Site: in.Site, Person: in.Person, By: c.Person, Made: h.clock.Now().UTC().Truncate(time.Second),
	}}
	body, err := json.Marshal(row)
	if err == nil {
		err = drawer.Update(func(b *bbolt.Bucket) error { return b.Put([]byte(row.ID), body) })
	}
	out = row.Calendar
	out.URL = strings.TrimRight(h.address, "/") + api.PathCalendar + url.PathEscape(in.Site) + icsEnd + "?key=" + key
	return out, err
}

const icsEnd = ".ics"

func calendarHash(key string) string {
	sum := sha256.Sum256([]byte("calendar\x00" + key))
	return hex.EncodeToString(sum[:])
}

func (w *web) endCalendar(rw http.ResponseWriter, r *http.Request) {
	err := w.calendarEnd(door.CallerOf(r.Context()), r.PathValue("id"))
	if err != nil {
		w.fail(rw, err)
		return
	}
	rw.WriteHeader(http.StatusNoContent)
}

func (w *web) calendarEnd(c door.Caller, id string) error {
	rows, err := w.hub.calendarRows()
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(rows, func(row calendarRow) bool { return row.ID == id && w.mayCalendar(c, row) }) {
		return errUnseen
	}
	drawer, err := w.hub.projector.Drawer("calendars")
	if err != nil {
		return err
	}
	return drawer.Update(func(b *bbolt.Bucket) error { return b.Delete([]byte(id)) })
}

// calendarFeed answers whoever knows a feed's key. A wrong one and a feed that has
// ended are the same.
func (w *web) calendarFeed(rw http.ResponseWriter, r *http.Request) {
	site, isFeed := strings.CutSuffix(r.PathValue("file"), icsEnd)
	row, err := w.hub.calendarBy(r.FormValue("key"))
	if err == nil && (!isFeed || row.Site != site) {
		err = errUnseen
	}
	var body []byte
	if err == nil {
		body, err = w.hub.calendarOf(row)
	}
	if err != nil {
		w.fail(rw, err)
		return
	}
	sum := sha256.Sum256(body)
	tag := `"` + base64.RawURLEncoding.EncodeToString(sum[:15]) + `"`
	rw.Header().Set("ETag", tag)
	rw.Header().Set("Cache-Control", "private, no-cache")
	if matches(r.Header.Values("If-None-Match"), tag) {
		rw.WriteHeader(http.StatusNotModified)
		return
	}
	rw.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	rw.Header().Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", site+icsEnd))
	within(rw)
	if _, err := bytes.NewReader(body).WriteTo(rw); err != nil {
		w.hub.log.Debug("answer not read to its end", "error", err)
	}
}

// calendarBy finds the feed of a key that still holds.
func (h *Hub) calendarBy(key string) (found calendarRow, err error) {
	rows, err := h.calendarRows()
	if err != nil {
		return found, err
	}
	err = errUnseen
	hash := []byte(calendarHash(key))
	for _, row := range rows {
		if subtle.ConstantTimeCompare(hash, []byte(row.Hash)) == 1 && (row.By == "" || sightIn(h.projector.Register(), row.By).sees(row.Site)) {
			found, err = row, nil
		}
	}
	return found, err
}

// calendarOf writes a feed.
func (h *Hub) calendarOf(row calendarRow) (body []byte, err error) {
	site := readers{h}.Site(row.Site)
	feed := calendar.Calendar{Site: site}
	if row.Person != "" {
		card, err := h.projector.Cabinet().Card(row.Person)
		if err != nil {
			return nil, err
		}
		feed.Name, feed.Lang = cmp.Or(card.Name, row.Person)+", "+site.Name, card.Lang
	}
	err = h.look(sight{sites: []string{row.Site}}, func(p pictured) error {
		var walls []calendar.Wall
		for _, ref := range p.Walls(row.Site) {
			if s := p.Wall(ref); s != nil && (row.Person == "" || recordedOn(s, row.Person)) {
				walls = append(walls, p.calendarWall(ref, s))
			}
		}
		body = feed.Feed(walls, p.now)
		return nil
	})
	return body, err
}

// recordedOn reports whether a person has recorded on a wall.
func recordedOn(s *wall.State, person string) bool {
	return slices.ContainsFunc(s.Entries(), func(e wall.Entry) bool { return e.By == person })
}

// calendarWall is what a feed says of a wall: what the hub stated last, unless the
// window is shut again by now, or the bracing is off.
func (p pictured) calendarWall(ref projector.Ref, s *wall.State) calendar.Wall {
	out := calendar.Wall{Wall: ref.Wall, Name: s.Holding.Name, State: calendar.Shut}
	said, ok := s.Said()
	if !ok {
		return out
	}
	out.Said, out.Governs = said.At, said.Governs
	turned, last := turns(s)
	out.Sequence = uint64(len(s.Statements()) + turned) // #nosec G115 -- not negative
	if last.After(out.Said) {
		out.Said = last
	}
	a := p.assess(ref)
	switch {
	case a.State == scheduler.StateStripped || a.State == scheduler.StateHandedOver:
		out.State, out.At = calendar.Stripped, cmp.Or(said.Earliest, said.Likely, said.CuredAt, said.At)
	case said.Open && a.Strip.Open:
		out.State, out.At = calendar.Open, said.Earliest
	case !said.Open && !said.Likely.IsZero():
		out.State, out.At = calendar.Expected, said.Likely
	default:
		out.At = cmp.Or(said.Earliest, said.Likely, said.CuredAt)
	}
	return out
}

// turns counts what may change a feed's word of a wall though the hub has stated
// nothing new, and says when the last of it was recorded: bracing taken off, a
// handing over, and whatever amends, voids or countersigns that. The number only
// grows, since nothing is erased.
func turns(s *wall.State) (n int, last time.Time) {
	s.After(0, 0, func(k events.Kind, recorded int64) {
		if k != "brace.stripped" && k != "wall.handed-over" {
			return
		}
		n++
		if at := time.UnixMilli(recorded).UTC(); at.After(last) {
			last = at
		}
	})
	return n, last
}
