package deploy_test

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/coreos/go-systemd/v22/unit"
	"github.com/stretchr/testify/require"
)

// flagsOf reads which flags a command of the program has from its source, so
// that a file of this folder cannot name one that does not exist.
func flagsOf(t *testing.T, command string) map[string]bool {
	t.Helper()
	flags := map[string]bool{}
	files, err := filepath.Glob("../cmd/earlyage/*.go")
	require.NoError(t, err)
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			spec, ok := n.(*ast.TypeSpec)
			if !ok || spec.Name.Name != command+"Cmd" {
				return true
			}
			for _, f := range spec.Type.(*ast.StructType).Fields.List {
				tag := reflect.StructTag("")
				if f.Tag != nil {
					tag = reflect.StructTag(strings.Trim(f.Tag.Value, "`"))
				}
				for _, id := range f.Names {
					flag := tag.Get("name")
					if flag == "" {
						flag = strings.ToLower(regexp.MustCompile(`([a-z])([A-Z])`).ReplaceAllString(id.Name, "$1-$2"))
					}
					flags[flag] = true
				}
			}
			return false
		})
	}
	require.NotEmpty(t, flags, "no command %s in the program", command)
	return flags
}

// requireCommand checks a command line of the program, without its name.
func requireCommand(t *testing.T, args []string) {
	t.Helper()
	require.NotEmpty(t, args)
	flags := flagsOf(t, args[0])
	for _, arg := range args[1:] {
		flag, _, _ := strings.Cut(strings.TrimPrefix(arg, "--"), "=")
		require.True(t, strings.HasPrefix(arg, "--") && flags[flag], "earlyage %s has no %s", args[0], arg)
	}
}

func TestUnit(t *testing.T) {
	f, err := os.Open("earlyage.service")
	require.NoError(t, err)
	defer f.Close()
	sections, err := unit.DeserializeSections(f)
	require.NoError(t, err)
	value := map[string]string{}
	var names []string
	for _, s := range sections {
		names = append(names, s.Section)
		for _, e := range s.Entries {
			require.NotContains(t, value, s.Section+"."+e.Name, "set twice")
			value[s.Section+"."+e.Name] = e.Value
		}
	}
	require.Equal(t, []string{"Unit", "Service", "Install"}, names)

	command := strings.Fields(value["Service.ExecStart"])
	require.Equal(t, "/usr/local/bin/earlyage", command[0])
	requireCommand(t, command[1:])
	require.Equal(t, "earlyage", value["Service.StateDirectory"])
	require.Contains(t, command, "--data=/var/lib/"+value["Service.StateDirectory"], "the data is not in the folder that the unit may write")
	require.Equal(t, "0700", value["Service.StateDirectoryMode"])

	for name, want := range map[string]string{
		"Service.Type": "exec", "Service.Restart": "always", "Service.KillSignal": "SIGTERM", "Service.DynamicUser": "yes",
		"Service.ProtectSystem": "strict", "Service.NoNewPrivileges": "yes", "Service.CapabilityBoundingSet": "",
		"Unit.StartLimitIntervalSec": "0", "Install.WantedBy": "multi-user.target",
	} {
		require.Contains(t, value, name)
		require.Equal(t, want, value[name], name)
	}
	require.Contains(t, value["Unit.After"], "time-sync.target")
	// The question whether the clock is kept must be allowed, or windows stay shut.
	require.Contains(t, strings.Fields(value["Service.SystemCallFilter"]), "adjtimex")
	require.NotContains(t, value, "Service.ProtectClock")
}

// instruction is one of a container file.
type instruction struct{ word, rest string }

func containerFile(t *testing.T) (list []instruction) {
	t.Helper()
	raw, err := os.ReadFile("Containerfile")
	require.NoError(t, err)
	known := []string{"FROM", "WORKDIR", "COPY", "RUN", "USER", "VOLUME", "EXPOSE", "STOPSIGNAL", "HEALTHCHECK", "ENTRYPOINT", "CMD"}
	for line := range strings.Lines(string(raw)) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		word, rest, _ := strings.Cut(line, " ")
		require.Contains(t, known, word)
		list = append(list, instruction{word, rest})
	}
	return list
}

func execForm(t *testing.T, s string) (args []string) {
	t.Helper()
	require.NoError(t, json.Unmarshal([]byte(s), &args), "not a JSON list of words: %s", s)
	return args
}

func TestContainerfile(t *testing.T) {
	list := containerFile(t)
	last := map[string]string{}
	stages, current, built := []string{}, "", map[string]bool{}
	for _, in := range list {
		last[in.word] = in.rest
		switch in.word {
		case "FROM":
			word := strings.Fields(in.rest)
			if current = ""; len(word) == 3 && word[1] == "AS" {
				current = word[2]
			}
			stages = append(stages, current)
		case "RUN":
			if i := strings.Index(in.rest, "-o /"); i >= 0 {
				built[strings.Fields(in.rest[i+3:])[0]] = true
			}
			for _, word := range strings.Fields(in.rest) {
				if strings.HasPrefix(word, "./cmd/") {
					require.DirExists(t, filepath.Join("..", word))
				}
			}
		case "COPY":
			checkCopy(t, in.rest, stages)
		}
	}
	require.Equal(t, []string{"build", ""}, stages)
	require.True(t, built["/out/earlyage"])
	require.Equal(t, "65532:65532", last["USER"], "it runs as root")
	require.Equal(t, []string{"/data"}, execForm(t, last["VOLUME"]))
	require.Equal(t, []string{"/earlyage"}, execForm(t, last["ENTRYPOINT"]))
	requireCommand(t, execForm(t, last["CMD"]))
	require.Contains(t, execForm(t, last["CMD"]), "--data=/data")
	_, check, found := strings.Cut(last["HEALTHCHECK"], " CMD ")
	require.True(t, found)
	requireCommand(t, execForm(t, check)[1:])

	// Every port that is exposed is one that the command listens on.
	for _, port := range strings.Fields(last["EXPOSE"]) {
		require.True(t, slices.ContainsFunc(execForm(t, last["CMD"]), func(arg string) bool { return strings.HasSuffix(arg, ":"+port) }), "port %s", port)
	}
	// The toolchain is at least the one that the module asks for.
	mod, err := os.ReadFile("../go.mod")
	require.NoError(t, err)
	version := regexp.MustCompile(`(?m)^go (\d+\.\d+)`).FindSubmatch(mod)
	require.Equal(t, "golang:"+string(version[1])+" AS build", list[0].rest)
}

// checkCopy checks that what is copied exists, in the repository or in a stage.
func checkCopy(t *testing.T, rest string, stages []string) {
	t.Helper()
	word := strings.Fields(rest)
	from := ""
	for len(word) > 0 && strings.HasPrefix(word[0], "--") {
		if name, ok := strings.CutPrefix(word[0], "--from="); ok {
			from = name
		}
		word = word[1:]
	}
	require.GreaterOrEqual(t, len(word), 2, rest)
	if from != "" {
		require.Contains(t, stages[:len(stages)-1], from)
		return
	}
	for _, src := range word[:len(word)-1] {
		_, err := os.Stat(filepath.Join("..", src))
		require.NoError(t, err)
	}
}
