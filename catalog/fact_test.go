package catalog

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

// dump writes the contents of all tables of a person's facts, a line an item, in
// an order and with names that are the same on every machine.
func dump(t testing.TB, s *Store) []string {
	t.Helper()
	const recordings = " JOIN recordings r ON r.id = x.recording_id JOIN shows s ON s.id = x.show_id"
	lines := []string{}
	for _, q := range []string{
		"SELECT 'inputs', l.subject, l.from_date, l.only, l.rig, i.track, i.channel, i.gain_db, i.grp, i.notes FROM input_lists l JOIN inputs i ON i.list_id = l.id",
		"SELECT 'desk', d.subject, d.name, i.input, i.channel, i.gain_db, i.output FROM desks d LEFT JOIN desk_inputs i ON i.desk_id = d.id",
		"SELECT 'note', x.subject, s.date, s.name, x.text, x.at FROM notes x JOIN shows s ON s.id = x.show_id",
		"SELECT 'song', key, title FROM songs",
		"SELECT 'name', k.key, k.alias, g.key FROM song_keys k JOIN songs g ON g.id = k.song_id",
		"SELECT 'listed', s.date, s.name, x.position, g.key, x.spelling, x.song_key, x.start_s, x.end_s, x.clock FROM set_list_entries x JOIN shows s ON s.id = x.show_id JOIN songs g ON g.id = x.song_id",
		"SELECT 'take', x.subject, s.date, s.name, r.rig, r.sample_rate, g.key, x.spelling, x.song_key, x.start_frame, x.end_frame, x.found_by, x.confidence FROM takes x JOIN songs g ON g.id = x.song_id" + recordings,
		"SELECT 'dismissed', x.subject, s.date, s.name, r.rig, r.sample_rate, x.start_frame, x.end_frame, x.spelling, x.song_key FROM dismissed x" + recordings,
		"SELECT 'accepted', x.subject, s.date, s.name, r.rig, r.sample_rate, x.kind, x.track, x.tracks, x.start_frame, x.end_frame, x.note, x.at FROM acceptances x" + recordings,
		"SELECT 'session', subject, created_at FROM sessions",
	} {
		rows, err := s.db.QueryContext(t.Context(), q)
		ok(t, err)
		columns := must(rows.Columns())(t)
		for rows.Next() {
			values, into := make([]any, len(columns)), make([]any, len(columns))
			for i := range values {
				into[i] = &values[i]
			}
			ok(t, rows.Scan(into...))
			lines = append(lines, fmt.Sprintf("%q", values))
		}
		ok(t, rows.Err())
		rows.Close()
	}
	slices.Sort(lines)
	return lines
}

// difference returns the first lines in which two dumps differ.
func difference(a, b []string) string {
	said := []string{}
	for _, l := range a {
		if !slices.Contains(b, l) {
			said = append(said, "- "+l)
		}
	}
	for _, l := range b {
		if !slices.Contains(a, l) {
			said = append(said, "+ "+l)
		}
	}
	return strings.Join(said[:min(len(said), 12)], "\n")
}

// small stores a tour of three nights whose recordings have files: some were
// read, and some not.
func small(t testing.TB, s *Store) {
	t.Helper()
	ctx := t.Context()
	vol := must(s.AddVolume(ctx, Volume{Name: "A", Root: "/a"}))(t)
	for n, sh := range []Show{{Date: "2031-05-02"}, {Date: "2031-05-03", Name: "matinee"}, {Date: "2031-05-03", Name: "evening"}} {
		sh = must(s.EnsureShow(ctx, sh))(t)
		for k, rig := range []string{"main", "backup"} {
			const rate = 48000
			files := []File{{VolumeID: vol.ID, Path: fmt.Sprintf("%s %s/%s/a.wav", sh.Date, sh.Name, rig), FirstTrack: 1, Channels: 8, Frames: 600 * rate, DataOffset: 44}}
			r := must(s.SaveRecording(ctx, Recording{ShowID: sh.ID, Rig: rig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 600 * rate, OffsetS: float64(k) * 1.5}, files, []Track{{Number: 1, Frames: 600 * rate}, {Number: 2, Frames: 600 * rate}}, nil))(t)
			if n != 1 {
				f := must(s.Files(ctx, FileFilter{Recording: r.ID}))(t)[0]
				ok(t, s.PutParts(ctx, nil, []Piece{{File: f.ID, Length: 44, Sum: 1}, {File: f.ID, Offset: 44, Length: 1 << 20, Sum: uint64(n*10 + k)}}))
			}
			ok(t, s.ReplaceFindings(ctx, r.ID, []Finding{{Track: 1, Kind: Clipped, StartFrame: 5, EndFrame: 9}, {Track: 1, Kind: Clipped, StartFrame: 7, EndFrame: 900}, {Kind: Duplicate, Evidence: Evidence{"track_1": 1, "track_2": 2}}}))
		}
	}
}

// scribble makes a random change, as a person or as a finder.
func scribble(t testing.TB, s *Store, r *rand.Rand) {
	t.Helper()
	ctx := t.Context()
	shows := []ShowKey{"2031-05-02", "2031-05-03 matinee", "2031-05-03 evening"}
	show := shows[r.IntN(3)]
	title := func() string {
		return []string{"Low Tide", "LOW TIDE", "low tide", "Third Rail", "third-rail", "Paper Lanterns", "Lanterns", "PL", "Salt"}[r.IntN(9)]
	}
	takes := must(s.Takes(ctx, TakeFilter{Show: show}))(t)
	one := func() (Take, bool) {
		if len(takes) == 0 {
			return Take{}, false
		}
		return takes[r.IntN(len(takes))], true
	}
	fresh := func(by FoundBy) Take {
		all := must(s.Recordings(ctx, RecordingFilter{Show: show}))(t)
		start := int64(r.IntN(500)) * 48000
		return Take{Show: show, Song: title(), RecordingID: all[r.IntN(len(all))].ID, StartFrame: start, EndFrame: start + 90*48000, FoundBy: by, Confidence: 1}
	}
	songs := must(s.Songs(ctx))(t)
	switch r.IntN(16) {
	case 0:
		list := []SetListEntry{}
		for range r.IntN(5) {
			list = append(list, SetListEntry{Song: title(), Clock: r.IntN(2) == 0})
		}
		ok(t, s.SaveSetList(ctx, show, list))
	case 1:
		l := InputList{From: show, Only: r.IntN(2) == 0, Rig: []string{"", "main"}[r.IntN(2)]}
		for i := range r.IntN(3) {
			l.Inputs = append(l.Inputs, Input{Track: 2 - i, Channel: title(), GainDB: dB(float64(r.IntN(60)) / 4)})
		}
		ok(t, s.SaveInputList(ctx, l))
	case 2:
		ok(t, s.SaveDesk(ctx, Desk{Name: []string{"foh", "FOH", "mon"}[r.IntN(3)], Inputs: []DeskInput{{Input: 1 + r.IntN(3), Channel: title()}}}))
	case 3:
		must(s.AddNote(ctx, show, title()))(t)
	case 4, 5:
		must(s.SaveTake(ctx, fresh(ByPerson)))(t)
	case 6:
		must(s.SaveTake(ctx, fresh([]FoundBy{ByMusic, ByMarker}[r.IntN(2)])))(t)
	case 7, 8: // a correction, of a finder's take too
		if old, there := one(); there {
			old.FoundBy, old.EndFrame, old.Confidence = ByPerson, old.EndFrame+48000, 1
			if r.IntN(2) == 0 {
				old.Song = title()
			}
			must(s.SaveTake(ctx, old))(t)
		}
	case 9:
		if old, there := one(); there {
			ok(t, s.DismissTake(ctx, old.ID))
		}
	case 10: // an undo: a person's take becomes a finder's again, or is deleted
		if old, there := one(); there {
			other := old
			other.FoundBy = ByMusic
			ok(t, s.EditTakes(ctx, []TakeID{takes[0].ID}, nil))
			if other.ID != takes[0].ID {
				ok(t, s.EditTakes(ctx, nil, []Take{other}))
			}
		}
	case 11, 12:
		all := must(s.Findings(ctx, FindingFilter{Show: show}))(t)
		f := all[r.IntN(len(all))]
		if r.IntN(3) == 0 {
			ok(t, s.UnacceptFinding(ctx, f.ID))
		} else {
			ok(t, s.AcceptFinding(ctx, f.ID, title()))
		}
	case 13, 14:
		if len(songs) == 0 {
			return
		}
		song := songs[r.IntN(len(songs))]
		var err error
		switch r.IntN(3) {
		case 0:
			_, err = s.AddAlias(ctx, song.ID, title(), r.IntN(2) == 0)
			if merge := (*MergeError)(nil); errors.As(err, &merge) {
				err = nil
			}
		case 1:
			if err = s.RenameSong(ctx, song.ID, title()); err != nil && strings.Contains(err.Error(), "another song") {
				err = nil
			}
		default:
			_, err = s.RemoveAlias(ctx, title())
			if gone := (*NotFoundError)(nil); errors.As(err, &gone) {
				err = nil
			}
		}
		ok(t, err)
	case 15:
		if take, there := one(); there {
			must(s.SaveSession(ctx, Session{Desk: "foh", Items: []SessionItem{{Take: take.ID, Show: show, Recording: take.RecordingID, StartFrame: take.StartFrame, EndFrame: take.EndFrame}}}))(t)
		}
	}
}

// factsOf returns all facts of a catalog, and what each replaces.
func factsOf(t testing.TB, s *Store) ([]Fact, map[FactID][]FactID) {
	t.Helper()
	facts := must(list(t.Context(), s.db, "SELECT "+factColumns+" FROM facts f ORDER BY f.id", nil, readFact))(t)
	replaces := map[FactID][]FactID{}
	must(list(t.Context(), s.db, "SELECT fact, old FROM replaces", nil, func(row scanner) (struct{}, error) {
		var fact, old []byte
		err := row.Scan(&fact, &old)
		replaces[FactID(fact)] = append(replaces[FactID(fact)], FactID(old))
		return struct{}{}, err
	}))(t)
	return facts, replaces
}

// forget empties the tables of a person's facts.
func forget(t testing.TB, s *Store) {
	t.Helper()
	for _, q := range []string{"DELETE FROM input_lists", "DELETE FROM desks", "DELETE FROM notes", "DELETE FROM set_list_entries", "DELETE FROM takes WHERE found_by = 'person'",
		"DELETE FROM dismissed", "DELETE FROM acceptances", "DELETE FROM sessions"} {
		must(s.db.ExecContext(t.Context(), q))(t)
	}
}

func TestTablesAreAFunctionOfFacts(t *testing.T) {
	seeds := uint64(12)
	if testing.Short() {
		seeds = 3
	}
	for seed := range seeds {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			r := rand.New(rand.NewPCG(seed, 12))
			s := testStore(t)
			small(t, s)
			for i := range 120 {
				scribble(t, s, r)
				if i%10 > 0 {
					continue
				}
				// The tables match the facts.
				before := dump(t, s)
				ok(t, s.Reproject(t.Context()))
				if now := dump(t, s); !reflect.DeepEqual(now, before) {
					t.Fatalf("after %d steps the tables differ from the facts:\n%s", i+1, difference(before, now))
				}
			}
			want := dump(t, s)
			forget(t, s)
			ok(t, s.Reproject(t.Context()))
			if got := dump(t, s); !reflect.DeepEqual(got, want) {
				t.Fatalf("from nothing:\n%s", difference(want, got))
			}
			ok(t, s.Check(t.Context()))

			// In another catalog the same facts arrive in another order, before
			// there are any recordings, with some heads lost: only the sets
			// count.
			facts, replaces := factsOf(t, s)
			finders := slices.DeleteFunc(must(s.Takes(t.Context(), TakeFilter{}))(t), func(k Take) bool { return k.FoundBy == ByPerson })
			for range 2 {
				other := testStore(t)
				r.Shuffle(len(facts), func(i, j int) { facts[i], facts[j] = facts[j], facts[i] })
				for _, f := range facts {
					ok(t, addFact(t.Context(), other.db, f, replaces[f.ID]))
				}
				small(t, other)
				ok(t, other.Reproject(t.Context()))
				for _, k := range finders {
					k.ID, k.Song = 0, k.Entered
					must(other.SaveTake(t.Context(), k))(t)
				}
				if got := dump(t, other); !reflect.DeepEqual(got, want) {
					t.Fatalf("in another order:\n%s", difference(want, got))
				}
			}
		})
	}
}

// If several machines wrote facts side by side, a subject has several heads. The
// latest holds, except that a corrected take outweighs its deletion, and a
// reopened finding an acceptance. The order of arrival does not matter.
func TestHeadsSideBySide(t *testing.T) {
	fact := func(kind FactKind, at int64, author, body string) Fact {
		f := Fact{Kind: kind, Subject: "x", At: at, Author: author}
		if body != "" {
			f.Body = []byte(body)
		}
		f.ID = factID(f, nil)
		return f
	}
	for name, c := range map[string]struct{ strong, weak Fact }{
		"the later":                        {fact(FactNote, 2, "a", "{}"), fact(FactNote, 1, "b", "{}")},
		"the larger author at one time":    {fact(FactNote, 2, "b", "{}"), fact(FactNote, 2, "a", "{}")},
		"the later, if it is a deletion":   {fact(FactDesk, 2, "a", ""), fact(FactDesk, 1, "a", "{}")},
		"the later, not a deletion":        {fact(FactDesk, 2, "a", "{}"), fact(FactDesk, 1, "a", "")},
		"a take before its deletion":       {fact(FactTake, 1, "a", "{}"), fact(FactTake, 2, "a", "")},
		"the later of two takes":           {fact(FactTake, 2, "a", "{}"), fact(FactTake, 1, "a", "{}")},
		"a reopening before an acceptance": {fact(FactAcceptance, 1, "a", ""), fact(FactAcceptance, 2, "a", "{}")},
	} {
		if got := stronger(c.strong, c.weak); got.ID != c.strong.ID {
			t.Errorf("%s: not as first", name)
		}
		if got := stronger(c.weak, c.strong); got.ID != c.strong.ID {
			t.Errorf("%s: not as second", name)
		}
	}
}

func TestWhatHoldsAlreadyIsNotWrittenAgain(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	small(t, s)
	rec := must(s.Recordings(ctx, RecordingFilter{Show: "2031-05-03 matinee"}))(t)[0]
	take := must(s.SaveTake(ctx, Take{Show: rec.Show, Song: "Low Tide", RecordingID: rec.ID, StartFrame: 5, EndFrame: 50, FoundBy: ByPerson, Confidence: 1}))(t)
	accepted := must(s.Findings(ctx, FindingFilter{Recording: rec.ID}))(t)[1]
	enter := func() {
		t.Helper()
		ok(t, s.SaveSetList(ctx, "2031-05-02", []SetListEntry{{Song: "Low Tide", StartS: dB(1.25)}, {Song: "Third Rail"}}))
		ok(t, s.SaveSetList(ctx, "2031-05-03 evening", nil))
		ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-02", Inputs: []Input{{Track: 2, Channel: "Kick"}, {Track: 1, Channel: "Snare", GainDB: dB(31.5)}}}))
		ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-02", Inputs: []Input{{Track: 1, Channel: "Snare", GainDB: dB(31.5)}, {Track: 2, Channel: "Kick"}}}))
		ok(t, s.SaveDesk(ctx, Desk{Name: "foh", Inputs: []DeskInput{{Input: 1, Channel: "Kick"}}}))
		ok(t, s.AcceptFinding(ctx, accepted.ID, "known"))
		must(s.AddAlias(ctx, take.SongID, "LT", false))(t)
		ok(t, s.RenameSong(ctx, take.SongID, "Low tide"))
		must(s.SaveTake(ctx, take))(t)
	}
	enter()
	before, _ := factsOf(t, s)
	changes := must(s.Watch(ctx))(t)
	defer changes.Close()
	version := must(changes.Version(ctx))(t)
	enter()
	// A renamed rig or a file that was read meanwhile is no edit.
	rec.Rig = "Rig A"
	files := must(s.Files(ctx, FileFilter{Recording: rec.ID}))(t)
	must(s.SaveRecording(ctx, rec, files, []Track{{Number: 1, Frames: 600 * 48000}, {Number: 2, Frames: 600 * 48000}}, nil))(t)
	ok(t, s.PutParts(ctx, nil, []Piece{{File: files[0].ID, Offset: 44, Length: 1 << 20, Sum: 77}}))
	enter()
	if after, _ := factsOf(t, s); len(after) != len(before) {
		t.Errorf("%d facts, %d after the same once more", len(before), len(after))
	}
	if f := must(s.Findings(ctx, FindingFilter{ID: accepted.ID}))(t)[0]; !f.Accepted || f.Rig != "Rig A" {
		t.Errorf("an acceptance did not survive a rename of the rig: %+v", f)
	}
	if now := must(changes.Changes(ctx))(t); now.Of(AboutLists, "")+now.Of(AboutDesks, "") == 0 || version == 0 {
		t.Error("nothing is counted")
	}
}

// A person's facts about a recording hold again when the recording comes back,
// under another path too, and move with it to another show.
func TestFactsFollowTheirRecording(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	small(t, s)
	rec := must(s.Recordings(ctx, RecordingFilter{Show: "2031-05-02"}))(t)[0]
	must(s.SaveTake(ctx, Take{Show: rec.Show, Song: "Low Tide", RecordingID: rec.ID, StartFrame: 5, EndFrame: 50, FoundBy: ByPerson, Confidence: 1}))(t)
	gone := must(s.SaveTake(ctx, Take{Show: rec.Show, Song: "Low Tide", RecordingID: rec.ID, StartFrame: 100, EndFrame: 150, FoundBy: ByMusic, Confidence: 0.5}))(t)
	ok(t, s.DismissTake(ctx, gone.ID))
	ok(t, s.AcceptFinding(ctx, must(s.Findings(ctx, FindingFilter{Recording: rec.ID}))(t)[0].ID, "known"))
	want := dump(t, s)
	ok(t, s.DeleteRecording(ctx, rec.ID))
	if got := dump(t, s); len(got) >= len(want) {
		t.Errorf("still there: %q", got)
	}
	if songs := must(s.Songs(ctx))(t); len(songs) != 0 {
		t.Errorf("songs that nothing refers to: %+v", songs)
	}
	vol := must(s.Volumes(ctx))(t)[0].ID
	files := []File{{VolumeID: vol, Path: "elsewhere/b.wav", FirstTrack: 1, Channels: 8, Frames: 600 * 48000, DataOffset: 44}}
	rec.ID = 0
	rec = must(s.SaveRecording(ctx, rec, files, []Track{{Number: 1, Frames: 600 * 48000}, {Number: 2, Frames: 600 * 48000}}, nil))(t)
	f := must(s.Files(ctx, FileFilter{Recording: rec.ID}))(t)[0]
	ok(t, s.PutParts(ctx, nil, []Piece{{File: f.ID, Offset: 44, Length: 1 << 20, Sum: 0}}))
	ok(t, s.Reproject(ctx))
	if got := dump(t, s); !reflect.DeepEqual(got, want) {
		t.Errorf("come back:\n%s", difference(want, got))
	}
	evening := must(s.Show(ctx, "2031-05-03 evening"))(t)
	rec.ShowID = evening.ID
	files = must(s.Files(ctx, FileFilter{Recording: rec.ID}))(t)
	must(s.SaveRecording(ctx, rec, files, []Track{{Number: 1, Frames: 600 * 48000}}, nil))(t)
	if takes := must(s.Takes(ctx, TakeFilter{Show: evening.Key}))(t); len(takes) != 1 || takes[0].StartFrame != 5 {
		t.Errorf("moved to another show: %+v", takes)
	}
	if d := must(s.Dismissed(ctx, evening.Key))(t); len(d) != 1 {
		t.Errorf("moved to another show: %+v", d)
	}
}

// One command or click is one step, signed with the author and machine given to
// the store. Its time only rises, whatever the clock does.
func TestFactsAreSigned(t *testing.T) {
	s := testStore(t)
	small(t, s)
	s.SignAs("ada", func() DeviceID { return DeviceID{1, 2, 3} })
	ctx := WithStep(t.Context())
	ok(t, s.SaveDesk(ctx, Desk{Name: "foh", Inputs: []DeskInput{{Input: 1, Channel: "Kick"}}}))
	must(s.AddNote(ctx, "2031-05-02", "one"))(t)
	s.now = func() time.Time { return time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) }
	must(s.AddNote(t.Context(), "2031-05-02", "two"))(t)
	facts, _ := factsOf(t, s)
	slices.SortFunc(facts, func(a, b Fact) int { return int(a.At - b.At) })
	if len(facts) != 3 || facts[0].Step != facts[1].Step || facts[1].Step == facts[2].Step || facts[0].At >= facts[1].At || facts[1].At >= facts[2].At {
		t.Fatalf("%+v", facts)
	}
	for _, f := range facts {
		if f.Author != "ada" || DeviceID(f.Step[:8]) != (DeviceID{1, 2, 3}) {
			t.Errorf("%+v", f)
		}
	}
	for _, q := range []string{"UPDATE facts SET author = 'eve'", "DELETE FROM facts"} {
		if _, err := s.db.ExecContext(t.Context(), q); err == nil {
			t.Errorf("%s passed", q)
		}
	}
	if DefaultAuthor() == "" {
		t.Error("no default author")
	}
}

// The inputs of a fact's id never change: other machines compute it, too.
func TestFactIDs(t *testing.T) {
	f := Fact{Kind: FactAlias, Subject: "lt", At: 1 << 60, Author: "Zoë", Step: StepID{1}, Body: must(canonical(aliasBody{"L & T", "Low <Tide>"}))(t)}
	if got, want := string(f.Body), `{"alias":"L & T","of":"Low <Tide>"}`; got != want {
		t.Errorf("body %s, want %s", got, want)
	}
	id := factID(f, []FactID{{2}, {1}})
	if got, want := fmt.Sprintf("%x", id), "8636c391185f94adfed3d664c1df2a87"; got != want {
		t.Errorf("id %s, want %s", got, want)
	}
	if factID(f, []FactID{{1}, {2}}) != id {
		t.Error("the order of what is replaced counts")
	}
	seen := map[FactID]bool{id: true}
	for i, change := range []func(f *Fact){
		func(f *Fact) { f.Kind = FactTitle }, func(f *Fact) { f.Subject = "l" }, func(f *Fact) { f.At++ }, func(f *Fact) { f.Author = "" },
		func(f *Fact) { f.Step[15]++ }, func(f *Fact) { f.Body = nil }, func(f *Fact) { f.Body = []byte{} },
	} {
		g := f
		change(&g)
		if other := factID(g, []FactID{{2}, {1}}); seen[other] {
			t.Errorf("change %d makes no other id", i)
		} else {
			seen[other] = true
		}
	}
}

// A catalog of version 8, made by the nightreel of that time, opens and gives
// the answers that were stored then, except that findings now have the field
// tracks.
func TestCatalogOfVersion8(t *testing.T) {
	path := copyOf(t, "testdata/catalog-v8.db")
	s := reopen(t, path)
	ctx := t.Context()
	ok(t, s.Check(ctx))
	if s.Kept() != path+".v8" {
		t.Errorf("kept as %q", s.Kept())
	}
	docs := map[string]any{
		"takes": must(s.Takes(ctx, TakeFilter{}))(t), "songs": must(s.Songs(ctx))(t), "inputs": must(s.InputLists(ctx))(t), "notes": must(s.Notes(ctx, ""))(t),
		"desks": must(s.Desks(ctx))(t), "sessions": must(s.Sessions(ctx))(t), "findings": must(s.Findings(ctx, FindingFilter{}))(t), "tracks": must(s.Tracks(ctx, TrackFilter{Channel: "Kick Out"}))(t),
	}
	for n := range 4 {
		show := ShowKey(fmt.Sprintf("2031-05-0%d", n+2))
		docs["dismissed "+string(show)], docs["setlist "+string(show)] = must(s.Dismissed(ctx, show))(t), must(s.SetList(ctx, show))(t)
	}
	got := append(must(json.MarshalIndent(docs, "", "\t"))(t), '\n')
	if want := must(os.ReadFile("testdata/v8/answers.json"))(t); string(got) != string(want) {
		t.Errorf("answers differ:\n%s", difference(strings.Split(string(want), "\n"), strings.Split(string(got), "\n")))
	}
	// Facts from before the catalog had facts have time 0 and no author, so that
	// two machines that migrate copies of one catalog agree.
	twin := reopen(t, copyOf(t, "testdata/catalog-v8.db"))
	facts, _ := factsOf(t, s)
	if others, _ := factsOf(t, twin); !reflect.DeepEqual(facts, others) || len(facts) == 0 {
		t.Errorf("two copies have different facts: %d and %d", len(facts), len(others))
	}
	kinds := map[FactKind]int{}
	for _, f := range facts {
		kinds[f.Kind]++
		if f.At != 0 || f.Author != "" || f.Step != (StepID{}) {
			t.Errorf("%+v", f)
		}
	}
	want := map[FactKind]int{FactInputList: 4, FactSetList: 4, FactDesk: 2, FactNote: 3, FactAlias: 2, FactTake: 9, FactDismissal: 2, FactAcceptance: 6, FactSession: 1}
	if !reflect.DeepEqual(kinds, want) {
		t.Errorf("facts %v, want %v", kinds, want)
	}
	before := dump(t, s)
	forget(t, s)
	ok(t, s.Reproject(ctx))
	if got := dump(t, s); !reflect.DeepEqual(got, before) {
		t.Errorf("from nothing:\n%s", difference(before, got))
	}
	if again := reopen(t, path); again.Kept() != "" {
		t.Errorf("kept once more as %q", again.Kept())
	}
}

// A fact stays with a file whose bytes were changed, as long as no other file
// has its earlier audio.
func TestFactsStayWithAChangedFile(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	small(t, s)
	all := must(s.Recordings(ctx, RecordingFilter{Show: "2031-05-02"}))(t)
	rec := all[0]
	must(s.SaveTake(ctx, Take{Show: rec.Show, Song: "Low Tide", RecordingID: rec.ID, StartFrame: 5, EndFrame: 50, FoundBy: ByPerson, Confidence: 1}))(t)
	on := func(want RecordingID) {
		t.Helper()
		ok(t, s.Reproject(ctx))
		if takes := must(s.Takes(ctx, TakeFilter{}))(t); len(takes) != 1 || takes[0].RecordingID != want {
			t.Errorf("got %+v, want one take on recording %d", takes, want)
		}
	}
	first := must(s.Files(ctx, FileFilter{Recording: rec.ID}))(t)[0]
	ok(t, s.PutParts(ctx, nil, []Piece{{File: first.ID, Offset: 44, Length: 1 << 20, Sum: 4711}}))
	on(rec.ID)
	other := must(s.Files(ctx, FileFilter{Recording: all[1].ID}))(t)[0]
	ok(t, s.PutParts(ctx, nil, []Piece{{File: other.ID, Offset: 44, Length: 1 << 20, Sum: 0}})) // the first audio of the changed file
	on(all[1].ID)
}
