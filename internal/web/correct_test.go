package web_test

import (
	"net/url"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/refresh"
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

	upToDate := func() {
		t.Helper()
		if _, err := refresh.Tour(t.Context(), s.store, refresh.Options{}); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 { // a found take's edge, then that of a person's take
		astray()
		move()
		upToDate()
		if !found() {
			t.Error("after an edge was moved a take that a finder placed did not follow from the facts")
		}
	}
	moved := takes()[0]
	do(url.Values{"do": {"delete"}, "take": {itoa(takes()[1].ID)}})
	upToDate()
	if n := len(takes()); n != last {
		t.Errorf("%d takes after one was deleted, want %d", n, last)
	}
	do(url.Values{"do": {"undo"}})
	upToDate()
	if n := len(takes()); n != last+1 || !found() {
		t.Errorf("%d takes after the deletion was undone, want %d", n, last+1)
	}
	if k := takes()[0]; k.FoundBy != catalog.ByPerson || k.EndFrame != moved.EndFrame {
		t.Errorf("a person's take did not stay: %+v", k)
	}
}
