package hub_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/events"
	"earlyage/projector/merkle"
)

// The register is of the sites in sight, in every format the same, with a
// checkpoint that bears the hub's key; people have the names that they have now.
func TestRegister(t *testing.T) {
	c := openCompany(t, nil)
	foreman, dispatcher, elsewhere := c.one(events.Foreman, "mill"), c.one(events.Dispatcher, "mill"), c.one(events.Officer, "yard")
	nc := c.connect(foreman)
	at := 2.0
	c.record(nc, foreman, made(foreman, "wall.laid-out", "a", layout()))
	c.record(nc, foreman, made(foreman, "brace.set", "a", &events.BraceSet{Braces: []events.BracePlan{{Name: "b1", AtM: &at}}}))
	c.record(nc, foreman, made(foreman, "brace.stripped", "a", &events.BraceStripped{All: true}))
	other := c.one(events.Foreman, "yard")
	c.record(c.connect(other), other, made(other, "wall.laid-out", "y", layout()))

	var reg api.Register
	_, err := c.as(dispatcher).Get(t.Context(), api.PathRegister, nil, &reg)
	require.NoError(t, err)
	require.Len(t, reg.Sites, 1)
	require.Equal(t, "mill", reg.Sites[0].Site.Site)
	require.Len(t, reg.Sites[0].Walls, 1)
	row := reg.Sites[0].Walls[0].Rows[0]
	require.Equal(t, "b1", row.Brace)
	require.Equal(t, foreman.Person, row.Stripped.By)
	require.Equal(t, "A foreman", row.Stripped.Name)
	require.True(t, row.Early)
	require.NotEmpty(t, reg.Caution)
	signed, err := merkle.OpenCheckpoint([]byte(reg.Checkpoint.Note), reg.Checkpoint.Key)
	require.NoError(t, err)
	require.Equal(t, reg.Checkpoint.Size, signed.Size)
	require.Equal(t, reg.Through, signed.Through)

	client := c.as(dispatcher)
	text, err := client.File(t.Context(), api.PathRegister, api.AskRegister{Site: "mill", Format: api.RegisterCSV}.Query())
	require.NoError(t, err)
	lines, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	require.Len(t, lines, 2)
	book, err := client.File(t.Context(), api.PathRegister, api.AskRegister{Site: "mill", Wall: "a", Format: api.RegisterXLSX}.Query())
	require.NoError(t, err)
	f, err := excelize.OpenReader(bytes.NewReader(book))
	require.NoError(t, err)
	rows, err := f.GetRows("Braces")
	require.NoError(t, err)
	require.NoError(t, f.Close())
	require.Len(t, rows, 2)

	var none api.Register
	_, err = c.as(elsewhere).Get(t.Context(), api.PathRegister, nil, &none)
	require.NoError(t, err)
	require.Zero(t, none.Total.Braces)
	require.Equal(t, register.Clear{Days: -1}, none.Sites[0].Clear)
	for ask, want := range map[api.AskRegister]int{
		{Site: "mill"}:                    http.StatusNotFound, // out of sight of whoever asks
		{Site: "yard", Wall: "none"}:      http.StatusNotFound,
		{Wall: "y"}:                       http.StatusBadRequest,
		{Site: "yard", Format: "odt"}:     http.StatusBadRequest,
		{Site: "yard", From: "2026-13-1"}: http.StatusBadRequest,
	} {
		_, err := c.as(elsewhere).File(t.Context(), api.PathRegister, ask.Query())
		var p *api.Problem
		require.True(t, errors.As(err, &p), "%+v: %v", ask, err)
		require.Equal(t, want, p.Status, "%+v", ask)
	}
}

// A file bears its type and a name, and is kept nowhere on its way; JSON has a tag.
func TestRegisterHeads(t *testing.T) {
	c := openCompany(t, nil)
	token := c.token(c.one(events.Officer, "mill"))
	resp := c.fetch(token, api.PathRegister+"?site=mill&to=2026-11-30&format=csv")
	require.NoError(t, resp.Body.Close())
	require.Equal(t, http.StatusOK, resp.StatusCode)
	require.Equal(t, "text/csv; charset=utf-8; header=present", resp.Header.Get("Content-Type"))
	require.Equal(t, `attachment; filename="bracing-register-mill-2026-11-30.csv"`, resp.Header.Get("Content-Disposition"))
	require.Equal(t, "no-store", resp.Header.Get("Cache-Control"))
	resp = c.fetch(token, api.PathRegister)
	require.NoError(t, resp.Body.Close())
	require.Equal(t, "application/json", resp.Header.Get("Content-Type"))
	require.NotEmpty(t, resp.Header.Get("ETag"))
}
