package hub

import (
	"bytes"
	"fmt"
	"sync"
	"time"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/words"
	"earlyage/notify/notice"
)

// registers keeps the files of the bracing registers that went out last, so that
// those of one morning are made once for all who get them.
type registers struct {
	mu    sync.Mutex
	files map[string][]notice.Attachment // by site
	dates map[string]string              // which Monday they are of
}

// ofWeek gives the register of the week before a local date, a Monday, as a table
// and on paper.
func (r *registers) ofWeek(h *Hub, site, date string) ([]notice.Attachment, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.dates[site] == date {
		return r.files[site], nil
	}
	monday, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return nil, fmt.Errorf("register of the week before %q: %w", date, err)
	}
	ask := api.AskRegister{Site: site, From: monday.AddDate(0, 0, -7).Format(time.DateOnly), To: monday.AddDate(0, 0, -1).Format(time.DateOnly)}
	if h.unitsOf(site) == "us" {
		ask.Size = "letter"
	}
	made, err := h.registerOf(sight{sites: []string{site}}, ask)
	if err != nil {
		return nil, fmt.Errorf("register of the week before %s: %w", date, err)
	}
	var files []notice.Attachment
	for _, ask.Format = range []string{api.RegisterPDF, api.RegisterCSV} {
		var raw bytes.Buffer
		if err := h.writeRegister(&raw, &made, ask, words.Of(words.English)); err != nil {
			return nil, fmt.Errorf("register of the week before %s: %w", date, err)
		}
		files = append(files, notice.Attachment{Name: registerName(ask), Type: registerMedia[ask.Format], Body: raw.Bytes()})
	}
	if r.files == nil {
		r.files, r.dates = map[string][]notice.Attachment{}, map[string]string{}
	}
	r.files[site], r.dates[site] = files, date
	return files, nil
}

// unitsOf is what a site shows.
func (h *Hub) unitsOf(site string) string { return readers{h}.Site(site).Units }
