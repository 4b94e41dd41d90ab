package demo

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// digests returns a digest of every file below dir, its time included.
func digests(t *testing.T, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		st, err := d.Info()
		rel, _ := filepath.Rel(dir, name)
		all[filepath.ToSlash(rel)] = fmt.Sprintf("%x %v", sha256.Sum256(b), st.ModTime().UnixNano())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestSameBytesEveryTime(t *testing.T) {
	c := smallTour(t)
	var last, total int64
	again := t.TempDir()
	truth, err := Make(context.Background(), again, Options{Scale: Small, Progress: func(done, of int64) {
		if done < last || of != total && total != 0 {
			t.Errorf("progress went from %d of %d to %d of %d", last, total, done, of)
		}
		last, total = done, of
	}})
	if err != nil {
		t.Fatal(err)
	}
	if last != total || total == 0 {
		t.Errorf("progress ended at %d of %d", last, total)
	}
	one, two := digests(t, c.dir), digests(t, again)
	for _, name := range slices.Sorted(maps.Keys(one)) {
		if one[name] != two[name] {
			t.Errorf("%s differs", name)
		}
	}
	if len(one) != len(two) {
		t.Errorf("%d files, then %d", len(one), len(two))
	}
	a, _ := json.Marshal(c.truth)
	b, _ := json.Marshal(truth)
	if string(a) != string(b) {
		t.Error("the truth differs")
	}
}

func TestEveryFileIsKnown(t *testing.T) {
	c := smallTour(t)
	known := map[string]bool{}
	add := func(names ...string) {
		for _, n := range names {
			if known[n] {
				t.Errorf("%s is listed twice", n)
			}
			known[n] = true
		}
	}
	for _, s := range c.truth.Shows {
		add(s.SetList)
		for _, r := range s.Recordings {
			add(r.Files...)
		}
	}
	for _, l := range c.truth.InputLists {
		add(l.File)
	}
	for _, d := range c.truth.Desks {
		add(d.File)
	}
	add(c.truth.PassedOver...)
	found := digests(t, c.dir)
	for name := range found {
		if !known[name] {
			t.Errorf("%s is on the disk and not in the truth", name)
		}
	}
	for name := range known {
		if _, ok := found[name]; !ok {
			t.Errorf("%s is in the truth and not on the disk", name)
		}
	}
}

// The demo tour stays within its size limits.
func TestSizeOfTheTour(t *testing.T) {
	for _, c := range []struct {
		name  string
		scale Scale
		limit int64
	}{{"full", Full, 395e6}, {"small", Small, 58e6}} {
		shows, scores := plan(c.scale)
		total := int64(0)
		for i, sh := range shows {
			total += audioBytes(sh, scores[i])
			if len(sh.patch) < 16 {
				t.Errorf("%s: %s has %d inputs, 16 wanted", c.name, sh.date(), len(sh.patch))
			}
		}
		if total > c.limit {
			t.Errorf("%s: %d bytes of audio, at most %d wanted", c.name, total, c.limit)
		}
		if len(shows) != 4 {
			t.Errorf("%s: %d shows", c.name, len(shows))
		}
	}
	if n := len(repertoire()); n < 5 {
		t.Errorf("%d songs", n)
	}
	c, bytes := smallTour(t), int64(0)
	filepath.WalkDir(c.dir, func(_ string, d fs.DirEntry, err error) error {
		if st, err := d.Info(); err == nil && !d.IsDir() {
			bytes += st.Size()
		}
		return err
	})
	if bytes > 60e6 || bytes < 20e6 {
		t.Errorf("the small tour has %d bytes", bytes)
	}
}

func TestPatternsAreWholeBars(t *testing.T) {
	for _, s := range repertoire() {
		for _, p := range []section{s.verse, s.chorus} {
			for _, pattern := range []string{p.kick, p.snare, p.hat, p.tom, p.bass, p.guitar, p.keys} {
				if len(pattern) != 16 || strings.Trim(pattern, ".xXo") != "" {
					t.Errorf("%s: %q is no bar of 16 steps", s.title, pattern)
				}
			}
			for _, y := range p.line {
				if y.step < 0 || y.step >= 32 || y.steps < 1 || len(p.chords) == 0 {
					t.Errorf("%s: syllable %+v", s.title, y)
				}
			}
		}
	}
}

// The band plays no song twice alike, and not every song every night.
func TestTakesDiffer(t *testing.T) {
	c := smallTour(t)
	lengths := map[string]map[float64]bool{}
	shows := map[string]map[string]int{}
	for i, k := range c.truth.Takes {
		if k.EndS <= k.StartS {
			t.Errorf("take %+v", k)
		}
		if i > 0 && c.truth.Takes[i-1].Show == k.Show && k.StartS < c.truth.Takes[i-1].EndS+0.5 {
			t.Errorf("take %+v has no pause before it", k)
		}
		if lengths[k.Song] == nil {
			lengths[k.Song], shows[k.Song] = map[float64]bool{}, map[string]int{}
		}
		if lengths[k.Song][k.EndS-k.StartS] {
			t.Errorf("two takes of %s are equally long", k.Song)
		}
		lengths[k.Song][k.EndS-k.StartS] = true
		shows[k.Song][k.Show]++
	}
	twice, leftOut := 0, 0
	for song, by := range shows {
		if len(by) < 2 {
			t.Errorf("%s is played on one night only", song)
		}
		if len(by) < 4 {
			leftOut++
		}
		for _, n := range by {
			if n > 1 {
				twice++
			}
		}
	}
	if twice == 0 || leftOut == 0 || len(shows) != len(c.truth.Songs) {
		t.Errorf("%d songs twice in a night, %d left out, %d of %d played", twice, leftOut, len(shows), len(c.truth.Songs))
	}
}

func TestFolderMustBeEmpty(t *testing.T) {
	dir := t.TempDir()
	mine := filepath.Join(dir, "mine.txt")
	if err := os.WriteFile(mine, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := Make(context.Background(), dir, Options{Scale: Small})
	var e *NotEmptyError
	if !errors.As(err, &e) || e.Dir != dir || e.Hint() == "" {
		t.Fatalf("error %v", err)
	}
	if d := digests(t, dir); len(d) != 1 {
		t.Errorf("files were written: %v", d)
	}
}

func TestCancelled(t *testing.T) {
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	_, err := Make(ctx, dir, Options{Scale: Small, Progress: func(done, total int64) {
		if done > total/4 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("error %v", err)
	}
	for name := range digests(t, dir) {
		if strings.HasPrefix(filepath.Base(name), ".") {
			t.Errorf("%s was left behind", name)
		}
	}
}

func TestTruthFile(t *testing.T) {
	c := smallTour(t)
	name := filepath.Join(t.TempDir(), "demo-truth.json")
	if err := c.truth.WriteFile(name); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var back Truth
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	again, _ := json.Marshal(back)
	want, _ := json.Marshal(c.truth)
	if string(again) != string(want) {
		t.Error("the truth reads back differently")
	}
}
