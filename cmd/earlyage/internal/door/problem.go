package door

import (
	"errors"
	"io"
	"mime"
	"net/http"
	"strings"

	"github.com/go-json-experiment/json"

	"earlyage/cmd/earlyage/internal/api"
)

func newProblem(status int, code, detail string) *api.Problem {
	p := api.NewProblem(status, code, detail)
	return &p
}

func writeJSON(w http.ResponseWriter, status int, body any) {
	b, err := json.Marshal(body, json.Deterministic(true))
	if err != nil {
		panic(err) // our own shapes, all of them plain
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(append(b, '\n')) // #nosec G705 -- JSON, sent as that and nosniff; who went away reads no answer
}

// readJSON reads a body of one JSON object into v. Its errors are problems.
func readJSON(r *http.Request, v any) error {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/json" {
		return newProblem(http.StatusUnsupportedMediaType, api.CodeContentType, "the body must be application/json")
	}
	body, err := io.ReadAll(r.Body)
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return newProblem(http.StatusRequestEntityTooLarge, api.CodeTooLarge, "the body is too large")
	}
	if err != nil {
		return newProblem(http.StatusBadRequest, api.CodeRefused, "the body ended early")
	}
	if err := json.Unmarshal(body, v, json.RejectUnknownMembers(true)); err != nil {
		return newProblem(http.StatusBadRequest, api.CodeRefused, "the body is not what this address takes")
	}
	return nil
}

// wantsPage says that a person's browser asks for a page, not a program for
// data.
func wantsPage(r *http.Request) bool {
	return (r.Method == http.MethodGet || r.Method == http.MethodHead) && !strings.HasPrefix(r.URL.Path, "/api/") &&
		strings.Contains(r.Header.Get("Accept"), "text/html")
}
