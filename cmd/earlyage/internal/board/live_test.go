package board_test

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"html/template"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/board"
)

// told is a message as a viewer reads it.
type told struct {
	At    int64
	Whole bool
	Order []string
	Rows  map[string]struct {
		K []string
		C map[string]map[string]any
	}
	Head *struct {
		Wrong string
		Open  int
	}
	Seen string
}

// viewer reads the live stream.
type viewer struct {
	t     testing.TB
	lines *bufio.Scanner
}

func (s *served) watch(t testing.TB, query string) *viewer {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+s.address+board.PathLive+query, nil)
	require.NoError(t, err)
	answer, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	t.Cleanup(func() { _ = answer.Body.Close() })
	require.Equal(t, "text/event-stream", answer.Header.Get("Content-Type"))
	lines := bufio.NewScanner(answer.Body)
	lines.Buffer(nil, 16<<20)
	return &viewer{t, lines}
}

// next is the next message that says more than that the link lives; false: the
// stream has ended.
func (v *viewer) next() (told, bool) {
	v.t.Helper()
	for v.lines.Scan() {
		body, ok := strings.CutPrefix(v.lines.Text(), "data: ")
		if !ok {
			continue
		}
		var m told
		require.NoError(v.t, json.Unmarshal([]byte(body), &m, json.MatchCaseInsensitiveNames(true)))
		if m.Whole || m.Order != nil || m.Rows != nil || m.Head != nil || m.Seen != "" {
			return m, true
		}
	}
	return told{}, false
}

func quick(c *board.Config) { c.Every, c.Beat = 20*time.Millisecond, 50*time.Millisecond }

// First the whole, then the cells that changed and nothing else.
func TestFirstTheWholeThenChanges(t *testing.T) {
	in := many(readRecord(t, "testdata/morning.txt").input(morning), 6)
	s := serve(t, in, quick)
	v := s.watch(t, "")
	m, ok := v.next()
	require.True(t, ok && m.Whole)
	require.Equal(t, ids(board.Make(in)), m.Order)
	require.Len(t, m.Rows, 6)
	require.Equal(t, []string{"alder-court", "crew-1", "placing"}, m.Rows["w.alder-court.west-1"].K)

	at := find(t, in, "west-1")
	s.change(func(in *board.Input) { in.Walls[at].Assessment.Rate.PumpM3H = 30 })
	m, ok = v.next()
	require.True(t, ok && !m.Whole)
	require.Nil(t, m.Order)
	require.Len(t, m.Rows, 1)
	require.Equal(t, map[string]map[string]any{"pump": {"t": "pump 39.2 yd³/h"}}, m.Rows["w.alder-court.west-1"].C)

	// A second viewer has the whole of now.
	m, ok = s.watch(t, "").next()
	require.True(t, ok && m.Whole)
	require.Equal(t, "pump 39.2 yd³/h", m.Rows["w.alder-court.west-1"].C["pump"]["t"])
}

// Who loses sight of a site is shown it no more, and a stream ends with who may
// look at nothing.
func TestSightIsAskedForEachTime(t *testing.T) {
	in := many(readRecord(t, "testdata/morning.txt").input(morning), 6)
	s := serve(t, in, quick)
	v := s.watch(t, "")
	_, ok := v.next()
	require.True(t, ok)
	s.mu.Lock()
	s.sight = board.Sight{Sites: []string{"tverrbakken"}}
	s.mu.Unlock()
	m, ok := v.next()
	require.True(t, ok)
	require.Equal(t, []string{"w.tverrbakken.wall-2", "w.tverrbakken.wall-4"}, m.Order)
	require.Empty(t, m.Rows)
	s.mu.Lock()
	s.ended = true
	s.mu.Unlock()
	_, ok = v.next()
	require.False(t, ok)
}

// One picture serves all viewers, whatever they see.
func TestOnePictureForAll(t *testing.T) {
	s := serve(t, many(readRecord(t, "testdata/morning.txt").input(morning), 6), func(c *board.Config) { c.Every = time.Minute })
	for range 8 {
		_, ok := s.watch(t, "").next()
		require.True(t, ok)
	}
	s.get(t, "/board")
	s.mu.Lock()
	defer s.mu.Unlock()
	require.Equal(t, 1, s.looks)
}

// stuck is a connection whose other end reads the first message and no more.
type stuck struct {
	header http.Header
	until  time.Time
	writes int
}

func (w *stuck) Header() http.Header                { return w.header }
func (w *stuck) WriteHeader(int)                    {}
func (w *stuck) SetWriteDeadline(t time.Time) error { w.until = t; return nil }
func (w *stuck) FlushError() error                  { return nil }

func (w *stuck) Write(b []byte) (int, error) {
	if w.writes++; w.writes == 1 {
		return len(b), nil
	}
	<-time.After(time.Until(w.until))
	return 0, os.ErrDeadlineExceeded
}

// A viewer that does not read is cut once its patience is over, and nothing more
// is written to it.
func TestWhoFallsBehindIsCut(t *testing.T) {
	in := many(readRecord(t, "testdata/morning.txt").input(morning), 6)
	synctest.Test(t, func(t *testing.T) {
		h := &hub{in: in, sight: dispatcher}
		p, err := board.New(board.Config{
			Source: h, Asset: func(name string) string { return "/" + name }, Mark: func(string) template.HTML { return "" },
		})
		require.NoError(t, err)
		w := &stuck{header: http.Header{}}
		began := time.Now()
		for _, route := range p.Routes() {
			if route.Pattern == board.PathLive {
				route.Handler.ServeHTTP(w, httptest.NewRequest(http.MethodGet, board.PathLive, nil))
			}
		}
		require.Equal(t, 2, w.writes)
		require.Equal(t, 12*time.Second, time.Since(began), "the beat, and then the patience")
	})
}

// The board, its script and its style are small.
func TestSmall(t *testing.T) {
	in := readRecord(t, "testdata/morning.txt").input(morning)
	s := serve(t, many(in, 12), nil)
	page := s.get(t, "/board").Body.String()
	sum, sizes := 0, map[string]int{}
	add := func(name string, body []byte) {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		_, err := z.Write(body)
		require.NoError(t, err)
		require.NoError(t, z.Close())
		sizes[name] = b.Len()
		sum += b.Len()
	}
	add("page", []byte(page))
	for _, link := range regexp.MustCompile(`(?:href|src)="(/static/[^"]+\.(?:css|js|svg))"`).FindAllStringSubmatch(page, -1) {
		if _, twice := sizes[link[1]]; !twice {
			add(link[1], s.get(t, link[1]).Body.Bytes())
		}
	}
	require.Len(t, sizes, 5, "page, mark, two styles, one script: %v", sizes)
	t.Log(sum, sizes)
	require.Less(t, sum, 30<<10, "%v", sizes)
}
