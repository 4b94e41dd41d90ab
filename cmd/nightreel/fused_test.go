package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"
)

// exact are the rooms that make results of facts: the same facts must give the
// same bits on every machine.
var exact = []string{"stats", "channelsound", "songs", "findings", "compare", "linecheck", "refresh", "evidence", "envelope"}

// A product that is added to something is one instruction on arm64, with one
// rounding, unless it is written float64(a*b). So the rooms are compiled for
// arm64, and none of those instructions may be in what comes out.
func TestNoProductIsFused(t *testing.T) {
	root, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	// There may be no C compiler for arm64: the file that needs one is replaced.
	dir := t.TempDir()
	stub, overlay := filepath.Join(dir, "damaged.go"), filepath.Join(dir, "overlay.json")
	replace, err := json.Marshal(map[string]any{"Replace": map[string]string{filepath.Join(root, "catalog", "damaged.go"): stub}})
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{stub: "package catalog\n\nfunc damaged(error) bool { return false }\nfunc protected(error) bool { return false }\nfunc unwritable(error) bool { return false }\n", overlay: string(replace)} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	args := []string{"build", "-overlay", overlay, "-gcflags=-S"}
	for _, room := range exact {
		args = append(args, "./internal/"+room)
		// go test repeats an old result while the files are unchanged that the
		// test itself reads; what the compiler reads it does not see.
		files, err := filepath.Glob(filepath.Join(root, "internal", room, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("internal/%s holds no source (%v)", room, err)
		}
		for _, name := range files {
			if _, err := os.ReadFile(name); err != nil {
				t.Fatal(err)
			}
		}
	}
	cmd := exec.Command("go", args...)
	cmd.Dir = root
	cmd.Env = append(os.Environ(), "GOARCH=arm64", "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out[:min(len(out), 2000)])
	}
	if !regexp.MustCompile(`\tFMULD\t`).Match(out) {
		t.Fatal("the compiler wrote no arm64 instructions to look at")
	}
	told := map[string]bool{}
	for _, m := range regexp.MustCompile(`\(([^()\s]+\.go:\d+)\)\t(FN?M(?:ADD|SUB)[SD])\t`).FindAllSubmatch(out, -1) {
		if place := string(m[1]); !told[place] {
			told[place] = true
			t.Errorf("%s: a product is fused with a sum (%s): write float64(a*b)", place, m[2])
		}
	}
}
