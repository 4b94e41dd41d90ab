package wavfile

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// names lists a folder.
func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var s []string
	for _, e := range entries {
		s = append(s, e.Name())
	}
	return s
}

func create(t *testing.T, path string) *Writer {
	t.Helper()
	w, err := Create(path, stereo24, Meta{})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestWriterLeavesNothingHalfMade(t *testing.T) {
	for _, r := range []struct {
		name string
		end  func(w *Writer) error
		fail bool
		want string
	}{
		{"closed", (*Writer).Close, false, "x.wav"},
		{"aborted", (*Writer).Abort, false, ""},
		{"half a frame", func(w *Writer) error {
			if _, err := w.Write([]byte{1}); err != nil {
				return err
			}
			return w.Close()
		}, true, ""},
		{"wrong block", func(w *Writer) error {
			if w.WriteFrames(make([]byte, 7)) == nil {
				return nil
			}
			return w.Close()
		}, true, ""},
		{"disk fails", func(w *Writer) error {
			w.f.File.Close()
			return w.Close()
		}, true, ""},
		{"name taken meanwhile", func(w *Writer) error {
			if err := os.WriteFile(w.path, []byte("precious"), 0o644); err != nil {
				return err
			}
			return w.Close()
		}, true, "x.wav"},
	} {
		t.Run(r.name, func(t *testing.T) {
			dir := t.TempDir()
			w := create(t, filepath.Join(dir, "x.wav"))
			if err := w.WriteFrames(noise(stereo24, 10)); err != nil {
				t.Fatal(err)
			}
			if n := names(t, dir); len(n) != 1 || !strings.HasPrefix(n[0], ".") {
				t.Errorf("while writing: %q, want one name with a dot", n)
			}
			err := r.end(w)
			if (err != nil) != r.fail {
				t.Errorf("error %v", err)
			}
			if got := strings.Join(names(t, dir), " "); got != r.want {
				t.Errorf("left behind: %q, want %q", got, r.want)
			}
			if err := w.Abort(); err != nil {
				t.Errorf("a second end: %v", err)
			}
			if err := w.WriteFrames(make([]byte, 6)); err == nil {
				t.Error("wrote after the end")
			}
			if w.Close() == nil {
				t.Error("closed after the end")
			}
		})
	}
}

func TestCreateRefuses(t *testing.T) {
	dir := t.TempDir()
	there := filepath.Join(dir, "there.wav")
	write(t, there, []byte("precious"))
	big := strings.Repeat("x", maxTextChunk)
	for _, r := range []struct {
		name string
		path string
		f    Format
		m    Meta
		want error
	}{
		{"a file that is there", there, stereo24, Meta{}, fs.ErrExist},
		{"no folder", filepath.Join(dir, "none", "x.wav"), stereo24, Meta{}, fs.ErrNotExist},
		{"no channels", filepath.Join(dir, "a.wav"), Format{SampleRate: 48000, BitDepth: 16, ContainerBytes: 2}, Meta{}, ErrUnsupported},
		{"257 channels", filepath.Join(dir, "a.wav"), Format{SampleRate: 48000, Channels: 257, BitDepth: 16, ContainerBytes: 2}, Meta{}, ErrUnsupported},
		{"20 bits", filepath.Join(dir, "a.wav"), Format{SampleRate: 48000, Channels: 1, BitDepth: 20, ContainerBytes: 3}, Meta{}, ErrUnsupported},
		{"cue past 2^32", filepath.Join(dir, "a.wav"), stereo24, Meta{Cues: []Cue{{Frame: 1 << 32}}}, nil},
		{"cue before the start", filepath.Join(dir, "a.wav"), stereo24, Meta{Cues: []Cue{{Frame: -1}}}, nil},
		{"tag id", filepath.Join(dir, "a.wav"), stereo24, Meta{Tags: map[string]string{"TITLE": "x"}}, nil},
		{"long iXML", filepath.Join(dir, "a.wav"), stereo24, Meta{IXML: &IXML{Raw: big}}, nil},
		{"long tag", filepath.Join(dir, "a.wav"), stereo24, Meta{Tags: map[string]string{"INAM": big}}, nil},
	} {
		w, err := Create(r.path, r.f, r.m)
		var e *Error
		if w != nil || !errors.As(err, &e) || e.Path != r.path || r.want != nil && !errors.Is(err, r.want) {
			t.Errorf("%s: %v, %v", r.name, w, err)
		}
	}
	if got := strings.Join(names(t, dir), " "); got != "there.wav" {
		t.Errorf("left behind: %q", got)
	}
	if b, _ := os.ReadFile(there); string(b) != "precious" {
		t.Error("the file that was there has changed")
	}
}

func TestReplace(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.wav")
	write(t, path, []byte("old"))
	w, err := Options{Replace: true}.Create(path, stereo24, Meta{})
	if err != nil {
		t.Fatal(err)
	}
	raw := noise(stereo24, 10)
	if err := w.WriteFrames(raw); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(path); string(b) != "old" {
		t.Error("replaced before Close")
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if _, got := readAll(t, path); !bytes.Equal(got, raw) {
		t.Error("frames differ")
	}
}

// The step from RIFF to RF64 happens at the exact byte: sizes on either side of
// a low limit, and the fields of the real one.
func TestRF64WhenNeeded(t *testing.T) {
	raw := noise(mono16, 500)
	head := int64(12 + 36 + 24 + 8)
	riffSize := head + int64(len(raw)) - 8
	for _, r := range []struct {
		limit int64
		want  Container
	}{{riffSize - 1, RF64}, {riffSize, RIFF}, {riffSize + 1, RIFF}, {0, RIFF}} {
		in, got := readAll(t, writeFile(t, Options{maxRIFF: r.limit}, mono16, Meta{}, raw))
		if in.Container != r.want || !bytes.Equal(got, raw) || len(in.Repairs) > 0 {
			t.Errorf("limit %d: container %d, repairs %+v", r.limit, in.Container, in.Repairs)
		}
	}
}

// Sizes past 4 GiB, without 4 GiB: the header a writer leaves for so many
// bytes must be read back as so many frames.
func TestWriterHeaderPast4GiB(t *testing.T) {
	f := Format{SampleRate: 48000, Channels: 64, BitDepth: 24, ContainerBytes: 3}
	const frames = 27_962_026
	last := int64(maxRIFF-(12+36+48+12+8)+8) / 192 // the last frame count that RIFF can hold
	for _, r := range []struct {
		frames int64
		want   Container
	}{{frames, RF64}, {last, RIFF}, {last + 1, RF64}} {
		w := &Writer{format: f, opt: Options{maxRIFF: maxRIFF}}
		head, err := w.header(Meta{})
		if err != nil {
			t.Fatal(err)
		}
		w.written = r.frames * 192
		for _, p := range w.patches() {
			copy(head[p.at:], p.bytes)
		}
		b := &bigFile{size: w.dataAt + w.written, pieces: map[int64][]byte{0: head}}
		in, err := Parse(b, b.size)
		if err != nil {
			t.Fatal(err)
		}
		if in.Frames != r.frames || in.Container != r.want || in.Unfinished || len(in.Repairs) > 0 {
			t.Errorf("%d frames: %+v", r.frames, in)
		}
	}
}

// A file with every mode bit a new file gets, not the temporary file's own.
func TestWriterMode(t *testing.T) {
	path := writeFile(t, Options{}, mono16, Meta{}, nil)
	other := filepath.Join(filepath.Dir(path), "other")
	f, err := os.Create(other)
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
	a, _ := os.Stat(path)
	b, _ := os.Stat(other)
	if a.Mode() != b.Mode() {
		t.Errorf("mode %v, want %v", a.Mode(), b.Mode())
	}
}

// The sizes of a finished file, odd audio padded to an even file, and the frame
// count that is due wherever the format is not plain PCM.
func TestWriterSizes(t *testing.T) {
	for _, form := range forms {
		for frames := range 4 {
			fm := form.Format
			fm.Channels, fm.SampleRate = 1, 48000
			b, err := os.ReadFile(writeFile(t, Options{}, fm, Meta{}, noise(fm, frames)))
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(b[4:8], u32(int64(len(b)-8))) || len(b)%2 == 1 {
				t.Errorf("%s: RIFF size % x in a file of %d bytes", form.name, b[4:8], len(b))
			}
			at := bytes.Index(b, []byte("fact\x04\x00\x00\x00"))
			if plain := fm.Encoding == PCM && fm.BitDepth <= 16; plain != (at < 0) {
				t.Errorf("%s: fact chunk at %d", form.name, at)
			}
			if at > 0 && !bytes.Equal(b[at+8:at+12], u32(int64(frames))) {
				t.Errorf("%s: fact says % x, want %d frames", form.name, b[at+8:at+12], frames)
			}
		}
	}
}

// A header and the samples after it are, byte for byte, the file that the
// writer writes; too many samples for RIFF make it RF64.
func TestHeaderIsTheWriters(t *testing.T) {
	meta := Meta{Cues: []Cue{{ID: 1, Frame: 3, Label: "Intro"}}}
	for _, f := range []Format{
		{SampleRate: 44100, Channels: 1, BitDepth: 8, ContainerBytes: 1},
		{SampleRate: 48000, Channels: 1, BitDepth: 16, ContainerBytes: 2},
		stereo24,
		{SampleRate: 96000, Channels: 3, BitDepth: 24, ContainerBytes: 4},
		{SampleRate: 48000, Channels: 1, BitDepth: 32, ContainerBytes: 4, Encoding: Float},
	} {
		raw := noise(f, 1001)
		h, err := Header(f, 1001, meta)
		if err != nil {
			t.Fatal(err)
		}
		made := append(h, raw...)
		if len(made)%2 == 1 {
			made = append(made, 0)
		}
		want, err := os.ReadFile(writeFile(t, Options{}, f, meta, raw))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(made, want) {
			t.Errorf("%+v: the header differs from the writer's", f)
		}
	}
	const frames = 1 << 31
	h, err := Header(stereo24, frames, Meta{})
	if err != nil {
		t.Fatal(err)
	}
	size := int64(len(h)) + frames*int64(stereo24.FrameBytes())
	info, err := Parse(bytes.NewReader(append(h, make([]byte, 1<<16)...)), size)
	if err != nil || info.Container != RF64 || info.Frames != frames || len(info.Repairs) > 0 {
		t.Errorf("12 GiB: %+v, %v", info, err)
	}
	for _, frames := range []int64{-1, 1 << 62} {
		if _, err := Header(stereo24, frames, Meta{}); err == nil {
			t.Errorf("a header for %d frames", frames)
		}
	}
	if _, err := Header(Format{}, 1, Meta{}); !errors.Is(err, ErrUnsupported) {
		t.Errorf("no format: %v", err)
	}
}
