package scan

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
	"nightreel/internal/wavfile"
)

// whole returns the envelope of the catalog's only track.
func whole(t *testing.T, store *catalog.Store) meter.Envelope {
	t.Helper()
	tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{})
	if err != nil || len(tracks) != 1 {
		t.Fatalf("%d tracks, %v", len(tracks), err)
	}
	e, err := envelope.Load(t.Context(), store, tracks[0], 0, tracks[0].Frames)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// put writes a mono file of the samples, fractions of full scale.
func put(t *testing.T, path string, f wavfile.Format, samples []float64) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	raw := make([]byte, len(samples)*f.FrameBytes())
	f.Encode(raw, samples)
	w, err := wavfile.Create(path, f, wavfile.Meta{})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.WriteFrames(raw); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestClipLevel(t *testing.T) {
	samples := make([]float64, 8000)
	for i := range samples {
		samples[i] = 0.1
	}
	for i := range 5 {
		samples[1000+i] = 1   // clamped to the largest value
		samples[2000+i] = 0.9 // -0.92 dBFS
	}
	minusOne := -1.0
	for _, c := range []struct {
		about  string
		format wavfile.Format
		opt    Options
		want   int64
	}{
		{"16 bit", wavfile.Format{BitDepth: 16, ContainerBytes: 2}, Options{}, 5},
		{"24 bit", wavfile.Format{BitDepth: 24, ContainerBytes: 3}, Options{}, 5},
		{"24 bit in 4 bytes", wavfile.Format{BitDepth: 24, ContainerBytes: 4}, Options{}, 5},
		{"32 bit float", wavfile.Format{BitDepth: 32, ContainerBytes: 4, Encoding: wavfile.Float}, Options{}, 5},
		{"from -1 dBFS", wavfile.Format{BitDepth: 24, ContainerBytes: 4}, Options{ClipLevelDBFS: &minusOne}, 10},
	} {
		t.Run(c.about, func(t *testing.T) {
			c.format.SampleRate, c.format.Channels = 8000, 1
			dir, store := t.TempDir(), open(t)
			put(t, filepath.Join(dir, "2031-05-02 a", "01 a.wav"), c.format, samples)
			run(t, store, c.opt, dir)
			if got := whole(t, store).Figures(0, 8000).ClippedSamples; got != c.want {
				t.Errorf("%d clipped samples, want %d", got, c.want)
			}
		})
	}
}

// TestAPauseIsSilence holds in 8 bit too, where silence is not made of zeros.
func TestAPauseIsSilence(t *testing.T) {
	for _, bits := range []int{8, 16} {
		evening := at("2031-05-02", 21, 0)
		store := open(t)
		run(t, store, Options{}, lay(t, []file{
			{"2031-05-02 a/TRK01_0001.wav", take{bits: bits, to: 8000, starts: evening}},
			{"2031-05-02 a/TRK01_0002.wav", take{bits: bits, from: 16000, to: 24000, starts: evening}},
		}))
		e := whole(t, store)
		if len(e.Blocks) != 30 {
			t.Fatalf("%d bit: %d blocks", bits, len(e.Blocks))
		}
		for i, b := range e.Blocks {
			if silent := i >= 10 && i < 20; silent != (b.Peak == 0) {
				t.Errorf("%d bit: block %d has peak %v", bits, i, b.Peak)
			}
		}
	}
}

// TestAFileThatFailsIsTriedAgain takes a file away between finding and
// measuring: the rest is measured, and the next scan makes up for it.
func TestAFileThatFailsIsTriedAgain(t *testing.T) {
	dir, store, undisturbed := night(t), open(t), open(t)
	path := filepath.Join(dir, "2031-05-02 Hall", "main", "TRK01_0002.wav")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	st, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}

	ctx := t.Context()
	s := &scan{store: store, opt: Options{Workers: 2}, progress: &Progress{}, touched: map[catalog.ShowID]bool{}, foundIn: map[string]bool{}}
	found, err := s.find(ctx, []string{dir})
	if err != nil {
		t.Fatal(err)
	}
	grouped, err := s.settle(ctx, found)
	if err != nil {
		t.Fatal(err)
	}
	jobs, err := s.jobs(ctx, grouped)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(path, 100_000); err != nil {
		t.Fatal(err)
	}
	if err := s.measure(ctx, jobs); err != nil {
		t.Fatal(err)
	}
	if len(s.result.Problems) != 1 || s.result.Problems[0].File != path {
		t.Errorf("problems %+v", s.result.Problems)
	}
	// Both minutes of track 1 need the file; the other 2 + 3·2 parts do not.
	lines := slices.DeleteFunc(content(t, store), func(l string) bool { return !strings.HasPrefix(l, "part ") })
	if len(lines) != 8 {
		t.Errorf("%d parts measured, want 8", len(lines))
	}

	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(path, st.ModTime(), st.ModTime()); err != nil {
		t.Fatal(err)
	}
	run(t, store, Options{}, dir)
	run(t, undisturbed, Options{}, dir)
	same(t, "tried again", content(t, store), content(t, undisturbed))
}
