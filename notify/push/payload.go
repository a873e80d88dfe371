package push

import (
	"fmt"

	"github.com/go-json-experiment/json"

	"earlyage/notify/notice"
)

// What a record holds. Every message is filled up to the size of its record, so
// that its length tells nothing.
const (
	recordMost  = 4096 // bytes of a whole body that a service must take (RFC 8030, 7.2)
	recordLeast = 1024
	// overhead is the header of the coding (salt 16, size 4, length 1, key 65), the
	// tag of the cipher (16) and the byte that ends the text.
	overhead = 86 + 16 + 1
)

// payload writes a message into so many bytes: whole, or without its long text, or
// with its first line and no more.
func payload(m notice.Message, most int) ([]byte, error) {
	b := m.Body()
	for _, less := range []func(){
		func() {},
		func() { b.Plain = "" },
		func() { b.Alerts, b.Link = nil, "" },
		func() { b.Short = "" },
		func() { b.First = clip(b.First, most/4) },
	} {
		less()
		body, err := json.Marshal(b, json.Deterministic(true))
		if err != nil {
			return nil, err
		}
		if len(body) <= most {
			return body, nil
		}
	}
	return nil, fmt.Errorf("longer than %d bytes in its shortest form", most)
}

// clip cuts a text to so many bytes.
func clip(text string, most int) string {
	const more = "…"
	if len(text) <= most {
		return text
	}
	cut := 0
	for i := range text {
		if i > most-len(more) {
			break
		}
		cut = i
	}
	return text[:cut] + more
}
