package scan

import (
	"database/sql"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"nightreel/catalog"
)

// dump lists what scans made of files, without row ids and volumes, below dir.
func dump(t *testing.T, store *catalog.Store, dir string) []string {
	t.Helper()
	ctx := t.Context()
	ok := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	var lines []string
	add := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	ok(err)
	for _, sh := range shows {
		add("show %q %s %q venue %q", sh.Key, sh.Date, sh.Name, sh.Venue)
		for _, r := range sh.Recordings {
			starts := "-"
			if r.StartsAt != nil {
				starts = r.StartsAt.Format("01-02 15:04:05.000")
			}
			add(" recording %s %d Hz %d bit %s, %d frames, from %s", r.Rig, r.SampleRate, r.BitDepth, r.Encoding, r.Frames, starts)
			files, err := store.Files(ctx, catalog.FileFilter{Recording: r.ID})
			ok(err)
			for _, f := range files {
				rel, err := filepath.Rel(dir, f.FullPath())
				ok(err)
				pieces, err := store.Pieces(ctx, f.ID)
				ok(err)
				h := fnv.New64()
				for _, p := range pieces {
					fmt.Fprint(h, p.Offset, p.Length, p.Sum)
				}
				add("  file %s segment %d tracks %d+%d frames %d+%d unfinished %v sums %x", rel, f.Segment, f.FirstTrack, f.Channels, f.StartFrame, f.Frames, f.Unfinished, h.Sum64())
			}
			tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
			ok(err)
			for _, tr := range tracks {
				parts, err := store.Parts(ctx, catalog.PartFilter{Track: tr.ID})
				ok(err)
				h := fnv.New64()
				for _, p := range parts {
					fmt.Fprint(h, p.Part, p.Data)
				}
				add("  track %d %q assumed %v, %d frames, measured %x", tr.Number, tr.Name, tr.Assumed, tr.Frames, h.Sum64())
			}
			markers, err := store.Markers(ctx, r.ID)
			ok(err)
			for _, m := range markers {
				add("  marker %d+%d %q", m.Frame, m.Length, m.Label)
			}
		}
	}
	return lines
}

// smallTour is two dates: on the first a matinee and an evening in one folder a
// rig, which clocks alone tell apart, with a recorder in the lobby that ran
// through; on the second a soundcheck and two shows that folders name, two
// recorders that only their own names tell apart, segments without numbers told,
// and a show past midnight.
func smallTour() []file {
	const half = 800
	day := func(hour, minute int) time.Time { return at("2031-08-01", hour, minute) }
	next := func(hour, minute int) time.Time { return at("2031-08-02", hour, minute) }
	labelled := take{to: half, track: 1, starts: day(15, 0)}
	labelled.cues = append(labelled.cues, cue(100, "First"))
	return []file{
		{"2031-08-01 Harbour Hall/main/TRK01_0001.wav", labelled},
		{"2031-08-01 Harbour Hall/main/TRK01_0002.wav", take{from: half, to: 2 * half, track: 1, starts: day(15, 0)}},
		{"2031-08-01 Harbour Hall/main/TRK02_0001.wav", take{to: half, track: 2, starts: day(15, 0)}},
		{"2031-08-01 Harbour Hall/main/TRK02_0002.wav", take{from: half, to: 2 * half, track: 2, starts: day(15, 0)}},
		{"2031-08-01 Harbour Hall/main/TRK01_0003.wav", take{to: half, track: 1, starts: day(20, 0)}},
		{"2031-08-01 Harbour Hall/main/TRK02_0003.wav", take{to: half, track: 2, starts: day(20, 0)}},
		{"2031-08-01 Harbour Hall/backup/afternoon run.wav", take{to: half, track: 1, channels: 3, starts: day(15, 0).Add(time.Second)}},
		{"2031-08-01 Harbour Hall/backup/Night_0001.wav", take{to: half, track: 1, channels: 3, starts: day(20, 0).Add(time.Second)}},
		{"2031-08-01 Harbour Hall/backup/Night_0002.wav", take{from: half, to: 2*half + 7, track: 1, channels: 3, starts: day(20, 0).Add(time.Second)}},
		{"2031-08-01 Harbour Hall/lobby/mix.wav", take{to: half, track: 9, channels: 2, rate: 16000, starts: day(20, 1)}},

		{"2031-08-02 Barn soundcheck/main/Kick.wav", take{to: half, track: 1, starts: next(14, 0)}},
		{"2031-08-02 Barn matinee/main/Kick.wav", take{to: half, track: 1, starts: next(15, 30)}},
		{"2031-08-02 Barn matinee/main/Bass.wav", take{to: half, track: 2, starts: next(15, 30)}},
		{"2031-08-02 Barn matinee/backup/01.wav", take{to: half, track: 1, gain: 0.5, starts: next(15, 30)}},
		{"2031-08-02 The Barn/evening/one/Set 1/Kick.wav", take{to: half, track: 1, starts: next(20, 0), originator: "DeckOne"}},
		{"2031-08-02 The Barn/evening/one/Set 2/Kick.wav", take{from: 9 * half, to: 10 * half, track: 1, starts: next(20, 0), originator: "DeckOne"}},
		{"2031-08-02 The Barn/evening/one/Set 2/Alto.wav", take{from: 9 * half, to: 10 * half, track: 2, starts: next(20, 0), originator: "DeckOne"}},
		{"2031-08-02 The Barn/evening/two/Kick.wav", take{to: half, track: 1, starts: next(20, 0), gain: 0.4, originator: "DeckTwo"}},

		{"run/Show_0001.wav", take{to: half, track: 1, channels: 3, starts: at("2031-08-03", 23, 58)}},
		{"run/Show_0002.wav", take{to: half, track: 1, channels: 3, starts: at("2031-08-04", 0, 0)}},
		{"run, second deck/Show_0003.wav", take{to: half, track: 1, channels: 3, starts: at("2031-08-04", 0, 3), gain: 0.5}},
		{"copies/2031-08-02 Barn matinee/backup/01.wav", take{to: half, track: 1, gain: 0.5, starts: next(15, 30)}},
	}
}

// unfinishedFile is the file of the tour that a recorder has not finished.
const unfinishedFile = "2031-08-01 Harbour Hall/backup/Night_0002.wav"

// layTour writes the tour into dir.
func layTour(t *testing.T, dir string) {
	t.Helper()
	layIn(t, dir, smallTour())
	path := filepath.Join(dir, filepath.FromSlash(unfinishedFile))
	st, err := os.Stat(path)
	if err == nil {
		err = os.Truncate(path, st.Size()-300)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// What scans make of files depends on the files alone: not on which are scanned
// first, together or again, nor on the folder that is given, nor on when a file
// came into its folder.
func TestOrderOfScansMakesNoDifference(t *testing.T) {
	source := t.TempDir()
	layTour(t, source)
	var want []string
	trials := 40
	for trial := range trials + 1 {
		t.Run(fmt.Sprint(trial), func(t *testing.T) {
			rng := rand.New(rand.NewPCG(uint64(trial), 12))
			dir, store := t.TempDir(), open(t)
			if trial == 0 {
				if err := os.CopyFS(dir, os.DirFS(source)); err != nil {
					t.Fatal(err)
				}
				run(t, store, Options{Workers: 1}, dir)
				want = dump(t, store, dir)
				if testing.Verbose() {
					t.Log(strings.Join(want, "\n"))
				}
				return
			}
			history := scatter(t, rng, store, source, dir)
			if got := dump(t, store, dir); !slices.Equal(got, want) {
				t.Fatalf("%s\nafter\n%s", differ(got, want), strings.Join(history, "\n"))
			}
		})
	}
}

// differ lists the lines that only one of two dumps has.
func differ(got, want []string) string {
	var lines []string
	for i := range max(len(got), len(want)) {
		if i < len(got) && (i >= len(want) || got[i] != want[i]) {
			lines = append(lines, "got  "+got[i])
		}
		if i < len(want) && (i >= len(got) || got[i] != want[i]) {
			lines = append(lines, "want "+want[i])
		}
	}
	return strings.Join(lines, "\n")
}

// scatter brings the files to dir in a random order, or all at once, and scans
// them in random folders, some of them again. It returns what it did.
func scatter(t *testing.T, rng *rand.Rand, store *catalog.Store, source, dir string) (history []string) {
	t.Helper()
	files := smallTour()
	rng.Shuffle(len(files), func(i, k int) { files[i], files[k] = files[k], files[i] })
	atOnce := rng.IntN(2) == 0
	bring := func(f file) {
		path := filepath.Join(dir, filepath.FromSlash(f.path))
		data, err := os.ReadFile(filepath.Join(source, filepath.FromSlash(f.path)))
		if err == nil {
			err = os.MkdirAll(filepath.Dir(path), 0o755)
		}
		if err == nil {
			err = os.WriteFile(path, data, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if atOnce {
		for _, f := range files {
			bring(f)
		}
	}
	for len(files) > 0 {
		n := 1 + rng.IntN(min(6, len(files)))
		var dirs []string
		for _, f := range files[:n] {
			if !atOnce {
				bring(f)
			}
			folder := filepath.Join(dir, filepath.FromSlash(filepath.Dir(f.path)))
			for rng.IntN(3) == 0 && folder != dir { // a folder around it
				folder = filepath.Dir(folder)
			}
			dirs = append(dirs, folder)
		}
		for range 1 + rng.IntN(2) {
			history = append(history, fmt.Sprintf("scan %q", dirs))
			run(t, store, Options{Workers: 1}, dirs...)
			dirs = dirs[:1+rng.IntN(len(dirs))]
		}
		files = files[n:]
	}
	return history
}

// Two scans of a new folder at once make one set of recordings.
func TestTwoScansAtOnce(t *testing.T) {
	dir := t.TempDir()
	layTour(t, dir)
	alone := open(t)
	run(t, alone, Options{Workers: 1}, dir)
	want := dump(t, alone, dir)
	for round := range 6 {
		path := filepath.Join(t.TempDir(), "catalog.db")
		var wg sync.WaitGroup
		errs := make([]error, 3)
		roots := []string{dir, dir, filepath.Join(dir, "2031-08-01 Harbour Hall")}
		for i, root := range roots {
			store, err := catalog.Open(t.Context(), path)
			if err != nil {
				t.Fatal(err)
			}
			defer store.Close()
			wg.Go(func() { _, errs[i] = Run(t.Context(), store, []string{root}, Options{Workers: 1}, nil) })
		}
		wg.Wait()
		for _, err := range errs {
			if err != nil {
				t.Errorf("round %d: %v", round, err)
			}
		}
		store, err := catalog.Open(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		defer store.Close()
		same(t, fmt.Sprintf("round %d", round), dump(t, store, dir), want)
		if err := store.Check(t.Context()); err != nil {
			t.Error(err)
		}
	}
}

// Earlier versions left a recording twice when two scans of its folder ran at once:
// one without files, to which the takes belonged, and one with all files. The next
// scan of anything removes the first and keeps what a person entered about it.
func TestADoubledRecordingIsJoined(t *testing.T) {
	ctx := t.Context()
	dir, store := t.TempDir(), open(t)
	layTour(t, dir)
	run(t, store, Options{Workers: 1}, dir)
	want := dump(t, store, dir)
	show, err := store.Show(ctx, "2031-08-02 soundcheck")
	if err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite3", store.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	double, err := db.ExecContext(ctx, `INSERT INTO recordings (show_id, rig, sample_rate, bit_depth, sample_bytes, encoding, frames, starts_at)
		SELECT show_id, rig, sample_rate, bit_depth, sample_bytes, encoding, frames, starts_at FROM recordings WHERE id = ?`, show.Recordings[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	id, err := double.LastInsertId()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := store.SaveTake(ctx, catalog.Take{Show: show.Key, Song: "A", RecordingID: catalog.RecordingID(id), StartFrame: 80, EndFrame: 400, FoundBy: catalog.ByPerson, Confidence: 1}); err != nil {
		t.Fatal(err)
	}
	r := run(t, store, Options{Workers: 1}, filepath.Join(dir, "run"))
	same(t, "joined", dump(t, store, dir), want)
	if said := fmt.Sprint(r.Notes); !strings.Contains(said, "twice") {
		t.Errorf("notes %s", said)
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	if err != nil || len(takes) != 1 || takes[0].RecordingID != show.Recordings[0].ID || takes[0].StartFrame != 80 || takes[0].EndFrame != 400 {
		t.Errorf("takes %+v, %v", takes, err)
	}
	if r := run(t, store, Options{Workers: 1}, dir); len(r.Notes) > 1 || strings.Contains(fmt.Sprint(r.Notes), "twice") {
		t.Errorf("scanned again: %q", r.Notes)
	}
}

// A catalog from before headers were kept stays as it is, also where only some of
// its files are scanned again, and nothing is measured again.
func TestACatalogWithoutHeadersStaysAsItIs(t *testing.T) {
	dir := t.TempDir()
	layTour(t, dir)
	store := open(t)
	run(t, store, Options{Workers: 1}, dir)
	want := dump(t, store, dir)
	db, err := sql.Open("sqlite3", store.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.ExecContext(t.Context(), "UPDATE files SET header = '', content = ''"); err != nil {
		t.Fatal(err)
	}
	for _, folder := range []string{"2031-08-01 Harbour Hall/backup", "2031-08-02 The Barn/evening/two", "copies", "run", ""} {
		r := run(t, store, Options{Workers: 1}, filepath.Join(dir, filepath.FromSlash(folder)))
		if r.BytesRead > 2000 { // a copy's first bytes are compared
			t.Errorf("%q: %d bytes read", folder, r.BytesRead)
		}
		if got := dump(t, store, dir); !slices.Equal(got, want) {
			t.Fatalf("%q: %s", folder, differ(got, want))
		}
	}
}
