package hub

import (
	"context"
	"errors"
	"net/http"
	"strconv"

	"github.com/nats-io/nats.go"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/cmd/earlyage/internal/wallpage"
	"earlyage/events"
)

// errUnseen is what a client asked for that is not in the record, or not for
// this client to see: the two are never told apart.
var errUnseen = errors.New("no such thing in the record")

// problemOf maps an error to what a client sees: a code and a message that stay
// as they are. The log sees the cause of what is the hub's own fault.
func problemOf(err error) api.Problem {
	var (
		own     *api.Problem
		refused *events.Refusal
		large   *http.MaxBytesError
	)
	switch {
	case errors.As(err, &own):
		return *own
	case errors.As(err, &refused):
		return refusal(http.StatusBadRequest, api.CodeRefused, refused)
	case errors.As(err, &large):
		p := api.NewProblem(http.StatusRequestEntityTooLarge, api.CodeTooLarge, "the body is larger than "+strconv.FormatInt(large.Limit, 10)+" bytes")
		return p
	case errors.Is(err, roster.ErrNotAllowed):
		return api.NewProblem(http.StatusForbidden, api.CodeNotAllowed, err.Error())
	case errors.Is(err, roster.ErrExists):
		return api.NewProblem(http.StatusConflict, api.CodeExists, err.Error())
	case errors.Is(err, roster.ErrUnknown):
		return api.NewProblem(http.StatusNotFound, api.CodeNotFound, err.Error())
	case errors.Is(err, errShort):
		return api.NewProblem(http.StatusServiceUnavailable, api.CodeUnavailable, errShort.Error())
	case errors.Is(err, errAwaited):
		return api.NewProblem(http.StatusServiceUnavailable, api.CodeUnavailable, errAwaited.Error()+": nothing can be recorded until it does")
	case errors.Is(err, errUnseen), errors.Is(err, wallpage.ErrNoWall):
		return api.NewProblem(http.StatusNotFound, api.CodeNotFound, "the record has no such thing, or none that you may see")
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled), errors.Is(err, nats.ErrConnectionClosed),
		errors.Is(err, nats.ErrNoResponders), errors.Is(err, nats.ErrConnectionReconnecting), errors.Is(err, roster.ErrUnsure):
		return api.NewProblem(http.StatusServiceUnavailable, api.CodeUnavailable, "the hub could not do it in time; ask again")
	}
	return api.NewProblem(http.StatusInternalServerError, api.CodeInternal, "the hub could not answer; its log says why")
}

// refusal makes a problem of a refusal, with its field, value and what is allowed.
func refusal(status int, code string, r *events.Refusal) api.Problem {
	p := api.NewProblem(status, code, r.Error())
	p.Field, p.Value, p.Allowed = r.Field, r.Value, r.Allowed
	return p
}
