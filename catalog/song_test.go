package catalog

import (
	"errors"
	"reflect"
	"strings"
	"testing"
)

// titles writes songs as "title (alias, alias)".
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
	want("found without case and punctuation", "Don't Wait! ()", "Low Tide ()")

	ok(t, s.AddAlias(ctx, id("Low Tide"), "Tide"))
	ok(t, s.AddAlias(ctx, id("Low Tide"), "TIDE"))
	ok(t, s.AddAlias(ctx, id("Low Tide"), "low tide"))
	want("aliases", "Don't Wait! ()", "Low Tide (Tide)")

	ok(t, s.RenameSong(ctx, id("tide"), "High Tide"))
	want("renamed", "Don't Wait! ()", "High Tide (Low Tide, Tide)")
	ok(t, s.RenameSong(ctx, id("tide"), "Tide"))
	want("renamed to an alias", "Don't Wait! ()", "Tide (High Tide, Low Tide)")
	ok(t, s.RenameSong(ctx, id("tide"), "TIDE"))
	want("renamed in case only", "Don't Wait! ()", "TIDE (High Tide, Low Tide)")
	if err := s.RenameSong(ctx, id("tide"), "Dont wait"); err == nil {
		t.Error("two songs of one title")
	}
	for _, err := range []error{s.RenameSong(ctx, id("tide"), " "), s.AddAlias(ctx, id("tide"), "\t")} {
		if !errors.Is(err, errNoTitle) {
			t.Errorf("an empty name: %v", err)
		}
	}
	wantNotFound(t, s.RenameSong(ctx, 99, "New"), "song")
	wantNotFound(t, s.AddAlias(ctx, 99, "New"), "song")
	want("refused", "Don't Wait! ()", "TIDE (High Tide, Low Tide)")

	// Two songs turn out to be one: all goes to it.
	ok(t, s.SaveSetList(ctx, "2031-05-02", []SetListEntry{{Song: "low tide"}, {Song: "Don't Wait!"}}))
	ok(t, s.AddAlias(ctx, id("Dont Wait"), "High tide"))
	want("merged", "Don't Wait! (High Tide, Low Tide, TIDE)")
	if all := must(s.Songs(ctx))(t); all[0].Takes != 3 || all[0].Shows != 1 {
		t.Errorf("merged: %+v", all[0])
	}
	if list := must(s.SetList(ctx, "2031-05-02"))(t); len(list) != 2 || list[0].SongID != list[1].SongID || list[0].Song != "Don't Wait!" {
		t.Errorf("set list: %+v", list)
	}
	take("low tide")
	want("and stays so", "Don't Wait! (High Tide, Low Tide, TIDE)")
	ok(t, s.Check(ctx))
}

func TestKey(t *testing.T) {
	for _, same := range [][]string{
		{"Don't Wait!", "DONT WAIT", "don’t-wait"}, {"Kick In", "kick_in", "KickIn"}, {"Ü 1", "ü1"}, {"???", " ??? "},
	} {
		for _, name := range same[1:] {
			if !SameName(same[0], name) {
				t.Errorf("%q and %q differ", same[0], name)
			}
		}
	}
	for _, two := range [][2]string{{"Vocal L", "Vocal R"}, {"Tom 1", "Tom 11"}, {"???", "!!!"}, {"", "a"}} {
		if SameName(two[0], two[1]) {
			t.Errorf("%q and %q are one", two[0], two[1])
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
