package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Scripts read the numbers that findings rest on: the README names every one.
func TestEvidenceIsDocumented(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]bool{}
	for from, rest, ok := 0, string(readme), true; ok; from++ {
		var part string
		if part, rest, ok = strings.Cut(rest, "`"); from%2 == 1 {
			named[part] = true
		}
	}
	files, err := filepath.Glob("../../internal/findings/*.go")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	check := func(e ast.Expr) {
		lit, ok := e.(*ast.BasicLit)
		if !ok || lit.Kind != token.STRING {
			return
		}
		key, err := strconv.Unquote(lit.Value)
		if err != nil {
			t.Fatal(err)
		}
		if seen++; !named[key] {
			t.Errorf("evidence %q is not in README.md", key)
		}
	}
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), f, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CompositeLit:
				if s, ok := n.Type.(*ast.SelectorExpr); ok && s.Sel.Name == "Evidence" {
					for _, e := range n.Elts {
						check(e.(*ast.KeyValueExpr).Key)
					}
				}
			case *ast.IndexExpr:
				// e["key"] of an Evidence: its variables are called e or Evidence.
				if x, ok := n.X.(*ast.Ident); ok && x.Name == "e" {
					check(n.Index)
				} else if x, ok := n.X.(*ast.SelectorExpr); ok && x.Sel.Name == "Evidence" {
					check(n.Index)
				}
			}
			return true
		})
	}
	if seen < 40 {
		t.Errorf("only %d pieces of evidence seen", seen)
	}
}
