package web_test

import (
	"net/url"
	"testing"

	"nightreel/catalog"
)

// A correction tells something about the night's other songs, unless the same
// take was corrected before.
func TestCorrectionsAreLearnedFrom(t *testing.T) {
	const show = "2031-05-03"
	s := demoSite(t, nil)
	takes := func() []catalog.Take {
		t.Helper()
		all, err := s.store.Takes(t.Context(), catalog.TakeFilter{Show: show})
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	do := func(form url.Values) {
		t.Helper()
		if status, _, body := s.ask(t, "POST", "/night/"+show+"/takes", form, nil); status != 200 {
			t.Fatalf("%v: %d %s", form, status, body)
		}
	}
	last := len(takes()) - 1
	right := takes()[last]
	// astray puts the last song where nobody would find it.
	astray := func() {
		t.Helper()
		k := takes()[last]
		k.StartFrame, k.EndFrame, k.FoundBy, k.Confidence = right.StartFrame+(right.EndFrame-right.StartFrame)/4, right.EndFrame, catalog.ByMusic, 0.4
		if _, err := s.store.SaveTake(t.Context(), k); err != nil {
			t.Fatal(err)
		}
	}
	found := func() bool { return takes()[last].StartFrame == right.StartFrame }
	move := func() {
		t.Helper()
		k := takes()[0]
		do(url.Values{"do": {"set"}, "take": {itoa(k.ID)}, "start": {ftoa(k.StartS() + 0.5)}, "end": {ftoa(k.EndS())}})
	}

	astray()
	move()
	if !found() {
		t.Error("after an edge of a found take was moved the doubtful ones were not found anew")
	}
	moved := takes()[0]
	astray()
	move()
	if found() {
		t.Error("to move an edge of a take that was a person's already found others anew")
	}
	do(url.Values{"do": {"delete"}, "take": {itoa(takes()[1].ID)}})
	last--
	if !found() {
		t.Error("after a take was deleted the doubtful ones were not found anew")
	}
	if k := takes()[0]; k.FoundBy != catalog.ByPerson || k.EndFrame != moved.EndFrame {
		t.Errorf("a person's take did not stay: %+v", k)
	}
	do(url.Values{"do": {"undo"}})
	if n := len(takes()); n != last+2 {
		t.Errorf("%d takes after the deletion was undone, want %d", n, last+2)
	}
	if takes()[last+1].StartFrame == right.StartFrame {
		t.Error("undoing the deletion did not undo what was learned from it")
	}
}
