package refresh_test

import (
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/demo"
	"nightreel/internal/lists"
	"nightreel/internal/refresh"
	"nightreel/internal/scan"
)

// The demo tour gives the same results in ten orders of its scans and lists,
// with refreshes in between.
func TestDemoTourInTenOrders(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a tour and scans it eleven times")
	}
	dir := t.TempDir()
	truth, err := demo.Make(t.Context(), dir, demo.Options{Scale: demo.Small})
	if err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var folders []string
	for _, e := range entries {
		if e.IsDir() {
			folders = append(folders, filepath.Join(dir, e.Name()))
		}
	}
	if len(folders) < len(truth.Shows) {
		t.Fatalf("%d folders for %d shows", len(folders), len(truth.Shows))
	}
	var want string
	for seed := range uint64(11) {
		store := openCatalog(t, t.TempDir())
		steps := demoSteps(truth, dir, folders)
		if seed > 0 {
			rand.New(rand.NewPCG(seed, 1)).Shuffle(len(steps), func(i, j int) { steps[i], steps[j] = steps[j], steps[i] })
		}
		var later []func(context.Context, *catalog.Store) error
		for i, s := range steps {
			if err := s(t.Context(), store); err != nil {
				later = append(later, s) // a set list of a night that is not scanned yet
			}
			if seed > 0 && i%4 == int(seed)%4 {
				if _, err := refresh.Tour(t.Context(), store, refresh.Options{}); err != nil {
					t.Fatal(err)
				}
			}
		}
		for _, s := range later {
			if err := s(t.Context(), store); err != nil {
				t.Fatal(err)
			}
		}
		got := dumped(t, store)
		if seed == 0 {
			want = got
		} else if got != want {
			t.Errorf("order %d: %s", seed, differing(want, got))
		}
		store.Close()
	}
}

// demoSteps are the scans of the demo's nights and the imports of its lists.
func demoSteps(truth *demo.Truth, dir string, folders []string) []func(context.Context, *catalog.Store) error {
	var steps []func(context.Context, *catalog.Store) error
	for _, f := range folders {
		steps = append(steps, func(ctx context.Context, store *catalog.Store) error {
			_, err := scan.Run(ctx, store, []string{f}, scan.Options{}, nil)
			return err
		})
	}
	for _, l := range truth.InputLists {
		steps = append(steps, func(ctx context.Context, store *catalog.Store) error {
			f, err := os.Open(filepath.Join(dir, filepath.FromSlash(l.File)))
			if err != nil {
				return err
			}
			defer f.Close()
			inputs, err := lists.ReadInputs(f, l.File)
			if err != nil {
				return err
			}
			return store.SaveInputList(ctx, catalog.InputList{From: catalog.ShowKey(l.From), Only: l.Only, Inputs: inputs})
		})
	}
	for _, s := range truth.Shows {
		if s.SetList == "" {
			continue
		}
		steps = append(steps, func(ctx context.Context, store *catalog.Store) error {
			f, err := os.Open(filepath.Join(dir, filepath.FromSlash(s.SetList)))
			if err != nil {
				return err
			}
			defer f.Close()
			entries, err := lists.ReadSetList(f, s.SetList)
			if err != nil {
				return err
			}
			return store.SaveSetList(ctx, catalog.ShowKey(s.Date), entries)
		})
	}
	return steps
}
