package main

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/refresh"
)

// Two to four scans of a new folder at once, each a process of its own, and one of
// them in every other round the web server's, leave what one scan leaves.
//
// NIGHTREEL_SCAN_ROUNDS sets how many rounds there are (3):
//
//	NIGHTREEL_SCAN_ROUNDS=200 go test ./cmd/nightreel -run TestScansAtOnce -v
func TestScansAtOnceAreOneScan(t *testing.T) {
	rounds := 3
	if v := os.Getenv("NIGHTREEL_SCAN_ROUNDS"); v != "" {
		var err error
		if rounds, err = strconv.Atoi(v); err != nil {
			t.Fatal(err)
		}
	}
	dir, err := smallTour()
	if err != nil {
		t.Fatal(err)
	}
	tour := filepath.Join(dir, "tour")
	alone := filepath.Join(t.TempDir(), "alone.nightreel")
	must(t, alone, "scan", tour)
	want := scanned(t, alone)
	different := 0
	for round := range rounds {
		file := filepath.Join(t.TempDir(), "c.nightreel")
		scans := 2 + round/2%3
		end := func() {}
		browser := round%2 == 1
		if browser {
			end = scanInBrowser(t, file, tour)
		}
		var running []*exec.Cmd
		var said bytes.Buffer
		for i := range scans {
			if i == 0 && browser {
				continue
			}
			cmd := program(t, file, "scan", tour)
			if len(running) == 0 {
				cmd.Stderr = &said
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			running = append(running, cmd)
		}
		for _, cmd := range running {
			if err := cmd.Wait(); err != nil {
				t.Errorf("round %d: %v\n%s", round, err, said.String())
			}
		}
		end()
		if got := scanned(t, file); got != want {
			different++
			t.Errorf("round %d: %d scans at once leave another catalog than one scan", round, scans)
		}
		if err := os.Remove(file); err != nil { // rounds may be many
			t.Fatal(err)
		}
	}
	t.Logf("%d rounds, %d of them left another catalog than one scan", rounds, different)
}

// scanned is everything that a scan and the refresh after it leave in a catalog.
func scanned(t *testing.T, file string) string {
	t.Helper()
	text := content(t, file)
	store, err := catalog.Open(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	var results bytes.Buffer
	if err := refresh.Dump(t.Context(), store, &results); err != nil {
		t.Fatal(err)
	}
	return text + results.String()
}

// scanInBrowser lets a web server of its own scan a folder. end waits until the
// scan, and what is worked out after it, is done, and ends the server.
func scanInBrowser(t *testing.T, file, folder string) (end func()) {
	t.Helper()
	_, address, stop := servingAt(t, file, nil, 1, "--listen", "127.0.0.1:0")
	r, err := http.PostForm(address+"/scan", url.Values{"folder": {folder}})
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode >= 400 {
		t.Errorf("the scan in the web server: status %d", r.StatusCode)
	}
	return func() {
		for running := true; running; {
			r, err := http.Get(address + "/data/jobs")
			if err != nil {
				t.Fatal(err)
			}
			var jobs []struct{ Kind, State, Result string }
			err = json.NewDecoder(r.Body).Decode(&jobs)
			r.Body.Close()
			if err != nil {
				t.Fatal(err)
			}
			running = len(jobs) == 0
			for _, j := range jobs {
				running = running || j.State == "running"
				if j.State == "failed" {
					t.Errorf("%s in the web server: %s", j.Kind, j.Result)
				}
			}
			time.Sleep(20 * time.Millisecond)
		}
		stop()
	}
}
