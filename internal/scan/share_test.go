package scan

import (
	"fmt"
	"path/filepath"
	"testing"

	"nightreel/catalog"
)

// Workers that share the last part of a file of many channels find what one
// finds alone.
func TestSharesMakeNoDifference(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "2031-05-02 Hall", "night.wav"), take{channels: 40, track: 1, to: minute + 50_001})
	features := func(store *catalog.Store) []string {
		all := content(t, store)
		recordings, err := store.Recordings(t.Context(), catalog.RecordingFilter{})
		if err != nil {
			t.Fatal(err)
		}
		for _, kind := range []catalog.FeatureKind{catalog.Tone, catalog.Harmony} {
			stored, err := store.Features(t.Context(), catalog.PartFilter{Recording: recordings[0].ID}, kind)
			if err != nil {
				t.Fatal(err)
			}
			if len(stored) != 2*40 {
				t.Errorf("%d parts with %s", len(stored), kind)
			}
			for _, p := range stored {
				all = append(all, fmt.Sprintf("%s %d/%d %x", kind, p.Track, p.Part, p.Data))
			}
		}
		return all
	}
	one := open(t)
	run(t, one, Options{Workers: 1}, dir)
	want := features(one)
	for _, workers := range []int{3, 4} {
		store := open(t)
		r := run(t, store, Options{Workers: workers}, dir)
		if r.FilesRead != 1 {
			t.Errorf("%d workers: %d files read", workers, r.FilesRead)
		}
		same(t, fmt.Sprint(workers, " workers against one"), features(store), want)
	}
}

// Shares are cut only where the workers end earlier by it.
func TestShared(t *testing.T) {
	j := &job{}
	units := func(parts, channels int) []unit {
		var all []unit
		for p := range parts {
			all = append(all, unit{job: j, strips: []*strip{{channels: channels}}, part: p})
		}
		return all
	}
	for _, c := range []struct {
		parts, channels, workers int
		want                     string
	}{
		{4, 64, 2, "0 1 2 3"},
		{5, 64, 2, "0 1 2 3 4:0-32 4:32-64"},
		{5, 17, 2, "0 1 2 3 4:0-16 4:16-17"},
		{5, 16, 2, "0 1 2 3 4"},
		{1, 64, 8, "0:0-16 0:16-32 0:32-48 0:48-64"},
		{3, 40, 4, "0 1 2"}, // in three shares each it would be three rounds of thirds
	} {
		got := ""
		for i, u := range shared(units(c.parts, c.channels), c.workers) {
			if i > 0 {
				got += " "
			}
			got += fmt.Sprint(u.part)
			if u.to > 0 {
				got += fmt.Sprint(":", u.from, "-", u.to)
			}
		}
		if got != c.want {
			t.Errorf("%d parts of %d channels, %d workers: %s, not %s", c.parts, c.channels, c.workers, got, c.want)
		}
	}
}
