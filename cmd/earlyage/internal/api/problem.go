package api

import (
	"errors"
	"fmt"
	"mime"
	"net/http"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// ProblemType is the media type of every answer that is no success.
const ProblemType = "application/problem+json"

// Problem is the body of every answer that is no success (RFC 9457). Code is for
// programs and stays as it is; Title and Detail are for people. Field, Value and
// Allowed say what of a request is not acceptable, as events.Refusal does.
type Problem struct {
	Type    string `json:"type"` // always about:blank: Code says more
	Title   string `json:"title"`
	Status  int    `json:"status"`
	Detail  string `json:"detail,omitzero"`
	Code    string `json:"code"`
	Field   string `json:"field,omitzero"`
	Value   string `json:"value,omitzero"`
	Allowed string `json:"allowed,omitzero"`
}

// Codes of problems. Those of the ways in and out (sessions, passkeys) stand
// with them.
const (
	CodeNotFound    = "not-found"   // there is none, or none that the caller may see
	CodeNotAllowed  = "not-allowed" // the caller has no role for it
	CodeSignIn      = "sign-in"     // the caller is not known
	CodeRefused     = "refused"     // the request or the event is not acceptable
	CodeSignature   = "signature"   // the signature is not that of a key of the device
	CodeContentType = "content-type"
	CodeTooLarge    = "too-large"
	CodeExists      = "exists"
	CodeKeyUsed     = "key-used" // the Idempotency-Key belongs to another entry
	CodeTooMany     = "too-many"
	CodeUnavailable = "unavailable" // the stream or the record cannot be reached now
	CodeInternal    = "internal"
)

// NewProblem makes a problem whose title is the status in words.
func NewProblem(status int, code, detail string) Problem {
	return Problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Code: code, Detail: detail}
}

// Error says what a person needs to know of it.
func (p *Problem) Error() string {
	switch {
	case p.Detail != "":
		return p.Detail
	case p.Field != "":
		return fmt.Sprintf("%s: %q; allowed: %s", p.Field, p.Value, p.Allowed)
	case p.Title != "":
		return fmt.Sprintf("%s (status %d)", strings.ToLower(p.Title), p.Status)
	}
	return fmt.Sprintf("status %d", p.Status)
}

// Is reports whether a problem is one that callers branch on.
func (p *Problem) Is(target error) bool {
	switch target {
	case ErrNotFound:
		return p.Status == http.StatusNotFound
	case ErrNotAllowed:
		return p.Status == http.StatusForbidden
	case ErrSignIn:
		return p.Status == http.StatusUnauthorized
	}
	return false
}

// ErrNotFound says that the hub knows no such thing, or shows none to this
// caller; ErrNotAllowed that the caller's roles are not those it takes;
// ErrSignIn that the hub does not know the caller.
var (
	ErrNotFound   = errors.New("not found")
	ErrNotAllowed = errors.New("not allowed")
	ErrSignIn     = errors.New("not signed in")
)

// WriteProblem answers with a problem. An error is one of the connection.
func WriteProblem(rw http.ResponseWriter, p Problem) error {
	rw.Header().Set("Content-Type", ProblemType)
	rw.Header().Set("Cache-Control", "no-store")
	rw.WriteHeader(p.Status)
	return json.MarshalWrite(rw, p, json.Deterministic(true), jsontext.WithIndent("  "))
}

// readProblem reads an answer that is no success; what is no problem becomes one.
func readProblem(status int, contentType string, body []byte) *Problem {
	p := Problem{}
	if media, _, err := mime.ParseMediaType(contentType); err != nil || media != ProblemType || json.Unmarshal(body, &p) != nil || p.Code == "" {
		p = NewProblem(status, "", "")
	}
	p.Status = status
	return &p
}
