package scan

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
)

// file is a fixture by its path below the scanned folder.
type file struct {
	path string
	take
}

func lay(t *testing.T, files []file) string {
	t.Helper()
	dir := t.TempDir()
	layIn(t, dir, files)
	return dir
}

func layIn(t *testing.T, dir string, files []file) {
	t.Helper()
	for _, f := range files {
		write(t, filepath.Join(dir, filepath.FromSlash(f.path)), f.take)
	}
}

func TestGrouping(t *testing.T) {
	evening := at("2031-05-02", 21, 0)
	const half = 4000
	for _, c := range []struct {
		about string
		files []file
		opt   Options
		want  []string // of show 2031-05-02
	}{
		{"one file a track", []file{
			{"2031-05-02 Hall/01 Kick.wav", take{to: half}},
			{"2031-05-02 Hall/02 Snare.wav", take{to: half}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0]", "main: 2 Snare [02 Snare.wav@0]"}},

		{"names from iXML, numbers from iXML", []file{
			{"2031-05-02 Hall/a_01.wav", take{to: half, names: []string{"Kick"}, inputs: []int{7}}},
			{"2031-05-02 Hall/b_01.wav", take{to: half, names: []string{"Snare"}, inputs: []int{3}}},
		}, Options{}, []string{"main: 3 Snare [b_01.wav@0]", "main: 7 Kick [a_01.wav@0]"}},

		{"iXML that counts each file from 1 tells no number", []file{
			{"2031-05-02 Hall/04 a.wav", take{to: half, names: []string{"Kick"}, inputs: []int{1}}},
			{"2031-05-02 Hall/05 b.wav", take{to: half, names: []string{"Snare"}, inputs: []int{1}}},
		}, Options{}, []string{"main: 4 Kick [04 a.wav@0]", "main: 5 Snare [05 b.wav@0]"}},

		{"a stereo file takes two tracks", []file{
			{"2031-05-02 Hall/01 Kick.wav", take{to: half}},
			{"2031-05-02 Hall/02 OH.wav", take{to: half, channels: 2}},
			{"2031-05-02 Hall/04 Bass.wav", take{to: half}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0]", "main: 2 OH L [02 OH.wav@0]", "main: 3 OH R [02 OH.wav@0]", "main: 4 Bass [04 Bass.wav@0]"}},

		{"segments by number", []file{
			{"2031-05-02 Hall/TRK01_0001.wav", take{to: half}},
			{"2031-05-02 Hall/TRK01_0002.wav", take{from: half, to: 3 * half}},
			{"2031-05-02 Hall/TRK02_0001.wav", take{to: half}},
			{"2031-05-02 Hall/TRK02_0002.wav", take{from: half, to: 3 * half}},
		}, Options{}, []string{"main: 1  [TRK01_0001.wav@0] [TRK01_0002.wav@4000]", "main: 2  [TRK02_0001.wav@0] [TRK02_0002.wav@4000]"}},

		{"a track that lacks a segment goes on in its place", []file{
			{"2031-05-02 Hall/TRK01_0001.wav", take{to: half}},
			{"2031-05-02 Hall/TRK01_0002.wav", take{from: half, to: 3 * half}},
			{"2031-05-02 Hall/TRK01_0003.wav", take{from: 3 * half, to: 4 * half}},
			{"2031-05-02 Hall/TRK02_0001.wav", take{to: half}},
			{"2031-05-02 Hall/TRK02_0003.wav", take{from: 3 * half, to: 4 * half}},
		}, Options{}, []string{"main: 1  [TRK01_0001.wav@0] [TRK01_0002.wav@4000] [TRK01_0003.wav@12000]", "main: 2  [TRK02_0001.wav@0] [TRK02_0003.wav@12000]"}},

		{"segments by number, where the time reference contradicts it", []file{
			{"2031-05-02 Hall/Show_0002.wav", take{to: half, channels: 3, starts: evening}},
			{"2031-05-02 Hall/Show_0001.wav", take{from: half, to: 2 * half, channels: 3, starts: evening}},
		}, Options{}, []string{"main: 1  [Show_0001.wav@0] [Show_0002.wav@4000]", "main: 2  [Show_0001.wav@0] [Show_0002.wav@4000]", "main: 3  [Show_0001.wav@0] [Show_0002.wav@4000]"}},

		{"a pause by time reference stays a pause", []file{
			{"2031-05-02 Hall/Show_0001.wav", take{to: half, channels: 3, starts: evening}},
			{"2031-05-02 Hall/Show_0002.wav", take{from: 3 * half, to: 4 * half, channels: 3, starts: evening}},
		}, Options{}, []string{"main: 1  [Show_0001.wav@0] [Show_0002.wav@12000]", "main: 2  [Show_0001.wav@0] [Show_0002.wav@12000]", "main: 3  [Show_0001.wav@0] [Show_0002.wav@12000]"}},

		{"polyphonic files side by side", []file{
			{"2031-05-02 Hall/Show_1-3_0001.wav", take{to: half, channels: 3}},
			{"2031-05-02 Hall/Show_4-6_0001.wav", take{to: half, channels: 3, track: 3}},
		}, Options{}, []string{"main: 1  [Show_1-3_0001.wav@0]", "main: 2  [Show_1-3_0001.wav@0]", "main: 3  [Show_1-3_0001.wav@0]",
			"main: 4  [Show_4-6_0001.wav@0]", "main: 5  [Show_4-6_0001.wav@0]", "main: 6  [Show_4-6_0001.wav@0]"}},

		{"polyphonic files named by the time of day", []file{
			{"2031-05-02 Hall/rec 2100 a.wav", take{to: half, channels: 3, starts: evening}},
			{"2031-05-02 Hall/rec 2101 b.wav", take{from: half, to: 2 * half, channels: 3, starts: evening}},
		}, Options{}, []string{"main: 1  [rec 2100 a.wav@0] [rec 2101 b.wav@4000]", "main: 2  [rec 2100 a.wav@0] [rec 2101 b.wav@4000]", "main: 3  [rec 2100 a.wav@0] [rec 2101 b.wav@4000]"}},

		{"two sets in two folders are one recording", []file{
			{"2031-05-02 Hall/Set 1/01 Kick.wav", take{to: half, starts: evening}},
			{"2031-05-02 Hall/Set 2/01 Kick.wav", take{from: 8 * half, to: 9 * half, starts: evening}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0] [01 Kick.wav@32000]"}},

		{"two rigs by folder", []file{
			{"2031-05-02 Hall/main/01 Kick.wav", take{to: half}},
			{"2031-05-02 Hall/Backup/01 Kick.wav", take{to: half}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0]", "backup: 1 Kick [01 Kick.wav@0]"}},

		{"two rigs by originator", []file{
			{"2031-05-02 Hall/one/01 Kick.wav", take{to: half, starts: evening, originator: "Rig A"}},
			{"2031-05-02 Hall/two/01 Kick.wav", take{to: half, starts: evening, originator: "Rig B"}},
		}, Options{}, []string{"Rig A: 1 Kick [01 Kick.wav@0]", "Rig B: 1 Kick [01 Kick.wav@0]"}},

		{"two rigs without a word go by their folders", []file{
			{"2031-05-02 Hall/one/01 Kick.wav", take{to: half, starts: evening}},
			{"2031-05-02 Hall/two/01 Kick.wav", take{to: half, starts: evening, gain: 0.5}},
		}, Options{}, []string{"one: 1 Kick [01 Kick.wav@0]", "two: 1 Kick [01 Kick.wav@0]"}},

		{"two rigs that nothing names", []file{
			{"2031-05-02 Hall/01 Kick.wav", take{to: half, starts: evening}},
			{"2031-05-02 Hall, Town/01 Kick.wav", take{to: half, starts: evening, gain: 0.5}},
		}, Options{}, []string{"rig 1: 1 Kick [01 Kick.wav@0]", "rig 2: 1 Kick [01 Kick.wav@0]"}},

		{"the same recording twice is one rig", []file{
			{"a/2031-05-02 Hall/01 Kick.wav", take{to: half, starts: evening}},
			{"b/2031-05-02 Hall/01 Kick.wav", take{to: half, starts: evening}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0]"}},

		{"a recorder in the lobby is no main rig", []file{
			{"2031-05-02 Hall/main/01 Kick.wav", take{to: half}},
			{"2031-05-02 Hall/backup/01 Kick.wav", take{to: half}},
			{"2031-05-02 Hall/Lobby/night.wav", take{to: half, channels: 2, rate: 16000}},
			{"2031-05-02 Hall/house mix/mix.wav", take{to: half, channels: 2}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0]", "backup: 1 Kick [01 Kick.wav@0]", "house mix: 1 mix L [mix.wav@0]", "house mix: 2 mix R [mix.wav@0]",
			"lobby: 1 night L [night.wav@0]", "lobby: 2 night R [night.wav@0]"}},

		{"beside a backup that has a folder the rest is main", []file{
			{"2031-05-02 Hall/01 Kick.wav", take{to: half}},
			{"2031-05-02 Hall/backup/01 Kick.wav", take{to: half}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0]", "backup: 1 Kick [01 Kick.wav@0]"}},

		{"a rig's drive with a folder a night", []file{
			{"main/2031-05-02 Hall/01 Kick.wav", take{to: half}},
			{"backup/2031-05-02 Hall/01 Kick.wav", take{to: half}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0]", "backup: 1 Kick [01 Kick.wav@0]"}},

		{"a rig by the caller", []file{
			{"2031-05-02 Hall/01 Kick.wav", take{to: half}},
		}, Options{Rig: "truck"}, []string{"truck: 1 Kick [01 Kick.wav@0]"}},

		{"two rates are two recordings", []file{
			{"2031-05-02 Hall/01 Kick.wav", take{to: half}},
			{"2031-05-02 Hall/02 Snare.wav", take{to: half, rate: 16000}},
		}, Options{}, []string{"main: 1 Kick [01 Kick.wav@0]", "main: 2 Snare [02 Snare.wav@0]"}},

		{"a name pattern by the caller", []file{
			{"2031-05-02 Hall/x5-Kick.wav", take{to: half}},
			{"2031-05-02 Hall/x2-Snare.wav", take{to: half}},
		}, Options{NamePattern: "x{track}-{name}"}, []string{"main: 2 Snare [x2-Snare.wav@0]", "main: 5 Kick [x5-Kick.wav@0]"}},

		{"a date by the caller, where nothing tells it", []file{
			{"Hall/01 Kick.wav", take{to: half}},
		}, Options{Date: "2031-05-02"}, []string{"main: 1 Kick [01 Kick.wav@0]"}},

		{"a date by the caller is not believed against the folder", []file{
			{"2031-05-02 Hall/01 Kick.wav", take{to: half}},
		}, Options{Date: "2031-07-07"}, []string{"main: 1 Kick [01 Kick.wav@0]"}},

		{"past midnight is one show, two rigs and a late segment", []file{
			{"gig/main/Show_0001.wav", take{to: 480000, channels: 3, starts: at("2031-05-02", 23, 59)}},
			{"gig/main/Show_0002.wav", take{from: 480000, to: 484000, channels: 3, starts: at("2031-05-02", 23, 59)}},
			{"gig/backup/01 Kick.wav", take{to: half, starts: at("2031-05-03", 0, 10)}},
		}, Options{}, []string{"main: 1  [Show_0001.wav@0] [Show_0002.wav@480000]", "main: 2  [Show_0001.wav@0] [Show_0002.wav@480000]",
			"main: 3  [Show_0001.wav@0] [Show_0002.wav@480000]", "backup: 1 Kick [01 Kick.wav@0]"}},

		{"past midnight in a folder of its own", []file{
			{"truck/Show_0001.wav", take{to: 480000, channels: 3, starts: at("2031-05-02", 23, 59)}},
			{"desk/01 Kick.wav", take{to: half, rate: 16000, starts: at("2031-05-03", 0, 10)}},
		}, Options{}, []string{"main: 1  [Show_0001.wav@0]", "main: 2  [Show_0001.wav@0]", "main: 3  [Show_0001.wav@0]", "main: 1 Kick [01 Kick.wav@0]"}},
	} {
		t.Run(c.about, func(t *testing.T) {
			store := open(t)
			r := run(t, store, c.opt, lay(t, c.files))
			if got := summary(t, store, "2031-05-02"); !slices.Equal(got, c.want) {
				t.Errorf("got\n %s\nwant\n %s\nproblems %v", strings.Join(got, "\n "), strings.Join(c.want, "\n "), r.Problems)
			}
			if len(r.Shows) != 1 {
				t.Errorf("%d shows, want 1", len(r.Shows))
			}
		})
	}
}

func TestDates(t *testing.T) {
	for _, c := range []struct {
		about, path string
		take        take
		date        catalog.Date
		venue       string
	}{
		{"folder", "2031-05-02 Some Hall/01 a.wav", take{}, "2031-05-02", "Some Hall"},
		{"folder around the rig's", "Some Hall 2031-05-02/backup/01 a.wav", take{}, "2031-05-02", "Some Hall"},
		{"venue in the date's folder", "2031-05-02/Some Hall/main/01 a.wav", take{}, "2031-05-02", "Some Hall"},
		{"the folder counts, not a wrong clock", "2031-05-02 Some Hall/01 a.wav", take{starts: at("2001-01-01", 1, 0)}, "2031-05-02", "Some Hall"},
		{"file name", "Some Hall/20310502_01.wav", take{}, "2031-05-02", "Some Hall"},
		{"bext", "Some Hall/01 a.wav", take{starts: at("2031-05-02", 20, 0)}, "2031-05-02", "Some Hall"},
		{"bext past midnight, alone", "Some Hall/01 a.wav", take{starts: at("2031-05-02", 0, 30)}, "2031-05-02", "Some Hall"},
	} {
		t.Run(c.about, func(t *testing.T) {
			c.take.to = 800
			store := open(t)
			r := run(t, store, Options{}, lay(t, []file{{c.path, c.take}}))
			if len(r.Shows) != 1 || r.Shows[0].Date != c.date || r.Shows[0].Venue != c.venue || len(r.Problems) > 0 && !strings.Contains(r.Problems[0].Problem, "does not fit the date") {
				t.Errorf("got %+v, problems %v", r.Shows, r.Problems)
			}
		})
	}
}

func TestDateFromFileTimeIsSaid(t *testing.T) {
	store := open(t)
	r := run(t, store, Options{}, lay(t, []file{{"x/01 a.wav", take{to: 800}}}))
	if len(r.Shows) != 1 || r.Shows[0].Date != catalog.Date(time.Now().Format(time.DateOnly)) || len(r.Problems) != 1 {
		t.Errorf("got %+v, problems %v", r.Shows, r.Problems)
	}
}

func TestBothNightsOfOneFolderStayApart(t *testing.T) {
	store := open(t)
	r := run(t, store, Options{}, lay(t, []file{
		{"x/Show_0001.wav", take{to: 800, channels: 3, starts: at("2031-05-02", 21, 0)}},
		{"x/Show_0002.wav", take{to: 800, channels: 3, starts: at("2031-05-03", 21, 0)}},
	}))
	if len(r.Shows) != 2 {
		t.Errorf("%d shows, want 2", len(r.Shows))
	}
}

func TestMissingSegmentIsSaid(t *testing.T) {
	store := open(t)
	r := run(t, store, Options{}, lay(t, []file{
		{"2031-05-02 x/Show_0001.wav", take{to: 4000, channels: 3}},
		{"2031-05-02 x/Show_0003.wav", take{to: 4000, channels: 3}},
	}))
	files, err := store.Files(t.Context(), catalog.FileFilter{})
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != 2 || files[1].StartFrame != 8000 || files[1].Segment != 2 {
		t.Errorf("files %+v", files)
	}
	if len(r.Problems) != 1 || !strings.Contains(r.Problems[0].Problem, "missing") {
		t.Errorf("problems %v", r.Problems)
	}
}

func TestMarkers(t *testing.T) {
	store := open(t)
	a := take{to: 4000}
	a.cues = append(a.cues, cue(1000, "First"))
	b := take{from: 4000, to: 8000}
	b.cues = append(b.cues, cue(500, "Second"))
	run(t, store, Options{}, lay(t, []file{{"2031-05-02 x/TRK01_0001.wav", a}, {"2031-05-02 x/TRK01_0002.wav", b}, {"2031-05-02 x/TRK02_0001.wav", a}, {"2031-05-02 x/TRK02_0002.wav", b}}))
	markers, err := store.Markers(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	if len(markers) != 2 || markers[0].Frame != 1000 || markers[0].Label != "First" || markers[1].Frame != 4500 {
		t.Errorf("markers %+v", markers)
	}
}
