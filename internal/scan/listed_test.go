package scan

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
)

// list puts an input list in force: track 1 is the first channel, "" none.
func list(t *testing.T, store *catalog.Store, channels ...string) {
	t.Helper()
	l := catalog.InputList{From: "2031-05-01"}
	for i, c := range channels {
		if c != "" {
			l.Inputs = append(l.Inputs, catalog.Input{Track: i + 1, Channel: c})
		}
	}
	if err := store.SaveInputList(t.Context(), l); err != nil {
		t.Fatal(err)
	}
}

// patched lists what a night's tracks hold: "2 Snare Top = a.wav".
func patched(t *testing.T, store *catalog.Store) (lines []string) {
	t.Helper()
	tracks, err := store.Tracks(t.Context(), catalog.TrackFilter{})
	if err != nil {
		t.Fatal(err)
	}
	files, err := store.Files(t.Context(), catalog.FileFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, tr := range tracks {
		for _, f := range files {
			if f.FirstTrack <= tr.Number && tr.Number < f.FirstTrack+f.Channels {
				lines = append(lines, fmt.Sprintf("%d %s = %s", tr.Number, tr.Channel, filepath.Base(f.Path)))
			}
		}
	}
	return lines
}

// Files without numbers have the same tracks, and every channel of the list its own
// file, whether the list was imported before the scan or after it.
func TestListAndScanInAnyOrder(t *testing.T) {
	const half = 4000
	names := func(names ...string) (files []file) {
		for i, n := range names {
			files = append(files, file{"2031-05-02 Hall/" + n + ".wav", take{to: half, track: i + 1}})
		}
		return files
	}
	five := []string{"Kick In", "Snare Top", "Bass DI", "Guitar 1", "Guitar 2"}
	for _, c := range []struct {
		about string
		files []file
		list  []string
		want  []string
	}{
		{"all are channels", names("Bass DI", "Kick In", "Snare Top"), five,
			[]string{"1 Bass DI = Bass DI.wav", "2 Kick In = Kick In.wav", "3 Snare Top = Snare Top.wav"}},

		{"what is in no list gets a free number and its own name", names("Announcer", "Bass DI", "Kick_In"), five,
			[]string{"1 Announcer = Announcer.wav", "2 Bass DI = Bass DI.wav", "3 Kick In = Kick_In.wav"}},

		{"a number at the end may be the channel's", names("Guitar 1", "Guitar 2", "Snare Top"), five,
			[]string{"1 Guitar 1 = Guitar 1.wav", "2 Guitar 2 = Guitar 2.wav", "3 Snare Top = Snare Top.wav"}},

		{"none is a channel", names("Alto", "Tenor"), five,
			[]string{"1 Alto = Alto.wav", "2 Tenor = Tenor.wav"}},

		{"a number in the name wins over the name", names("01 Snare Top", "02 Kick In", "03 Bass DI"), five,
			[]string{"1 Kick In = 01 Snare Top.wav", "2 Snare Top = 02 Kick In.wav", "3 Bass DI = 03 Bass DI.wav"}},

		{"numbers alone", names("TRK01", "TRK03"), five,
			[]string{"1 Kick In = TRK01.wav", "3 Bass DI = TRK03.wav"}},

		{"a pair is two channels, wherever the list has them", []file{
			{"2031-05-02 Hall/Kick.wav", take{to: half, track: 1}},
			{"2031-05-02 Hall/Overhead.wav", take{to: half, track: 2, channels: 2}},
		}, []string{"Overhead L", "Kick", "Overhead R"},
			[]string{"1 Kick = Kick.wav", "2 Overhead L = Overhead.wav", "3 Overhead R = Overhead.wav"}},

		{"a polyphonic file's places are numbers", []file{
			{"2031-05-02 Hall/Show.wav", take{to: half, channels: 3, names: []string{"Bass DI", "Kick In", "Hat"}}},
		}, five,
			[]string{"1 Kick In = Show.wav", "2 Snare Top = Show.wav", "3 Bass DI = Show.wav"}},
	} {
		t.Run(c.about, func(t *testing.T) {
			for _, about := range []string{"list first", "scan first"} {
				store, dir := open(t), lay(t, c.files)
				if about == "list first" {
					list(t, store, c.list...)
				}
				run(t, store, Options{}, dir)
				list(t, store, c.list...)
				if got := patched(t, store); !slices.Equal(got, c.want) {
					t.Errorf("%s: got\n %s\nwant\n %s", about, strings.Join(got, "\n "), strings.Join(c.want, "\n "))
				}
				scanned := content(t, store)
				again := run(t, store, Options{}, dir)
				if again.BytesRead != 0 || len(again.Problems) != 0 {
					t.Errorf("%s: scanned again: %d bytes read, problems %v", about, again.BytesRead, again.Problems)
				}
				same(t, about+", scanned again", content(t, store), scanned)
			}
		})
	}
}

// A list that changes, or a file that comes late or is gone, costs no measurement:
// tracks get other numbers where a file comes that lies before them by name, and
// keep what was measured of them.
func TestAssumedNumbersMoveWithTheirTracks(t *testing.T) {
	const half = 4000
	store := open(t)
	dir := lay(t, []file{
		{"2031-05-02 Hall/Bass DI.wav", take{to: half, track: 1}},
		{"2031-05-02 Hall/Kick In.wav", take{to: half, track: 2}},
		{"2031-05-02 Hall/Snare Top.wav", take{to: half, track: 3}},
	})
	list(t, store, "Kick In", "Snare Top", "Bass DI")
	first := run(t, store, Options{}, dir)

	list(t, store, "Bass DI", "", "Kick In", "Hat", "Snare Top")
	if r := run(t, store, Options{}, dir); r.BytesRead != 0 {
		t.Errorf("another list: %d bytes read", r.BytesRead)
	}

	layIn(t, dir, []file{{"2031-05-02 Hall/Announcer.wav", take{to: half, track: 4}}})
	if err := os.Remove(filepath.Join(dir, "2031-05-02 Hall", "Kick In.wav")); err != nil {
		t.Fatal(err)
	}
	r := run(t, store, Options{}, dir)
	want := []string{"1 Announcer = Announcer.wav", "2 Bass DI = Bass DI.wav", "3 Kick In = Kick In.wav", "4 Snare Top = Snare Top.wav"}
	if got := patched(t, store); r.BytesRead >= first.BytesRead/2 || !slices.Equal(got, want) {
		t.Errorf("a file came and one is gone: %d bytes read, %v", r.BytesRead, got)
	}
	if len(r.Problems) != 1 || !strings.Contains(r.Problems[0].Problem, "missing") {
		t.Errorf("problems %v", r.Problems)
	}
	recordings, err := store.Recordings(t.Context(), catalog.RecordingFilter{})
	if err != nil {
		t.Fatal(err)
	}
	if keys, err := store.PartKeys(t.Context(), catalog.PartFilter{Recording: recordings[0].ID}); err != nil || len(keys) != 4 {
		t.Errorf("%d of 4 tracks are measured, %v", len(keys), err)
	}
}

// A folder with another name is the same recording, with the numbers that it had,
// whatever list has come since.
func TestAssumedNumbersOfARenamedFolder(t *testing.T) {
	const half = 4000
	store := open(t)
	dir := lay(t, []file{
		{"2031-05-02 Hall/Bass DI.wav", take{to: half, track: 1}},
		{"2031-05-02 Hall/Kick In.wav", take{to: half, track: 2}},
	})
	run(t, store, Options{}, dir)
	before, err := store.Recordings(t.Context(), catalog.RecordingFilter{})
	if err != nil {
		t.Fatal(err)
	}
	list(t, store, "Kick In", "Snare Top", "Bass DI")
	if err := os.Rename(filepath.Join(dir, "2031-05-02 Hall"), filepath.Join(dir, "2031-05-02 Barn")); err != nil {
		t.Fatal(err)
	}
	run(t, store, Options{}, dir)
	after, err := store.Recordings(t.Context(), catalog.RecordingFilter{})
	if err != nil || len(after) != 1 || after[0].ID != before[0].ID {
		t.Errorf("recordings %+v, before %+v, %v", after, before, err)
	}
	if got, want := patched(t, store), []string{"1 Bass DI = Bass DI.wav", "2 Kick In = Kick In.wav"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Two sets in two folders go together by name, also where the second lacks a
// file.
func TestAssumedNumbersOfTwoSets(t *testing.T) {
	const half = 4000
	evening := at("2031-05-02", 21, 0)
	store := open(t)
	run(t, store, Options{}, lay(t, []file{
		{"2031-05-02 Hall/Set 1/Alto.wav", take{to: half, track: 1, starts: evening}},
		{"2031-05-02 Hall/Set 1/Bass.wav", take{to: half, track: 2, starts: evening}},
		{"2031-05-02 Hall/Set 2/Bass.wav", take{from: 8 * half, to: 9 * half, track: 2, starts: evening}},
		{"2031-05-02 Hall/Set 2/Choir.wav", take{from: 8 * half, to: 9 * half, track: 3, starts: evening}},
	}))
	want := []string{"main: 1 Alto [Alto.wav@0]", "main: 2 Bass [Bass.wav@0] [Bass.wav@32000]", "main: 3 Choir [Choir.wav@32000]"}
	if got := summary(t, store, "2031-05-02"); !slices.Equal(got, want) {
		t.Errorf("got\n %s", strings.Join(got, "\n "))
	}
}
