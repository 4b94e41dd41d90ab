package catalog

import "testing"

func TestShowsThatExchangeNamesExchangeWhatWasWrittenAboutThem(t *testing.T) {
	s, ctx := testStore(t), t.Context()
	for _, name := range []string{"matinee", "evening", "late"} {
		must(s.EnsureShow(ctx, Show{Date: "2031-05-02", Name: name}))(t)
		show := ShowKey("2031-05-02 " + name)
		ok(t, s.SaveSetList(ctx, show, []SetListEntry{{Song: "Song of the " + name}}))
		must(s.AddNote(ctx, show, name))(t)
	}
	rename := func(names map[string]string) {
		t.Helper()
		ok(t, s.write(ctx, func(w *writing) error { return w.renameShows(ctx, names) }))
	}
	is := func(show ShowKey, titles ...string) {
		t.Helper()
		list := must(s.SetList(ctx, show))(t)
		if len(list) != len(titles) {
			t.Fatalf("%s has %v, want %v", show, list, titles)
		}
		for i, e := range list {
			if e.Song != titles[i] {
				t.Errorf("%s has %v, want %v", show, list, titles)
			}
		}
	}
	rename(map[string]string{"2031-05-02 matinee": "2031-05-02 evening", "2031-05-02 evening": "2031-05-02 matinee"})
	is("2031-05-02 matinee", "Song of the evening")
	is("2031-05-02 evening", "Song of the matinee")
	if notes := must(s.Notes(ctx, "2031-05-02 matinee"))(t); len(notes) != 1 || notes[0].Text != "evening" {
		t.Errorf("the matinee has the notes %v", notes)
	}
	rename(map[string]string{"2031-05-02 late": "2031-05-02 evening"})
	is("2031-05-02 evening", "Song of the matinee", "Song of the late")
	is("2031-05-02 late")
}
