package findings

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"nightreel/internal/evidence"
)

// source is how the comment of a constant says where a number is from.
var source = regexp.MustCompile(`(?i)\b(measured|chosen|standard|defined)\b`)

// Every threshold has a unit, and says whether a standard, a measurement or a choice is
// behind it.
func TestThresholdsHaveUnitAndSource(t *testing.T) {
	all := slices.Concat(Thresholds(), evidence.Thresholds())
	for _, th := range all {
		if th.Unit == "" || !slices.Contains([]string{"standard", "measured", "chosen"}, th.Source) || th.Value() == 0 {
			t.Errorf("%s %s: %g %q, source %q", th.Of, th.Name, th.Value(), th.Unit, th.Source)
		}
	}
	if len(all) < 130 {
		t.Errorf("only %d thresholds", len(all))
	}
}

// Every struct of thresholds is listed, and every constant that is a number says in its
// comment what is behind it: a constant without a comment shares the one above.
func TestNoNumberIsWithoutSource(t *testing.T) {
	listed := map[string]bool{}
	structs := map[string]bool{}
	for _, pattern := range []string{"*.go", "../evidence/*.go", "../linecheck/*.go"} {
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
				if !ok {
					continue
				}
				above := block.Doc.Text()
				for _, spec := range block.Specs {
					spec, ok := spec.(*ast.ValueSpec)
					if !ok {
						continue
					}
					name := spec.Names[0].Name
					if block.Tok == token.VAR && strings.HasSuffix(name, "Limits") {
						structs[name] = true
					}
					if spec.Doc != nil {
						above = block.Doc.Text() + spec.Doc.Text()
					}
					if block.Tok == token.CONST && len(spec.Values) > 0 && !isText(spec.Values[0]) && !source.MatchString(above+spec.Comment.Text()) {
						t.Errorf("%s: %s has no source", file, name)
					}
				}
			}
			ast.Inspect(tree, func(n ast.Node) bool {
				if taken, ok := n.(*ast.UnaryExpr); ok && taken.Op == token.AND {
					if id, ok := taken.X.(*ast.Ident); ok {
						listed[id.Name] = true
					}
				}
				return true
			})
		}
	}
	for name := range structs {
		if !listed[name] {
			t.Errorf("%s is not among the thresholds", name)
		}
	}
	if len(structs) < 20 {
		t.Errorf("only %d structs of thresholds", len(structs))
	}
}

func isText(e ast.Expr) bool {
	lit, ok := e.(*ast.BasicLit)
	if id, isName := e.(*ast.Ident); isName && id.Name == "iota" {
		return true
	}
	return ok && lit.Kind == token.STRING
}
