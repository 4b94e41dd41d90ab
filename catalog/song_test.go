package catalog

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
)

// titles formats songs as "title (alias, alias)".
func titles(songs []Song) []string {
	all := []string{}
	for _, s := range songs {
		all = append(all, s.Title+" ("+strings.Join(s.Aliases, ", ")+")")
	}
	return all
}

func TestSongNames(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 1)
	take := func(song string) {
		t.Helper()
		must(s.SaveTake(ctx, Take{Show: r.Show, Song: song, RecordingID: r.ID, EndFrame: 1, FoundBy: ByMusic}))(t)
	}
	id := func(name string) SongID { t.Helper(); return must(s.Song(ctx, name))(t).ID }
	songs := func() []string { t.Helper(); return titles(must(s.Songs(ctx))(t)) }
	want := func(when string, want ...string) {
		t.Helper()
		if got := songs(); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: got %q, want %q", when, got, want)
		}
	}
	take(" Don't Wait! ")
	take("DONT WAIT")
	take("Low Tide")
	// No person entered a spelling: among those that finders copied the smallest
	// counts.
	want("found without case and punctuation", "DONT WAIT ()", "Low Tide ()")

	must(s.AddAlias(ctx, id("Low Tide"), "Tide", true))(t)
	must(s.AddAlias(ctx, id("Low Tide"), "TIDE", true))(t)
	must(s.AddAlias(ctx, id("Low Tide"), "low tide", true))(t)
	want("aliases", "DONT WAIT ()", "Low Tide (Tide)")

	ok(t, s.RenameSong(ctx, id("tide"), "High Tide"))
	want("renamed", "DONT WAIT ()", "High Tide (Low Tide, Tide)")
	ok(t, s.RenameSong(ctx, id("tide"), "Tide"))
	want("renamed to an alias", "DONT WAIT ()", "Tide (High Tide, Low Tide)")
	ok(t, s.RenameSong(ctx, id("tide"), "TIDE"))
	want("renamed in case only", "DONT WAIT ()", "TIDE (High Tide, Low Tide)")
	if err := s.RenameSong(ctx, id("tide"), "Dont wait"); err == nil {
		t.Error("two songs of one title")
	}
	_, noAlias := s.AddAlias(ctx, id("tide"), "\t", false)
	for _, err := range []error{s.RenameSong(ctx, id("tide"), " "), noAlias} {
		if !errors.Is(err, errNoTitle) {
			t.Errorf("an empty name: %v", err)
		}
	}
	wantNotFound(t, s.RenameSong(ctx, 99, "New"), "song")
	_, err := s.AddAlias(ctx, 99, "New", false)
	wantNotFound(t, err, "song")
	want("refused", "DONT WAIT ()", "TIDE (High Tide, Low Tide)")

	// When two songs turn out to be one, all entries go to it.
	ok(t, s.SaveSetList(ctx, "2031-05-02", []SetListEntry{{Song: "low tide"}, {Song: "Don't Wait!"}}))
	_, err = s.AddAlias(ctx, id("Dont Wait"), "High tide", false)
	var merge *MergeError
	if !errors.As(err, &merge) || merge.Song.Title != "Don't Wait!" || merge.Other.Title != "TIDE" || merge.Other.Takes != 1 || merge.Hint() == "" {
		t.Fatalf("two songs would be merged without --merge: %v", err)
	}
	want("refused, and spelled as on the set list", "Don't Wait! ()", "TIDE (High Tide, Low Tide)")
	if merged := must(s.AddAlias(ctx, id("Dont Wait"), "High tide", true))(t); merged == nil || merged.Title != "TIDE" {
		t.Errorf("merged %+v", merged)
	}
	want("merged", "Don't Wait! (High Tide, Low Tide, TIDE)")
	if all := must(s.Songs(ctx))(t); all[0].Takes != 3 || all[0].Shows != 1 {
		t.Errorf("merged: %+v", all[0])
	}
	if list := must(s.SetList(ctx, "2031-05-02"))(t); len(list) != 2 || list[0].SongID != list[1].SongID || list[0].Song != "Don't Wait!" {
		t.Errorf("set list: %+v", list)
	}
	take("low tide")
	want("and stays so", "Don't Wait! (High Tide, Low Tide, TIDE)")
	// Separated again, the entries under the name are a song of its own.
	if of := must(s.RemoveAlias(ctx, "tide"))(t); of != "Don't Wait!" {
		t.Errorf("removed from %q", of)
	}
	want("taken apart", "Don't Wait! ()", "TIDE (High Tide, Low Tide)")
	_, err = s.RemoveAlias(ctx, "Don't Wait!")
	wantNotFound(t, err, "other name of a song")
	ok(t, s.Check(ctx))
}

// A title has the spelling of most entries, whatever came first. A person's
// renaming outweighs them, and the spellings stay.
func TestTitlesAreTheMostUsedSpelling(t *testing.T) {
	lists := [][]SetListEntry{{{Song: "LOW TIDE"}}, {{Song: "Low Tide"}}, {{Song: "low tide"}, {Song: "Low Tide"}}}
	orders := [][]int{{0, 1, 2}, {2, 1, 0}, {1, 0, 2}}
	for _, order := range orders {
		s := testStore(t)
		ctx := t.Context()
		for i := range lists {
			must(s.EnsureShow(ctx, Show{Date: Date(fmt.Sprintf("2031-05-0%d", i+1))}))(t)
		}
		for _, i := range order {
			ok(t, s.SaveSetList(ctx, ShowKey(fmt.Sprintf("2031-05-0%d", i+1)), lists[i]))
		}
		if got := titles(must(s.Songs(ctx))(t)); !reflect.DeepEqual(got, []string{"Low Tide ()"}) {
			t.Errorf("in order %v: %q", order, got)
		}
		if got := must(s.SetList(ctx, "2031-05-03"))(t); got[0].Entered != "low tide" || got[0].Song != "Low Tide" {
			t.Errorf("the list: %+v", got)
		}
		ok(t, s.RenameSong(ctx, must(s.Song(ctx, "low tide"))(t).ID, "Low tide"))
		ok(t, s.SaveSetList(ctx, "2031-05-01", nil))
		if got := titles(must(s.Songs(ctx))(t)); !reflect.DeepEqual(got, []string{"Low tide ()"}) {
			t.Errorf("renamed, in order %v: %q", order, got)
		}
	}
}

// An alias counts for lists that come before and after it, and for a song that
// vanished meanwhile. Songs that nothing refers to are deleted.
func TestAliasesHoldInAnyOrder(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	must(s.EnsureShow(ctx, Show{Date: "2031-05-02"}))(t)
	save := func(songs ...string) {
		t.Helper()
		entries := []SetListEntry{}
		for _, song := range songs {
			entries = append(entries, SetListEntry{Song: song})
		}
		ok(t, s.SaveSetList(ctx, "2031-05-02", entries))
	}
	songs := func(want ...string) {
		t.Helper()
		if got := titles(must(s.Songs(ctx))(t)); !reflect.DeepEqual(got, want) {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	save("Low Tide")
	must(s.AddAlias(ctx, must(s.Song(ctx, "Low Tide"))(t).ID, "LT", false))(t)
	save()
	songs([]string{}...)
	save("LT")
	songs("Low Tide (LT)")
	save("Third Rail")
	songs("Third Rail ()")
	save("Low Tide", "lt!")
	songs("Low Tide (LT)")
	must(s.RemoveAlias(ctx, "LT"))(t)
	songs("Low Tide ()", "lt! ()")
}

// Two machines may make aliases of each other; when their facts meet, the
// smallest key names the group.
func TestAliasesInACircle(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	must(s.EnsureShow(ctx, Show{Date: "2031-05-02"}))(t)
	ok(t, s.SaveSetList(ctx, "2031-05-02", []SetListEntry{{Song: "Beta"}, {Song: "Alpha"}, {Song: "Gamma"}}))
	ok(t, s.write(ctx, func(w *writing) error {
		return errors.Join(w.put(ctx, FactAlias, "alpha", aliasBody{"Alpha", "Gamma"}), w.put(ctx, FactAlias, "gamma", aliasBody{"Gamma", "Beta"}), w.put(ctx, FactAlias, "beta", aliasBody{"Beta", "Alpha"}))
	}))
	if got := titles(must(s.Songs(ctx))(t)); !reflect.DeepEqual(got, []string{"Alpha (Beta, Gamma)"}) {
		t.Errorf("got %q", got)
	}
}

func TestKey(t *testing.T) {
	for _, same := range [][]string{
		{"Don't Wait!", "DONT WAIT", "don’t-wait"}, {"Kick In", "kick_in", "KickIn"}, {"Ü 1", "ü1"}, {"???", " ??? "},
	} {
		for _, name := range same[1:] {
			if !SameName(same[0], name) {
				t.Errorf("%q and %q have different keys", same[0], name)
			}
		}
	}
	for _, two := range [][2]string{{"Vocal L", "Vocal R"}, {"Tom 1", "Tom 11"}, {"???", "!!!"}, {"", "a"}} {
		if SameName(two[0], two[1]) {
			t.Errorf("%q and %q have the same key", two[0], two[1])
		}
	}
}

func TestSetListsAreReplacedWhole(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	must(s.EnsureShow(ctx, Show{Date: "2031-05-02"}))(t)
	entries := []SetListEntry{{Position: 9, Song: "Low Tide", StartS: dB(1.5), EndS: dB(2)}, {Song: "low tide"}, {Song: "Third Rail", StartS: dB(86400), Clock: true}}
	ok(t, s.SaveSetList(ctx, "2031-05-02", entries))
	got := must(s.SetList(ctx, "2031-05-02"))(t)
	if len(got) != 3 || got[0].Position != 1 || *got[0].EndS != 2 || got[1].SongID != got[0].SongID || got[1].StartS != nil || !got[2].Clock || *got[2].StartS != 86400 {
		t.Errorf("got %+v", got)
	}
	if err := s.SaveSetList(ctx, "2031-05-02", []SetListEntry{{Song: "New"}, {Song: ""}}); err == nil {
		t.Error("an entry without title")
	}
	if again := must(s.SetList(ctx, "2031-05-02"))(t); !reflect.DeepEqual(again, got) {
		t.Errorf("half replaced: %+v", again)
	}
	ok(t, s.SaveSetList(ctx, "2031-05-02", nil))
	if left := must(s.SetList(ctx, "2031-05-02"))(t); len(left) != 0 {
		t.Errorf("left: %+v", left)
	}
	wantNotFound(t, s.SaveSetList(ctx, "2031-01-01", entries), "show")
	_, err := s.AddNote(ctx, "2031-01-01", "x")
	wantNotFound(t, err, "show")
}
