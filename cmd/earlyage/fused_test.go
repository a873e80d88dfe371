package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/stretchr/testify/require"
)

// Wherever numbers decide, no product is added to anything before it was rounded:
// a compiler may fuse the two on one machine and not on another, and then the same
// record gives other digits. A conversion, float64(a*b), keeps them apart.
func TestNoProductIsFused(t *testing.T) {
	out, err := exec.Command("go", "list", "-export", "-deps", "-json=ImportPath,Dir,Export,GoFiles",
		"earlyage/events", "earlyage/projector", "earlyage/projector/wall", "earlyage/projector/site",
		"earlyage/scheduler", "earlyage/scheduler/concrete", "earlyage/scheduler/checks", "earlyage/cmd/earlyage/internal/face").Output()
	require.NoError(t, err)
	exports := map[string]string{}
	var own []compiled
	for d := jsontext.NewDecoder(bytes.NewReader(out)); d.PeekKind() == '{'; {
		var p compiled
		require.NoError(t, json.UnmarshalDecode(d, &p))
		exports[p.ImportPath] = p.Export
		if bytes.HasPrefix([]byte(p.ImportPath), []byte("earlyage/")) {
			own = append(own, p)
		}
	}
	require.Greater(t, len(own), 6)
	fset := token.NewFileSet()
	imports := importer.ForCompiler(fset, "gc", func(path string) (io.ReadCloser, error) { return os.Open(exports[path]) })
	products := 0
	for _, p := range own {
		files, info := p.check(t, fset, imports)
		for _, f := range files {
			ast.Inspect(f, func(n ast.Node) bool {
				if b, ok := n.(*ast.BinaryExpr); ok && isProduct(b, info) {
					products++
				}
				for _, term := range terms(n) {
					require.False(t, isProduct(term, info), "%s: write float64(a*b)", fset.Position(term.Pos()))
				}
				return true
			})
		}
	}
	require.Greater(t, products, 100, "the test sees the products")
}

// compiled is a package as the Go command lists it.
type compiled struct {
	ImportPath, Dir, Export string
	GoFiles                 []string
}

func (p compiled) check(t *testing.T, fset *token.FileSet, imports types.Importer) (files []*ast.File, info *types.Info) {
	t.Helper()
	for _, name := range p.GoFiles {
		f, err := parser.ParseFile(fset, filepath.Join(p.Dir, name), nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		files = append(files, f)
	}
	info = &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}
	_, err := (&types.Config{Importer: imports}).Check(p.ImportPath, fset, files, info)
	require.NoError(t, err, fmt.Sprint(p.ImportPath))
	return files, info
}

// terms are what a sum or a difference adds.
func terms(n ast.Node) []ast.Expr {
	switch x := n.(type) {
	case *ast.BinaryExpr:
		if x.Op == token.ADD || x.Op == token.SUB {
			return []ast.Expr{x.X, x.Y}
		}
	case *ast.AssignStmt:
		if x.Tok == token.ADD_ASSIGN || x.Tok == token.SUB_ASSIGN {
			return x.Rhs
		}
	}
	return nil
}

// isProduct reports whether an expression multiplies floating-point numbers that
// are not all constants.
func isProduct(e ast.Expr, info *types.Info) bool {
	for {
		switch x := e.(type) {
		case *ast.ParenExpr:
			e = x.X
			continue
		case *ast.UnaryExpr:
			e = x.X
			continue
		}
		break
	}
	b, ok := e.(*ast.BinaryExpr)
	if !ok || b.Op != token.MUL || info.Types[b].Value != nil {
		return false
	}
	basic, ok := info.Types[b].Type.Underlying().(*types.Basic)
	return ok && basic.Info()&types.IsFloat != 0
}
