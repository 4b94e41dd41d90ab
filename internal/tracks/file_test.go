package tracks

import (
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// A file that is not what was scanned is refused, with its name, the byte where
// one applies, and what to do.
func TestChangedFilesAreRefused(t *testing.T) {
	other := func(change func(f *wavfile.Format)) func(t *testing.T, f catalog.File) {
		return func(t *testing.T, f catalog.File) {
			format := pcm24
			change(&format)
			wavtest.Write(t, f.FullPath(), format, wavfile.Meta{}, make([]byte, 2000*format.FrameBytes()))
		}
	}
	for _, c := range []struct {
		name   string
		change func(t *testing.T, f catalog.File)
		says   string
		at     func(f catalog.File) int64
	}{
		{"another rate", other(func(f *wavfile.Format) { f.SampleRate = 44_100 }), "44100 Hz", nil},
		{"another depth", other(func(f *wavfile.Format) { f.BitDepth, f.ContainerBytes = 16, 2 }), "16 bit", nil},
		{"another container", other(func(f *wavfile.Format) { f.ContainerBytes = 4 }), "24 bit pcm in 4 bytes", nil},
		{"another coding", other(func(f *wavfile.Format) { f.BitDepth, f.ContainerBytes, f.Encoding = 32, 4, wavfile.Float }), "float", nil},
		{"another channel", other(func(f *wavfile.Format) { f.Channels = 2 }), "2 channels", nil},
		{"longer header", func(t *testing.T, f catalog.File) {
			wavtest.Write(t, f.FullPath(), pcm24, wavfile.Meta{Tags: map[string]string{"INAM": "Night"}}, make([]byte, 3*2000))
		}, "samples began at byte", func(f catalog.File) int64 { return f.DataOffset + 26 }},
		{"cut", func(t *testing.T, f catalog.File) {
			ok(t, os.Truncate(f.FullPath(), f.DataOffset+3*1999))
		}, "1999 of 2000 frames", func(f catalog.File) int64 { return f.DataOffset + 3*1999 }},
		{"emptied", func(t *testing.T, f catalog.File) { ok(t, os.Truncate(f.FullPath(), 0)) }, "empty file", nil},
		{"cut within the header", func(t *testing.T, f catalog.File) { ok(t, os.Truncate(f.FullPath(), 20)) }, "", nil},
		{"overwritten", func(t *testing.T, f catalog.File) {
			ok(t, os.WriteFile(f.FullPath(), make([]byte, 7000), 0o666))
		}, "not a WAV file", nil},
		{"a folder", func(t *testing.T, f catalog.File) {
			ok(t, os.Remove(f.FullPath()))
			ok(t, os.Mkdir(f.FullPath(), 0o777))
		}, "not a regular file", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			tp := newTape(t, pcm24, 1, 2000)
			f := *tp.add(1, 1, 0, 2000)
			c.change(t, f)
			s, err := Describe(tp.rec, f).Open(OpenWAV)
			var changed *ChangedError
			if s != nil || !errors.As(err, &changed) {
				t.Fatalf("opened: %v", err)
			}
			if changed.Path != f.FullPath() || !strings.HasPrefix(err.Error(), f.FullPath()+": not read") ||
				!strings.Contains(err.Error(), "changed since it was scanned") || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q does not say %q", err, c.says)
			}
			if strings.Count(err.Error(), f.FullPath()) != 1 {
				t.Errorf("%q names the file twice", err)
			}
			if c.at != nil && changed.Offset != c.at(f) {
				t.Errorf("byte %d, want %d", changed.Offset, c.at(f))
			}
			if !strings.Contains(changed.Hint(), "scan its folder again") {
				t.Errorf("hint %q", changed.Hint())
			}
		})
	}
}

// What leaves the scanned samples where they were is no change.
func TestHarmlessChangesAreNotRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(t *testing.T, f catalog.File)
	}{
		{"another time of modification", func(t *testing.T, f catalog.File) {
			ok(t, os.Chtimes(f.FullPath(), time.Unix(1, 0), time.Unix(1, 0)))
		}},
		{"a chunk appended", func(t *testing.T, f catalog.File) { grow(t, f, "LIST\x04\x00\x00\x00INFO") }},
		{"the recorder goes on", func(t *testing.T, f catalog.File) {
			grow(t, f, strings.Repeat("\x01\x02\x03", 2*rate))
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			tp := newTape(t, pcm24, 1, 2000)
			f := *tp.add(1, 1, 0, 2000)
			c.change(t, f)
			r := tp.reader(OpenWAV)
			tp.same(r, 1, 0, 2000)
			tp.same(r, 1, 1900, 300) // what was appended is not read
		})
	}
}

func grow(t *testing.T, f catalog.File, by string) {
	t.Helper()
	w, err := os.OpenFile(f.FullPath(), os.O_WRONLY|os.O_APPEND, 0)
	ok(t, err)
	_, err = w.WriteString(by)
	ok(t, err)
	ok(t, w.Close())
}

// A file that grows while it is open is read as far as it was scanned.
func TestFileGrowsWhileItIsRead(t *testing.T) {
	tp := newTape(t, pcm24, 1, 2000)
	f := *tp.add(1, 1, 0, 2000)
	r := tp.reader(OpenWAV)
	tp.same(r, 1, 0, 1000)
	grow(t, f, strings.Repeat("\x01\x02\x03", 2*rate))
	tp.same(r, 1, 500, 2000)
}

func TestMissingAndForbiddenFiles(t *testing.T) {
	tp := newTape(t, pcm24, 1, 2000)
	f := *tp.add(1, 1, 0, 2000)
	open := func() *UnreadableError {
		t.Helper()
		_, err := Describe(tp.rec, f).Open(OpenWAV)
		var bad *UnreadableError
		if !errors.As(err, &bad) || bad.Path != f.FullPath() || strings.Count(err.Error(), f.FullPath()) != 1 {
			t.Fatalf("%v", err)
		}
		return bad
	}
	if os.Getuid() != 0 { // who may do everything is forbidden nothing
		ok(t, os.Chmod(f.FullPath(), 0))
		if e := open(); !errors.Is(e, fs.ErrPermission) || !strings.Contains(e.Hint(), "right") {
			t.Errorf("%v; %s", e, e.Hint())
		}
	}
	ok(t, os.Remove(f.FullPath()))
	if e := open(); !errors.Is(e, fs.ErrNotExist) || !strings.Contains(e.Hint(), "plug in the drive") {
		t.Errorf("%v; %s", e, e.Hint())
	}
	// An error that knows neither file nor byte still gets the file.
	_, err := Describe(tp.rec, f).Open(func(string) (Handle, error) { return nil, errors.New("the disk is asleep") })
	if want := f.FullPath() + ": not read: the disk is asleep"; err == nil || err.Error() != want {
		t.Errorf("%v, want %s", err, want)
	}
}

// Frames that were not scanned are not read, even if the file has them.
func TestSourceReadsScannedFramesAlone(t *testing.T) {
	tp := newTape(t, pcm24, 1, 2000)
	f := *tp.add(1, 1, 0, 2000)
	d := Describe(tp.rec, f)
	d.Frames = 1500
	s, err := d.Open(OpenWAV)
	ok(t, err)
	defer s.Close()
	buf := make([]byte, 3*100)
	if n, err := s.Read(buf, 1400); n != 100 || err != nil {
		t.Errorf("the last frames: %d, %v", n, err)
	}
	for _, frame := range []int64{1401, 1500, -1, 1 << 62} {
		if n, err := s.Read(buf, frame); n != 0 || err == nil {
			t.Errorf("from frame %d on: %d, %v", frame, n, err)
		}
	}
}

// A description comes through a pipe as it went in.
func TestDescriptionAsJSON(t *testing.T) {
	for _, f := range formats {
		f.Channels = 17
		in := File{Path: "/a/b.wav", Format: f, DataOffset: 12345, Frames: 1 << 40}
		text, err := json.Marshal(in)
		ok(t, err)
		var out File
		ok(t, json.Unmarshal(text, &out))
		if out != in {
			t.Errorf("%+v became %+v", in, out)
		}
	}
}

// A recording's format and the catalog's words for it are one and the same.
func TestFormatIsTheCatalogs(t *testing.T) {
	for _, f := range formats {
		f.Channels = 3
		r := catalog.Recording{SampleRate: f.SampleRate, BitDepth: f.BitDepth, SampleBytes: f.ContainerBytes, Encoding: f.Encoding.String()}
		if got := Format(r, 3); got != f {
			t.Errorf("%+v became %+v", f, got)
		}
	}
}
