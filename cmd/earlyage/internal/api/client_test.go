package api_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
	"earlyage/events/stream"
)

// What is no success is a problem, whatever the answer looks like.
func TestProblemsAreRead(t *testing.T) {
	status, contentType, body := 0, "", ""
	s := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, _ *http.Request) {
		rw.Header().Set("Content-Type", contentType)
		rw.WriteHeader(status)
		_, err := io.WriteString(rw, body)
		require.NoError(t, err)
	}))
	defer s.Close()
	full := `{"type":"about:blank","title":"Bad Request","status":200,"detail":"no","code":"refused","field":"data.top_m","value":"9","allowed":"0..5 m"}`
	for _, try := range []struct {
		status            int
		contentType, body string
		want              api.Problem
		is                error
	}{
		{400, api.ProblemType, full, api.Problem{Type: "about:blank", Title: "Bad Request", Status: 400, Detail: "no", Code: "refused", Field: "data.top_m", Value: "9", Allowed: "0..5 m"}, nil},
		{404, api.ProblemType + "; charset=utf-8", `{"code":"not-found"}`, api.Problem{Status: 404, Code: "not-found"}, api.ErrNotFound},
		{403, "text/html", full, api.NewProblem(403, "", ""), api.ErrNotAllowed},
		{401, "", "", api.NewProblem(401, "", ""), api.ErrSignIn},
		{502, api.ProblemType, "{", api.NewProblem(502, "", ""), nil},
	} {
		status, contentType, body = try.status, try.contentType, try.body
		_, err := api.Client{Hub: s.URL}.Get(t.Context(), "/x", nil, &struct{}{})
		var p *api.Problem
		require.ErrorAs(t, err, &p)
		require.Equal(t, try.want, *p)
		if try.is != nil {
			require.ErrorIs(t, err, try.is)
		}
		require.NotContains(t, err.Error(), "\n")
	}
}

// A client signs in when it first has to, keeps its session, and begins another,
// once, when the hub does not know it any more.
func TestClientSignsInAgain(t *testing.T) {
	var nonces, logins, refuse atomic.Int64
	mux := http.NewServeMux()
	mux.HandleFunc("GET "+api.PathNonce, func(rw http.ResponseWriter, _ *http.Request) {
		fmt.Fprintf(rw, `{"nonce":"n%d"}`, nonces.Add(1))
	})
	mux.HandleFunc("POST "+api.PathSession, func(rw http.ResponseWriter, r *http.Request) {
		require.Equal(t, "application/json", r.Header.Get("Content-Type"))
		fmt.Fprintf(rw, `{"token":"t%d"}`, logins.Add(1))
	})
	mux.HandleFunc("GET "+api.PathWalls, func(rw http.ResponseWriter, r *http.Request) {
		token := strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")
		if token != fmt.Sprint("t", logins.Load()) || refuse.Load() > 0 {
			refuse.Add(-1)
			require.NoError(t, api.WriteProblem(rw, api.NewProblem(http.StatusUnauthorized, api.CodeSignIn, "sign in first")))
			return
		}
		fmt.Fprint(rw, `{}`)
	})
	s := httptest.NewServer(mux)
	defer s.Close()
	id, err := stream.NewIdentity(events.Source{Site: "mill", Device: "d"}, "p-1")
	require.NoError(t, err)
	client, err := api.Dial(api.Where{URL: s.URL + "/", Identity: &id})
	require.NoError(t, err)
	get := func() error {
		_, err := client.Get(t.Context(), api.PathWalls, nil, &struct{}{})
		return err
	}
	require.NoError(t, get())
	require.NoError(t, get())
	require.EqualValues(t, 1, logins.Load(), "one session for both")
	refuse.Store(1)
	require.NoError(t, get(), "the session had ended")
	require.EqualValues(t, 2, logins.Load())
	refuse.Store(9)
	require.ErrorIs(t, get(), api.ErrSignIn, "it does not go on for ever")
	require.EqualValues(t, 3, logins.Load())
}

func TestDialRefuses(t *testing.T) {
	for _, link := range []string{"", "hub.example", "ftp://hub.example", "http://"} {
		_, err := api.Dial(api.Where{URL: link})
		require.Error(t, err, link)
	}
	client, err := api.Dial(api.Where{Socket: t.TempDir() + "/none.sock"})
	require.NoError(t, err)
	_, err = client.Get(t.Context(), api.PathHealth, nil, &api.Health{})
	require.ErrorContains(t, err, "none.sock")
}
