package deploy_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// standard holds the level of each requirement of ASVS 5.0.0: by section, a digit
// for each of its requirements, in order.
var standard = map[string]string{
	"1.1": "22", "1.2": "1111122223", "1.3": "112222222223", "1.4": "222", "1.5": "123",
	"2.1": "122", "2.2": "112", "2.3": "12223", "2.4": "23",
	"3.1": "3", "3.2": "113", "3.3": "12223", "3.4": "11222233", "3.5": "11122333", "3.6": "3", "3.7": "22333",
	"4.1": "12233", "4.2": "23333", "4.3": "22", "4.4": "1222",
	"5.1": "2", "5.2": "112333", "5.3": "113", "5.4": "222",
	"6.1": "122", "6.2": "111111112222", "6.3": "11223333", "6.4": "112233", "6.5": "22222333", "6.6": "2223", "6.7": "33", "6.8": "2222",
	"7.1": "222", "7.2": "1111", "7.3": "22", "7.4": "11222", "7.5": "223", "7.6": "22",
	"8.1": "1233", "8.2": "1123", "8.3": "133", "8.4": "23",
	"9.1": "111", "9.2": "1222",
	"10.1": "22", "10.2": "223", "10.3": "22223", "10.4": "1111122222233333", "10.5": "22222", "10.6": "22", "10.7": "222",
	"11.1": "2233", "11.2": "22233", "11.3": "11233", "11.4": "1222", "11.5": "23", "11.6": "23", "11.7": "33",
	"12.1": "12233", "12.2": "11", "12.3": "22223",
	"13.1": "2333", "13.2": "222223", "13.3": "2233", "13.4": "1222233",
	"14.1": "22", "14.2": "12223333", "14.3": "122",
	"15.1": "12233", "15.2": "12233", "15.3": "1222222", "15.4": "3333",
	"16.1": "2", "16.2": "22222", "16.3": "2222", "16.4": "222", "16.5": "2223",
	"17.1": "23", "17.2": "22223333", "17.3": "22",
}

// The requirements of each level: the sums of the standard's own list.
var perLevel = map[byte]int{'1': 70, '2': 183, '3': 92}

func levels(t *testing.T) map[string]byte {
	t.Helper()
	all, count := map[string]byte{}, map[byte]int{}
	for section, digits := range standard {
		for i := range len(digits) {
			all[section+"."+strconv.Itoa(i+1)] = digits[i]
			count[digits[i]]++
		}
	}
	require.Equal(t, perLevel, count)
	return all
}

func securityPage(t *testing.T) string {
	t.Helper()
	page, err := os.ReadFile("SECURITY.md")
	require.NoError(t, err)
	return string(page)
}

var (
	requirement = regexp.MustCompile(`^(\d{1,2}\.\d\.\d{1,2}) L([123])$`)
	answer      = regexp.MustCompile(`^(Test|Design|Operator|Not here|Open): (.{8,})$`)
	namedTest   = regexp.MustCompile("`((?:[a-z0-9]+/)*[a-z0-9]+)\\.((?:Test|Fuzz)[A-Za-z0-9]+)`")
)

// TestEveryRequirementIsAnsweredOnce reads the table of the requirements: each of
// levels 1 and 2 stands in it once, under its level, with an answer that says
// something; "Test" names one.
func TestEveryRequirementIsAnsweredOnce(t *testing.T) {
	level := levels(t)
	answered := map[string]bool{}
	_, table, found := strings.Cut(securityPage(t), "\n## OWASP ASVS 5.0.0, levels 1 and 2\n")
	require.True(t, found)
	for line := range strings.Lines(table) {
		cells := strings.Split(strings.Trim(line, "| \n"), " | ")
		if !strings.HasPrefix(line, "| ") || cells[0] == "requirement" {
			continue
		}
		require.Len(t, cells, 3, "%s", line)
		require.NotEmpty(t, cells[1], "%s", line)
		said := answer.FindStringSubmatch(cells[2])
		require.NotNil(t, said, "no answer: %s", line)
		if said[1] == "Test" {
			require.Regexp(t, namedTest, said[2], "no test: %s", line)
		}
		for one := range strings.SplitSeq(cells[0], ", ") {
			is := requirement.FindStringSubmatch(one)
			require.NotNil(t, is, "%q is no requirement: %s", one, line)
			require.Equal(t, string(level[is[1]]), is[2], "level of %s", is[1])
			require.False(t, answered[is[1]], "%s is answered twice", is[1])
			answered[is[1]] = true
		}
	}
	for _, number := range slices.Sorted(maps.Keys(level)) {
		require.True(t, answered[number] || level[number] == '3', "%s is not answered", number)
	}
}

// TestNamedTestsExist looks each test up that the page names.
func TestNamedTestsExist(t *testing.T) {
	named := namedTest.FindAllStringSubmatch(securityPage(t), -1)
	require.NotEmpty(t, named)
	known := map[string]map[string]bool{}
	for _, n := range named {
		folder, name := n[1], n[2]
		if known[folder] == nil {
			known[folder] = testsIn(t, filepath.Join("..", folder))
		}
		require.True(t, known[folder][name], "there is no %s in %s", name, folder)
	}
}

func testsIn(t *testing.T, folder string) map[string]bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*_test.go"))
	require.NoError(t, err)
	names := map[string]bool{}
	for _, file := range files {
		for _, d := range parsed(t, file).Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil {
				names[f.Name.Name] = true
			}
		}
	}
	return names
}

func parsed(t *testing.T, file string) *ast.File {
	t.Helper()
	f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.SkipObjectResolution)
	require.NoError(t, err)
	return f
}

// shipped parses every file that goes into a program; folder has slashes and
// begins at the top of the repository.
func shipped(t *testing.T, look func(folder, file string, f *ast.File)) {
	t.Helper()
	seen := 0
	require.NoError(t, filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "testdata" || d.Name() == "node_modules" || strings.HasPrefix(d.Name(), ".") && path != ".."):
			return filepath.SkipDir
		case strings.HasSuffix(path, ".go") && !strings.HasSuffix(path, "_test.go"):
			seen++
			folder, err := filepath.Rel("..", filepath.Dir(path))
			if err != nil {
				return err
			}
			look(filepath.ToSlash(folder), path, parsed(t, path))
		}
		return nil
	}))
	require.Greater(t, seen, 100)
}

// leftOut are packages that nothing here may import, and why; a name that ends
// in a slash stands for all below it.
var leftOut = map[string]string{
	"C":                                "memory that Go does not guard",
	"unsafe":                           "memory that Go does not guard",
	"plugin":                           "code from a file",
	"os/exec":                          "other programs",
	"net/rpc/":                         "calls by name",
	"net/smtp":                         "mail",
	"encoding/gob":                     "types chosen by the sender",
	"text/template":                    "pages without escaping",
	"archive/":                         "files packed by others",
	"compress/":                        "bodies that grow",
	"database/sql":                     "queries as text",
	"expvar":                           "the inside, on the public listener",
	"net/http/pprof":                   "the inside, on the public listener",
	"net/http/cgi":                     "other programs",
	"math/rand":                        "numbers that can be guessed",
	"math/rand/v2":                     "numbers that can be guessed",
	"crypto/md5":                       "broken",
	"crypto/sha1":                      "broken",
	"crypto/des":                       "broken",
	"crypto/rc4":                       "broken",
	"crypto/dsa":                       "broken",
	"crypto/elliptic":                  "curves by hand",
	"encoding/xml":                     "entities",
	"golang.org/x/crypto/ssh/":         "another way in",
	"github.com/golang-jwt/":           "tokens that speak for themselves",
	"github.com/gorilla/":              "websockets of our own",
	"github.com/nats-io/jwt/":          "tokens that speak for themselves",
	"gopkg.in/yaml.v2":                 "another reader of configuration",
	"golang.org/x/net/websocket":       "websockets of our own",
	"google.golang.org/grpc/":          "another way in",
	"github.com/cloudevents/sdk-go/v2": "a second decoder of events",
}

// excepted are the folders in which one of them is used, and what for.
var excepted = map[string]string{
	"cmd/earlyage/internal/picture encoding/xml": "writes text into drawings, escaped; reads nothing",
	"cmd/earlyage/internal/browser os/exec":      "starts the browser of the tests; no program holds it",
	"cmd/earlyage/internal/demo/week os/exec":    "plays the demo for tests; no program holds it",
}

func TestDangerousPackagesAreNotImported(t *testing.T) {
	used := map[string]bool{}
	shipped(t, func(folder, file string, f *ast.File) {
		for _, i := range f.Imports {
			path, err := strconv.Unquote(i.Path.Value)
			require.NoError(t, err)
			for out, why := range leftOut {
				below := strings.HasSuffix(out, "/") && strings.HasPrefix(path+"/", out)
				if path != out && !below {
					continue
				}
				use := folder + " " + path
				require.NotEmpty(t, excepted[use], "%s imports %s: %s", file, path, why)
				used[use] = true
			}
		}
	})
	require.Equal(t, slices.Sorted(maps.Keys(excepted)), slices.Sorted(maps.Keys(used)), "what is excepted is used")
}

// TestTheProgramHoldsNoTools follows the imports of the program: what is made for
// tests is not within reach.
func TestTheProgramHoldsNoTools(t *testing.T) {
	const own = "earlyage/"
	imports := map[string][]string{}
	shipped(t, func(folder, _ string, f *ast.File) {
		for _, i := range f.Imports {
			path, err := strconv.Unquote(i.Path.Value)
			require.NoError(t, err)
			imports[folder] = append(imports[folder], path)
		}
	})
	tools := regexp.MustCompile(`^(testing|net/http/httptest|testing/.+|earlyage/cmd/earlyage/internal/browser|github\.com/(stretchr/testify|rogpeppe/go-internal|chromedp|evanw/esbuild|descope/virtualwebauthn|cloudevents|cockroachdb/datadriven).*|pgregory\.net/rapid|go\.uber\.org/goleak)$`)
	reached := map[string]bool{}
	var reach func(folder string)
	reach = func(folder string) {
		if reached[folder] {
			return
		}
		reached[folder] = true
		for _, path := range imports[folder] {
			require.NotRegexp(t, tools, path, "imported by %s, which the program holds", folder)
			if below, ok := strings.CutPrefix(path, own); ok {
				reach(below)
			}
		}
	}
	reach("cmd/earlyage")
	require.True(t, reached["cmd/earlyage/internal/hub"] && reached["projector"] && reached["events/stream"])
}

// TestNoCertificateGoesUnchecked finds every client that would take any server
// for the right one.
func TestNoCertificateGoesUnchecked(t *testing.T) {
	shipped(t, func(_, file string, f *ast.File) {
		ast.Inspect(f, func(n ast.Node) bool {
			if id, ok := n.(*ast.Ident); ok {
				require.NotContains(t, []string{"InsecureSkipVerify", "VerifyPeerCertificate", "InsecureCipherSuites"}, id.Name, "in %s", file)
			}
			return true
		})
	})
}

// TestTLSIsNotOld demands of every listener, and of every client that says which
// TLS it speaks, 1.2 at least.
func TestTLSIsNotOld(t *testing.T) {
	listeners := 0
	shipped(t, func(_, file string, f *ast.File) {
		ast.Inspect(f, func(n ast.Node) bool {
			if sel, ok := n.(*ast.SelectorExpr); ok {
				require.NotContains(t, []string{"VersionSSL30", "VersionTLS10", "VersionTLS11"}, sel.Sel.Name, "in %s", file)
			}
			lit, ok := n.(*ast.CompositeLit)
			if !ok {
				return true
			}
			kind, ok := lit.Type.(*ast.SelectorExpr)
			if !ok || kind.Sel.Name != "Config" {
				return true
			}
			if pkg, ok := kind.X.(*ast.Ident); !ok || pkg.Name != "tls" {
				return true
			}
			said := map[string]bool{}
			for _, e := range lit.Elts {
				if kv, ok := e.(*ast.KeyValueExpr); ok {
					said[kv.Key.(*ast.Ident).Name] = true
				}
			}
			if said["GetCertificate"] || said["Certificates"] {
				listeners++
				require.True(t, said["MinVersion"], "a listener in %s does not say the least version", file)
			}
			require.False(t, said["CipherSuites"], "%s chooses ciphers by hand", file)
			return true
		})
	})
	require.GreaterOrEqual(t, listeners, 2)
}

// TestNoOriginIsLetIn finds a header that lets the pages of others read.
func TestNoOriginIsLetIn(t *testing.T) {
	seen := 0
	shipped(t, func(_, file string, f *ast.File) {
		ast.Inspect(f, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				seen++
				require.NotContains(t, strings.ToLower(lit.Value), "access-control-allow", "in %s", file)
			}
			return true
		})
	})
	require.NotZero(t, seen)
}

// TestRegularExpressionsAreConstants finds an expression that is put together
// while the program runs, perhaps from what somebody has sent.
func TestRegularExpressionsAreConstants(t *testing.T) {
	seen := 0
	shipped(t, func(_, file string, f *ast.File) {
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			sel, ok := call.Fun.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if pkg, ok := sel.X.(*ast.Ident); ok && pkg.Name == "regexp" && sel.Sel.Name != "QuoteMeta" {
				seen++
				lit, ok := call.Args[0].(*ast.BasicLit)
				require.True(t, ok && lit.Kind == token.STRING, "%s: regexp.%s of something that is no constant", file, sel.Sel.Name)
			}
			return true
		})
	})
	require.NotZero(t, seen)
}

// pageFiles calls look with every source file of a page, by its extension. The
// phone's bundle is made of sources that are looked at, and of libraries; a test of
// its own compares it with them.
func pageFiles(t *testing.T, look func(path, text string), extensions ...string) {
	t.Helper()
	require.NoError(t, filepath.WalkDir("../cmd", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "testdata" || d.Name() == "node_modules" || strings.HasSuffix(path, "phone/static") || strings.HasSuffix(path, "phone/lib")) {
			return filepath.SkipDir
		}
		if slices.Contains(extensions, filepath.Ext(path)) {
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			look(path, string(text))
		}
		return nil
	}))
}

// asMarkup are the ways in which a script turns text into markup or code, or
// leaves something where every script of the page finds it. The name of the wall
// that was chosen last and the language are no secrets: they alone may be left there.
var asMarkup = regexp.MustCompile(`\b(innerHTML|outerHTML|insertAdjacentHTML|createContextualFragment|setHTMLUnsafe|document\.write|eval\(|new Function\(|javascript:|__proto__\s*[=:\]]|localStorage|sessionStorage|document\.cookie|srcdoc|setTimeout\(\s*["'` + "`" + `])`)

var noSecrets = regexp.MustCompile(`\blocalStorage\.(get|set)Item\(keepWall\b|lang=[^;]*document\.cookie\b|document\.cookie = .lang=`)

func TestPagesWriteTextAsText(t *testing.T) {
	seen := 0
	pageFiles(t, func(path, text string) {
		seen++
		require.Empty(t, asMarkup.FindString(noSecrets.ReplaceAllString(text, "")), "%s", path)
	}, ".js", ".mjs", ".ts")
	require.NotZero(t, seen, "no script of a page")
	handlers := regexp.MustCompile(`(?i)<script>|<script [^>]*>[^<\s]|<style|\son[a-z]+\s*=|\sstyle\s*=|javascript:|\ssrcdoc\s*=`)
	pageFiles(t, func(path, text string) {
		require.Empty(t, handlers.FindString(text), "%s holds a script or a style", path)
	}, ".html", ".tmpl")
}

// TestPagesHearNoStrangers finds a page that listens to messages of other
// windows. A service worker hears the pages of its own origin alone.
func TestPagesHearNoStrangers(t *testing.T) {
	hears := regexp.MustCompile(`(^|[^.\w])(window\.|self\.|globalThis\.)?(addEventListener\(\s*["']message["']|onmessage\s*=)`)
	workers := 0
	pageFiles(t, func(path, text string) {
		if filepath.Base(path) == "worker.js" {
			workers++
			return
		}
		require.Empty(t, hears.FindString(text), "%s", path)
	}, ".js", ".mjs", ".ts")
	require.NotZero(t, workers)
}

// TestPagesLoadFromTheHubAlone finds an address of another host in what a page
// is made of.
func TestPagesLoadFromTheHubAlone(t *testing.T) {
	elsewhere := regexp.MustCompile(`(?i)(src|href|action|poster|data)\s*=\s*["']?(https?:)?//|url\(\s*["']?(https?:)?//|(fetch|import|Worker|EventSource|WebSocket)\(\s*["'` + "`" + `](https?|wss?):|@import`)
	seen := 0
	pageFiles(t, func(path, text string) {
		seen++
		require.Empty(t, elsewhere.FindString(text), "%s", path)
	}, ".html", ".tmpl", ".js", ".mjs", ".ts", ".css", ".webmanifest")
	require.NotZero(t, seen, "no page")
}

// TestModulesComeFromTheirSource checks that go.mod puts nothing in the place of
// a module, and that go.sum knows the bytes of each.
func TestModulesComeFromTheirSource(t *testing.T) {
	mod, err := os.ReadFile("../go.mod")
	require.NoError(t, err)
	sum, err := os.ReadFile("../go.sum")
	require.NoError(t, err)
	require.NotRegexp(t, regexp.MustCompile(`(?m)^\s*replace\b`), string(mod))
	needed := regexp.MustCompile(`(?m)^\t(\S+\.\S+/\S+|\S+\.\S+) (v\S+)`).FindAllStringSubmatch(string(mod), -1)
	require.Greater(t, len(needed), 20)
	for _, m := range needed {
		require.Contains(t, string(sum), m[1]+" "+m[2]+"/go.mod h1:", "%s", m[1])
	}
}
