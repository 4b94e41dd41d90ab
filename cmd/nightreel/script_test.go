package main

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

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
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:           filepath.Join("testdata", "script"),
		UpdateScripts: os.Getenv("UPDATE") != "",
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits":    exits,
			"document": document,
			"tour":     tour,
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

func tour(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: tour DIR")
	}
	dir, err := smallTour()
	ts.Check(err)
	ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(filepath.Join(dir, "tour"))))
}
