package scan

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// take is a WAV file to be made. Its samples are noise that depends on the
// track, the rate and the place in the show alone: a file cut in two, or
// recorded by another rig, sounds the same. Where a part ends there is a pulse
// whose true peak, the block's largest, lies between the last frame of one part
// and the first of the next.
type take struct {
	rate, bits, channels int // 0: 8000, 16, 1
	track                int // of the first channel, whose noise it is
	from, to             int64
	starts               time.Time // wall clock of frame 0 of the show; zero: no bext
	originator           string
	names                []string // iXML
	inputs               []int    // iXML
	cues                 []wavfile.Cue
	gain                 float64 // 0: 1
}

// at is the wall clock of most shows here.
func at(date string, hour, minute int) time.Time {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		panic(err)
	}
	return t.Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute)
}

func write(t *testing.T, path string, k take) {
	t.Helper()
	f := wavfile.Format{SampleRate: k.rate, BitDepth: k.bits, Channels: max(k.channels, 1)}
	if f.SampleRate == 0 {
		f.SampleRate = 8000
	}
	if f.BitDepth == 0 {
		f.BitDepth = 16
	}
	f.ContainerBytes = f.BitDepth / 8
	meta := wavfile.Meta{Cues: k.cues}
	if !k.starts.IsZero() {
		first := k.starts.Add(time.Duration(k.from) * time.Second / time.Duration(f.SampleRate))
		midnight := first.Truncate(24 * time.Hour)
		meta.Bext = &wavfile.Bext{Originator: k.originator, OriginationDate: first.Format(time.DateOnly), OriginationTime: first.Format(time.TimeOnly),
			TimeReference: uint64(int64(k.starts.Sub(midnight)/time.Second)*int64(f.SampleRate) + k.from), Version: 1}
	}
	for i := range max(len(k.names), len(k.inputs)) {
		if meta.IXML == nil {
			meta.IXML = &wavfile.IXML{}
		}
		x := wavfile.IXMLTrack{InterleaveIndex: i + 1}
		if i < len(k.names) {
			x.Name = k.names[i]
		}
		if i < len(k.inputs) {
			x.ChannelIndex = k.inputs[i]
		}
		meta.IXML.Tracks = append(meta.IXML.Tracks, x)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	w, err := wavfile.Create(path, f, meta)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.WriteFrames(k.samples(f)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
}

func (k take) samples(f wavfile.Format) []byte {
	gain := k.gain
	if gain == 0 {
		gain = 1
	}
	raw := make([]byte, (k.to-k.from)*int64(f.FrameBytes()))
	frame := make([]float64, f.Channels)
	second := int64(f.SampleRate)
	noise := make([]*rand.Rand, f.Channels)
	levels := make([]float64, f.Channels)
	// Noise begins anew each second, so that any frame can be made; its level
	// differs from second to second, like music.
	for n := k.from / second * second; n < k.to; n++ {
		for c := range f.Channels {
			if n%second == 0 || noise[c] == nil {
				seed := rand.New(rand.NewPCG(uint64(n/second), uint64(f.SampleRate)))
				levels[c] = 0.01 + 0.3*seed.Float64()
				noise[c] = rand.New(rand.NewPCG(uint64(n/second), uint64(k.track+c)))
			}
			frame[c] = levels[c] * (2*noise[c].Float64() - 1)
			if (n+2)%(60*second) < 4 {
				frame[c] = 0.8
			}
			frame[c] *= gain
		}
		if n >= k.from {
			f.Encode(raw[(n-k.from)*int64(f.FrameBytes()):], frame)
		}
	}
	return raw
}

func open(t *testing.T) *catalog.Store {
	t.Helper()
	store, err := catalog.Open(t.Context(), filepath.Join(t.TempDir(), "catalog.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	return store
}

func run(t *testing.T, store *catalog.Store, opt Options, dirs ...string) Result {
	t.Helper()
	r, err := Run(t.Context(), store, dirs, opt, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// content is what a scan leaves in the catalog, without ids, so that two
// catalogs can be compared. It is a list of lines.
func content(t *testing.T, store *catalog.Store) []string {
	t.Helper()
	ctx := context.Background()
	check := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	check(err)
	var lines []string
	add := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	for _, sh := range shows {
		add("show %s %q", sh.Date, sh.Venue)
		for _, r := range sh.Recordings {
			starts := "-"
			if r.StartsAt != nil {
				starts = r.StartsAt.Format(time.RFC3339Nano)
			}
			add("recording %s %s %d Hz %d/%d %s %d frames %s %+.6f", r.Show, r.Rig, r.SampleRate, r.BitDepth, r.SampleBytes, r.Encoding, r.Frames, starts, r.OffsetS)
			files, err := store.Files(ctx, catalog.FileFilter{Recording: r.ID})
			check(err)
			for _, f := range files {
				add("file %s size %d seg %d track %d+%d at %d+%d data %d %v %v", f.Path, f.Size, f.Segment, f.FirstTrack, f.Channels, f.StartFrame, f.Frames, f.DataOffset, f.Unfinished, f.Repairs)
				pieces, err := store.Pieces(ctx, f.ID)
				check(err)
				for _, p := range pieces {
					add("piece %s %d+%d %x", f.Path, p.Offset, p.Length, p.Sum)
				}
			}
			tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
			check(err)
			for _, tr := range tracks {
				add("track %d %q %d", tr.Number, tr.Name, tr.Frames)
				parts, err := store.Parts(ctx, catalog.PartFilter{Track: tr.ID})
				check(err)
				for _, p := range parts {
					add("part %d/%d %x", tr.Number, p.Part, p.Data)
				}
			}
			markers, err := store.Markers(ctx, r.ID)
			check(err)
			for _, m := range markers {
				add("marker %d+%d %q", m.Frame, m.Length, m.Label)
			}
		}
	}
	return lines
}

// same fails where two catalogs' contents differ, naming the first difference.
func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	for i := range max(len(got), len(want)) {
		a, b := "(nothing)", "(nothing)"
		if i < len(got) {
			a = got[i]
		}
		if i < len(want) {
			b = want[i]
		}
		if a != b {
			t.Fatalf("%s: line %d\n got %.200s\nwant %.200s", what, i, a, b)
		}
	}
}

// summary lists the tracks and files of a show: "rig: 1 Kick In [a.wav@0 …]".
func summary(t *testing.T, store *catalog.Store, date catalog.ShowKey) []string {
	t.Helper()
	recordings, err := store.Recordings(t.Context(), catalog.RecordingFilter{Show: date})
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, r := range recordings {
		tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{Recording: r.ID})
		if err != nil {
			t.Fatal(err)
		}
		files, err := store.Files(t.Context(), catalog.FileFilter{Recording: r.ID})
		if err != nil {
			t.Fatal(err)
		}
		for _, tr := range tracks {
			line := fmt.Sprintf("%s: %d %s", r.Rig, tr.Number, tr.Name)
			for _, f := range files {
				if f.FirstTrack <= tr.Number && tr.Number < f.FirstTrack+f.Channels {
					line += fmt.Sprintf(" [%s@%d]", filepath.Base(f.Path), f.StartFrame)
				}
			}
			lines = append(lines, line)
		}
	}
	return lines
}

func cue(frame int64, label string) wavfile.Cue { return wavfile.Cue{Frame: frame, Label: label} }
