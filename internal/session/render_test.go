package session_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/session"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

var formats = []wavfile.Format{
	mono(48000, 16, 2, wavfile.PCM),
	mono(44100, 24, 3, wavfile.PCM),
	mono(48000, 24, 4, wavfile.PCM),
	mono(96000, 32, 4, wavfile.PCM),
	mono(48000, 32, 4, wavfile.Float),
	mono(48000, 64, 8, wavfile.Float),
}

// Without trim the rendered samples are those of the source, for every layout,
// coding and number of segments. Read back with sndfile-convert, libsndfile
// 1.2.0.
func TestRenderIsBitIdentical(t *testing.T) {
	const frames, start, end = 30011, 7001, 25013
	for _, f := range formats {
		for _, layout := range []struct {
			name  string
			poly  bool
			split []int
		}{{"mono", false, nil}, {"mono in segments", false, []int{9973, 20011}}, {"poly", true, nil}, {"poly in segments", true, []int{7001, 25012}}} {
			t.Run(fmt.Sprintf("%v %d in %d bytes, %s", f.Encoding, f.BitDepth, f.ContainerBytes, layout.name), func(t *testing.T) {
				fx := newFixture(t)
				r := rig{name: "main", format: f, poly: layout.poly, split: layout.split, names: []string{"Kick In", "Snare Top", "Bass DI"}}
				for i := range r.names {
					r.tracks = append(r.tracks, wavtest.Noise(f, frames, i))
				}
				rec := fx.record("2031-05-02", r)
				fx.take(rec, "Slow Lantern", start, end)
				fx.desk(catalog.DeskInput{Input: 1, Channel: "bass di"}, catalog.DeskInput{Input: 2, Channel: "Kick In"}, catalog.DeskInput{Input: 3, Channel: "Snare Top"})
				check := untouched(t, fx.root)
				ses := fx.build(session.Request{Songs: []string{"slow lantern"}})
				dir := t.TempDir()
				got := fx.render(ses, session.RenderOptions{Dir: dir})
				check()
				want := []string{"01 Slow Lantern (2031-05-02)/01 bass di.wav", "01 Slow Lantern (2031-05-02)/02 Kick In.wav", "01 Slow Lantern (2031-05-02)/03 Snare Top.wav"}
				if n := names(files(t, dir)); !slices.Equal(n, want) {
					t.Fatalf("files %q, want %q", n, want)
				}
				for i, track := range []int{2, 0, 1} {
					file := got.Files[i]
					if !file.BitIdentical || file.Frames != end-start || file.DeskInput != i+1 || file.ClippedSamples != 0 || file.Skipped {
						t.Errorf("file %+v", file)
					}
					source := r.tracks[track][start*f.ContainerBytes : end*f.ContainerBytes]
					if !bytes.Equal(samplesOf(t, file.Path, f), source) {
						t.Errorf("%s differs from its source", file.Path)
					}
				}
				if len(got.Problems) > 0 {
					t.Errorf("problems %q", got.Problems)
				}
				if got.Bytes != 3*(end-start)*int64(f.ContainerBytes) {
					t.Errorf("%d bytes", got.Bytes)
				}
			})
		}
	}
}

// A polyphonic file has a channel for every desk input, silent if the input does
// not play; SoX 14.4.2 splits the channels.
func TestRenderPoly(t *testing.T) {
	sox := tool(t, "sox")
	f := mono(48000, 24, 3, wavfile.PCM)
	fx := newFixture(t)
	r := rig{name: "main", format: f, split: []int{5000}, names: []string{"Kick In", "Snare Top", "Bass DI"}}
	for i := range r.names {
		r.tracks = append(r.tracks, wavtest.Noise(f, 20000, i))
	}
	fx.take(fx.record("2031-05-02", r), "Slow Lantern", 3000, 17000)
	fx.desk(catalog.DeskInput{Input: 1, Channel: "Snare Top"}, catalog.DeskInput{Input: 2, Channel: "Guest"}, catalog.DeskInput{Input: 4, Channel: "Kick In"}, catalog.DeskInput{Input: 9, Channel: "Bass DI"})
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}, Except: []string{"Bass DI"}})
	dir := t.TempDir()
	got := fx.render(ses, session.RenderOptions{Dir: dir, Poly: true})
	if n := names(files(t, dir)); !slices.Equal(n, []string{"01 Slow Lantern (2031-05-02).wav"}) {
		t.Fatalf("files %q", n)
	}
	if len(got.Files) != 1 || len(got.Files[0].Channels) != 4 || !got.Files[0].BitIdentical {
		t.Fatalf("rendered %+v", got.Files)
	}
	cut := func(track int) []byte { return r.tracks[track][3000*3 : 17000*3] }
	for i, want := range [][]byte{cut(1), make([]byte, 14000*3), cut(0), make([]byte, 14000*3)} {
		out, err := exec.Command(sox, got.Files[0].Path, "-t", "raw", "-L", "-b", "24", "-e", "signed", "-", "remix", fmt.Sprint(i+1)).Output()
		ok(t, err)
		if !bytes.Equal(out, want) {
			t.Errorf("channel %d differs", i+1)
		}
	}
	w, err := wavfile.Open(got.Files[0].Path)
	ok(t, err)
	defer w.Close()
	tracks := []string{}
	for _, tr := range w.Info().Meta.IXML.Tracks {
		tracks = append(tracks, fmt.Sprintf("%d %d %s", tr.InterleaveIndex, tr.ChannelIndex, tr.Name))
	}
	if want := []string{"1 1 Snare Top", "2 2 Guest (missing)", "3 4 Kick In", "4 9 Bass DI (stage)"}; !slices.Equal(tracks, want) {
		t.Errorf("iXML tracks %q, want %q", tracks, want)
	}
}

// Pre-roll and post-roll hold recorded sound, or silence beyond the recording's
// ends, and the time reference is moved with them.
func TestRenderRolls(t *testing.T) {
	f := mono(8000, 16, 2, wavfile.PCM)
	day := 24 * 60 * 60 * 8000
	for _, tt := range []struct {
		name         string
		pre, post    float64
		start, end   int64
		reference    int // of the recording's first frame
		padded, tail int // frames of silence
		want         uint64
		date, clock  string
		problem      string
		cues         [2]int64
	}{
		{name: "inside", pre: .5, post: .25, start: 8000, end: 16000, reference: 1000, want: 5000, date: "2031-05-02", clock: "00:00:00", cues: [2]int64{4000, 12000}},
		{name: "before the start", pre: 2, post: 0, start: 8000, end: 16000, reference: 72000, padded: 8000, want: 64000, date: "2031-05-02", clock: "00:00:08", problem: "starts 1.0 s into the pre-roll", cues: [2]int64{16000, 24000}},
		{name: "before midnight", pre: 2, post: 0, start: 8000, end: 16000, reference: 4000, padded: 8000, want: uint64(day - 4000), date: "2031-05-01", clock: "23:59:59", problem: "starts 1.0 s into the pre-roll", cues: [2]int64{16000, 24000}},
		{name: "after midnight", pre: 0, post: 0, start: 8000, end: 16000, reference: day - 6000, want: 2000, date: "2031-05-03", clock: "00:00:00", cues: [2]int64{0, 8000}},
		{name: "beyond the end", pre: 0, post: 3, start: 16000, end: 24000, reference: 1, tail: 16000, want: 16001, date: "2031-05-02", clock: "00:00:02", problem: "ends 2.0 s before the post-roll", cues: [2]int64{0, 8000}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			fx := newFixture(t)
			r := rig{name: "main", format: f, split: []int{10000}, names: []string{"Kick In"}, tracks: [][]byte{wavtest.Noise(f, 32000, 1)},
				starts: &wavfile.Bext{OriginationDate: "2031-05-02", OriginationTime: "21:00:00", TimeReference: uint64(tt.reference)}}
			rec := fx.record("2031-05-02", r)
			fx.take(rec, "Slow Lantern", tt.start, tt.end)
			fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In"})
			got := fx.render(fx.build(session.Request{Songs: []string{"Slow Lantern"}}), session.RenderOptions{Dir: t.TempDir(), PreRollS: tt.pre, PostRollS: tt.post})
			pre, post := int64(tt.pre*8000), int64(tt.post*8000)
			from, to := max(0, tt.start-pre), min(32000, tt.end+post)
			want := slices.Concat(make([]byte, 2*tt.padded), r.tracks[0][2*from:2*to], make([]byte, 2*tt.tail))
			if b := samplesOf(t, got.Files[0].Path, f); !bytes.Equal(b, want) {
				t.Errorf("samples differ: %d bytes, want %d", len(b), len(want))
			}
			if !got.Files[0].BitIdentical || got.Files[0].Frames != int64(len(want)/2) {
				t.Errorf("file %+v", got.Files[0])
			}
			w, err := wavfile.Open(got.Files[0].Path)
			ok(t, err)
			defer w.Close()
			x := w.Info().Meta.Bext
			if x.TimeReference != tt.want || x.OriginationDate != tt.date || x.OriginationTime != tt.clock {
				t.Errorf("time reference %d on %s %s, want %d on %s %s", x.TimeReference, x.OriginationDate, x.OriginationTime, tt.want, tt.date, tt.clock)
			}
			c := w.Info().Meta.Cues
			if len(c) != 2 || c[0].Frame != tt.cues[0] || c[1].Frame != tt.cues[1] || c[0].Label != "Slow Lantern" || c[0].Length != tt.end-tt.start || c[1].Label != "end" {
				t.Errorf("cues %+v", c)
			}
			if tt.problem == "" && len(got.Problems) > 0 || tt.problem != "" && !has(got.Problems, tt.problem) {
				t.Errorf("problems %q, want %q", got.Problems, tt.problem)
			}
		})
	}
}

// Gaps in the recording are silent in the file, at their place, and are
// reported.
func TestRenderGaps(t *testing.T) {
	f := mono(8000, 24, 3, wavfile.PCM)
	fx := newFixture(t)
	r := rig{name: "main", format: f, split: []int{9000, 12000}, names: []string{"Kick In", "Snare Top"}, tracks: [][]byte{wavtest.Noise(f, 24000, 1), wavtest.Noise(f, 20000, 2)}}
	rec := fx.record("2031-05-02", r)
	all, err := fx.store.Files(t.Context(), catalog.FileFilter{Recording: rec.ID})
	ok(t, err)
	// The middle segment of track 1 was lost.
	kept := slices.DeleteFunc(all, func(x catalog.File) bool { return x.FirstTrack == 1 && x.Segment == 1 })
	tracks, err := fx.store.Tracks(t.Context(), catalog.TrackFilter{Recording: rec.ID})
	ok(t, err)
	rec, err = fx.store.SaveRecording(t.Context(), rec, kept, tracks, nil)
	ok(t, err)
	fx.take(rec, "Slow Lantern", 4000, 22000)
	fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In"}, catalog.DeskInput{Input: 2, Channel: "Snare Top"})
	ses := fx.build(session.Request{Songs: []string{"Slow Lantern"}})
	if !has(ses.Problems, "track 2 ends 0.3 s before the take does") && !has(ses.Problems, "track 2 ends 0.2 s before the take does") {
		t.Errorf("session's problems %q", ses.Problems)
	}
	got := fx.render(ses, session.RenderOptions{Dir: t.TempDir()})
	kick := slices.Clone(r.tracks[0][3*4000 : 3*22000])
	clear(kick[3*5000 : 3*8000])
	if !bytes.Equal(samplesOf(t, got.Files[0].Path, f), kick) {
		t.Error("Kick In differs")
	}
	snare := append(slices.Clone(r.tracks[1][3*4000:]), make([]byte, 3*2000)...)
	if !bytes.Equal(samplesOf(t, got.Files[1].Path, f), snare) {
		t.Error("Snare Top differs")
	}
	for _, want := range []string{"desk input 1 Kick In: nothing was recorded from 0:00:01.1 to 0:00:01.5", "desk input 2 Snare Top: nothing was recorded from 0:00:02.5 to 0:00:02.8"} {
		if !has(got.Problems, want) {
			t.Errorf("problems %q lack %q", got.Problems, want)
		}
	}
}

// Where segments overlap, the earlier one counts, with a trim and without.
func TestRenderOverlap(t *testing.T) {
	f := mono(48000, 24, 3, wavfile.PCM)
	for _, gain := range []float64{0, -6} {
		fx := newFixture(t)
		data := sine(f, 24000, 997, -6)
		rec := fx.record("2031-05-02", rig{name: "main", format: f, split: []int{9000}, names: []string{"Kick In"}, tracks: [][]byte{data}})
		all, err := fx.store.Files(t.Context(), catalog.FileFilter{Recording: rec.ID})
		ok(t, err)
		all[1].StartFrame = 8000 // as a wrong header has it: 1000 frames too early
		tracks, err := fx.store.Tracks(t.Context(), catalog.TrackFilter{})
		ok(t, err)
		tracks[0].Frames, rec.Frames = 23000, 23000
		rec, err = fx.store.SaveRecording(t.Context(), rec, all, tracks, nil)
		ok(t, err)
		fx.take(rec, "Slow Lantern", 0, 23000)
		fx.inputs("2031-05-02", false, catalog.Input{Track: 1, Channel: "Kick In", GainDB: db(30)})
		fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In", GainDB: db(30 + gain)})
		got := fx.render(fx.build(session.Request{Songs: []string{"Slow Lantern"}}), session.RenderOptions{Dir: t.TempDir()})
		want := fractions(t, slices.Concat(data[:3*9000], data[3*10000:]), f)
		x := fractions(t, samplesOf(t, got.Files[0].Path, f), f)
		if len(x) != len(want) {
			t.Fatalf("%d frames, want %d", len(x), len(want))
		}
		for i := range x {
			if d := x[i] - want[i]*math.Pow(10, gain/20); gain == 0 && d != 0 || math.Abs(d)*(1<<23) > 1.5 {
				t.Fatalf("gain %g, frame %d: off by %v", gain, i, d)
			}
		}
	}
}

// simple is a session of one song with two inputs, four seconds long.
func simple(t *testing.T) (*fixture, catalog.Session) {
	t.Helper()
	f := mono(48000, 24, 3, wavfile.PCM)
	fx := newFixture(t)
	r := rig{name: "main", format: f, names: []string{"Kick In", "Snare Top"}, tracks: [][]byte{wavtest.Noise(f, 300_000, 1), wavtest.Noise(f, 300_000, 2)}}
	rec := fx.record("2031-05-02", r)
	fx.take(rec, "Slow Lantern", 1000, 280_001)
	fx.take(rec, "Harbour", 290_000, 299_000)
	fx.inputs("2031-05-01", false, catalog.Input{Track: 1, Channel: "Kick In", GainDB: db(30)}, catalog.Input{Track: 2, Channel: "Snare Top", GainDB: db(20)})
	fx.desk(catalog.DeskInput{Input: 1, Channel: "Kick In", GainDB: db(33)}, catalog.DeskInput{Input: 2, Channel: "Snare Top", GainDB: db(20)})
	return fx, fx.build(session.Request{Show: "2031-05-02"})
}

// The same session renders to the same bytes, and a second run skips the
// finished files, clipped samples included.
func TestRenderAgain(t *testing.T) {
	for _, poly := range []bool{false, true} {
		fx, ses := simple(t)
		a, b := t.TempDir(), t.TempDir()
		one := fx.render(ses, session.RenderOptions{Dir: a, Poly: poly})
		fx.render(ses, session.RenderOptions{Dir: b, Poly: poly})
		first := files(t, a)
		for name, data := range files(t, b) {
			if !bytes.Equal(data, first[name]) {
				t.Errorf("poly %v: %s differs between two renders", poly, name)
			}
		}
		if one.Files[0].ClippedSamples == 0 || one.Files[0].BitIdentical || !has(one.Problems, "cut to full scale (trim +3.0 dB)") {
			t.Errorf("poly %v: +3 dB on random samples must clip: %+v, problems %q", poly, one.Files[0], one.Problems)
		}
		check := untouched(t, a)
		again := fx.render(ses, session.RenderOptions{Dir: a, Poly: poly})
		check()
		if again.Bytes != 0 || len(again.Files) != len(one.Files) || !slices.Equal(again.Problems, one.Problems) {
			t.Errorf("poly %v: second run wrote %d bytes, files %+v, problems %q", poly, again.Bytes, again.Files, again.Problems)
		}
		for i, f := range again.Files {
			if !f.Skipped || f.ClippedSamples != one.Files[i].ClippedSamples || f.BitIdentical != one.Files[i].BitIdentical {
				t.Errorf("poly %v: second run %+v, first %+v", poly, f, one.Files[i])
			}
		}
	}
}

// An interrupted render leaves whole items or nothing, and the next run
// continues from there.
func TestRenderInterrupted(t *testing.T) {
	fx, ses := simple(t)
	whole := t.TempDir()
	fx.render(ses, session.RenderOptions{Dir: whole})
	want := files(t, whole)
	partial := false
	for n := range int64(40) {
		dir := t.TempDir()
		got, err := session.Render(newLater(t.Context(), n), fx.store, ses, session.RenderOptions{Dir: dir}, nil)
		if err == nil {
			break
		}
		left := files(t, dir)
		if len(left) > 0 && len(left) < len(want) {
			partial = true
		}
		for name, data := range left {
			if !bytes.Equal(data, want[name]) {
				t.Fatalf("interrupted after %d looks: %s is not whole", n, name)
			}
		}
		if len(names(left)) != len(got.Files) {
			t.Errorf("interrupted after %d looks: %q are there, %d files reported", n, names(left), len(got.Files))
		}
		// A killed process leaves the hidden folder behind.
		ok(t, os.MkdirAll(filepath.Join(dir, ".02 Harbour (2031-05-02).part"), 0o777))
		ok(t, os.WriteFile(filepath.Join(dir, ".02 Harbour (2031-05-02).part", ".01 Kick In.wav123"), []byte("half"), 0o666))
		fx.render(ses, session.RenderOptions{Dir: dir})
		again := files(t, dir)
		if !slices.Equal(names(again), names(want)) {
			t.Fatalf("after going on: %q", names(again))
		}
		for name, data := range again {
			if !bytes.Equal(data, want[name]) {
				t.Errorf("after going on: %s differs", name)
			}
		}
	}
	if !partial {
		t.Error("no interruption came between two items, so the test checked nothing")
	}
}

// Files that nightreel did not render are never replaced, its own only with
// Overwrite.
func TestRenderOverwrites(t *testing.T) {
	fx, ses := simple(t)
	dir := t.TempDir()
	opt := session.RenderOptions{Dir: dir}
	fx.render(ses, opt)
	before := files(t, dir)
	louder := ses
	louder.Inputs = slices.Clone(ses.Inputs)
	louder.Inputs[0].TrimDB = -6
	var exists *session.ExistsError
	if _, err := session.Render(t.Context(), fx.store, louder, opt, nil); !errors.As(err, &exists) || !exists.Ours || exists.Hint() == "" {
		t.Fatalf("another render in the same folder: %v", err)
	}
	if after := files(t, dir); !bytes.Equal(after[names(before)[0]], before[names(before)[0]]) {
		t.Error("refused, but the file changed")
	}
	opt.Overwrite = true
	got := fx.render(louder, opt)
	if got.Files[0].Skipped || !got.Files[1].Skipped {
		t.Errorf("only the changed file is to be rendered: %+v", got.Files)
	}
	foreign := filepath.Join(dir, "02 Harbour (2031-05-02)", "01 Kick In.wav")
	ok(t, os.WriteFile(foreign, []byte("somebody's"), 0o666))
	if _, err := session.Render(t.Context(), fx.store, louder, opt, nil); !errors.As(err, &exists) || exists.Ours {
		t.Errorf("a file of others: %v", err)
	}
	if b, _ := os.ReadFile(foreign); string(b) != "somebody's" {
		t.Error("a file of others was replaced")
	}
	ok(t, os.Remove(foreign))
	w, err := wavfile.Create(foreign, mono(48000, 24, 3, wavfile.PCM), wavfile.Meta{Bext: &wavfile.Bext{Originator: "recorder", OriginatorReference: "0123456789abcdef0123456789abcdef"}})
	ok(t, err)
	ok(t, w.Close())
	if _, err := session.Render(t.Context(), fx.store, louder, opt, nil); !errors.As(err, &exists) || exists.Ours {
		t.Errorf("a recorder's file: %v", err)
	}
	ok(t, os.Remove(foreign))
	ok(t, os.WriteFile(filepath.Join(dir, "02 Harbour (2031-05-02)", "07 Old.wav"), nil, 0o666))
	if got := fx.render(louder, opt); !has(got.Problems, "07 Old.wav") {
		t.Errorf("a stray file is not named: %q", got.Problems)
	}
}

// A rendered folder that was scanned is a recording: it is not overwritten even
// with Overwrite.
func TestRenderNeverOverItsSource(t *testing.T) {
	fx, ses := simple(t)
	dir := filepath.Join(fx.root, "rendered")
	fx.render(ses, session.RenderOptions{Dir: dir})
	all, err := fx.store.Files(t.Context(), catalog.FileFilter{})
	ok(t, err)
	path := "rendered/01 Slow Lantern (2031-05-02)/01 Kick In.wav"
	w, err := wavfile.Open(filepath.Join(fx.root, path))
	ok(t, err)
	defer w.Close()
	all[0].Path, all[0].DataOffset, all[0].Frames = path, w.Info().DataOffset, w.Info().Frames
	rec, err := fx.store.Recordings(t.Context(), catalog.RecordingFilter{})
	ok(t, err)
	tracks, err := fx.store.Tracks(t.Context(), catalog.TrackFilter{})
	ok(t, err)
	_, err = fx.store.SaveRecording(t.Context(), rec[0], all, tracks, nil)
	ok(t, err)
	check := untouched(t, fx.root)
	var exists *session.ExistsError
	if _, err := session.Render(t.Context(), fx.store, ses, session.RenderOptions{Dir: dir, Overwrite: true}, nil); !errors.As(err, &exists) {
		t.Errorf("rendering over a recording: %v", err)
	}
	check()
}

// A recording that cannot be read costs only the files that need it.
func TestRenderBrokenSource(t *testing.T) {
	for _, tt := range []struct {
		name, problem string
		do            func(path string) error
	}{
		{"gone", "no such file", os.Remove},
		{"empty", "empty file", func(p string) error { return os.Truncate(p, 0) }},
		{"cut short", "changed since it was scanned", func(p string) error { return os.Truncate(p, 600_000) }},
		{"another file", "changed since it was scanned", func(p string) error {
			wavtest.Write(t, p, mono(44100, 16, 2, wavfile.PCM), wavfile.Meta{}, make([]byte, 2*300_000))
			return nil
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			fx, ses := simple(t)
			ok(t, tt.do(filepath.Join(fx.root, "2031-05-02", "main", "TRK01_0001.wav")))
			dir := t.TempDir()
			got := fx.render(ses, session.RenderOptions{Dir: dir})
			if len(got.Files) != 2 || !has(got.Problems, "desk input 1 Kick In") || !has(got.Problems, tt.problem) {
				t.Errorf("files %+v, problems %q", got.Files, got.Problems)
			}
			if n := names(files(t, dir)); !slices.Equal(n, []string{"01 Slow Lantern (2031-05-02)/02 Snare Top.wav", "02 Harbour (2031-05-02)/02 Snare Top.wav"}) {
				t.Errorf("files %q", n)
			}
			poly := t.TempDir()
			if got := fx.render(ses, session.RenderOptions{Dir: poly, Poly: true}); len(got.Files) != 0 || len(files(t, poly)) != 0 || !has(got.Problems, "left out") {
				t.Errorf("poly: files %+v, problems %q", got.Files, got.Problems)
			}
		})
	}
}

func TestRenderRefuses(t *testing.T) {
	fx, ses := simple(t)
	for name, opt := range map[string]session.RenderOptions{
		"no folder":         {},
		"negative pre-roll": {Dir: t.TempDir(), PreRollS: -1},
		"endless post-roll": {Dir: t.TempDir(), PostRollS: 1e9},
		"odd depth":         {Dir: t.TempDir(), BitDepth: 20},
	} {
		var bad *session.RenderError
		if _, err := session.Render(t.Context(), fx.store, ses, opt, nil); !errors.As(err, &bad) || bad.Hint() == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	ses.Items[0].Recording = 99
	var bad *session.RenderError
	if _, err := session.Render(t.Context(), fx.store, ses, session.RenderOptions{Dir: t.TempDir()}, nil); !errors.As(err, &bad) {
		t.Errorf("recording gone: %v", err)
	}
}

func TestRenderProgress(t *testing.T) {
	fx, ses := simple(t)
	var p session.Progress
	_, err := session.Render(t.Context(), fx.store, ses, session.RenderOptions{Dir: t.TempDir()}, &p)
	ok(t, err)
	total := int64(2 * 3 * (279_001 + 9000))
	if s := p.Snapshot(); s != (session.Snapshot{Item: 2, Items: 2, Bytes: total, BytesTotal: total, Current: "Harbour (2031-05-02)"}) {
		t.Errorf("%+v", s)
	}
}

// A disk that is too small is refused before anything is written; one that fills
// up during the render keeps no unfinished file.
func TestRenderFullDisk(t *testing.T) {
	fx, ses := simple(t)
	small := func(t *testing.T, size string) string {
		dir := t.TempDir()
		if os.Getuid() != 0 {
			t.Skip("mounting a small disk needs root")
		}
		if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size="+size, "tmpfs", dir).CombinedOutput(); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("mount: %v: %s", err, out)
			}
			t.Skipf("mount: %v: %s", err, out)
		}
		t.Cleanup(func() {
			if err := exec.Command("umount", dir).Run(); err != nil {
				t.Errorf("umount: %v", err)
			}
		})
		return dir
	}
	t.Run("too small", func(t *testing.T) {
		dir := filepath.Join(small(t, "1m"), "out")
		var space *session.SpaceError
		_, err := session.Render(t.Context(), fx.store, ses, session.RenderOptions{Dir: dir}, nil)
		if !errors.As(err, &space) || space.Need < 2*3*288_001 || space.Hint() == "" {
			t.Errorf("%v", err)
		}
		if n := files(t, dir); len(n) > 0 {
			t.Errorf("left behind %q", names(n))
		}
	})
	t.Run("fills up", func(t *testing.T) {
		dir := small(t, "2200k")
		// The free space suffices at first, then another program fills the disk.
		ctx := &filling{Context: t.Context(), dir: dir}
		_, err := session.Render(ctx, fx.store, ses, session.RenderOptions{Dir: dir}, nil)
		if err == nil {
			t.Fatal("a full disk gave no error")
		}
		ok(t, os.Remove(filepath.Join(dir, "other")))
		if n := files(t, dir); len(n) > 0 {
			t.Errorf("left behind %q (%v)", names(n), err)
		}
	})
}
