package hub_test

import (
	"bytes"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/ledongthuc/pdf"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
)

// printed asks for a PDF and reads its pages with a reader that is not ours.
func (m *mill) printed(path string) (wide, high float64, text string) {
	m.t.Helper()
	resp, body := m.ask(path, "")
	require.Equal(m.t, http.StatusOK, resp.StatusCode, "%s: %s", path, body)
	require.Equal(m.t, "application/pdf", resp.Header.Get("Content-Type"))
	require.Equal(m.t, "no-store", resp.Header.Get("Cache-Control"))
	require.Contains(m.t, resp.Header.Get("Content-Disposition"), ".pdf")
	r, err := pdf.NewReader(bytes.NewReader(body), int64(len(body)))
	require.NoError(m.t, err)
	box := r.Page(1).V.Key("MediaBox")
	if box.IsNull() {
		box = r.Page(1).V.Key("Parent").Key("MediaBox")
	}
	var b strings.Builder
	for i := range r.NumPage() {
		for _, x := range r.Page(i + 1).Content().Text {
			b.WriteString(x.S)
		}
	}
	return box.Index(2).Float64(), box.Index(3).Float64(), strings.Join(strings.Fields(b.String()), "")
}

// sealed finds the checkpoint under a page.
var sealed = regexp.MustCompile(`UTC:(\d+)messages,root([A-Za-z0-9+/]{43}=)`)

func size(t *testing.T, messages string) int {
	t.Helper()
	n, err := strconv.Atoi(messages)
	require.NoError(t, err)
	return n
}

// A paper comes in both sizes, as of now and as of then, with a checkpoint made for
// it.
func TestPapers(t *testing.T) {
	m := openMill(t)
	m.then("phone p-crew brace.set a braces.0.name=b1 braces.0.at_m=1")
	path := api.PathWalls + "/mill/a/" + api.WallPaper
	wide, high, text := m.printed(path)
	require.InDelta(t, 595.28, wide, 0.01)
	require.InDelta(t, 841.89, high, 0.01)
	first := sealed.FindStringSubmatch(text)
	require.NotNil(t, first, text)
	m.then("phone p-crew wind.read - gust_mps=3")
	_, _, text = m.printed(path)
	second := sealed.FindStringSubmatch(text)
	require.NotNil(t, second, text)
	require.NotEqual(t, first[2], second[2], "a checkpoint is made with every paper")
	require.Greater(t, size(t, second[1]), size(t, first[1]))
	wide, high, _ = m.printed(path + "?size=letter&lang=es")
	require.Equal(t, []float64{612, 792}, []float64{wide, high})
	for query, field := range map[string]string{"?size=a5": "size", "?as-of=noon": "as-of"} {
		resp, body := m.ask(path+query, "")
		require.Equal(t, http.StatusBadRequest, resp.StatusCode, "%s: %s", query, body)
		require.Contains(t, string(body), field)
	}
	resp, _ := m.ask(api.PathWalls+"/mill/none/"+api.WallPaper, "")
	require.Equal(t, http.StatusNotFound, resp.StatusCode)
	resp, _ = m.ask(path+"?as-of=2020-01-01T00:00:00Z", "")
	require.Equal(t, http.StatusNotFound, resp.StatusCode)
}

// Whoever does not see a wall gets no paper of it, and is not told that it is there.
func TestAPaperIsForThoseWhoSeeTheWall(t *testing.T) {
	c := openCompany(t, nil)
	near, far := c.one(events.Foreman, "mill"), c.one(events.Officer, "yard")
	c.record(c.connect(near), near, made(near, "wall.laid-out", "a", layout()))
	for _, path := range []string{api.PathWalls + "/mill/a/" + api.WallPaper, api.PathWalls + "/mill/a/" + api.WallPaper + "?as-of=2020-01-01T00:00:00Z"} {
		resp := c.fetch(c.token(far), path)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, http.StatusNotFound, resp.StatusCode, path)
		resp = c.fetch("", path)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, http.StatusUnauthorized, resp.StatusCode, path)
	}
	register := c.text(c.token(c.one(events.Officer, "mill")), api.PathRegister+"?format=pdf&site=mill&size=letter")
	require.True(t, strings.HasPrefix(register, "%PDF-"))
	require.Contains(t, register, "/MediaBox [0 0 792.00 612.00]")
	require.True(t, strings.HasPrefix(c.text(c.token(near), api.PathWalls+"/mill/a/"+api.WallPaper), "%PDF-"))
}
