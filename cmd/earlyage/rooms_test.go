package main

import (
	"bytes"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"
)

// The top level is fixed: whoever opens the folder finds the same rooms.
func TestTopLevel(t *testing.T) {
	list, err := os.ReadDir("../..")
	require.NoError(t, err)
	var names []string
	for _, e := range list {
		switch name := e.Name(); {
		case strings.HasPrefix(name, "."):
		case name == "data" || name == "earlyage" || strings.HasSuffix(name, ".out") || strings.HasSuffix(name, ".test"): // as .gitignore has it
		default:
			names = append(names, name)
		}
	}
	require.Equal(t, []string{
		"DEVELOPERS.md", "LICENSE", "README.md", "cmd", "deploy", "events", "go.mod", "go.sum", "notify", "projector", "scheduler", "testdata",
	}, names)
}

// listed is what the Go command says of a package.
type listed struct {
	ImportPath string
	Imports    []string
	Deps       []string
}

func packages(t *testing.T, pattern string) (list []listed) {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports,Deps", pattern).Output()
	require.NoError(t, err)
	for d := jsontext.NewDecoder(bytes.NewReader(out)); d.PeekKind() == '{'; {
		var p listed
		require.NoError(t, json.UnmarshalDecode(d, &p))
		list = append(list, p)
	}
	require.NotEmpty(t, list)
	return list
}

// rooms are the rooms in their order; a room may import those before it that are
// named, and what stands within it.
var rooms = []struct{ name, may string }{
	{"events", ""},
	{"events/stream", "events"},
	{"projector/wall", "events"},
	{"projector/site", "events projector/wall"},
	{"projector/people", "events projector/wall"},
	{"projector/cabinet", "events"},
	{"projector/merkle", ""},
	{"projector", "events events/stream"},
	{"scheduler/concrete", ""},
	{"scheduler/checks", ""},
	{"scheduler", "events projector/wall projector/site"},
	{"notify/notice", "events"},
	{"notify/desk", "events notify/notice"},
	{"notify/routes", "events notify/notice notify/desk"},
	{"notify/text", "events notify/notice scheduler scheduler/concrete/unit"},
	{"notify/calendar", "events notify/notice notify/text"},
	{"notify/hook/post", "notify/notice"},
	{"notify/hook", "notify/notice"},
	{"notify/mail", "notify/notice"},
	{"notify/push", "notify/notice notify/hook/post"},
	{"notify/phone", "events events/stream notify/notice"},
	{"notify/lookout", "notify/notice notify/hook notify/hook/post"},
	{"notify", "events events/stream projector"},
}

// roomOf is the room that a package stands in: its own, or the one whose inner
// package it is.
func roomOf(name string) string {
	name, _, _ = strings.Cut(name, "/internal/")
	if strings.HasPrefix(name, "scheduler/concrete/") {
		return "scheduler/concrete"
	}
	return name
}

// The arrows between the rooms run one way, and the pure ones reach nothing
// outside: no network, no store, no process.
func TestImportsRunDown(t *testing.T) {
	may, before := map[string]string{}, map[string]int{}
	for i, r := range rooms {
		for _, other := range strings.Fields(r.may) {
			at, known := before[roomOf(other)]
			require.True(t, known && at < i, "%s may import %s, which does not stand before it", r.name, other)
		}
		may[r.name], before[r.name] = r.may, i
	}
	pure := map[string]bool{
		"events": true, "projector/wall": true, "projector/site": true, "projector/people": true, "projector/merkle": true, "scheduler/concrete": true,
		"notify/notice": true, "notify/desk": true,
	}
	seen := map[string]bool{}
	for _, p := range packages(t, "earlyage/...") {
		name := strings.TrimPrefix(p.ImportPath, "earlyage/")
		if strings.HasPrefix(name, "cmd/") || name == "deploy" || strings.HasPrefix(name, "testdata/") {
			continue
		}
		room := roomOf(name)
		allowed, known := may[room]
		require.True(t, known, "%s is no room", name)
		seen[room] = true
		for _, dep := range p.Imports {
			own, ours := strings.CutPrefix(dep, "earlyage/")
			if !ours || strings.HasPrefix(own, room+"/") || own == room && name != room {
				continue
			}
			require.Contains(t, strings.Fields(allowed), own, "%s imports %s", name, dep)
		}
		if pure[room] && !strings.Contains(name, "/internal/") {
			for _, dep := range p.Deps {
				// nkeys is arithmetic on keys; it reaches nothing.
				require.False(t, strings.Contains(dep, "nats") && dep != "github.com/nats-io/nkeys" || strings.Contains(dep, "bbolt") || dep == "net" || dep == "net/http" || dep == "os/exec", "%s reaches %s", name, dep)
			}
		}
	}
	require.Len(t, seen, len(rooms), "a room that is not there any more")
}

// faces are the program's own rooms in their order: each may import those before
// it.
var faces = strings.Fields("browser browser/htmlcheck demo/week words entry calc face roster register api picture replay bundle door board wallpage paper phone/bundle phone/gen phone hub demo")

// The arrows between the faces run one way too, and none reaches what only the hub
// holds.
func TestFacesRunDown(t *testing.T) {
	const home = "earlyage/cmd/earlyage/internal/"
	for _, p := range packages(t, home+"...") {
		name := strings.TrimPrefix(p.ImportPath, home)
		at := slices.Index(faces, name)
		require.GreaterOrEqual(t, at, 0, "%s is not in the order", name)
		for _, dep := range p.Imports {
			if own, ours := strings.CutPrefix(dep, home); ours {
				require.Contains(t, faces[:at], own, "%s imports %s", name, own)
			}
			if name != "hub" && name != "demo" {
				require.NotContains(t, dep, "bbolt", "%s holds a store", name)
			}
		}
	}
}

// Site zones are known on a machine that has none.
func TestZonesAreEmbedded(t *testing.T) {
	require.Contains(t, packages(t, "earlyage/cmd/earlyage")[0].Deps, "time/tzdata")
}
