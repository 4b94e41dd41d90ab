package wavfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"testing"
)

// checkReader holds ReadFrames to its list of legal returns for every buffer
// length up to 9 frames and every position, around both ends.
func checkReader(t *testing.T, f *File, want []byte) {
	t.Helper()
	size := f.Info().Format.FrameBytes()
	frames := f.Info().Frames
	positions := []int64{frames - 9, frames - 2, frames - 1, frames, frames + 1, 1 << 40, 1 << 62}
	for p := int64(0); p < 9; p++ {
		positions = append(positions, p)
	}
	for _, at := range positions {
		if at < 0 {
			continue
		}
		for k := range 10 {
			dst := bytes.Repeat([]byte{0xAA}, k*size)
			n, err := f.ReadFrames(dst, at)
			left := max(0, frames-at)
			switch {
			case k == 0:
				if n != 0 || err != nil {
					t.Errorf("empty at %d: %d, %v", at, n, err)
				}
				continue
			case left == 0:
				if n != 0 || err != io.EOF {
					t.Errorf("%d frames at %d: %d, %v; want io.EOF", k, at, n, err)
				}
				continue
			case int64(n) != min(int64(k), left) || err != nil:
				t.Errorf("%d frames at %d: %d, %v", k, at, n, err)
			}
			got := want[at*int64(size):][:n*size]
			if !bytes.Equal(dst[:n*size], got) {
				t.Errorf("%d frames at %d differ", k, at)
			}
			if rest := dst[n*size:]; !bytes.Equal(rest, bytes.Repeat([]byte{0xAA}, len(rest))) {
				t.Errorf("%d frames at %d: bytes past the end were written", k, at)
			}
		}
	}
}

func TestReadFrames(t *testing.T) {
	for _, form := range forms {
		for _, ch := range []int{1, 3, 64} {
			for _, frames := range []int{0, 1, 2, 8, 9, 10, 100} {
				t.Run(fmt.Sprintf("%s/%dch/%d", form.name, ch, frames), func(t *testing.T) {
					fm := form.Format
					fm.Channels, fm.SampleRate = ch, 44100
					raw := noise(fm, frames)
					f, err := Open(writeFile(t, Options{}, fm, Meta{}, raw))
					if err != nil {
						t.Fatal(err)
					}
					defer f.Close()
					checkReader(t, f, raw)
				})
			}
		}
	}
}

func TestReadFramesWrongUse(t *testing.T) {
	f, err := Open(writeFile(t, Options{}, stereo24, Meta{}, noise(stereo24, 10)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var e *Error
	if n, err := f.ReadFrames(make([]byte, 7), 0); n != 0 || !errors.As(err, &e) {
		t.Errorf("7 bytes: %d, %v", n, err)
	}
	if n, err := f.ReadFrames(make([]byte, 6), -1); n != 0 || !errors.As(err, &e) {
		t.Errorf("frame -1: %d, %v", n, err)
	}
}

// A file that shrinks while it is open gives what is left, and says so.
func TestReadFramesFileCutMeanwhile(t *testing.T) {
	raw := noise(stereo24, 100)
	path := writeFile(t, Options{}, stereo24, Meta{}, raw)
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := os.Truncate(path, f.Info().DataOffset+61); err != nil {
		t.Fatal(err)
	}
	dst := make([]byte, 600)
	n, err := f.ReadFrames(dst, 0)
	var e *Error
	if n != 10 || !errors.Is(err, io.ErrUnexpectedEOF) || !errors.As(err, &e) || e.Offset != f.Info().DataOffset+61 || e.Path != path {
		t.Errorf("ReadFrames = %d, %v", n, err)
	}
	if !bytes.Equal(dst[:60], raw[:60]) {
		t.Error("the frames that are left differ")
	}
}

func TestReadFramesConcurrently(t *testing.T) {
	raw := noise(stereo24, 5000)
	f, err := Open(writeFile(t, Options{}, stereo24, Meta{}, raw))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			dst := make([]byte, 6*37)
			for at := int64(g); at < 5000; at += 31 {
				n, err := f.ReadFrames(dst, at)
				if err != nil || !bytes.Equal(dst[:n*6], raw[at*6:][:n*6]) {
					t.Errorf("at %d: %d, %v", at, n, err)
					return
				}
			}
		})
	}
	wg.Wait()
}

func TestOpenErrors(t *testing.T) {
	dir := t.TempDir()
	empty := filepath.Join(dir, "empty.wav")
	write(t, empty, nil)
	for path, want := range map[string]error{
		filepath.Join(dir, "none.wav"): fs.ErrNotExist,
		dir:                            ErrNotWAV,
		empty:                          ErrEmpty,
	} {
		f, err := Open(path)
		var e *Error
		if f != nil || !errors.Is(err, want) || !errors.As(err, &e) || e.Path != path {
			t.Errorf("Open(%s) = %v, %v; want %v", path, f, err, want)
		}
	}
	if _, err := Open(empty); err.Error() != empty+": not read (at byte 0): empty file" {
		t.Errorf("error reads %q", err)
	}
	none := filepath.Join(dir, "none.wav")
	if _, err := Open(none); err.Error() != none+": not opened: no such file or directory" {
		t.Errorf("error reads %q", err)
	}
}

// Reading leaves a file as it was, and needs no right to write it.
func TestReadOnly(t *testing.T) {
	path := writeFile(t, Options{}, stereo24, fullMeta(), noise(stereo24, 100))
	before, _ := os.ReadFile(path)
	if err := os.Chmod(path, 0o444); err != nil {
		t.Fatal(err)
	}
	st, _ := os.Stat(path)
	readAll(t, path)
	after, _ := os.ReadFile(path)
	st2, _ := os.Stat(path)
	if !bytes.Equal(before, after) || !st.ModTime().Equal(st2.ModTime()) {
		t.Error("the file has changed")
	}
}
