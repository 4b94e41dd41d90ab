package linecheck

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/scan"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// plays writes a mono file in which a channel plays every other five seconds,
// each with a spectrum of its own, over a stage that all channels pick up.
func plays(t testing.TB, path string, channel int, f wavfile.Format, seconds int, gain float64) {
	t.Helper()
	playsWhile(t, path, channel, f, seconds, gain, func(s float64) bool { return (int(s)/5+channel)%2 == 0 })
}

func playsWhile(t testing.TB, path string, channel int, f wavfile.Format, seconds int, gain float64, on func(s float64) bool) {
	t.Helper()
	own, stage := rand.New(rand.NewPCG(1, uint64(channel))), rand.New(rand.NewPCG(2, 2))
	colour := 0.02 + 0.9*float64(channel%13)/13
	var a, b float64
	samples := make([]float64, seconds*f.SampleRate)
	for i := range samples {
		a += colour * (own.Float64() - 0.5 - a)
		b += 0.3 * (stage.Float64() - 0.5 - b)
		samples[i] = 0.001 * b
		if on(float64(i) / float64(f.SampleRate)) {
			samples[i] += 0.1*b + 0.3*gain*a
		}
	}
	wavtest.WriteSamples(t, path, f, samples)
}

// scanned returns a catalog with some nights of one folder each and an input list.
func scanned(t testing.TB, channels []string, nights ...string) *catalog.Store {
	t.Helper()
	store, err := catalog.Open(t.Context(), filepath.Join(t.TempDir(), "c.nightreel"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	for i, dir := range nights {
		if _, err := scan.Run(t.Context(), store, []string{dir}, scan.Options{Date: catalog.Date(fmt.Sprintf("2031-05-%02d", i+1))}, nil); err != nil {
			t.Fatal(err)
		}
	}
	list := catalog.InputList{From: "2031-05-01"}
	for i, name := range channels {
		list.Inputs = append(list.Inputs, catalog.Input{Track: i + 1, Channel: name})
	}
	if err := store.SaveInputList(t.Context(), list); err != nil {
		t.Fatal(err)
	}
	return store
}

// TestCheckByName: files without a track's number are the channels that they are
// named after, in a folder with only some of the channels and as single files.
func TestCheckByName(t *testing.T) {
	channels := []string{"Kick", "Tom 1", "Tom 2", "Bass", "Over L", "Over R"}
	f := wavfile.Format{SampleRate: 8000, BitDepth: 16, ContainerBytes: 2, Channels: 1}
	night, line, bad := t.TempDir(), t.TempDir(), t.TempDir()
	for i, name := range channels {
		plays(t, filepath.Join(night, fmt.Sprintf("%02d %s.wav", i+1, name)), i, f, 30, 1)
	}
	store := scanned(t, channels, night, night)
	for i, gain := range map[int]float64{1: 1, 2: 3, 3: 1} {
		plays(t, filepath.Join(line, channels[i]+".wav"), i, f, 30, gain)
	}
	plays(t, filepath.Join(line, "Kazoo.wav"), 7, f, 30, 1)
	plays(t, filepath.Join(bad, "03 Bass.wav"), 2, f, 30, 1)
	for name, content := range map[string]string{"empty.wav": "", "text.wav": "no sound"} {
		if err := os.WriteFile(filepath.Join(bad, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		path     string
		want     string // number, channel and status of each input
		says     string
		problems int
	}{
		{line, "2 Tom 1 ok, 3 Tom 2 look, 4 Bass ok, 7 Kazoo unknown", "Kazoo is no channel of the input list", 0},
		{filepath.Join(line, "Tom 2.wav"), "3 Tom 2 look", "dB louder than on the tour", 0},
		{filepath.Join(line, "Kazoo.wav"), "7 Kazoo unknown", "so it was not compared", 0},
		{filepath.Join(night, "05 Over L.wav"), "5 Over L ok", "", 0},
		{bad, "3 Tom 2 look", "Track 3 is called Bass in the recording, and Tom 2 in the input list, where Bass is track 4", 2},
	} {
		r, err := Check(t.Context(), store, c.path, Options{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		var got, text []string
		for _, in := range r.Inputs {
			got = append(got, fmt.Sprintf("%d %s %s", in.Track, in.Channel, in.Status))
			text = append(text, in.Text...)
		}
		if strings.Join(got, ", ") != c.want || !strings.Contains(strings.Join(text, " "), c.says) || len(r.Problems) != c.problems {
			t.Errorf("%s: %q, %q, %v", filepath.Base(c.path), got, text, r.Problems)
		}
	}
	for _, path := range []string{filepath.Join(bad, "empty.wav"), filepath.Join(bad, "text.wav"), t.TempDir()} {
		var none *NotReadError
		if _, err := Check(t.Context(), store, path, Options{}, nil); !errors.As(err, &none) || !strings.HasPrefix(err.Error(), path+": nothing to check: ") {
			t.Errorf("%s: %v", path, err)
		}
	}
}

// BenchmarkCheck checks 64 mono files of a minute, played all at once and in
// turn, against four nights of the same length, all from the page cache. It
// takes 1.2 GB of the temporary folder: the nights are links to the first one's
// files.
func BenchmarkCheck(b *testing.B) {
	const count, seconds = 64, 60
	f := wavfile.Format{SampleRate: 48000, BitDepth: 24, ContainerBytes: 3, Channels: 1}
	dir := b.TempDir()
	var channels, nights []string
	for i := range count {
		channels = append(channels, fmt.Sprintf("Channel %c%d", 'A'+i/8, i%8))
		file := fmt.Sprintf("%02d %s.wav", i+1, channels[i])
		plays(b, filepath.Join(dir, "at once", file), i, f, seconds, 1)
		playsWhile(b, filepath.Join(dir, "in turn", file), i, f, seconds, 1, func(s float64) bool { return int(s/0.9) == i })
	}
	for n := range 4 {
		night := filepath.Join(dir, fmt.Sprintf("night %d", n+1))
		if err := os.Mkdir(night, 0o755); err != nil {
			b.Fatal(err)
		}
		for i, name := range channels {
			file := fmt.Sprintf("%02d %s.wav", i+1, name)
			if err := os.Link(filepath.Join(dir, "at once", file), filepath.Join(night, file)); err != nil {
				b.Fatal(err)
			}
		}
		nights = append(nights, night)
	}
	store := scanned(b, channels, nights...)
	for _, line := range []string{"at once", "in turn"} {
		b.Run(line, func(b *testing.B) {
			b.SetBytes(count * seconds * int64(f.SampleRate*f.FrameBytes()))
			b.ReportAllocs()
			for b.Loop() {
				r, err := Check(b.Context(), store, filepath.Join(dir, line), Options{}, nil)
				if err != nil || len(r.Inputs) != count || len(r.Against) != len(nights) {
					b.Fatalf("%d inputs against %d nights, %v", len(r.Inputs), len(r.Against), err)
				}
			}
		})
	}
}
