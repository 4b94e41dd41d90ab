package tracks

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"strings"
	"syscall"
	"testing"

	"nightreel/catalog"
)

// same reads frames of a track and compares them with the tape.
func (tp *tape) same(r *Reader, track, from, frames int) {
	tp.t.Helper()
	got := bytes.Repeat([]byte{0xA5}, frames*tp.format.ContainerBytes)
	n, err := r.Read(tp.t.Context(), got, track, int64(from))
	if err != nil || n != frames {
		tp.t.Fatalf("track %d, %d frames from %d on: %d, %v", track, frames, from, n, err)
	}
	if !bytes.Equal(got, tp.want(track, from, frames)) {
		tp.t.Fatalf("track %d, %d frames from %d on: other samples than were recorded", track, frames, from)
	}
}

// The samples of a track are those of its files, joined at the exact frame,
// whether a file holds one track or many, in every coding.
func TestSegmentsJoinAtTheExactFrame(t *testing.T) {
	lengths := []int{1001, 1, 777, 2048}
	for _, f := range formats {
		for _, channels := range []int{1, 3} {
			t.Run(name(f)+map[int]string{1: ", mono files", 3: ", polyphonic files"}[channels], func(t *testing.T) {
				tp := newTape(t, f, 3, 1001+1+777+2048)
				at, edges := 0, []int{}
				for _, n := range lengths {
					for first := 1; first <= 3; first += channels {
						tp.add(first, channels, at, n)
					}
					at += n
					edges = append(edges, at)
				}
				r := tp.reader(OpenWAV)
				for track := 1; track <= 3; track++ {
					tp.same(r, track, 0, at)
					for _, e := range edges {
						tp.same(r, track, e-1, 1)
						tp.same(r, track, e, 1)
						tp.same(r, track, e-3, 6)
					}
					rng := rand.New(rand.NewPCG(1, 2))
					for range 50 {
						from := rng.IntN(at)
						tp.same(r, track, from, rng.IntN(at-from+1))
					}
				}
			})
		}
	}
}

// Where nothing was recorded there is silence: between files, before the first
// one, after the last one, and for a track without files.
func TestGapsAreSilence(t *testing.T) {
	for _, f := range formats {
		t.Run(name(f), func(t *testing.T) {
			tp := newTape(t, f, 2, 5000)
			tp.add(1, 1, 100, 1000)
			tp.add(1, 1, 1500, 1000)
			r := tp.reader(OpenWAV)
			tp.same(r, 1, 0, 5000)
			tp.same(r, 1, 1100, 400)   // the gap alone
			tp.same(r, 1, 1099, 402)   // and a frame of either side
			tp.same(r, 1, -500, 700)   // before the recording
			tp.same(r, 1, 2400, 9000)  // beyond its end
			tp.same(r, 1, 70_000, 100) // far beyond
			tp.same(r, 2, 0, 5000)     // no file has it
			tp.same(r, 1, 100, 0)
		})
	}
}

// If files of a track overlap, the earlier one counts as far as it goes.
func TestOfOverlappingFilesTheEarlierCounts(t *testing.T) {
	tp := newTape(t, pcm24, 1, 3000)
	tp.add(1, 1, 800, 1000)
	tp.add(1, 1, 100, 200) // within the next one
	tp.add(1, 1, 0, 1000)
	r := tp.reader(OpenWAV)
	tp.same(r, 1, 0, 3000) // the tape was written in the reverse order
	for at := range 300 {
		tp.same(r, 1, at*10, 10)
	}
}

func TestStretches(t *testing.T) {
	file := func(start, frames int64) catalog.File { return catalog.File{StartFrame: start, Frames: frames} }
	files := []catalog.File{file(10, 10), file(20, 5), file(30, 10), file(35, 20)}
	for _, c := range []struct {
		from, to int64
		want     []Stretch
	}{
		{0, 10, []Stretch{{-1, 0, 10}}},
		{5, 22, []Stretch{{-1, 5, 10}, {0, 10, 20}, {1, 20, 22}}},
		{24, 32, []Stretch{{1, 24, 25}, {-1, 25, 30}, {2, 30, 32}}},
		{30, 60, []Stretch{{2, 30, 35}, {2, 35, 40}, {3, 40, 55}, {-1, 55, 60}}},
		{-3, -1, []Stretch{{-1, -3, -1}}},
		{7, 7, nil},
		{9, 7, nil},
	} {
		if got := Stretches(files, c.from, c.to); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%d to %d: %v, want %v", c.from, c.to, got, c.want)
		}
	}
}

// Tracks of one file that are read for the same span cost one read; a catalog's
// track keeps one file open at a time.
func TestReadsAndOpenFilesAreFew(t *testing.T) {
	tp := newTape(t, pcm24, 4, 3000)
	for s := range 3 {
		tp.add(1, 4, 1000*s, 1000)
	}
	d := &disk{}
	r := tp.reader(d.openFile)
	for at := 0; at < 3000; at += 500 {
		for track := 1; track <= 4; track++ {
			tp.same(r, track, at, 500)
		}
	}
	if d.reads != 6 || d.opened != 3 {
		t.Errorf("%d reads of %d files, want 6 of 3", d.reads, d.opened)
	}
	ok(t, r.Close())
	if d.open != 0 {
		t.Errorf("%d files are still open", d.open)
	}

	tr := tp.open(2)
	d = &disk{}
	tr.reader.open = d.openFile
	got := make([]byte, 3*3000)
	if n, err := tr.Read(t.Context(), got, 0); n != 3000 || err != nil || !bytes.Equal(got, tp.want(2, 0, 3000)) {
		t.Errorf("track 2: %d, %v", n, err)
	}
	if d.opened != 3 || d.open != 1 {
		t.Errorf("%d files opened, %d still open; want 3 and 1", d.opened, d.open)
	}
}

func TestCancelledReadTouchesNoFile(t *testing.T) {
	tp := newTape(t, pcm24, 1, 1000)
	tp.add(1, 1, 0, 1000)
	d := &disk{}
	r := tp.reader(d.openFile)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	got := bytes.Repeat([]byte{1}, 300)
	n, err := r.Read(ctx, got, 1, 0)
	if n != 0 || err != context.Canceled || d.opened != 0 || !bytes.Equal(got, make([]byte, 300)) {
		t.Errorf("%d frames, %v, %d files opened", n, err, d.opened)
	}
}

// A disk that fails within a file: what lies before is read, what comes after is
// silent, the error names file and byte; other files are still read.
func TestFailingDisk(t *testing.T) {
	tp := newTape(t, pcm24, 2, 4000)
	tp.add(1, 2, 0, 2000)
	tp.add(1, 2, 2000, 2000)
	second := tp.files[1]
	d := &disk{bad: second.DataOffset + 6*500 + 2, err: syscall.EIO}
	r := newReader(tp.rec, tp.files, func(path string) (Handle, error) {
		if path == second.FullPath() {
			return d.openFile(path)
		}
		return OpenWAV(path)
	})
	defer r.Close()
	for track := 1; track <= 2; track++ {
		got := bytes.Repeat([]byte{0xA5}, 3*2000)
		n, err := r.Read(t.Context(), got, track, 1000)
		var bad *UnreadableError
		if n != 1500 || !errors.As(err, &bad) || bad.Path != second.FullPath() || !errors.Is(err, syscall.EIO) {
			t.Fatalf("track %d: %d frames, %v", track, n, err)
		}
		want := append(tp.want(track, 1000, 1500), make([]byte, 3*500)...)
		if !bytes.Equal(got, want) {
			t.Errorf("track %d: other samples than were recorded", track)
		}
		for _, part := range []string{second.FullPath() + ": not read", fmt.Sprintf("at byte %d", d.bad), "input/output error"} {
			if !strings.Contains(err.Error(), part) {
				t.Errorf("%q does not say %q", err, part)
			}
		}
		if !strings.Contains(bad.Hint(), "drive") {
			t.Errorf("hint %q", bad.Hint())
		}
	}
	reads := d.reads
	if n, err := r.Read(t.Context(), make([]byte, 300), 1, 3000); n != 0 || err == nil || d.reads != reads {
		t.Errorf("a file that failed is read again: %d, %v", n, err)
	}
	tp.same(r, 2, 0, 2000) // the file before it
	d.err = nil
	ok(t, r.Close()) // and the drive is plugged in again
	tp.same(r, 2, 0, 4000)
}

// A file that is cut while it is open is a changed one: the frames that are left
// are read, and the error says at which byte it ends.
func TestFileCutWhileItIsRead(t *testing.T) {
	tp := newTape(t, pcm24, 1, 2000)
	f := tp.add(1, 1, 0, 2000)
	r := tp.reader(OpenWAV)
	tp.same(r, 1, 0, 100)
	end := f.DataOffset + 3*700 + 1
	ok(t, os.Truncate(f.FullPath(), end))
	got := make([]byte, 3*1000)
	n, err := r.Read(t.Context(), got, 1, 500)
	var changed *ChangedError
	if n != 200 || !errors.As(err, &changed) || changed.Path != f.FullPath() || changed.Offset != end {
		t.Fatalf("%d frames, %v", n, err)
	}
	if !bytes.Equal(got, append(tp.want(1, 500, 200), make([]byte, 3*800)...)) {
		t.Error("other samples than were recorded")
	}
}

// A file that vanishes while it is open is read to its end; a reader that opens
// it afterwards says that it is gone.
func TestFileVanishesWhileItIsRead(t *testing.T) {
	tp := newTape(t, pcm24, 1, 2000)
	f := tp.add(1, 1, 0, 2000)
	r := tp.reader(OpenWAV)
	tp.same(r, 1, 0, 100)
	if err := os.Remove(f.FullPath()); err != nil {
		t.Skip("this system keeps files that are open:", err)
	}
	tp.same(r, 1, 100, 1900)
	ok(t, r.Close())
	n, err := r.Read(t.Context(), make([]byte, 300), 1, 0)
	var gone *UnreadableError
	if n != 0 || !errors.As(err, &gone) || !errors.Is(err, os.ErrNotExist) || !strings.Contains(gone.Hint(), "relocate") {
		t.Errorf("%d frames, %v", n, err)
	}
	if err := r.Check(1, 0, 1); !errors.As(err, &gone) {
		t.Errorf("checked: %v", err)
	}
	if err := r.Check(1, 2000, 3000); err != nil {
		t.Errorf("checked beyond the file: %v", err)
	}
}

// A row of the catalog that makes no sense is an error, not a crash.
func TestNonsenseInTheCatalog(t *testing.T) {
	tp := newTape(t, pcm24, 1, 2000)
	tp.add(1, 1, 0, 2000)
	rec := tp.rec
	rec.SampleBytes = 0
	if _, err := NewReader(rec, tp.files).Read(t.Context(), make([]byte, 30), 1, 0); err == nil {
		t.Error("samples of no bytes")
	}
	tp.files[0].Channels = 1 << 40
	tp.files[0].FirstTrack = 0
	var changed *ChangedError
	if _, err := tp.reader(OpenWAV).Read(t.Context(), make([]byte, 30), 1, 0); !errors.As(err, &changed) {
		t.Errorf("a file of too many channels: %v", err)
	}
}
