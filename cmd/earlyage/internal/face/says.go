package face

import (
	"time"

	"earlyage/events"
	"earlyage/notify/notice"
	"earlyage/notify/text"
	"earlyage/projector/wall"
)

// Says gives what an alert says in a language and in a site's units, as seen at a
// moment. The record's words are English and SI: where that is not what is asked
// for, it is said by the alert's numbers, and record keeps the words. An alert
// without numbers says what the record says.
func Says(lang string, s Site, at time.Time, kind, words string, about *events.About) (say, record string) {
	if lang == "en" && s.Units != "us" {
		return words, ""
	}
	say = text.Gist(notice.Notice{Kind: kind, About: about}, text.Facts{
		Now: at, Site: notice.Site{Token: s.Site, Zone: s.Location(), Units: s.Units}, Reader: notice.Reader{Lang: lang},
	})
	if say == "" {
		return words, ""
	}
	return say, words
}

// TakenBack is an answer to an alert that somebody voided: it is none any more.
type TakenBack struct {
	By     string `json:"by"`
	At     Time   `json:"at"` // of the answer
	VoidBy string `json:"void_by"`
	VoidAt Time   `json:"void_at"`
	Reason string `json:"reason"`
}

func takenBack(list []wall.TakenBack) (out []TakenBack) {
	for _, y := range list {
		out = append(out, TakenBack{y.By, moment(y.At), y.VoidBy, moment(y.VoidAt), y.Reason})
	}
	return out
}
