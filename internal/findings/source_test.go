package findings

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// source is how a comment says where a number is from.
var source = regexp.MustCompile(`(?i)\b(measured|chosen|standard|BS\.1770|EN 50160|tuning nights|defined)\b`)

// Every number that decides says in its comment whether a standard, a measurement or
// a choice is behind it. A number without a comment of its own shares the one above.
func TestThresholdsHaveASource(t *testing.T) {
	seen := 0
	for _, pattern := range []string{"*.go", "../evidence/*.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			tree, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			for _, decl := range tree.Decls {
				block, ok := decl.(*ast.GenDecl)
				if !ok || block.Tok != token.CONST {
					continue
				}
				above := block.Doc.Text()
				for _, spec := range block.Specs {
					spec := spec.(*ast.ValueSpec)
					if spec.Doc != nil {
						above = block.Doc.Text() + spec.Doc.Text()
					}
					if len(spec.Values) == 0 || isText(spec.Values[0]) {
						continue
					}
					if seen++; !source.MatchString(above + spec.Comment.Text()) {
						t.Errorf("%s: %s has no source", file, spec.Names[0].Name)
					}
				}
			}
		}
	}
	if seen < 100 {
		t.Errorf("only %d numbers seen", seen)
	}
}

func isText(e ast.Expr) bool {
	lit, ok := e.(*ast.BasicLit)
	if id, isName := e.(*ast.Ident); isName && id.Name == "iota" {
		return true
	}
	return ok && lit.Kind == token.STRING
}
