package hub_test

import (
	"bytes"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/hub"
	"earlyage/events"
	"earlyage/scheduler"
)

const unmistakable = "Unmistakable Quillfeather"

// legible lists the files below a folder in which a text can be read, free pages
// and all.
func legible(t *testing.T, dir, text string) (files []string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		raw, err := os.ReadFile(path)
		if bytes.Contains(raw, []byte(text)) {
			files = append(files, filepath.Base(path))
		}
		return err
	}))
	return files
}

// logged is a log that several goroutines write.
type logged struct {
	mu  sync.Mutex
	all bytes.Buffer
}

func (p *logged) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.all.Write(b)
}

func (p *logged) String() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.all.String()
}

// retiring is a hub on a stepped clock, with somebody who has retired on its first
// day, somebody who retired from one site only, and somebody who stays.
type retiring struct {
	*company
	clock       *scheduler.Stepped
	log         *logged
	unsure      atomic.Bool // no time server confirms the clock
	gone, moved string
}

func retire(t *testing.T, after time.Duration) *retiring {
	t.Helper()
	r := &retiring{clock: scheduler.NewStepped(demoMorning), log: &logged{}}
	r.company = openCompany(t, func(c *hub.Config) {
		c.Demo, c.Clock, c.ForgetAfter = true, r.clock, after
		c.Synchronised = func() bool { return !r.unsure.Load() }
		c.Log = slog.New(slog.NewTextHandler(r.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	})
	r.person("Ylva", api.Roles{"_": {events.Keeper}})
	r.gone = r.person(unmistakable, api.Roles{"mill": {events.Crew}})
	r.moved = r.person("Orrin", api.Roles{"mill": {events.Crew}, "dock": {events.Crew}})
	require.NoError(t, r.local.Post(t.Context(), api.PersonPath(r.gone)+"/retire", api.Retirement{Site: "_", Reason: "left"}, nil))
	require.NoError(t, r.local.Post(t.Context(), api.PersonPath(r.moved)+"/retire", api.Retirement{Site: "mill", Reason: "moved"}, nil))
	settle(t, r.hub)
	return r
}

func (r *retiring) names() map[string]string {
	var out api.People
	_, err := r.local.Get(r.t.Context(), api.PathPeople, nil, &out)
	require.NoError(r.t, err)
	names := map[string]string{}
	for _, p := range out.People {
		names[p.Person] = p.Name
	}
	return names
}

// The name is gone from the folder once the time is over and not before; no leaf,
// and nobody else's name, is touched; the log says the id alone.
func TestNamesAreErasedAfterTheirTime(t *testing.T) {
	r := retire(t, 30*24*time.Hour)
	before, root, err := r.hub.Log(0)
	require.NoError(t, err)
	require.Equal(t, []string{"keep.db"}, legible(t, r.cfg.Dir, unmistakable), "of events none has it")

	r.clock.StepTo(demoMorning.Add(30 * 24 * time.Hour).Truncate(24 * time.Hour)) // its midnight: some hours early
	r.clock.Step(time.Minute)
	settle(t, r.hub)
	require.Equal(t, unmistakable, r.names()[r.gone])

	r.clock.Step(24 * time.Hour)
	require.Eventually(t, func() bool { return r.names()[r.gone] == "" }, time.Minute, 20*time.Millisecond)
	require.Equal(t, "Orrin", r.names()[r.moved])
	require.Empty(t, legible(t, r.cfg.Dir, unmistakable))
	_, again, err := r.hub.Log(before)
	require.NoError(t, err)
	require.Equal(t, root, again, "no leaf was touched")
	require.Contains(t, r.log.String(), "person="+r.gone)
	require.NotContains(t, r.log.String(), unmistakable)

	r.stop()
	report, err := hub.Rebuild(t.Context(), r.cfg.Dir, true, false, nil)
	require.NoError(t, err)
	require.True(t, report.Compared && report.Equal, "%v", report.Differences)
	require.Empty(t, report.LogDiffers)
	require.Empty(t, report.RecordsDiffer)
	r.start()
	require.Empty(t, r.names()[r.gone], "and the next start finds nothing to do")
}

// By default nothing is erased, however long it is.
func TestNamesStayByDefault(t *testing.T) {
	r := retire(t, 0)
	r.clock.Step(4000 * 24 * time.Hour)
	settle(t, r.hub)
	require.Equal(t, unmistakable, r.names()[r.gone])
	require.NoError(t, r.local.Post(t.Context(), api.PersonPath(r.gone)+"/forget", struct{}{}, nil))
	require.Empty(t, legible(t, r.cfg.Dir, unmistakable))
}

// A clock that jumped a year ahead erases nothing: what is erased does not come back.
func TestAClockInDoubtErasesNothing(t *testing.T) {
	r := retire(t, 30*24*time.Hour)
	r.unsure.Store(true)
	r.clock.Jump(365 * 24 * time.Hour)
	require.Eventually(t, func() bool { return bytes.Contains([]byte(r.log.String()), []byte("not erased yet")) }, time.Minute, 20*time.Millisecond)
	settle(t, r.hub)
	for range 3 { // and by the next looks the hub doubts its clock
		r.clock.Step(time.Hour)
		settle(t, r.hub)
	}
	require.Equal(t, unmistakable, r.names()[r.gone])
	_, err := hub.Start(t.Context(), hub.Config{Dir: t.TempDir(), ForgetAfter: -time.Hour})
	require.ErrorContains(t, err, "forget after")
}

// A name that was typed wrong is mended, by the person too; none is taken out so.
func TestNamesAreCorrected(t *testing.T) {
	c := openCompany(t, nil)
	ada := c.person("Ada Hlom", api.Roles{"mill": {events.Crew}})
	right, none := "Ada Holm", ""
	path := api.PersonPath(ada) + "/contact"
	require.NoError(t, c.as(c.phone(ada, "mill")).Post(t.Context(), path, api.Contact{Name: &right}, nil))
	require.Error(t, c.local.Post(t.Context(), path, api.Contact{Name: &none}, nil))
	var out api.People
	_, err := c.local.Get(t.Context(), api.PathPeople, nil, &out)
	require.NoError(t, err)
	require.Contains(t, out.People, api.Person{Person: ada, Name: right, Roles: api.Roles{"mill": {events.Crew}}})
}
