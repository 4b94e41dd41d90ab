package playback

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"testing"
)

// The pull's source contains nothing that allocates, waits or calls elsewhere:
// no make, append or new, no literal's address, closure, goroutine, defer,
// channel or map, no lock, and no package but math. TestPullDoesNotAllocate
// counts as well.
func TestPullPath(t *testing.T) {
	reached := map[string]bool{"Pull": true}
	bodies := map[string]*ast.BlockStmt{}
	fset := token.NewFileSet()
	for _, name := range []string{"pull.go", "tone.go", "ring.go"} {
		file, err := parser.ParseFile(fset, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok {
				bodies[f.Name.Name] = f.Body
			}
		}
	}
	for todo := []string{"Pull"}; len(todo) > 0; {
		name := todo[0]
		todo = todo[1:]
		ast.Inspect(bodies[name], func(n ast.Node) bool {
			bad := ""
			switch n := n.(type) {
			case *ast.GoStmt, *ast.DeferStmt, *ast.SendStmt, *ast.SelectStmt, *ast.FuncLit, *ast.MapType, *ast.CompositeLit:
				bad = "what may allocate or wait"
			case *ast.UnaryExpr:
				if n.Op == token.ARROW {
					bad = "a receive"
				}
			case *ast.CallExpr:
				called := ""
				switch f := n.Fun.(type) {
				case *ast.Ident:
					called = f.Name
					if slices.Contains([]string{"make", "append", "new", "panic", "print"}, called) {
						bad = called
					}
				case *ast.SelectorExpr:
					called = f.Sel.Name
					if slices.Contains([]string{"Lock", "Unlock", "RLock", "Wait", "Sleep"}, called) {
						bad = called
					}
				}
				if bodies[called] != nil && !reached[called] {
					reached[called] = true
					todo = append(todo, called)
				}
			}
			if bad != "" {
				t.Errorf("%s: %s uses %s", fset.Position(n.Pos()), name, bad)
			}
			return true
		})
	}
	for _, name := range []string{"takeSwap", "play", "cross", "applyGains", "meter", "playTone", "count", "take"} {
		if !reached[name] {
			t.Errorf("%s is not reached, so the check covers nothing", name)
		}
	}
}
