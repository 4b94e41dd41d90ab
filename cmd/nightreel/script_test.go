package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"nightreel/catalog"
	"nightreel/internal/demo"
)

// The program under test is this test binary under another name, so that the
// scripts run what was just built.
func TestMain(m *testing.M) {
	testscript.Main(tests{m}, map[string]func(){"nightreel": main})
}

// tests clears away what the tests share. testscript.Main never returns.
type tests struct{ *testing.M }

func (t tests) Run() int {
	defer func() {
		if tourDir != "" {
			os.RemoveAll(tourDir)
		}
	}()
	if config, err := os.MkdirTemp("", "nightreel-config-"); err == nil { // where this machine's id is kept
		defer os.RemoveAll(config)
		os.Setenv("XDG_CONFIG_HOME", config)
	}
	return t.M.Run()
}

var tourDir string // made by smallTour

// smallTour makes the small demo tour once for all tests that read it.
var smallTour = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "nightreel-tour-")
	if err != nil {
		return "", err
	}
	tourDir = dir
	tour := filepath.Join(dir, "tour")
	truth, err := demo.Make(context.Background(), tour, demo.Options{Scale: demo.Small})
	if err != nil {
		return "", err
	}
	return dir, truth.WriteFile(filepath.Join(dir, "truth.json"))
})

// TestScripts runs testdata/script/*.txtar. Beside testscript's own commands:
//
//	exits N nightreel …   runs a command and wants exactly this exit status
//	document FIELD…       wants stdout to be one JSON document whose objects have these fields
//	tour DIR              puts the small demo tour at DIR, read-only
//	flip FILE OFFSET      changes one byte of a file, and neither its size nor its time
//	half CATALOG DATE N   leaves of a show what a scan that was stopped after N files leaves, and no results
//	protect DIR           makes DIR a write-protected disk; where [mounts] holds
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:           filepath.Join("testdata", "script"),
		UpdateScripts: os.Getenv("UPDATE") != "",
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_CONFIG_HOME", filepath.Join(e.WorkDir, ".config"))
			old, err := filepath.Abs(filepath.Join("..", "..", "catalog", "testdata", "catalog-v8.db"))
			e.Setenv("OLD_CATALOG", old)
			return err
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits":    exits,
			"document": document,
			"tour":     tour,
			"flip":     flip,
			"half":     half,
			"failed":   failed,
			"protect":  protect,
		},
		Condition: func(cond string) (bool, error) {
			if cond == "mounts" { // this user may mount
				return runtime.GOOS == "linux" && mounts(), nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS COMMAND …")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

func document(ts *testscript.TestScript, neg bool, args []string) {
	var doc any
	out := ts.ReadFile("stdout")
	ts.Check(json.Unmarshal([]byte(out), &doc))
	if list, ok := doc.([]any); ok {
		if len(list) == 0 {
			if len(args) > 0 {
				ts.Fatalf("the document is an empty list")
			}
			return
		}
		doc = list[0]
	}
	object, ok := doc.(map[string]any)
	if !ok {
		ts.Fatalf("the document is neither an object nor a list of objects")
	}
	for _, field := range args {
		if _, ok := object[field]; ok == neg {
			ts.Fatalf("field %s: present %v", field, ok)
		}
	}
}

func flip(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: flip FILE OFFSET")
	}
	at, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	path := ts.MkAbs(args[0])
	st, err := os.Stat(path)
	ts.Check(err)
	ts.Check(os.Chmod(path, 0o644))
	data, err := os.ReadFile(path)
	ts.Check(err)
	data[at] ^= 0x10
	ts.Check(os.WriteFile(path, data, 0o644))
	ts.Check(os.Chtimes(path, st.ModTime(), st.ModTime()))
}

func half(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: half CATALOG DATE N")
	}
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	ctx := context.Background()
	store, err := catalog.Open(ctx, ts.MkAbs(args[0]))
	ts.Check(err)
	defer store.Close()
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: catalog.ShowKey(args[1])})
	ts.Check(err)
	for _, r := range recordings {
		files, err := store.Files(ctx, catalog.FileFilter{Recording: r.ID})
		ts.Check(err)
		ids := []catalog.FileID{}
		for _, f := range files[min(n, len(files)):] {
			ids = append(ids, f.ID)
		}
		n -= min(n, len(files))
		ts.Check(store.DropParts(ctx, catalog.PartFilter{Recording: r.ID}, ids, -1))
	}
	ts.Check(store.DropResults(ctx)) // a scan that was stopped has computed nothing
}

// failed makes the catalog one in which a judge of a show stopped with an error.
func failed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: failed CATALOG DATE")
	}
	ctx := context.Background()
	store, err := catalog.Open(ctx, ts.MkAbs(args[0]))
	ts.Check(err)
	defer store.Close()
	results, err := store.Results(ctx, catalog.FindingsResult)
	ts.Check(err)
	result := results[catalog.ShowKey(args[1])]
	result.Content, err = json.Marshal([]catalog.NotJudged{{Rig: "main", Judge: "gains", Kinds: []catalog.FindingKind{catalog.GainChange}, Error: "index out of range [3]", Stack: []string{"findings.gains gain.go:196"}}})
	ts.Check(err)
	ts.Check(store.PutResult(ctx, result))
}

// mounts tells whether this user may mount a folder.
var mounts = sync.OnceValue(func() bool {
	dir, err := os.MkdirTemp("", "nightreel-mount-")
	if err != nil {
		return false
	}
	defer os.Remove(dir)
	if exec.Command("mount", "--bind", dir, dir).Run() != nil {
		return false
	}
	return exec.Command("umount", dir).Run() == nil
})

func protect(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: protect DIR")
	}
	dir := ts.MkAbs(args[0])
	ts.Check(exec.Command("mount", "--bind", dir, dir).Run())
	ts.Defer(func() { exec.Command("umount", dir).Run() })
	ts.Check(exec.Command("mount", "-o", "remount,ro,bind", dir).Run())
}

func tour(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: tour DIR")
	}
	dir, err := smallTour()
	ts.Check(err)
	ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(filepath.Join(dir, "tour"))))
}
