package hub

import (
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/face"
)

// tagged writes an answer with a tag of all that it says but its moment, at, and
// answers 304 to whoever has it already.
//
// The tag is of the answer itself, made anew each time: an age that grew, a limit
// that passed or a doubt of the hub's own changes it as an event does, so what time
// alone changes is never called unchanged. A 304 says the moment in a header, since
// "may strip" is worth no more than its age.
func (w *web) tagged(rw http.ResponseWriter, r *http.Request, body any, at *face.Time, err error) {
	if err != nil {
		w.fail(rw, err)
		return
	}
	tag, err := tagOf(body, at)
	if err != nil {
		w.fail(rw, err)
		return
	}
	rw.Header().Set("ETag", tag)
	if !matches(r.Header.Values("If-None-Match"), tag) {
		w.write(rw, http.StatusOK, body)
		return
	}
	rw.Header().Set(api.TaggedAt, at.UTC().Format(time.RFC3339))
	rw.Header().Set("Cache-Control", "no-store")
	rw.WriteHeader(http.StatusNotModified)
}

func tagOf(body any, at *face.Time) (string, error) {
	moment := *at
	*at = face.Time{}
	text, err := json.Marshal(body, json.Deterministic(true))
	*at = moment
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(text)
	return `W/"` + base64.RawURLEncoding.EncodeToString(sum[:15]) + `"`, nil
}

// matches reports whether a tag is one of a header If-None-Match (RFC 9110, weak
// comparison).
func matches(values []string, tag string) bool {
	for _, value := range values {
		for one := range strings.SplitSeq(value, ",") {
			one = strings.TrimSpace(one)
			if one == "*" || strings.TrimPrefix(one, "W/") == strings.TrimPrefix(tag, "W/") {
				return true
			}
		}
	}
	return false
}
