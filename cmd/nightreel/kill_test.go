package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
)

// program returns a command that runs this test binary as nightreel.
func program(t *testing.T, file string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, append([]string{"--catalog", file}, args...)...)
	cmd.Args[0] = "nightreel" // what TestMain looks at
	return cmd
}

// must runs nightreel to its end and returns what it printed.
func must(t *testing.T, file string, args ...string) []byte {
	t.Helper()
	cmd := program(t, file, args...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("nightreel %s: %v\n%s", strings.Join(args, " "), err, stderr.String())
	}
	return out
}

// killed runs nightreel and kills it after a while. It tells whether the kill
// came before the end.
func killed(t *testing.T, after time.Duration, file string, args ...string) bool {
	t.Helper()
	cmd := program(t, file, args...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	timer := time.AfterFunc(after, func() { _ = cmd.Process.Kill() }) // it may be gone already
	err := cmd.Wait()
	timer.Stop()
	return err != nil
}

// content is all that a scan left in a catalog, without the ids.
func content(t *testing.T, file string) string {
	t.Helper()
	ctx := context.Background()
	store, err := catalog.Open(ctx, file)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if err := store.Check(ctx); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	line := func(v any, err error) {
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s\n", text)
	}
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range recordings {
		tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
		if err != nil {
			t.Fatal(err)
		}
		files, err := store.Files(ctx, catalog.FileFilter{Recording: r.ID})
		if err != nil {
			t.Fatal(err)
		}
		for _, tr := range tracks {
			parts, err := store.Parts(ctx, catalog.PartFilter{Track: tr.ID})
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, "%s %s %d %s %d:", r.Show, r.Rig, tr.Number, tr.Channel, tr.Frames)
			for _, p := range parts {
				fmt.Fprintf(&b, " %d:%x", p.Part, sha256.Sum256(p.Data))
			}
			b.WriteByte('\n')
		}
		for _, f := range files {
			pieces, err := store.Pieces(ctx, f.ID)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, "%s:", f.Path)
			for _, p := range pieces {
				fmt.Fprintf(&b, " %d+%d:%x", p.Offset, p.Length, p.Sum)
			}
			b.WriteByte('\n')
		}
		r.ID = 0
		line(r, nil)
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	for i := range takes {
		takes[i].ID = 0
	}
	line(takes, err)
	findings, err := store.Findings(ctx, catalog.FindingFilter{})
	for i := range findings {
		findings[i].ID = 0
	}
	line(findings, err)
	return b.String()
}

// folder is what lies in a folder under final names, by name.
func folder(t *testing.T, dir string) map[string][32]byte {
	t.Helper()
	files := map[string][32]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if d != nil && d.IsDir() && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		if err != nil || d.IsDir() || strings.HasPrefix(d.Name(), ".") {
			return err
		}
		text, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		files[name] = sha256.Sum256(text)
		return err
	})
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	return files
}

// TestKilled kills scan and render at random moments, fifty times and more in
// all: the catalog stays whole, nothing half-made stands under a final name,
// and the next run ends where an undisturbed one ends. The moments spread over
// the time that one undisturbed run took on this machine.
func TestKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("kills the program fifty times")
	}
	dir, err := smallTour()
	if err != nil {
		t.Fatal(err)
	}
	tour := filepath.Join(dir, "tour")
	before := folder(t, tour)
	random := rand.New(rand.NewPCG(1, 2))

	whole := filepath.Join(t.TempDir(), "whole.nightreel")
	began := time.Now()
	must(t, whole, "scan", tour)
	scanTook := time.Since(began)
	want := content(t, whole)

	const scanKills, renderKills, mostRounds = 30, 24, 100
	hits := 0
	for round := 0; hits < scanKills && round < mostRounds; round++ {
		file := filepath.Join(t.TempDir(), "killed.nightreel")
		for range 3 { // a third of the time each, so that the last one finds work left
			if killed(t, time.Duration(random.Float64()*float64(scanTook)/3), file, "scan", tour) {
				hits++
			}
			content(t, file) // opens and passes SQLite's integrity check
		}
		must(t, file, "scan", tour)
		if got := content(t, file); got != want {
			t.Errorf("round %d: the catalog after kills and a scan differs from an undisturbed one", round)
		}
	}
	t.Logf("scan: %d kills before the end, in runs of %v", hits, scanTook.Round(time.Millisecond))
	if hits < scanKills {
		t.Errorf("scan: only %d kills came before the end", hits)
	}

	must(t, whole, "desk", "import", filepath.Join(tour, "desk-foh.csv"), "--name", "FOH")
	must(t, whole, "inputs", "import", filepath.Join(tour, "inputs.csv"), "--from", "2031-01-01")
	var songs []catalog.Song
	if err := json.Unmarshal(must(t, whole, "songs", "--json"), &songs); err != nil || len(songs) == 0 {
		t.Fatalf("songs: %v, %v", songs, err)
	}
	must(t, whole, "session", "build", "--desk", "FOH", "--song", songs[0].Title)
	undisturbed := t.TempDir()
	began = time.Now()
	must(t, whole, "session", "render", undisturbed)
	renderTook := time.Since(began)
	final := folder(t, undisturbed)
	if len(final) == 0 {
		t.Fatal("nothing was rendered")
	}
	hits = 0
	for round := 0; hits < renderKills && round < mostRounds; round++ {
		out := t.TempDir()
		for range 2 {
			if killed(t, time.Duration(random.Float64()*float64(renderTook)/2), whole, "session", "render", out) {
				hits++
			}
			for name, sum := range folder(t, out) {
				if final[name] != sum {
					t.Errorf("round %d: %s is half-made or different after a kill", round, name)
				}
			}
		}
		must(t, whole, "session", "render", out)
		got := folder(t, out)
		if left, _ := filepath.Glob(filepath.Join(out, ".*")); len(left) > 0 {
			t.Errorf("round %d: a finished render leaves %v behind", round, left)
		}
		for name, sum := range final {
			if got[name] != sum {
				t.Errorf("round %d: %s differs from an undisturbed render", round, name)
			}
		}
	}
	t.Logf("render: %d kills before the end, in runs of %v", hits, renderTook.Round(time.Millisecond))
	if hits < renderKills {
		t.Errorf("render: only %d kills came before the end", hits)
	}
	for name, sum := range folder(t, tour) {
		if before[name] != sum {
			t.Errorf("%s: a source file changed", name)
		}
	}
}
