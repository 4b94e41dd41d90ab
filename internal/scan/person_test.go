package scan

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/rigs"
	"nightreel/internal/wavfile"
)

// heads lists shows and their recordings: "2031-08-01 matinee @Hall: main 15:00 2 files".
func heads(t *testing.T, store *catalog.Store) (lines []string) {
	t.Helper()
	shows, err := store.Shows(t.Context(), catalog.ShowFilter{})
	if err != nil {
		t.Fatal(err)
	}
	for _, sh := range shows {
		line := fmt.Sprintf("%s @%s:", sh.Key, sh.Venue)
		var recordings []string
		for _, r := range sh.Recordings {
			starts := "-"
			if r.StartsAt != nil {
				starts = r.StartsAt.Format("15:04")
			}
			recordings = append(recordings, fmt.Sprintf(" %s %s %d", r.Rig, starts, r.Files))
		}
		slices.Sort(recordings)
		lines = append(lines, line+strings.Join(recordings, ","))
	}
	return lines
}

func wantHeads(t *testing.T, about string, store *catalog.Store, want ...string) {
	t.Helper()
	if got := heads(t, store); !slices.Equal(got, want) {
		t.Errorf("%s: got\n %s\nwant\n %s", about, strings.Join(got, "\n "), strings.Join(want, "\n "))
	}
}

func TestSeveralShowsOfADate(t *testing.T) {
	const half = 800
	day := func(hour, minute int) time.Time { return at("2031-08-01", hour, minute) }
	kick := func(starts time.Time) take { return take{to: half, track: 1, starts: starts} }
	for _, c := range []struct {
		about string
		files []file
		want  []string
	}{
		{"folders of a date name matinee and evening", []file{
			{"2031-08-01 Harbour Hall matinee/01 Kick.wav", kick(day(15, 0))},
			{"2031-08-01 Harbour Hall evening/01 Kick.wav", kick(day(20, 0))},
		}, []string{"2031-08-01 matinee @Harbour Hall: main 15:00 1", "2031-08-01 evening @Harbour Hall: main 20:00 1"}},

		{"folders below the date's name them, rigs within", []file{
			{"2031-08-01 Harbour Hall/1 Soundcheck/main/01 Kick.wav", kick(day(17, 0))},
			{"2031-08-01 Harbour Hall/2 Late Show/main/01 Kick.wav", kick(day(18, 0))},
			{"2031-08-01 Harbour Hall/2 Late Show/backup/01 Kick.wav", kick(day(18, 0))},
		}, []string{"2031-08-01 soundcheck @Harbour Hall: main 17:00 1", "2031-08-01 late @Harbour Hall: backup 18:00 1, main 18:00 1"}},

		{"one folder, clocks apart", []file{
			{"2031-08-01 Harbour Hall/TRK01_0001.wav", kick(day(15, 0))},
			{"2031-08-01 Harbour Hall/TRK01_0002.wav", kick(day(20, 0))},
		}, []string{"2031-08-01 15:00 @Harbour Hall: main 15:00 1", "2031-08-01 20:00 @Harbour Hall: main 20:00 1"}},

		{"a pause within a show", []file{
			{"2031-08-01 Harbour Hall/TRK01_0001.wav", kick(day(20, 0))},
			{"2031-08-01 Harbour Hall/TRK01_0002.wav", kick(day(21, 29))},
		}, []string{"2031-08-01 @Harbour Hall: main 20:00 2"}},

		{"rigs go together by their clocks, a few minutes apart", []file{
			{"2031-08-01 Harbour Hall/main/TRK01_0001.wav", kick(day(15, 0))},
			{"2031-08-01 Harbour Hall/main/TRK01_0002.wav", kick(day(20, 0))},
			{"2031-08-01 Harbour Hall/backup/TRK01_0001.wav", kick(day(14, 50))},
			{"2031-08-01 Harbour Hall/backup/TRK01_0002.wav", kick(day(20, 10))},
		}, []string{"2031-08-01 15:00 @Harbour Hall: backup 14:50 1, main 15:00 1", "2031-08-01 20:00 @Harbour Hall: backup 20:10 1, main 20:00 1"}},

		{"a backup whose clock is hours off goes by the order", []file{
			{"2031-08-01 Harbour Hall/main/TRK01_0001.wav", kick(day(15, 0))},
			{"2031-08-01 Harbour Hall/main/TRK01_0002.wav", kick(day(20, 0))},
			{"2031-08-01 Harbour Hall/backup/TRK01_0001.wav", kick(day(1, 0))},
			{"2031-08-01 Harbour Hall/backup/TRK01_0002.wav", kick(day(6, 0))},
		}, []string{"2031-08-01 15:00 @Harbour Hall: backup 01:00 1, main 15:00 1", "2031-08-01 20:00 @Harbour Hall: backup 06:00 1, main 20:00 1"}},

		{"a clock hours off is no second show", []file{
			{"2031-08-01 Harbour Hall/main/01 Kick.wav", kick(day(20, 0))},
			{"2031-08-01 Harbour Hall/backup/01 Kick.wav", kick(day(13, 0))},
		}, []string{"2031-08-01 @Harbour Hall: backup 13:00 1, main 20:00 1"}},

		{"what ran through both does not make one of them", []file{
			{"2031-08-01 Harbour Hall/main/TRK01_0001.wav", kick(day(15, 0))},
			{"2031-08-01 Harbour Hall/main/TRK01_0002.wav", kick(day(17, 0))},
			{"2031-08-01 Harbour Hall/lobby/mix.wav", take{to: 130 * 60 * 8000 / 60, track: 5, channels: 2, starts: day(15, 0)}},
		}, []string{"2031-08-01 15:00 @Harbour Hall: lobby 15:00 1, main 15:00 1", "2031-08-01 17:00 @Harbour Hall: main 17:00 1"}},

		{"stages of a festival", []file{
			{"2031-08-01 Meadow/Main Stage/01 Kick.wav", kick(day(15, 0))},
			{"2031-08-01 Meadow/Second Stage/01 Kick.wav", kick(day(15, 10))},
		}, []string{"2031-08-01 main stage @Meadow: main 15:00 1", "2031-08-01 second stage @Meadow: main 15:10 1"}},

		{"files without clocks beside rigs that have them", []file{
			{"2031-08-01 Harbour Hall/main/01 Kick.wav", kick(day(20, 0))},
			{"2031-08-01 Harbour Hall/backup/01 Kick.wav", take{to: half, track: 1}},
		}, []string{"2031-08-01 @Harbour Hall: backup - 1, main 20:00 1"}},

		{"the venue of most files, of as many the first", []file{
			{"2031-08-01 Harbour Hall/main/01 Kick.wav", kick(day(20, 0))},
			{"2031-08-01 Harbour Hall/main/02 Bass.wav", kick(day(20, 0))},
			{"2031-08-01 Habour Hall/backup/01 Kick.wav", kick(day(20, 0))},
		}, []string{"2031-08-01 @Harbour Hall: backup 20:00 1, main 20:00 2"}},
	} {
		t.Run(c.about, func(t *testing.T) {
			store := open(t)
			r := run(t, store, Options{}, lay(t, c.files))
			wantHeads(t, fmt.Sprint(r.Problems), store, c.want...)
		})
	}
}

func TestADateAloneIsAmbiguous(t *testing.T) {
	store := open(t)
	run(t, store, Options{}, lay(t, []file{
		{"2031-08-01 Hall matinee/01 Kick.wav", take{to: 800}},
		{"2031-08-01 Hall evening/01 Kick.wav", take{to: 800, gain: 0.5}},
	}))
	_, err := store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-08-01"})
	if e, ok := err.(*catalog.AmbiguousShowError); !ok || !strings.Contains(e.Hint(), `"2031-08-01 matinee"`) {
		t.Errorf("got %v", err)
	}
	if _, err := store.Takes(t.Context(), catalog.TakeFilter{Show: "2031-08-01  Matinee"}); err != nil {
		t.Error(err)
	}
}

// What a person said about shows holds when the files are scanned again, also in
// part, and is taken back on demand.
func TestWordsAboutShows(t *testing.T) {
	const half = 800
	day := func(hour, minute int) time.Time { return at("2031-08-01", hour, minute) }
	files := []file{
		{"2031-08-01 Hall/main/TRK01_0001.wav", take{to: half, track: 1, starts: day(18, 0)}},
		{"2031-08-01 Hall/main/TRK01_0002.wav", take{to: half, track: 1, starts: day(19, 0)}},
		{"2031-08-01 Hall/backup/TRK01_0001.wav", take{to: half, track: 1, starts: day(18, 0), gain: 0.5}},
		{"2031-08-01 Hall/backup/TRK01_0002.wav", take{to: half, track: 1, starts: day(19, 0), gain: 0.5}},
	}
	dir, store := lay(t, files), open(t)
	run(t, store, Options{}, dir)
	again := func(about string, want ...string) {
		t.Helper()
		wantHeads(t, about, store, want...)
		run(t, store, Options{}, filepath.Join(dir, "2031-08-01 Hall", "backup"))
		run(t, store, Options{}, dir)
		wantHeads(t, about+", scanned again", store, want...)
	}
	done := func(_ Result, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	recording := func(rig string) catalog.RecordingID {
		t.Helper()
		all, err := store.Recordings(t.Context(), catalog.RecordingFilter{Rig: rig})
		if err != nil || len(all) == 0 {
			t.Fatal(all, err)
		}
		return all[0].ID
	}
	ctx := t.Context()
	if _, err := store.AddNote(ctx, "2031-08-01", "new bass rig"); err != nil {
		t.Fatal(err)
	}
	again("as found", "2031-08-01 @Hall: backup 18:00 2, main 18:00 2")

	done(Split(ctx, store, "2031-08-01", SplitAt{Clock: 18*time.Hour + 30*time.Minute}, nil))
	again("split", "2031-08-01 18:00 @Hall: backup 18:00 1, main 18:00 1", "2031-08-01 19:00 @Hall: backup 19:00 1, main 19:00 1")

	done(Rename(ctx, store, "2031-08-01 19:00", "evening", nil))
	done(SetVenue(ctx, store, "2031-08-01 evening", "Cellar", nil))
	again("renamed", "2031-08-01 18:00 @Hall: backup 18:00 1, main 18:00 1", "2031-08-01 evening @Cellar: backup 19:00 1, main 19:00 1")

	layIn(t, dir, []file{{"2031-08-01 Hall/backup/TRK01_0003.wav", take{from: half, to: 2 * half, track: 1, starts: day(19, 0), gain: 0.5}}})
	run(t, store, Options{}, dir)
	again("a later segment", "2031-08-01 18:00 @Hall: backup 18:00 1, main 18:00 1", "2031-08-01 evening @Cellar: backup 19:00 2, main 19:00 1")

	done(Merge(ctx, store, "2031-08-01 evening", "2031-08-01 18:00", nil))
	done(TakeBack(ctx, store, "2031-08-01", nil))
	if err := os.Remove(filepath.Join(dir, "2031-08-01 Hall", "backup", "TRK01_0003.wav")); err != nil {
		t.Fatal(err)
	}
	again("taken back", "2031-08-01 @Hall: backup 18:00 3, main 18:00 2")
	if notes, err := store.Notes(ctx, "2031-08-01"); err != nil || len(notes) != 1 {
		t.Errorf("notes %v, %v", notes, err)
	}

	done(CallRig(ctx, store, recording("backup"), "truck", nil))
	again("called", "2031-08-01 @Hall: main 18:00 2, truck 18:00 3")

	done(Move(ctx, store, []catalog.RecordingID{recording("truck")}, "2031-08-05 rehearsal", nil))
	again("moved", "2031-08-01 @Hall: main 18:00 2", "2031-08-05 @Hall: truck 18:00 3")
	done(TakeBack(ctx, store, "2031-08-05", nil))
	done(TakeBack(ctx, store, "2031-08-01", nil))
	again("back", "2031-08-01 @Hall: backup 18:00 3, main 18:00 2")
	if err := store.Check(ctx); err != nil {
		t.Error(err)
	}
}

// A track that is replaced by one of another format leaves the others alone, and
// the takes that a person placed. The scan reports it, and all is as it was once the
// original is back.
func TestAFileOfAnotherFormatLeavesItsRecording(t *testing.T) {
	for _, replaced := range []string{"01 Kick.wav", "04 Vox.wav"} {
		for _, other := range []take{{rate: 16000, to: 20 * 8000, track: 4}, {rate: 16000, to: 10 * 8000, track: 4}, {bits: 24, to: 10 * 8000, track: 4}} {
			dir := lay(t, []file{
				{"2031-05-02 Hall/01 Kick.wav", take{to: 10 * 8000, track: 1}},
				{"2031-05-02 Hall/02 Snare.wav", take{to: 10 * 8000, track: 2}},
				{"2031-05-02 Hall/03 Bass.wav", take{to: 10 * 8000, track: 3}},
				{"2031-05-02 Hall/04 Vox.wav", take{to: 10 * 8000, track: 4}},
			})
			store := open(t)
			run(t, store, Options{}, dir)
			recordings, err := store.Recordings(t.Context(), catalog.RecordingFilter{})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := store.SaveTake(t.Context(), catalog.Take{Show: "2031-05-02", Song: "A", RecordingID: recordings[0].ID, StartFrame: 2 * 8000, EndFrame: 8 * 8000, FoundBy: catalog.ByPerson, Confidence: 1}); err != nil {
				t.Fatal(err)
			}
			original := dump(t, store, dir)
			path := filepath.Join(dir, "2031-05-02 Hall", replaced)
			if err := os.Rename(path, path+".original"); err != nil {
				t.Fatal(err)
			}
			write(t, path, other)
			if st, err := os.Stat(path + ".original"); err != nil || os.Chtimes(path, st.ModTime(), st.ModTime()) != nil { // one may even be as long as the original
				t.Fatal(err)
			}
			r := run(t, store, Options{}, dir)
			fresh := open(t)
			run(t, fresh, Options{}, dir)
			same(t, replaced, dump(t, store, dir), dump(t, fresh, dir))
			if st, _ := os.Stat(path); r.BytesRead > 2*st.Size() { // compared, and measured
				t.Errorf("%s: %d bytes read, the new file has %d", replaced, r.BytesRead, st.Size())
			}
			if len(r.Problems) != 1 || r.Problems[0].File != path || !strings.Contains(r.Problems[0].Problem, "now, and had 1 channel of 16 bit pcm in 2 bytes at 8000 Hz") {
				t.Errorf("%s: problems %+v", replaced, r.Problems)
			}
			take := func() {
				t.Helper()
				takes, err := store.Takes(t.Context(), catalog.TakeFilter{})
				if err != nil || len(takes) != 1 || takes[0].StartS() != 2 || takes[0].EndS() != 8 {
					t.Errorf("%s: takes %+v, %v", replaced, takes, err)
				}
			}
			take()
			if err := os.Rename(path+".original", path); err != nil {
				t.Fatal(err)
			}
			run(t, store, Options{}, dir)
			same(t, replaced+" put back", dump(t, store, dir), original)
			take()
			verified, err := Verify(t.Context(), store, "", nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range verified {
				if v.Status != OK {
					t.Errorf("%s put back: %+v", replaced, v)
				}
			}
		}
	}
}

// Rigs have the same names in whatever order their drives are scanned, and a name
// that changes is said.
func TestRigNamesInAnyOrder(t *testing.T) {
	a := lay(t, []file{{"2031-06-06 Hall/01 Kick.wav", take{to: 8000, track: 1, starts: at("2031-06-06", 20, 0), originator: "DeckOne"}}})
	b := lay(t, []file{{"2031-06-06 Hall/01 Kick.wav", take{to: 8000, track: 1, starts: at("2031-06-06", 20, 0), originator: "DeckTwo", gain: 0.5}}})
	for about, scans := range map[string][][]string{"at once": {{a, b}}, "a, b": {{a}, {b}}, "b, a": {{b}, {a}}, "a, b, both": {{a}, {b}, {a, b}}} {
		store := open(t)
		said := 0
		for _, dirs := range scans {
			for _, note := range run(t, store, Options{}, dirs...).Notes {
				if strings.Contains(note, `"main" is called "Deck`) {
					said++
				}
			}
		}
		wantHeads(t, about, store, "2031-06-06 @Hall: DeckOne 20:00 1, DeckTwo 20:00 1")
		if want := min(len(scans)-1, 1); said != want {
			t.Errorf("%s: said %d times that main has another name, want %d", about, said, want)
		}
	}
}

// If an input list is for a rig, the rig keeps its name when another recorder's
// drive is scanned, and the list stays in force.
func TestARigWithAListKeepsItsName(t *testing.T) {
	ctx := t.Context()
	a := lay(t, []file{{"2031-06-06 Hall/01 Kick.wav", take{to: 8000, track: 1, starts: at("2031-06-06", 20, 0), originator: "DeckOne"}}})
	b := lay(t, []file{{"2031-06-06 Hall/01 Kick.wav", take{to: 8000, track: 1, starts: at("2031-06-06", 20, 0), originator: "DeckTwo", gain: 0.5}}})
	for about, scans := range map[string][][]string{"b": {{b}}, "both": {{a, b}}, "b, both, a": {{b}, {a, b}, {a}}} {
		store := open(t)
		run(t, store, Options{}, a)
		if err := store.SaveInputList(ctx, catalog.InputList{From: "2031-06-06", Rig: "main", Inputs: []catalog.Input{{Track: 1, Channel: "Kick In"}}}); err != nil {
			t.Fatal(err)
		}
		said := 0
		for _, dirs := range scans {
			said += strings.Count(strings.Join(run(t, store, Options{}, dirs...).Notes, "\n"), `rig "main" keeps its name`)
		}
		wantHeads(t, about, store, "2031-06-06 @Hall: DeckTwo 20:00 1, main 20:00 1")
		tracks, err := store.Tracks(ctx, catalog.TrackFilter{Rig: "main"})
		if err != nil || len(tracks) != 1 || tracks[0].Channel != "Kick In" || said != 1 {
			t.Errorf("%s: tracks %+v, %v; said %d times that the name stays", about, tracks, err, said)
		}
		run(t, store, Options{Rig: "truck"}, a) // what a caller says counts
		wantHeads(t, about, store, "2031-06-06 @Hall: DeckTwo 20:00 1, truck 20:00 1")
	}
}

// Files that this program rendered or played are skipped with a note, whatever
// folder they lie in, and those that an earlier version took for recordings leave
// the catalog.
func TestRendersAreNoRecordings(t *testing.T) {
	evening := at("2031-06-06", 20, 0)
	dir := lay(t, []file{
		{"2031-06-06 Hall/01 Kick.wav", take{to: 8000, track: 1, starts: evening, originator: "DeckOne"}},
		{"2031-06-06 Hall/session/01 Salt.wav", take{to: 8000, track: 1, starts: evening, originator: "DeckTwo"}},
		{"2031-06-07/02 Slow.wav", take{to: 8000, track: 1, starts: evening.AddDate(0, 0, 1), originator: "DeckTwo"}},
	})
	store := open(t)
	run(t, store, Options{}, dir) // as an earlier version had it
	for _, f := range []string{"2031-06-06 Hall/session/01 Salt.wav", "2031-06-07/02 Slow.wav"} {
		if err := os.Remove(filepath.Join(dir, filepath.FromSlash(f))); err != nil {
			t.Fatal(err)
		}
	}
	layIn(t, dir, []file{
		{"2031-06-06 Hall/session/01 Salt.wav", take{to: 8000, track: 1, starts: evening, originator: wavfile.OwnOriginator}},
		{"2031-06-06 Hall/02 Slow.wav", take{to: 8000, track: 1, starts: evening, originator: wavfile.OwnOriginator}},
		{"2031-06-07/02 Slow.wav", take{to: 8000, track: 1, starts: evening.AddDate(0, 0, 1), originator: wavfile.OwnOriginator}},
	})
	fresh := open(t)
	for about, in := range map[string]*catalog.Store{"known": store, "fresh": fresh} {
		r := run(t, in, Options{}, dir)
		wantHeads(t, about, in, "2031-06-06 @Hall: main 20:00 1")
		if notes := strings.Join(r.Notes, "\n"); strings.Count(notes, "1 file is skipped: nightreel rendered or played it") != 3 || len(r.Problems) > 0 {
			t.Errorf("%s: notes %s, problems %+v", about, notes, r.Problems)
		}
	}
	same(t, "known", dump(t, store, dir), dump(t, fresh, dir))
	_, err := Run(t.Context(), store, []string{filepath.Join(dir, "2031-06-07")}, Options{}, nil)
	var none *NoRecordingsError
	if !errors.As(err, &none) || none.Own != 1 || none.Unusable != 0 {
		t.Errorf("a folder of renders: %v", err)
	}
}

// What was accepted of a rig is accepted when the rig has another name.
func TestAcceptancesFollowTheirRecording(t *testing.T) {
	ctx := t.Context()
	a := lay(t, []file{{"2031-06-06 Hall/01 Kick.wav", take{to: 8000, track: 1, starts: at("2031-06-06", 20, 0), originator: "DeckOne"}}})
	b := lay(t, []file{{"2031-06-06 Hall/01 Kick.wav", take{to: 8000, track: 1, starts: at("2031-06-06", 20, 0), originator: "DeckTwo", gain: 0.5}}})
	store := open(t)
	run(t, store, Options{}, a)
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		t.Fatal(err)
	}
	judge := func() {
		t.Helper()
		if err := store.ReplaceFindings(ctx, recordings[0].ID, []catalog.Finding{{Track: 1, Kind: "hum", StartFrame: 100, EndFrame: 200, Severity: "warning", Text: "hums"}}); err != nil {
			t.Fatal(err)
		}
	}
	judge()
	findings, err := store.Findings(ctx, catalog.FindingFilter{})
	if err != nil || len(findings) != 1 {
		t.Fatal(findings, err)
	}
	if err := store.AcceptFinding(ctx, findings[0].ID, "the venue's mains"); err != nil {
		t.Fatal(err)
	}
	run(t, store, Options{}, b)
	judge()
	if findings, err = store.Findings(ctx, catalog.FindingFilter{}); err != nil || len(findings) != 1 || !findings[0].Accepted || findings[0].Rig != "DeckOne" {
		t.Errorf("%+v, %v", findings, err)
	}
}

// Segments are in order of number where a clock contradicts it, and that is said.
func TestWrongClocks(t *testing.T) {
	const half = 8000
	evening := at("2031-06-07", 20, 0)
	for _, c := range []struct {
		about    string
		second   time.Time // clock of the second segment's first frame
		problems string
	}{
		{"right", evening.Add(time.Second), ""},
		{"battery empty", at("2000-01-01", 0, 0), "contradicts its number"},
		{"one hour back", evening.Add(-time.Hour), "contradicts its number"},
		{"years ahead", at("2035-01-01", 0, 0), "contradicts its number"},
	} {
		store := open(t)
		r := run(t, store, Options{}, lay(t, []file{
			{"2031-06-07 Hall/01 Kick_01.wav", take{to: half, track: 1, starts: evening}},
			{"2031-06-07 Hall/01 Kick_02.wav", take{to: half, track: 1, starts: c.second}},
			{"2031-06-07 Hall/02 Bass_01.wav", take{to: half, track: 2, starts: evening}},
			{"2031-06-07 Hall/02 Bass_02.wav", take{to: half, track: 2, starts: c.second}},
		}))
		want := []string{"main: 1 Kick [01 Kick_01.wav@0] [01 Kick_02.wav@8000]", "main: 2 Bass [02 Bass_01.wav@0] [02 Bass_02.wav@8000]"}
		if got := summary(t, store, "2031-06-07"); !slices.Equal(got, want) {
			t.Errorf("%s: got %q", c.about, got)
		}
		wantHeads(t, c.about, store, "2031-06-07 @Hall: main 20:00 4")
		if said := fmt.Sprint(r.Problems); (c.problems == "") != (len(r.Problems) == 0) || !strings.Contains(said, c.problems) {
			t.Errorf("%s: problems %s", c.about, said)
		}
	}
}

// A clock that was reset, set on, or differs from those of the other tracks neither
// tears a recording apart nor makes a hole without a word. What fits counts: the
// folder's date, numbers, lengths and the other tracks.
func TestClocksThatDoNotFit(t *testing.T) {
	const half = 8000
	evening, reset := at("2031-06-07", 20, 0), at("2000-01-01", 0, 0)
	mono := func(name string, starts time.Time) file {
		return file{"2031-06-07 Hall/" + name, take{to: half, track: 1, starts: starts}}
	}
	poly := func(name string, starts time.Time) file {
		return file{"2031-06-07 Hall/" + name, take{to: half, track: 1, channels: 3, starts: starts}}
	}
	long, short := mono("01 Kick_01.wav", evening), mono("01 Kick_01.wav", evening)
	long.to, short.to = minute, half/4
	for _, c := range []struct {
		about string
		files []file
		want  string // files of track 1, then the first of track 2
		says  string // part of the only problem, "" for none
	}{
		{"weeks later", []file{mono("01 Kick_01.wav", evening), mono("01 Kick_02.wav", evening.AddDate(0, 0, 14))},
			"[01 Kick_01.wav@0] [01 Kick_02.wav@8000]", "contradicts its number"},
		{"an hour set on, in a series", []file{long, mono("01 Kick_02.wav", evening.Add(time.Hour+time.Minute)), mono("01 Kick_03.wav", evening.Add(time.Hour+time.Minute+time.Second))},
			"[01 Kick_01.wav@0] [01 Kick_02.wav@480000] [01 Kick_03.wav@488000]", "no pause is assumed"},
		{"an hour's pause after a segment that was stopped early", []file{short, mono("01 Kick_02.wav", evening.Add(time.Hour+time.Second))},
			"[01 Kick_01.wav@0] [01 Kick_02.wav@28808000]", "starts 60 min after the segment before it"},
		{"a pause of 50 minutes", []file{mono("01 Kick_01.wav", evening), mono("01 Kick_02.wav", evening.Add(50*time.Minute))},
			"[01 Kick_01.wav@0] [01 Kick_02.wav@24000000]", "starts 50 min after the segment before it"},
		{"a pause of 20 minutes", []file{mono("01 Kick_01.wav", evening), mono("01 Kick_02.wav", evening.Add(20*time.Minute))},
			"[01 Kick_01.wav@0] [01 Kick_02.wav@9600000]", ""},
		{"no numbers, one reset", []file{poly("rec 20-00.wav", evening), poly("rec 21-00.wav", reset)},
			"[rec 20-00.wav@0] [rec 21-00.wav@8000]", "does not fit the date 2031-06-07: unlike that of other files"},
		{"all reset", []file{mono("01 Kick_01.wav", reset), mono("01 Kick_02.wav", reset.Add(time.Second))},
			"[01 Kick_01.wav@0] [01 Kick_02.wav@8000]", "does not fit the date 2031-06-07, like that of 1 more file: the folder's date counts"},
		{"one track an hour late", []file{mono("01 Kick.wav", evening), mono("02 Bass.wav", evening.Add(time.Hour)), mono("03 Vox.wav", evening)},
			"[01 Kick.wav@0] [02 Bass.wav@0]", "3600 s apart from that of 2 other tracks"},
		{"one track reset", []file{mono("01 Kick.wav", evening), mono("02 Bass.wav", reset), mono("03 Vox.wav", evening)},
			"[01 Kick.wav@0] [02 Bass.wav@0]", "unlike that of other files"},
		{"two tracks an hour apart", []file{mono("01 Kick.wav", evening.Add(time.Hour)), mono("02 Bass.wav", evening)},
			"[01 Kick.wav@28800000] [02 Bass.wav@0]", "starts 60 min after other tracks"},
	} {
		store := open(t)
		r := run(t, store, Options{}, lay(t, c.files))
		got := ""
		for _, line := range summary(t, store, "2031-06-07") {
			if _, files, _ := strings.Cut(line, "["); strings.Contains(line, ": 1 ") || strings.Contains(line, ": 2 Bass") {
				got += " [" + files
			}
		}
		if strings.TrimSpace(got) != c.want {
			t.Errorf("%s: got %s", c.about, got)
		}
		if c.says == "" && len(r.Problems) > 0 || c.says != "" && (len(r.Problems) != 1 || !strings.Contains(r.Problems[0].Problem, c.says)) {
			t.Errorf("%s: problems %+v", c.about, r.Problems)
		}
	}
}

// A take that a person placed stays where it was played when an earlier segment is
// found, and when the reference changes.
func TestTakesStayWhereTheyWerePlayed(t *testing.T) {
	ctx := t.Context()
	evening := at("2031-06-07", 20, 0)
	dir, store := lay(t, []file{
		{"2031-06-07 Hall/main/01 Kick_02.wav", take{from: 8 * 8000, to: 80 * 8000, track: 1, starts: evening}},
		{"2031-06-07 Hall/backup/01 Kick.wav", take{from: 10 * 8000, to: 76 * 8000, track: 1, starts: evening, gain: 0.5, bits: 24}},
	}), open(t)
	run(t, store, Options{}, dir)
	settle := func() {
		t.Helper()
		if _, err := rigs.Settle(ctx, store, "2031-06-07"); err != nil {
			t.Fatal(err)
		}
	}
	settle()
	sh, err := store.Show(ctx, "2031-06-07")
	if err != nil {
		t.Fatal(err)
	}
	if sh.Recordings[0].Rig != "main" {
		t.Fatalf("reference %+v", sh.Recordings[0])
	}
	if _, err := store.SaveTake(ctx, catalog.Take{Show: sh.Key, Song: "A", RecordingID: sh.Recordings[0].ID, StartFrame: 3 * 8000, EndFrame: 5 * 8000, FoundBy: catalog.ByPerson, Confidence: 1}); err != nil {
		t.Fatal(err)
	}
	clock := func() string {
		t.Helper()
		takes, err := store.Takes(ctx, catalog.TakeFilter{})
		if err != nil || len(takes) != 1 {
			t.Fatal(takes, err)
		}
		r, err := store.Recordings(ctx, catalog.RecordingFilter{ID: takes[0].RecordingID})
		if err != nil {
			t.Fatal(err)
		}
		at := func(s float64) string {
			return r[0].StartsAt.Add(time.Duration(s * float64(time.Second))).Format("15:04:05.0")
		}
		return fmt.Sprint(r[0].Rig, " ", r[0].Reference, " ", at(takes[0].StartS()), " ", at(takes[0].EndS()))
	}
	if got, want := clock(), "main true 20:00:11.0 20:00:13.0"; got != want {
		t.Errorf("placed: %s, want %s", got, want)
	}
	layIn(t, dir, []file{{"2031-06-07 Hall/main/01 Kick_01.wav", take{to: 8 * 8000, track: 1, starts: evening}}})
	run(t, store, Options{}, dir)
	settle()
	if got, want := clock(), "main true 20:00:11.0 20:00:13.0"; got != want {
		t.Errorf("with the first segment: %s, want %s", got, want)
	}
	for _, rig := range []string{"backup", "main", "backup"} {
		recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Rig: rig})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := ChooseReference(ctx, store, "2031-06-07", recordings[0].ID, nil); err != nil {
			t.Fatal(err)
		}
		settle()
		if got, want := clock(), rig+" true 20:00:11.0 20:00:13.0"; got != want {
			t.Errorf("on %s: %s, want %s", rig, got, want)
		}
	}
}
