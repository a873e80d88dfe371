package main

import (
	"bytes"
	"os"
	"os/exec"
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

// The arrows between the rooms run one way, and the pure ones reach nothing
// outside: no network, no store, no process.
func TestImportsRunDown(t *testing.T) {
	may := map[string]string{ // in order; a room may import those before it that are named
		"events":             "",
		"events/stream":      "events",
		"projector/wall":     "events",
		"projector/site":     "events projector/wall",
		"projector/people":   "events projector/wall",
		"projector/cabinet":  "events",
		"projector":          "events events/stream projector/wall projector/site projector/people projector/cabinet",
		"scheduler/concrete": "scheduler/concrete",
		"scheduler/checks":   "events",
		"scheduler":          "events projector/wall projector/site scheduler/concrete scheduler/checks",
		"notify":             "events events/stream projector",
	}
	pure := map[string]bool{"events": true, "projector/wall": true, "projector/site": true, "projector/people": true, "scheduler/concrete": true}
	for _, p := range packages(t, "earlyage/...") {
		name := strings.TrimPrefix(p.ImportPath, "earlyage/")
		if strings.HasPrefix(name, "cmd/") || name == "deploy" || strings.HasPrefix(name, "testdata/") {
			continue
		}
		room := name
		if strings.HasPrefix(name, "scheduler/concrete") {
			room = "scheduler/concrete"
		}
		allowed, known := may[room]
		require.True(t, known, "%s is no room", name)
		for _, dep := range p.Imports {
			if own, ours := strings.CutPrefix(dep, "earlyage/"); ours && !strings.HasPrefix(own, room+"/") {
				require.Contains(t, strings.Fields(allowed), own, "%s imports %s", name, dep)
			}
		}
		if pure[room] && !strings.Contains(name, "/internal/") {
			for _, dep := range p.Deps {
				// nkeys is arithmetic on keys; it reaches nothing.
				require.False(t, strings.Contains(dep, "nats") && dep != "github.com/nats-io/nkeys" || strings.Contains(dep, "bbolt") || dep == "net" || dep == "net/http" || dep == "os/exec", "%s reaches %s", name, dep)
			}
		}
	}
}

// Site zones are known on a machine that has none.
func TestZonesAreEmbedded(t *testing.T) {
	require.Contains(t, packages(t, "earlyage/cmd/earlyage")[0].Deps, "time/tzdata")
}
