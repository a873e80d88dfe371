package concrete_test

import (
	"go/ast"
	"go/doc"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var (
	// saysSource is how a comment says where a number comes from.
	saysSource = regexp.MustCompile(`(?i)found|from memory|computed|common practice, no source|source|statics|geometry|arithmetic`)
	// saysRefusal is how a comment says what gives an error.
	saysRefusal = regexp.MustCompile(`(?i)refuse|RangeError|errors as|ranges (as )?of|\d to [\d,.]+`)
)

// accessors only hand on what was given or computed before.
var accessors = []string{
	"Curve.Start", "Curve.End", "Curve.Total", "Air.At", "HeatPoint.At", "HeatHistory.Peak", "Table.Hour", "Table.Maturity",
	"Maturity.HourFactor", "SlumpRange.Accepts",
}

// gives says whether a function has a number, a result of numbers or an error.
func gives(f *ast.FuncType, names ...string) bool {
	if f.Results == nil {
		return false
	}
	return slices.ContainsFunc(f.Results.List, func(r *ast.Field) bool {
		id, ok := r.Type.(*ast.Ident)
		return ok && slices.Contains(names, id.Name)
	})
}

// Every function that gives a number says where it comes from, and every one
// that can refuse says what it refuses or what it allows.
func TestCommentsNameSourceAndRange(t *testing.T) {
	set := token.NewFileSet()
	entries, err := os.ReadDir(".")
	require.NoError(t, err)
	var files []*ast.File
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), ".go") && !strings.HasSuffix(e.Name(), "_test.go") {
			f, err := parser.ParseFile(set, e.Name(), nil, parser.ParseComments)
			require.NoError(t, err)
			files = append(files, f)
		}
	}
	pkg, err := doc.NewFromFiles(set, files, "earlyage/scheduler/concrete")
	require.NoError(t, err)
	checked := 0
	check := func(prefix string, funcs []*doc.Func) {
		for _, f := range funcs {
			name := prefix + f.Name
			text := strings.Join(strings.Fields(f.Doc), " ")
			require.NotEmpty(t, text, name)
			if slices.Contains(accessors, name) {
				continue
			}
			if gives(f.Decl.Type, "float64", "int64") {
				require.Regexp(t, saysSource, text, "%s says no source", name)
				checked++
			}
			if gives(f.Decl.Type, "error") && !strings.HasSuffix(f.Name, "Text") && !strings.HasPrefix(f.Name, "Parse") {
				require.Regexp(t, saysRefusal, text, "%s says neither a range nor what it refuses", name)
			}
		}
	}
	check("", pkg.Funcs)
	for _, typ := range pkg.Types {
		require.NotEmpty(t, typ.Doc, typ.Name)
		check("", typ.Funcs)
		check(typ.Name+".", typ.Methods)
	}
	require.Greater(t, checked, 60)
}
