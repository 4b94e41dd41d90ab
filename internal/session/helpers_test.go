package session_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/session"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// sine returns frames of a sine of a level in dBFS (peak), rounded to the
// format.
func sine(f wavfile.Format, frames int, hz, dbfs float64) []byte {
	x := make([]float64, frames)
	for i := range x {
		x[i] = math.Pow(10, dbfs/20) * math.Sin(2*math.Pi*hz*float64(i)/float64(f.SampleRate))
	}
	return wavtest.Encode(f, x)
}

// rig is one recording to be made.
type rig struct {
	name    string
	format  wavfile.Format // Channels is ignored
	tracks  [][]byte       // samples of track 1, 2, …; nil is a track not recorded
	names   []string       // of the tracks, as recorded
	split   []int          // frames at which each segment after the first begins
	poly    bool
	offsetS float64
	starts  *wavfile.Bext // of the first segment; nil = no bext
	measure bool
}

// fixture is a catalog over recordings in a folder.
type fixture struct {
	t     *testing.T
	store *catalog.Store
	root  string
	vol   catalog.Volume
}

func newFixture(t *testing.T) *fixture {
	t.Helper()
	dir := t.TempDir()
	store, err := catalog.Open(t.Context(), filepath.Join(dir, "catalog.db"))
	ok(t, err)
	t.Cleanup(func() { store.Close() })
	fx := &fixture{t: t, store: store, root: filepath.Join(dir, "drive")}
	ok(t, os.Mkdir(fx.root, 0o777))
	fx.vol, err = store.AddVolume(t.Context(), catalog.Volume{Name: "drive", Root: fx.root})
	ok(t, err)
	return fx
}

func ok(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// record writes a recording's files and puts it into the catalog.
func (fx *fixture) record(date catalog.ShowKey, r rig) catalog.Recording {
	fx.t.Helper()
	t, ctx := fx.t, fx.t.Context()
	show, err := fx.store.EnsureShow(ctx, catalog.Show{Date: date.Date(), Venue: "Hall of " + string(date)})
	ok(t, err)
	size := r.format.ContainerBytes
	rec := catalog.Recording{ShowID: show.ID, Show: date, Rig: r.name, SampleRate: r.format.SampleRate, BitDepth: r.format.BitDepth,
		SampleBytes: size, Encoding: r.format.Encoding.String(), OffsetS: r.offsetS}
	var files []catalog.File
	var tracks []catalog.Track
	for i, data := range r.tracks {
		if data == nil {
			continue
		}
		frames := int64(len(data) / size)
		rec.Frames = max(rec.Frames, frames)
		tracks = append(tracks, catalog.Track{Number: i + 1, Name: r.names[i], Frames: frames})
	}
	bounds := append([]int{0}, r.split...)
	bounds = append(bounds, int(rec.Frames))
	dir := filepath.Join(fx.root, string(date), r.name)
	ok(t, os.MkdirAll(dir, 0o777))
	for s := range len(bounds) - 1 {
		from, to := bounds[s], bounds[s+1]
		meta := wavfile.Meta{}
		if r.starts != nil {
			x := *r.starts
			x.TimeReference += uint64(from)
			meta.Bext = &x
		}
		if r.poly {
			f := r.format
			f.Channels = len(r.tracks)
			raw := make([]byte, (to-from)*f.FrameBytes())
			for c, data := range r.tracks {
				for n := from; n < min(to, len(data)/size); n++ {
					copy(raw[(n-from)*f.FrameBytes()+c*size:][:size], data[n*size:])
				}
			}
			files = append(files, fx.file(filepath.Join(dir, fmt.Sprintf("poly_%04d.wav", s+1)), f, meta, raw, s, 1, from))
			continue
		}
		for c, data := range r.tracks {
			if from*size >= len(data) {
				continue
			}
			f := r.format
			f.Channels = 1
			files = append(files, fx.file(filepath.Join(dir, fmt.Sprintf("TRK%02d_%04d.wav", c+1, s+1)), f, meta, data[from*size:min(to*size, len(data))], s, c+1, from))
		}
	}
	rec, err = fx.store.SaveRecording(ctx, rec, files, tracks, nil)
	ok(t, err)
	if r.measure {
		fx.measure(rec, r)
	}
	return rec
}

func (fx *fixture) file(path string, f wavfile.Format, meta wavfile.Meta, raw []byte, segment, first, start int) catalog.File {
	fx.t.Helper()
	offset := wavtest.Write(fx.t, path, f, meta, raw)
	st, err := os.Stat(path)
	ok(fx.t, err)
	rel, err := filepath.Rel(fx.root, path)
	ok(fx.t, err)
	return catalog.File{VolumeID: fx.vol.ID, Path: filepath.ToSlash(rel), Size: st.Size(), ModTime: st.ModTime(), Segment: segment, FirstTrack: first,
		Channels: f.Channels, StartFrame: int64(start), Frames: int64(len(raw) / f.FrameBytes()), DataOffset: offset}
}

// measure stores the envelope of every track of a recording under a minute.
func (fx *fixture) measure(rec catalog.Recording, r rig) {
	fx.t.Helper()
	types := map[string]meter.SampleType{"pcm2": meter.Int16, "pcm3": meter.Int24, "float4": meter.Float32}
	tracks, err := fx.store.Tracks(fx.t.Context(), catalog.TrackFilter{Recording: rec.ID})
	ok(fx.t, err)
	for _, tr := range tracks {
		m, err := meter.New(meter.Config{SampleRate: rec.SampleRate, Channels: 1, Type: types[fmt.Sprint(rec.Encoding, rec.SampleBytes)], Frames: tr.Frames})
		ok(fx.t, err)
		ok(fx.t, m.Write(int(tr.Frames), r.tracks[tr.Number-1]))
		ok(fx.t, fx.store.PutParts(fx.t.Context(), []catalog.Part{{Track: tr.ID, Data: meter.Encode(m.Finish()[0])}}, nil))
	}
}

func (fx *fixture) take(rec catalog.Recording, song string, start, end int64) catalog.Take {
	fx.t.Helper()
	tk, err := fx.store.SaveTake(fx.t.Context(), catalog.Take{Show: rec.Show, Song: song, RecordingID: rec.ID, StartFrame: start, EndFrame: end, FoundBy: catalog.ByPerson, Confidence: 1})
	ok(fx.t, err)
	return tk
}

func (fx *fixture) desk(inputs ...catalog.DeskInput) {
	fx.t.Helper()
	ok(fx.t, fx.store.SaveDesk(fx.t.Context(), catalog.Desk{Name: "FOH", Inputs: inputs}))
}

func (fx *fixture) inputs(from catalog.ShowKey, only bool, inputs ...catalog.Input) {
	fx.t.Helper()
	ok(fx.t, fx.store.SaveInputList(fx.t.Context(), catalog.InputList{From: from, Only: only, Inputs: inputs}))
}

func (fx *fixture) build(req session.Request) catalog.Session {
	fx.t.Helper()
	req.Desk = "foh"
	ses, err := session.Build(fx.t.Context(), fx.store, req)
	ok(fx.t, err)
	return ses
}

func (fx *fixture) render(ses catalog.Session, opt session.RenderOptions) session.Rendered {
	fx.t.Helper()
	r, err := session.Render(fx.t.Context(), fx.store, ses, opt, nil)
	ok(fx.t, err)
	return r
}

// db returns a gain as the catalog keeps it.
func db(v float64) *float64 { return &v }

// mono is a format of one channel.
func mono(rate, bits, size int, e wavfile.Encoding) wavfile.Format {
	return wavfile.Format{SampleRate: rate, Channels: 1, BitDepth: bits, ContainerBytes: size, Encoding: e}
}

// tool finds a reference tool; if it is missing, the test is skipped on a laptop
// and fails in CI.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed", name)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// samplesOf returns the samples of a WAV file as little-endian bytes. It uses
// sndfile-convert (libsndfile's programs, 1.2.0), which is independent of our
// own reader.
func samplesOf(t *testing.T, path string, f wavfile.Format) []byte {
	t.Helper()
	kind := map[string]string{"pcm16": "-pcm16", "pcm24": "-pcm24", "pcm32": "-pcm32", "float32": "-float32", "float64": "-float64"}
	depth := f.BitDepth
	if f.Encoding == wavfile.PCM {
		depth = 8 * f.ContainerBytes
	}
	raw := filepath.Join(t.TempDir(), "samples.raw")
	cmd := exec.Command(tool(t, "sndfile-convert"), kind[fmt.Sprintf("%v%d", f.Encoding, depth)], "-endian=little", path, raw)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	b, err := os.ReadFile(raw)
	ok(t, err)
	return b
}

// files returns every file below a folder, by its relative path.
func files(t *testing.T, root string) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	ok(t, filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		if d.IsDir() {
			if rel != "." {
				all[rel+"/"] = nil
			}
			return nil
		}
		all[rel], err = os.ReadFile(path)
		return err
	}))
	return all
}

func names(m map[string][]byte) []string {
	n := []string{}
	for k := range m {
		if !strings.HasSuffix(k, "/") {
			n = append(n, k)
		}
	}
	slices.Sort(n)
	return n
}

// untouched returns a check that nothing below root changed since, neither bytes
// nor times.
func untouched(t *testing.T, root string) func() {
	t.Helper()
	type state struct {
		mod  time.Time
		data []byte
	}
	read := func() map[string]state {
		all := map[string]state{}
		for name, data := range files(t, root) {
			st, err := os.Stat(filepath.Join(root, name))
			ok(t, err)
			all[name] = state{st.ModTime(), data}
		}
		return all
	}
	before := read()
	return func() {
		t.Helper()
		after := read()
		if len(after) != len(before) {
			t.Errorf("recordings: %d files and folders, %d before", len(after), len(before))
		}
		for name, s := range before {
			if a := after[name]; !a.mod.Equal(s.mod) || !bytes.Equal(a.data, s.data) {
				t.Errorf("recording %s was changed", name)
			}
		}
	}
}

func has(list []string, part string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, part) })
}

// later is a context that is cancelled after n calls of Err. The catalog's
// driver calls it too, from goroutines of its own.
type later struct {
	context.Context
	n atomic.Int64
}

func newLater(ctx context.Context, n int64) *later {
	c := &later{Context: ctx}
	c.n.Store(n)
	return c
}

func (c *later) Err() error {
	if c.n.Add(-1) < 0 {
		return context.Canceled
	}
	return nil
}

// filling is a context that fills a disk on the first call of Err within an
// item.
type filling struct {
	context.Context
	dir  string
	done atomic.Bool
}

func (c *filling) Err() error {
	// Wait for the first item's folder: before that, the free space is still to
	// be checked.
	parts, _ := filepath.Glob(filepath.Join(c.dir, ".*.part"))
	if len(parts) > 0 && c.done.CompareAndSwap(false, true) {
		os.WriteFile(filepath.Join(c.dir, "other"), make([]byte, 4<<20), 0o666) // until the disk is full
	}
	return c.Context.Err()
}
