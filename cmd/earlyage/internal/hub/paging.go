package hub

import (
	"net/http"
	"net/url"
	"strconv"

	"earlyage/events"
)

const (
	pageMost  = 1000 // of one list, in one answer, where a limit is asked for
	afterMost = 512  // characters of ?after=
)

// paging is which part of a list is asked for.
type paging struct {
	limit int // 0: all
	after string
}

// pagingOf reads ?limit= and ?after=.
func pagingOf(r *http.Request) (p paging, err error) {
	if text := r.FormValue("limit"); text != "" {
		if p.limit, err = strconv.Atoi(text); err != nil || p.limit < 1 || p.limit > pageMost {
			return p, &events.Refusal{Field: "limit", Value: text, Allowed: "1.." + strconv.Itoa(pageMost)}
		}
	}
	if p.after = r.FormValue("after"); len(p.after) > afterMost {
		return p, &events.Refusal{Field: "after", Value: p.after[:16], Allowed: "what a Link header of an earlier answer names"}
	}
	return p, nil
}

// number reads ?after= as a sequence of the stream; 0: from the beginning.
func (p paging) number() (uint64, error) {
	if p.after == "" {
		return 0, nil
	}
	n, err := strconv.ParseUint(p.after, 10, 64)
	if err != nil || n == 0 {
		return 0, &events.Refusal{Field: "after", Value: p.after[:min(len(p.after), 20)], Allowed: "what a Link header of an earlier answer names"}
	}
	return n, nil
}

// part cuts a list, in the order of its keys, to what is asked for. next is the key
// to go on after; empty: the list ends here. What came or went meanwhile before
// that key moves nothing.
func part[T any](list []T, p paging, key func(T) string) (out []T, next string) {
	from := 0
	for p.after != "" && from < len(list) && key(list[from]) <= p.after {
		from++
	}
	list = list[from:]
	if p.limit == 0 || len(list) <= p.limit {
		return list, ""
	}
	return list[:p.limit], key(list[p.limit-1])
}

// linkNext says where the list goes on (RFC 8288).
func linkNext(rw http.ResponseWriter, r *http.Request, next string) {
	if next == "" {
		return
	}
	q := r.URL.Query()
	q.Set("after", next)
	to := url.URL{Path: r.URL.Path, RawQuery: q.Encode()}
	rw.Header().Set("Link", "<"+to.String()+`>; rel="next"`)
}
