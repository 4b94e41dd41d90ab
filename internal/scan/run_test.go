package scan

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
	"nightreel/internal/rigs"
	"nightreel/internal/wavfile"
)

// minute is the frames of a whole part at 8 kHz.
const minute = 480_000

// nightDir holds the night that most tests copy: to make it takes longer.
var nightDir string

func TestMain(m *testing.M) {
	var err error
	if nightDir, err = os.MkdirTemp("", "nightreel-scan-"); err != nil {
		panic(err)
	}
	code := m.Run()
	os.RemoveAll(nightDir)
	os.Exit(code)
}

// night is two rigs, one in segments that straddle parts, in a folder of its
// own.
func night(t *testing.T) string {
	t.Helper()
	if entries, err := os.ReadDir(nightDir); err != nil {
		t.Fatal(err)
	} else if len(entries) == 0 {
		makeNight(t, nightDir)
	}
	dir := filepath.Join(t.TempDir(), "night")
	if err := os.CopyFS(dir, os.DirFS(nightDir)); err != nil {
		t.Fatal(err)
	}
	return dir
}

// long skips a test where time is short, under the race detector above all; it
// says nothing about goroutines that others do not.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("long")
	}
}

func makeNight(t *testing.T, dir string) {
	evening := at("2031-05-02", 23, 58)
	layIn(t, dir, []file{
		{"2031-05-02 Hall/main/TRK01_0001.wav", take{to: 0.8 * minute, track: 1, starts: evening}},
		{"2031-05-02 Hall/main/TRK01_0002.wav", take{from: 0.8 * minute, to: 1.6 * minute, track: 1, starts: evening}},
		{"2031-05-02 Hall/main/TRK02_0001.wav", take{to: 0.8 * minute, track: 2, starts: evening}},
		{"2031-05-02 Hall/main/TRK02_0002.wav", take{from: 0.8 * minute, to: 1.5 * minute, track: 2, starts: evening}},
		{"2031-05-02 Hall/backup/Show.wav", take{from: 10_000, to: 1.2 * minute, track: 1, channels: 3, starts: evening, gain: 0.5}},
	})
}

func TestScanAgainReadsNothing(t *testing.T) {
	dir, store := night(t), open(t)
	first := run(t, store, Options{}, dir)
	if first.FilesRead != 5 || first.BytesRead < 2*6*minute {
		t.Errorf("first: %d files, %d bytes read", first.FilesRead, first.BytesRead)
	}
	before := content(t, store)
	second := run(t, store, Options{}, dir)
	if second.FilesRead != 0 || second.BytesRead != 0 {
		t.Errorf("second: %d files, %d bytes read", second.FilesRead, second.BytesRead)
	}
	if len(second.Shows) != 1 || len(second.Problems) != 0 {
		t.Errorf("second: %d shows, problems %v", len(second.Shows), second.Problems)
	}
	same(t, "scanned again", content(t, store), before)
}

// TestEveryByteIsSummedOnce holds that the pieces of every file cover it
// without gap or overlap.
func TestEveryByteIsSummedOnce(t *testing.T) {
	dir, store := night(t), open(t)
	run(t, store, Options{}, dir)
	files, err := store.Files(t.Context(), catalog.FileFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		pieces, err := store.Pieces(t.Context(), f.ID)
		if err != nil {
			t.Fatal(err)
		}
		end := int64(0)
		for _, p := range pieces {
			if p.Offset != end {
				t.Errorf("%s: a piece at %d, the one before ends at %d", f.Path, p.Offset, end)
			}
			end = p.Offset + p.Length
		}
		if end != f.Size {
			t.Errorf("%s: pieces end at %d of %d bytes", f.Path, end, f.Size)
		}
	}
}

func TestWorkersMakeNoDifference(t *testing.T) {
	dir := night(t)
	one, three := open(t), open(t)
	run(t, one, Options{Workers: 1}, dir)
	run(t, three, Options{Workers: 3}, dir)
	same(t, "three workers against one", content(t, three), content(t, one))
}

func TestInterruptedScanGoesOn(t *testing.T) {
	dir := night(t)
	whole := open(t)
	took := run(t, whole, Options{}, dir).Seconds
	want := content(t, whole)
	tries := 8
	if testing.Short() {
		tries = 2
	}
	for i := range tries {
		store := open(t)
		stops := 0
		for {
			// Anywhere within a scan's time, a little later each time.
			ctx, cancel := context.WithCancel(t.Context())
			stop := time.AfterFunc(time.Duration(took*float64(i+1+stops)/9*float64(time.Second)), cancel)
			_, err := Run(ctx, store, []string{dir}, Options{Workers: 1 + i%3}, nil)
			stop.Stop()
			cancel()
			if err == nil {
				break
			}
			if !errors.Is(err, context.Canceled) {
				t.Fatal(err)
			}
			if stops++; stops > 20 {
				t.Fatal("never done: what was finished is not kept")
			}
		}
		same(t, fmt.Sprintf("stopped %d times", stops), content(t, store), want)
		if err := store.Check(t.Context()); err != nil {
			t.Error(err)
		}
	}
}

func TestStoppedBeforeItBegan(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Run(ctx, open(t), []string{t.TempDir()}, Options{}, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

// TestFiguresAreThoseOfTheSamples compares figures from the catalog, measured
// over segments and parts, with peak and RMS straight from the samples and with
// the loudness of one pass over them.
func TestFiguresAreThoseOfTheSamples(t *testing.T) {
	long(t)
	dir, store := night(t), open(t)
	run(t, store, Options{}, dir)
	tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{Rig: "main"})
	if err != nil {
		t.Fatal(err)
	}
	f := wavfile.Format{SampleRate: 8000, Channels: 1, BitDepth: 16, ContainerBytes: 2}
	for _, tr := range tracks {
		raw := take{to: tr.Frames, track: tr.Number}.samples(f)
		samples := make([]float64, tr.Frames)
		f.Decode(samples, raw)
		var peak, squares float64
		for _, v := range samples {
			peak = max(peak, math.Abs(v))
			squares += v * v
		}
		m, err := meter.New(meter.Config{SampleRate: 8000, Channels: 1, Type: meter.Int16, Frames: tr.Frames})
		if err != nil {
			t.Fatal(err)
		}
		if err := m.Write(int(tr.Frames), raw); err != nil {
			t.Fatal(err)
		}
		e, err := envelope.Load(t.Context(), store, tr, 0, tr.Frames)
		if err != nil {
			t.Fatal(err)
		}
		got, once := e.Figures(0, tr.Frames), meter.Join(8000, tr.Frames, 0, m.Finish()[0]).Figures(0, tr.Frames)
		for name, v := range map[string][2]float64{
			"sample peak": {float64(got.SamplePeak), 20 * math.Log10(peak)},
			"RMS":         {float64(got.RMS), 10 * math.Log10(squares/float64(len(samples)))},
			"loudness":    {float64(got.Loudness), float64(once.Loudness)},
		} {
			if d := math.Abs(v[0] - v[1]); !(d < 0.001) {
				t.Errorf("track %d: %s %v, from the samples %v", tr.Number, name, v[0], v[1])
			}
		}
	}
}

// TestPartsJoin holds that a recording measured part by part, over segments, has
// the blocks of one that was measured in one go.
func TestPartsJoin(t *testing.T) {
	dir, store := night(t), open(t)
	run(t, store, Options{}, dir)
	tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{Rig: "main"})
	if err != nil {
		t.Fatal(err)
	}
	f := wavfile.Format{SampleRate: 8000, Channels: 1, BitDepth: 16, ContainerBytes: 2}
	for _, tr := range tracks {
		m, err := meter.New(meter.Config{SampleRate: 8000, Channels: 1, Type: meter.Int16, Frames: tr.Frames})
		if err != nil {
			t.Fatal(err)
		}
		if err := m.Write(int(tr.Frames), take{to: tr.Frames, track: tr.Number}.samples(f)); err != nil {
			t.Fatal(err)
		}
		e, err := envelope.Load(t.Context(), store, tr, 0, tr.Frames)
		if err != nil {
			t.Fatal(err)
		}
		want := m.Finish()[0].Blocks
		if len(e.Blocks) != len(want) {
			t.Fatalf("track %d: %d blocks, want %d", tr.Number, len(e.Blocks), len(want))
		}
		near := func(a, b float32) bool { return math.Abs(float64(a-b)) <= 3e-5*float64(b) } // what storing rounds
		for i, b := range e.Blocks {
			w := want[i]
			if b.Peak != w.Peak || !near(b.TruePeak, w.TruePeak) || !near(b.MeanSquare, w.MeanSquare) || !near(b.KMeanSquare, w.KMeanSquare) || !near(b.MaxMomentary, w.MaxMomentary) {
				t.Fatalf("track %d: block %d is %+v, in one go %+v", tr.Number, i, b, w)
			}
		}
	}
}

func TestPolyphonicMeasuresAsMono(t *testing.T) {
	long(t)
	mono, poly := open(t), open(t)
	evening := at("2031-05-02", 21, 0)
	end := int64(1.4 * minute)
	run(t, mono, Options{}, lay(t, []file{
		{"2031-05-02 a/01 a.wav", take{to: end, track: 1, starts: evening}},
		{"2031-05-02 a/02 b.wav", take{to: end, track: 2, starts: evening}},
		{"2031-05-02 a/03 c.wav", take{to: end, track: 3, starts: evening}},
	}))
	run(t, poly, Options{}, lay(t, []file{
		{"2031-05-02 a/x_0001.wav", take{to: end / 3, track: 1, channels: 3, starts: evening}},
		{"2031-05-02 a/x_0002.wav", take{from: end / 3, to: end, track: 1, channels: 3, starts: evening}},
	}))
	parts := func(lines []string) []string {
		return slices.DeleteFunc(lines, func(l string) bool { return !strings.HasPrefix(l, "part ") })
	}
	same(t, "polyphonic against mono", parts(content(t, poly)), parts(content(t, mono)))
}

func TestRigsAlign(t *testing.T) {
	long(t)
	evening := at("2031-05-02", 21, 0)
	const late = 37_120 // frames: 4.64 s
	for _, c := range []struct {
		about       string
		main, other time.Time
		tolerance   float64
	}{
		{"clocks agree", evening, evening, 1e-9},
		{"a clock is 95 s off", evening, evening.Add(95 * time.Second), 0.02},
		{"no clocks", time.Time{}, time.Time{}, 0.02},
	} {
		t.Run(c.about, func(t *testing.T) {
			store := open(t)
			run(t, store, Options{}, lay(t, []file{
				{"2031-05-02 a/main/01 a.wav", take{to: 1.5 * minute, track: 1, starts: c.main}},
				{"2031-05-02 a/backup/01 a.wav", take{from: late, to: 1.3 * minute, track: 1, starts: c.other, gain: 0.3}},
			}))
			if _, err := rigs.Settle(t.Context(), store, "2031-05-02"); err != nil {
				t.Fatal(err)
			}
			recordings, err := store.Recordings(t.Context(), catalog.RecordingFilter{})
			if err != nil {
				t.Fatal(err)
			}
			if len(recordings) != 2 || !recordings[0].Reference || recordings[0].OffsetS != 0 || math.Abs(recordings[1].OffsetS-late/8000.) > c.tolerance {
				t.Errorf("offsets of %+v, want %.3f", recordings, late/8000.)
			}
		})
	}
}

func TestGrowingFileIsTakenUpAgain(t *testing.T) {
	long(t)
	evening := at("2031-05-02", 21, 0)
	grow := func(dir string, to int64, gain float64) {
		path := filepath.Join(dir, "2031-05-02 a", "Show_0001.wav")
		os.Remove(path)
		write(t, path, take{to: to, track: 1, channels: 3, starts: evening, gain: gain})
	}
	for _, c := range []struct {
		about    string
		from, to int64
		least    int64 // frames that must not be read again
		gain     float64
	}{
		{"within the first part", minute / 2, 0.7 * minute, 0, 1},
		{"over parts", 2.4 * minute, 3.2 * minute, minute, 1},
		{"from right after a part's end, in its run-out", 2*minute + 1, 2.5 * minute, 0, 1},
		{"from a part's end", 2 * minute, 2.5 * minute, 0, 1},
		{"and other sound in what was there", 2.4 * minute, 2.6 * minute, 0, 0.7},
		{"shorter", 2.4 * minute, 1.7 * minute, 0, 1},
	} {
		t.Run(c.about, func(t *testing.T) {
			dir, store, whole := t.TempDir(), open(t), open(t)
			grow(dir, c.from, 1)
			run(t, store, Options{}, dir)
			grow(dir, c.to, c.gain)
			r := run(t, store, Options{}, dir)
			run(t, whole, Options{}, dir)
			same(t, "taken up", content(t, store), content(t, whole))
			if most := (c.to-c.least)*6 + 10_000 + 6*2*4800; c.least > 0 && r.BytesRead > most {
				t.Errorf("%d bytes read, at most %d needed", r.BytesRead, most)
			}
		})
	}
}

func TestALaterSegmentIsTakenUp(t *testing.T) {
	long(t)
	dir, store, whole := t.TempDir(), open(t), open(t)
	folder := filepath.Join(dir, "2031-05-02 a")
	write(t, filepath.Join(folder, "TRK01_0001.wav"), take{to: 1.5 * minute, track: 1})
	run(t, store, Options{}, dir)
	write(t, filepath.Join(folder, "TRK01_0002.wav"), take{from: 1.5 * minute, to: 2.5 * minute, track: 1})
	run(t, store, Options{}, dir)
	run(t, whole, Options{}, dir)
	same(t, "with the second segment", content(t, store), content(t, whole))
}

func flip(t *testing.T, path string, offset int64) {
	t.Helper()
	st, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b[offset] ^= 0x10
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	// The size and the time are what they were: only the bytes tell.
	if err := os.Chtimes(path, st.ModTime(), st.ModTime()); err != nil {
		t.Fatal(err)
	}
}

func TestCheckFindsAFlippedByte(t *testing.T) {
	for _, c := range []struct {
		about, file string
		frame       int64 // of the file
	}{
		{"within a part", "TRK01_0001.wav", 350_000},
		{"at a part's end, in the next one's run-up", "TRK01_0002.wav", 0.2*minute - 5},
		{"at a part's beginning, in the one before's run-out", "TRK01_0002.wav", 0.2 * minute},
	} {
		t.Run(c.about, func(t *testing.T) { checkFinds(t, c.file, c.frame) })
	}
}

func checkFinds(t *testing.T, file string, frame int64) {
	dir, store := night(t), open(t)
	run(t, store, Options{}, dir)
	path := filepath.Join(dir, "2031-05-02 Hall", "main", file)
	f, err := wavfile.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	flip(t, path, f.Info().DataOffset+2*frame+1)
	if r := run(t, store, Options{}, dir); r.BytesRead != 0 {
		t.Errorf("read %d bytes without being asked to check", r.BytesRead)
	}
	r := run(t, store, Options{Check: true}, dir)
	if len(r.Problems) != 1 || r.Problems[0].File != path || r.Problems[0].Offset == 0 {
		t.Errorf("problems %+v", r.Problems)
	}
	whole := open(t)
	run(t, whole, Options{}, dir)
	same(t, "measured again", content(t, store), content(t, whole))
	if r := run(t, store, Options{Check: true}, dir); len(r.Problems) != 0 || r.BytesRead == 0 {
		t.Errorf("checked again: %d bytes, problems %+v", r.BytesRead, r.Problems)
	}
}

func TestTouchedButUnchangedIsNotMeasuredAgain(t *testing.T) {
	dir, store := night(t), open(t)
	run(t, store, Options{}, dir)
	path := filepath.Join(dir, "2031-05-02 Hall", "main", "TRK01_0001.wav")
	now := time.Now()
	if err := os.Chtimes(path, now, now); err != nil {
		t.Fatal(err)
	}
	r := run(t, store, Options{}, dir)
	if st, _ := os.Stat(path); r.BytesRead != st.Size() || len(r.Problems) != 0 {
		t.Errorf("%d bytes read of %d, problems %v", r.BytesRead, st.Size(), r.Problems)
	}
	if r := run(t, store, Options{}, dir); r.BytesRead != 0 {
		t.Errorf("the new time was not kept: %d bytes read", r.BytesRead)
	}
}

func TestBadFilesDoNotStopTheNight(t *testing.T) {
	dir, store := night(t), open(t)
	folder := filepath.Join(dir, "2031-05-02 Hall", "main")
	for name, data := range map[string]string{"TRK03_0001.wav": "this is no recording at all", "TRK04_0001.wav": "", "._TRK01_0001.wav": "x", "notes.txt": "x", ".hidden/TRK09_0001.wav": "x"} {
		path := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(data), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("TRK01_0001.wav", filepath.Join(folder, "TRK05_0001.wav")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("..", filepath.Join(folder, "loop")); err != nil {
		t.Fatal(err)
	}
	r := run(t, store, Options{}, dir)
	var files []string
	for _, p := range r.Problems {
		files = append(files, filepath.Base(p.File))
	}
	if want := []string{"TRK03_0001.wav", "TRK04_0001.wav", "TRK05_0001.wav"}; !slices.Equal(files, want) {
		t.Errorf("problems %+v", r.Problems)
	}
	if r.FilesRead != 5 {
		t.Errorf("%d files read", r.FilesRead)
	}
	if _, err := Run(t.Context(), store, []string{filepath.Join(dir, "nowhere")}, Options{}, nil); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a folder that is not there: %v", err)
	}
}

// TestAFileThatIsGoneIsNotForgotten holds that a drive that is not there costs
// nothing that was measured.
func TestAFileThatIsGoneIsNotForgotten(t *testing.T) {
	long(t)
	for _, gone := range []string{"TRK02_0001.wav", "TRK01_0001.wav", "TRK01_0002.wav"} {
		dir, store := night(t), open(t)
		run(t, store, Options{}, dir)
		before := content(t, store)
		path := filepath.Join(dir, "2031-05-02 Hall", "main", gone)
		if err := os.Rename(path, filepath.Join(t.TempDir(), gone)); err != nil {
			t.Fatal(err)
		}
		r := run(t, store, Options{}, dir)
		if len(r.Problems) != 1 || r.Problems[0].File != path {
			t.Errorf("%s: problems %v", gone, r.Problems)
		}
		if r.BytesRead != 0 {
			t.Errorf("%s: %d bytes read", gone, r.BytesRead)
		}
		same(t, gone, content(t, store), before)
	}
}

func TestSourcesAreLeftAlone(t *testing.T) {
	dir, store := night(t), open(t)
	type state struct {
		data []byte
		mod  time.Time
	}
	look := func() map[string]state {
		all := map[string]state{}
		err := filepath.Walk(dir, func(path string, st os.FileInfo, err error) error {
			if err != nil {
				return err
			}
			s := state{mod: st.ModTime()}
			if !st.IsDir() {
				s.data, err = os.ReadFile(path)
			}
			all[path] = s
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	// Without the right to write, a program that wants it fails. (Root has it
	// all the same; the bytes and times below hold for everybody.)
	for path := range look() {
		if err := os.Chmod(path, 0o555); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() {
		filepath.Walk(dir, func(path string, _ os.FileInfo, _ error) error { return os.Chmod(path, 0o755) })
	})
	before := look()
	run(t, store, Options{}, dir)
	run(t, store, Options{Check: true}, dir)
	if _, err := Verify(t.Context(), store, "", nil); err != nil {
		t.Fatal(err)
	}
	after := look()
	if len(after) != len(before) {
		t.Errorf("%d files and folders, %d before", len(after), len(before))
	}
	for path, s := range before {
		if !bytes.Equal(s.data, after[path].data) || !s.mod.Equal(after[path].mod) {
			t.Errorf("%s: changed", path)
		}
	}
}

// A folder without recordings is an error that says what was looked for and what
// else lies there: it may be the mount point of a drive that is not mounted.
func TestFolderWithoutRecordings(t *testing.T) {
	put := func(dir string, names ...string) string {
		for _, name := range names {
			path := filepath.Join(dir, name)
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte("no recording"), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		return dir
	}
	for _, c := range []struct {
		dir  string
		want []string // in the message
		hint string
	}{
		{t.TempDir(), []string{"there is no recording to scan; looked for WAV files (.wav, .wave, .bwf, .rf64)"}, "check that the drive is mounted"},
		{put(t.TempDir(), "a/1.flac", "a/2.FLAC", "b.mp3", "notes.txt", "._x.mp3"), []string{"which are not read: 2 .flac, 1 .mp3"}, "convert the files to WAV"},
		{put(t.TempDir(), "1.wav", "2.wav"), []string{"2 are there, and none could be used"}, "see what is wrong"},
	} {
		result, err := Run(t.Context(), open(t), []string{c.dir}, Options{}, nil)
		var e *NoRecordingsError
		if !errors.As(err, &e) || !strings.Contains(e.Hint(), c.hint) {
			t.Errorf("got %v, want *NoRecordingsError, %s", err, c.hint)
			continue
		}
		for _, want := range append(c.want, c.dir) {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%v: does not say %q", err, want)
			}
		}
		if len(result.Problems) != e.Unusable {
			t.Errorf("problems: %+v", result.Problems)
		}
	}
	// Beside a folder that has some, it is a problem and the scan goes on.
	with, without := t.TempDir(), t.TempDir()
	write(t, filepath.Join(with, "2031-05-02", "TRK01.wav"), take{track: 1, to: 8000})
	result := run(t, open(t), Options{}, with, without, with)
	if len(result.Shows) != 1 || len(result.Problems) != 1 || result.Problems[0].File != without {
		t.Errorf("%+v", result)
	}
}
