package scan

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

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
