package tracks

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"testing/iotest"

	"github.com/go-audio/wav"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// joined is a tape of two tracks in three files with a gap.
func joined(t *testing.T, f wavfile.Format) *tape {
	tp := newTape(t, f, 2, 30_001)
	tp.add(1, 2, 0, 9000)
	tp.add(1, 2, 9000, 8001)
	tp.add(1, 2, 20_000, 10_001)
	return tp
}

// The WAV view is a WAV file that another decoder reads, sample by sample; a
// stream may be read and sought in any steps.
func TestWAVViewAgainstAReferenceDecoder(t *testing.T) {
	for _, f := range formats {
		t.Run(name(f), func(t *testing.T) {
			tp := joined(t, f)
			w, err := tp.open(2).WAV(t.Context(), 0, 1<<40)
			ok(t, err)
			ok(t, w.Check())
			whole, err := io.ReadAll(w)
			ok(t, err)
			if int64(len(whole)) != w.Size() || len(whole)%2 != 0 {
				t.Fatalf("%d bytes, announced are %d", len(whole), w.Size())
			}
			info, err := wavfile.Parse(bytes.NewReader(whole), int64(len(whole)))
			ok(t, err)
			announced := f
			announced.BitDepth = 8 * f.ContainerBytes
			if info.Format != announced || info.Frames != 30_001 || len(info.Repairs) > 0 {
				t.Errorf("%+v", info)
			}
			want := tp.want(2, 0, 30_001)
			if got := whole[info.DataOffset:][:len(want)]; !bytes.Equal(got, want) {
				t.Error("other samples than were recorded")
			}
			if _, err := w.Seek(0, io.SeekStart); err != nil {
				t.Fatal(err)
			}
			ok(t, iotest.TestReader(w, whole))
			if f.Encoding == wavfile.Float {
				return // go-audio/wav does not decode it
			}
			// Of an even length: go-audio takes the byte that pads an odd one for a
			// sample.
			w, err = tp.open(2).WAV(t.Context(), 1, 30_001)
			ok(t, err)
			if whole, err = io.ReadAll(w); err != nil {
				t.Fatal(err)
			}
			d := wav.NewDecoder(bytes.NewReader(whole))
			buf, err := d.FullPCMBuffer()
			ok(t, err)
			if int(d.SampleRate) != rate || d.NumChans != 1 || len(buf.Data) != 30_000 {
				t.Fatalf("go-audio finds %d Hz, %d channels, %d samples", d.SampleRate, d.NumChans, len(buf.Data))
			}
			x := make([]float64, 30_000)
			f.Decode(x, want[f.ContainerBytes:])
			for i, v := range x {
				full := math.Ldexp(1, 8*f.ContainerBytes-1)
				ref := float64(buf.Data[i]) / full
				if f.ContainerBytes == 1 {
					ref = (float64(buf.Data[i]) - 128) / full
				}
				if v != ref {
					t.Fatalf("sample %d is %v, go-audio reads %v", i, v, ref)
				}
			}
		})
	}
}

// A span is cut to the recording; over a file's end and a gap it is what was
// recorded.
func TestSpansOfTheWAVView(t *testing.T) {
	tp := joined(t, pcm24)
	tr := tp.open(1)
	for _, c := range []struct{ start, end, from, frames int }{
		{8990, 9011, 8990, 21}, {16_990, 20_010, 16_990, 3020}, {-100, 50, 0, 50}, {29_000, 99_000, 29_000, 1001},
		{40_000, 50_000, 30_001, 0}, {500, 400, 500, 0}, {17_500, 19_000, 17_500, 1500},
	} {
		w, err := tr.WAV(t.Context(), int64(c.start), int64(c.end))
		ok(t, err)
		ok(t, w.Check())
		whole, err := io.ReadAll(w)
		ok(t, err)
		ok(t, func() error { _, err := w.Seek(0, io.SeekStart); return err }())
		if want := tp.want(1, c.from, c.frames); !bytes.Equal(whole[len(w.header):][:len(want)], want) || int64(len(whole)) != w.Size() {
			t.Errorf("%d to %d: %d bytes, or other samples than were recorded", c.start, c.end, len(whole))
		}
		if _, err := w.Seek(-1, io.SeekStart); err == nil {
			t.Error("sought before the start")
		}
	}
}

// A failing disk ends the stream with its error, after the samples before it.
func TestWAVViewOfAFailingDisk(t *testing.T) {
	tp := joined(t, pcm24)
	tr := tp.open(1)
	d := &disk{err: syscall.EIO, bad: tp.files[1].DataOffset + 6*4000}
	tr.reader.open = func(path string) (Handle, error) {
		if path == tp.files[1].FullPath() {
			return d.openFile(path)
		}
		return OpenWAV(path)
	}
	w, err := tr.WAV(t.Context(), 0, 30_001)
	ok(t, err)
	got, err := io.ReadAll(iotest.OneByteReader(w))
	if want := tp.want(1, 0, 13_000); !errors.Is(err, syscall.EIO) || !bytes.Equal(got[len(w.header):], want) {
		t.Errorf("%d bytes, want %d, and %v", len(got)-len(w.header), len(want), err)
	}

	ok(t, os.Remove(tp.files[0].FullPath()))
	tr.Close()
	w, err = tr.WAV(t.Context(), 100, 30_001)
	ok(t, err)
	var gone *UnreadableError
	if err := w.Check(); !errors.As(err, &gone) {
		t.Errorf("checked: %v", err)
	}
}

func TestCancelledViews(t *testing.T) {
	tp := joined(t, pcm24)
	tr := tp.open(1)
	ctx, cancel := context.WithCancel(t.Context())
	w, err := tr.WAV(ctx, 0, 30_001)
	ok(t, err)
	if _, err := io.CopyN(io.Discard, w, 1000); err != nil {
		t.Fatal(err)
	}
	cancel()
	if n, err := w.Read(make([]byte, 100)); n != 0 || err != context.Canceled {
		t.Errorf("the stream: %d, %v", n, err)
	}
	if _, err := tr.Waveform(ctx, 0, 1000, 10); err != context.Canceled {
		t.Errorf("the waveform: %v", err)
	}
}

// A column of the waveform is the lowest and the highest of its samples, counted
// here one by one.
func TestWaveform(t *testing.T) {
	for _, f := range formats {
		t.Run(name(f), func(t *testing.T) {
			tp := joined(t, f)
			tr := tp.open(2)
			for _, c := range []struct{ start, end, columns int }{
				{0, 30_001, 100}, {8000, 22_000, 700}, {-500, 500, 10}, {29_500, 31_500, 40}, {100, 103, 3}, {100, 105, 20}, {8990, 9010, 20},
			} {
				got, err := tr.Waveform(t.Context(), int64(c.start), int64(c.end), c.columns)
				ok(t, err)
				x := make([]float64, c.end-c.start)
				f.Decode(x, tp.want(2, c.start, c.end-c.start))
				want := make([]Extent, c.columns)
				held := make([]bool, c.columns)
				for i, v := range x {
					k := i * c.columns / len(x)
					if at := c.start + i; at < 0 || at >= int(tp.rec.Frames) {
						continue
					}
					if s := float32(v); !held[k] {
						want[k], held[k] = Extent{s, s}, true
					} else {
						want[k] = Extent{min(want[k].Low, s), max(want[k].High, s)}
					}
				}
				for k := range want {
					if !held[k] && k > 0 && c.columns > len(x) {
						want[k] = want[k-1]
					}
					if got[k] != want[k] {
						t.Fatalf("%d to %d, column %d of %d: %v, want %v", c.start, c.end, k, c.columns, got[k], want[k])
					}
				}
			}
		})
	}
}

func TestWaveformRefuses(t *testing.T) {
	tp := joined(t, pcm24)
	tr := tp.open(1)
	for _, c := range [][3]int{{0, 0, 10}, {10, 5, 10}, {0, 100, 0}, {0, 31 * rate, 10}} {
		var span *SpanError
		if _, err := tr.Waveform(t.Context(), int64(c[0]), int64(c[1]), c[2]); !errors.As(err, &span) || span.Hint() == "" {
			t.Errorf("%v: %v", c, err)
		}
	}
	ok(t, os.Truncate(tp.files[1].FullPath(), 1000))
	var changed *ChangedError
	if _, err := tr.Waveform(t.Context(), 8000, 9100, 10); !errors.As(err, &changed) {
		t.Errorf("of a changed file: %v", err)
	}
	if _, err := tr.Waveform(t.Context(), 0, 9000, 10); err != nil {
		t.Errorf("of the file before it: %v", err)
	}
}

// A track of the catalog is read from the files that the catalog names; a track
// that is not in it is an error.
func TestOpen(t *testing.T) {
	tp := joined(t, pcm24)
	ctx := t.Context()
	store, err := catalog.Open(ctx, filepath.Join(t.TempDir(), "catalog.db"))
	ok(t, err)
	defer store.Close()
	show, err := store.EnsureShow(ctx, catalog.Show{Date: "2031-05-02"})
	ok(t, err)
	vol, err := store.AddVolume(ctx, catalog.Volume{Name: "drive", Root: tp.dir})
	ok(t, err)
	rec := tp.rec
	rec.ID, rec.ShowID, rec.Rig = 0, show.ID, "main"
	for i := range tp.files {
		tp.files[i].ID, tp.files[i].VolumeID, tp.files[i].Segment = 0, vol.ID, i
	}
	rec, err = store.SaveRecording(ctx, rec, tp.files, []catalog.Track{{Number: 1, Frames: rec.Frames}, {Number: 2, Frames: rec.Frames}}, nil)
	ok(t, err)
	found, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	ok(t, err)
	for _, row := range found {
		tr, err := Open(ctx, store, row.ID)
		ok(t, err)
		got := make([]byte, 3*30_001)
		if n, err := tr.Read(ctx, got, 0); n != 30_001 || err != nil || !bytes.Equal(got, tp.want(row.Number, 0, 30_001)) {
			t.Errorf("track %d: %d frames, %v", row.Number, n, err)
		}
		if tr.Track.ID != row.ID || tr.Recording.ID != rec.ID || !tr.reader.single {
			t.Errorf("track %d: opened %+v of %+v", row.Number, tr.Track, tr.Recording)
		}
		ok(t, tr.Close())
	}
	for _, id := range []catalog.TrackID{0, -1, 99} {
		var missing *catalog.NotFoundError
		if _, err := Open(ctx, store, id); !errors.As(err, &missing) {
			t.Errorf("track %d: %v", id, err)
		}
	}
}
