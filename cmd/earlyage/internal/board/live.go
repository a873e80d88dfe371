package board

import (
	"bytes"
	"context"
	"net/http"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/words"
)

// message is one thing that a viewer is told. Times are Unix milliseconds of the
// hub's clock.
type message struct {
	At    int64          `json:"at"`
	Whole bool           `json:"whole,omitzero"` // the rows are all there are, every cell of each
	Order []string       `json:"order,omitzero"` // the ids of all rows, where the order changed
	Rows  map[string]row `json:"rows,omitzero"`
	Head  *head          `json:"head,omitzero"`
	// First is the strip over the board, cells by name, where it changed.
	First map[string]Cell `json:"first,omitzero"`
	// Seen tells a page that is no board that it has to be fetched again, where it
	// differs from what the page has.
	Seen string `json:"seen,omitzero"`
}

type row struct {
	Key   *[3]string      `json:"k,omitzero"` // site, crew, state
	Cells map[string]Cell `json:"c"`
}

type head struct {
	Wrong string `json:"wrong"` // with the record; empty: nothing
	Open  int    `json:"open"`  // alerts that nobody has answered
}

// live streams what changes as Server-Sent Events. The board is told of cells,
// another page that it is no longer as it was.
func (p *Pages) live(rw http.ResponseWriter, r *http.Request) {
	rw.Header().Set("Content-Type", "text/event-stream")
	rw.Header().Set("Cache-Control", "no-store")
	v := &viewer{
		pages: p, ctx: r.Context(), words: words.Pick(r), view: r.URL.Query().Get("view"),
		rw: rw, out: http.NewResponseController(rw), told: time.Now(),
	}
	tick := time.NewTicker(p.config.Every)
	defer tick.Stop()
	for {
		if err := v.tell(); err != nil {
			p.config.Log.Debug("viewer left", "error", err)
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-tick.C:
		}
	}
}

// viewer is one page that looks on.
type viewer struct {
	pages *Pages
	ctx   context.Context
	words *words.Catalogue
	view  string
	rw    http.ResponseWriter
	out   *http.ResponseController
	shown *drawn // what the page was last told; nil: nothing yet
	seen  string // of a page that is no board
	told  time.Time
}

// tell sends what changed since the last time, or that the link lives.
func (v *viewer) tell() error {
	sight, err := v.pages.config.Source.Sight(v.ctx)
	if err != nil {
		return err
	}
	y, err := v.pages.picture(v.ctx)
	if err != nil {
		return err
	}
	d := y.draw(v.words, sight)
	var body []byte
	switch {
	case v.view != "":
		if seen := y.print(v.view, sight); seen != v.seen {
			v.seen = seen
			body, err = json.Marshal(message{At: y.now(), Seen: seen, Head: &head{d.head, d.open}})
		}
	case d != v.shown:
		body, err = y.difference(v.shown, d)
		v.shown = d
	}
	if err == nil && body == nil && time.Since(v.told) >= v.pages.config.Beat {
		body, err = json.Marshal(message{At: y.now()})
	}
	if err != nil || body == nil {
		return err
	}
	v.told = time.Now()
	return v.write(body)
}

// write sends one event, or gives up on a viewer that does not read.
func (v *viewer) write(body []byte) error {
	if err := v.out.SetWriteDeadline(time.Now().Add(v.pages.config.Patience)); err != nil {
		return err
	}
	var b bytes.Buffer
	b.Grow(len(body) + 10)
	b.WriteString("data: ")
	b.Write(body)
	b.WriteString("\n\n")
	if _, err := v.rw.Write(b.Bytes()); err != nil {
		return err
	}
	return v.out.Flush()
}

// now is the hub's clock: that of the picture, and what has passed since.
func (y *picture) now() int64 { return y.board.At.Add(time.Since(y.made)).UnixMilli() }

// difference gives the message that leads from one board to the next; nil:
// nothing differs. Viewers who were shown the same share it.
func (y *picture) difference(old, next *drawn) ([]byte, error) {
	y.mu.Lock()
	defer y.mu.Unlock()
	step := [2]*drawn{old, next}
	if m, ok := y.steps[step]; ok {
		return m, nil
	}
	m, changed := differ(old, next)
	var body []byte
	if changed {
		var err error
		m.At = y.now()
		if body, err = json.Marshal(m, json.Deterministic(true)); err != nil {
			return nil, err
		}
	}
	y.steps[step] = body
	return body, nil
}

// differ compares two boards; of no board every cell is new.
func differ(old, next *drawn) (message, bool) {
	m := message{Whole: old == nil, Rows: map[string]row{}}
	if old == nil || old.head != next.head || old.open != next.open {
		m.Head = &head{next.head, next.open}
	}
	if old == nil || old.first != next.first {
		m.First = map[string]Cell{}
		for i, name := range glanceNames {
			m.First[name] = next.first[i]
		}
	}
	if old == nil || !sameOrder(old.rows, next.rows) {
		m.Order = make([]string, 0, len(next.rows))
		for i := range next.rows {
			m.Order = append(m.Order, next.rows[i].ID)
		}
	}
	for i := range next.rows {
		if x := changes(old, &next.rows[i]); x != nil {
			m.Rows[next.rows[i].ID] = *x
		}
	}
	return m, m.Whole || m.Head != nil || m.First != nil || m.Order != nil || len(m.Rows) > 0
}

func sameOrder(x, y []Cells) bool {
	if len(x) != len(y) {
		return false
	}
	for i := range x {
		if x[i].ID != y[i].ID {
			return false
		}
	}
	return true
}

// changes gives the cells of a row that changed; nil: none.
func changes(old *drawn, c *Cells) *row {
	var before *Cells
	if old != nil {
		if i, ok := old.at[c.ID]; ok {
			before = &old.rows[i]
		}
	}
	x := row{Cells: map[string]Cell{}}
	if before == nil || before.Site != c.Site || before.Crew != c.Crew || before.State != c.State {
		x.Key = &[3]string{c.Site, c.Crew, c.State}
	}
	for i := range c.Slots {
		if before == nil && c.Slots[i] != (Cell{}) || before != nil && before.Slots[i] != c.Slots[i] {
			x.Cells[slotNames[i]] = c.Slots[i]
		}
	}
	if x.Key == nil && len(x.Cells) == 0 {
		return nil
	}
	return &x
}
