package scan

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
)

func TestVerify(t *testing.T) {
	dir, store := night(t), open(t)
	run(t, store, Options{}, dir)
	folder := filepath.Join(dir, "2031-05-02 Hall", "main")
	verify := func() map[string]Verified {
		all := map[string]Verified{}
		files, err := Verify(t.Context(), store, "2031-05-02", nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range files {
			all[filepath.Base(v.File)] = v
		}
		return all
	}
	for name, v := range verify() {
		if v.Status != OK {
			t.Errorf("untouched: %s: %+v", name, v)
		}
	}
	const flipped = 700_001
	flip(t, filepath.Join(folder, "TRK01_0001.wav"), flipped)
	if err := os.Truncate(filepath.Join(folder, "TRK01_0002.wav"), 500_000); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(folder, "TRK02_0001.wav")); err != nil {
		t.Fatal(err)
	}
	grown, err := os.OpenFile(filepath.Join(folder, "TRK02_0002.wav"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := grown.WriteString("more"); err != nil {
		t.Fatal(err)
	}
	if err := grown.Close(); err != nil {
		t.Fatal(err)
	}
	got := verify()
	for name, want := range map[string]string{"TRK01_0001.wav": Changed, "TRK01_0002.wav": Changed, "TRK02_0001.wav": Missing, "TRK02_0002.wav": Changed, "Show.wav": OK} {
		if got[name].Status != want {
			t.Errorf("%s: %+v, want %s", name, got[name], want)
		}
	}
	v := got["TRK01_0001.wav"]
	if len(v.Differs) != 1 || v.Differs[0].Offset > flipped || v.Differs[0].Offset+v.Differs[0].Length <= flipped {
		t.Errorf("the flipped byte %d is not in the stretches that differ: %+v", flipped, v)
	}
}

// TestVerifySaysWhatWasNeverRead looks at a file of which a scan got only a
// part.
func TestVerifySaysWhatWasNeverRead(t *testing.T) {
	long(t)
	dir, store := night(t), open(t)
	run(t, store, Options{}, dir)
	tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{Rig: "main"})
	if err != nil {
		t.Fatal(err)
	}
	files, err := store.Files(t.Context(), catalog.FileFilter{Recording: tracks[0].RecordingID})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.DropParts(t.Context(), catalog.PartFilter{Track: tracks[0].ID, From: 1}, []catalog.FileID{files[0].ID}, 480_000); err != nil {
		t.Fatal(err)
	}
	all, err := Verify(t.Context(), store, "", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range all {
		want := OK
		if v.File == files[0].FullPath() {
			want = Unread
		}
		if v.Status != want {
			t.Errorf("%+v, want %s", v, want)
		}
	}
}

func TestRelocate(t *testing.T) {
	old := night(t)
	store := open(t)
	run(t, store, Options{}, old)
	moved := filepath.Join(t.TempDir(), "drive")
	if err := os.Rename(old, moved); err != nil {
		t.Fatal(err)
	}
	volumes, err := Relocate(t.Context(), store, old, moved)
	if err != nil {
		t.Fatal(err)
	}
	if len(volumes) != 1 || !strings.HasSuffix(volumes[0].Root, "drive") {
		t.Errorf("moved %+v", volumes)
	}
	files, err := Verify(t.Context(), store, "", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range files {
		if v.Status != OK {
			t.Errorf("%+v", v)
		}
	}
	var notFound *catalog.NotFoundError
	if _, err := Relocate(t.Context(), store, old, moved); !errors.As(err, &notFound) {
		t.Errorf("relocating what is not there: %v", err)
	}
	if _, err := Relocate(t.Context(), store, moved, filepath.Join(moved, "nowhere")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("relocating to nowhere: %v", err)
	}
}

// Nothing moves to a folder that holds nothing of the volume, or other files of
// the same names.
func TestRelocateLooksFirst(t *testing.T) {
	dir := night(t)
	store := open(t)
	run(t, store, Options{}, dir)
	before, err := store.Volumes(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	others := filepath.Join(t.TempDir(), "others")
	if err := os.CopyFS(others, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(others, func(path string, d fs.DirEntry, err error) error {
		if err == nil && filepath.Ext(path) == ".wav" {
			flip(t, path, 200) // in the first minute of each
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for to, why := range map[string]string{t.TempDir(): "no such file", others: "other bytes"} {
		_, err := Relocate(t.Context(), store, dir, to)
		var e *NotThereError
		if !errors.As(err, &e) || !strings.Contains(err.Error(), why) || e.Hint() == "" {
			t.Errorf("got %v, want *NotThereError: %s", err, why)
		}
	}
	after, err := store.Volumes(t.Context())
	if err != nil || !slices.Equal(before, after) {
		t.Errorf("volumes are %v now, were %v; %v", after, before, err)
	}
}

// A changed file stays reported, whatever is scanned again, until a person
// accepts it or it has its bytes again.
func TestChangedFileStaysReportedUntilAccepted(t *testing.T) {
	for name, c := range map[string]struct {
		change func(t *testing.T, path string)
		scan   Options
	}{
		"a byte of the audio, found by a check": {func(t *testing.T, path string) { flip(t, path, 700_001) }, Options{Check: true}},
		"a byte of the header, found by its time": {func(t *testing.T, path string) {
			flip(t, path, 5) // of the RIFF chunk's size, which a reader need not believe
			if err := os.Chtimes(path, time.Now(), time.Now()); err != nil {
				t.Fatal(err)
			}
		}, Options{}},
		"cut short": {func(t *testing.T, path string) {
			if err := os.Truncate(path, 500_000); err != nil {
				t.Fatal(err)
			}
		}, Options{}},
	} {
		t.Run(name, func(t *testing.T) {
			dir, store := night(t), open(t)
			run(t, store, Options{}, dir)
			path := filepath.Join(dir, "2031-05-02 Hall", "main", "TRK01_0002.wav")
			status := func() Verified {
				t.Helper()
				all, err := Verify(t.Context(), store, "", nil)
				if err != nil {
					t.Fatal(err)
				}
				for _, v := range all {
					if filepath.Base(v.File) == filepath.Base(path) {
						return v
					}
					if v.Status != OK {
						t.Errorf("another file: %+v", v)
					}
				}
				t.Fatal("the file is gone from the catalog")
				return Verified{}
			}
			c.change(t, path)
			if v := status(); v.Status != Changed || v.MeasuredAgain != nil {
				t.Fatalf("before the scan: %+v", v)
			}
			if err := Accept(t.Context(), store, []string{path}, ""); err == nil {
				t.Error("accepted before it was measured again")
			}
			for i, opt := range []Options{c.scan, {Check: true}, {}, {Check: true}} {
				result := run(t, store, opt, dir)
				if said := slices.ContainsFunc(result.Problems, func(p Problem) bool { return p.File == path && strings.Contains(p.Problem, "measured again") }); said != (i == 0) {
					t.Errorf("scan %d: said %v: %+v", i+1, said, result.Problems)
				}
				if v := status(); v.Status != Changed || v.MeasuredAgain == nil || !strings.Contains(v.Problem, "measured again on") {
					t.Errorf("after scan %d: %+v", i+1, v)
				}
			}
			if err := Accept(t.Context(), store, []string{filepath.Join(dir, "nothing.wav")}, ""); err == nil {
				t.Error("a file that is not there was accepted")
			}
			if err := Accept(t.Context(), store, []string{path}, "mended on purpose"); err != nil {
				t.Fatal(err)
			}
			if v := status(); v.Status != OK {
				t.Errorf("accepted: %+v", v)
			}
			run(t, store, Options{Check: true}, dir)
			if v := status(); v.Status != OK {
				t.Errorf("accepted and scanned again: %+v", v)
			}
			flip(t, path, 300_001)
			run(t, store, Options{Check: true}, dir)
			if v := status(); v.Status != Changed || v.MeasuredAgain == nil {
				t.Errorf("changed once more: %+v", v)
			}
			flip(t, path, 300_001)
			run(t, store, Options{Check: true}, dir)
			if v := status(); v.Status != OK {
				t.Errorf("as it was accepted again: %+v", v)
			}
		})
	}
}

// What a recorder went on writing is no changed file.
func TestGrownFileIsNotChanged(t *testing.T) {
	dir, store := t.TempDir(), open(t)
	path := filepath.Join(dir, "2031-05-02", "TRK01.wav")
	for _, seconds := range []int{2, 5} {
		os.Remove(path) // the first time there is none
		write(t, path, take{track: 1, to: int64(seconds) * 8000})
		run(t, store, Options{}, dir)
		files, err := Verify(t.Context(), store, "", nil)
		if err != nil {
			t.Fatal(err)
		}
		if len(files) != 1 || files[0].Status != OK {
			t.Errorf("of %d s: %+v", seconds, files)
		}
	}
}

// TestScanFindsAMovedDrive scans the same files under another mount point, at
// the same level, one above and one below.
func TestScanFindsAMovedDrive(t *testing.T) {
	long(t)
	for _, below := range []string{"drive", "mnt/drive", "drive/2031-05-02 Hall"} {
		old, store := night(t), open(t)
		run(t, store, Options{}, old)
		before := content(t, store)
		base := t.TempDir()
		to := filepath.Join(base, "drive")
		if strings.HasPrefix(below, "mnt") {
			to = filepath.Join(base, "mnt", "drive")
			below = "mnt"
		}
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(old, to); err != nil {
			t.Fatal(err)
		}
		r := run(t, store, Options{}, filepath.Join(base, filepath.FromSlash(below)))
		if len(r.Moved) != 1 || r.FilesRead != 0 || r.BytesRead != 0 {
			t.Errorf("%s: moved %+v, %d files, %d bytes read, problems %v", below, r.Moved, r.FilesRead, r.BytesRead, r.Problems)
		}
		same(t, below, content(t, store), before)
	}
}

// TestOtherFilesOfTheSameNameAreNoMovedDrive has the same paths and sizes, but
// other sound.
func TestOtherFilesOfTheSameNameAreNoMovedDrive(t *testing.T) {
	store := open(t)
	old := lay(t, []file{{"2031-05-02 a/01 a.wav", take{to: 8000, track: 1}}})
	run(t, store, Options{}, old)
	if err := os.RemoveAll(old); err != nil {
		t.Fatal(err)
	}
	r := run(t, store, Options{}, lay(t, []file{{"2031-05-02 a/01 a.wav", take{to: 8000, track: 2}}}))
	if len(r.Moved) != 0 || r.FilesRead != 1 {
		t.Errorf("moved %+v, %d files read", r.Moved, r.FilesRead)
	}
}

func TestARenamedFolderKeepsItsRecording(t *testing.T) {
	long(t)
	dir, store := night(t), open(t)
	run(t, store, Options{}, dir)
	if err := os.Rename(filepath.Join(dir, "2031-05-02 Hall"), filepath.Join(dir, "Hall, second night 2031-05-02")); err != nil {
		t.Fatal(err)
	}
	r := run(t, store, Options{}, dir)
	if len(r.Shows) != 1 || len(r.Shows[0].Recordings) != 2 {
		t.Errorf("got %+v, problems %v", r.Shows, r.Problems)
	}
	files, err := Verify(t.Context(), store, "", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range files {
		if v.Status != OK {
			t.Errorf("%+v", v)
		}
	}
}
