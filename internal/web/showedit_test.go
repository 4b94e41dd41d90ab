package web_test

import (
	"encoding/json"
	"net/url"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
)

var asPage = map[string]string{"Accept": "text/html"}

// idle waits until no job of a site runs.
func (s *site) idle(t *testing.T) {
	t.Helper()
	deadline := time.Now().Add(time.Minute)
	for {
		_, _, body := s.ask(t, "GET", "/data/jobs", nil, nil)
		if !strings.Contains(string(body), `"state":"running"`) {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("a job does not end: %s", body)
		}
		time.Sleep(20 * time.Millisecond) // a job says in no other way that it ended
	}
}

func TestTwoShowsOfOneDateEachHaveAPage(t *testing.T) {
	s := demoSite(t, nil)
	const day = "2031-05-05"
	show, err := s.store.Show(t.Context(), day)
	if err != nil || len(show.Recordings) != 2 {
		t.Fatalf("%+v, %v", show, err)
	}
	edit := func(key string, form url.Values) string {
		t.Helper()
		status, header, body := s.ask(t, "POST", "/night/"+url.PathEscape(key)+"/edit", form, asPage)
		if status != 303 && status != 200 { // 200 shows what else there is to say
			t.Fatalf("%v: status %d %s", form, status, body)
		}
		s.idle(t)
		return header.Get("Location")
	}
	backup := show.Recordings[1]
	edit(day, url.Values{"do": {"split"}, "recording": {itoa(backup.ID)}, "name": {"evening"}})
	shows, err := s.store.Shows(t.Context(), catalog.ShowFilter{})
	if err != nil {
		t.Fatal(err)
	}
	var keys []string
	for _, sh := range shows {
		if sh.Date == day {
			keys = append(keys, string(sh.Key))
		}
	}
	if len(keys) != 2 {
		t.Fatalf("shows of the date: %q", keys)
	}

	// The date alone is ambiguous: its shows are offered as links.
	status, _, body := s.ask(t, "GET", "/night/"+day, nil, asPage)
	if status != 300 {
		t.Errorf("status %d", status)
	}
	for _, key := range keys {
		if link := `href="/night/` + url.PathEscape(key) + `"`; !strings.Contains(string(body), link) {
			t.Errorf("no link %s on the page\n%s", link, body)
		}
		if status, _, body := s.ask(t, "GET", "/night/"+url.PathEscape(key), nil, asPage); status != 200 || !strings.Contains(string(body), key) {
			t.Errorf("%s: status %d", key, status)
		}
	}
	if _, _, body = s.ask(t, "GET", "/findings?kind=hum&show="+day, nil, asPage); !strings.Contains(string(body), `href="/findings?kind=hum&amp;show=`+day) {
		t.Errorf("the findings offer no choice: %s", body)
	}
	var doc struct {
		Problem string
		Choices []struct{ To, Name string }
	}
	if _, _, body = s.ask(t, "GET", "/data/night/"+day, nil, nil); json.Unmarshal(body, &doc) != nil || len(doc.Choices) != 2 || doc.Choices[1].Name != keys[1] {
		t.Errorf("document %s", body)
	}
	_, _, body = s.ask(t, "GET", "/", nil, asPage)
	for _, key := range keys {
		if !strings.Contains(string(body), `href="/night/`+url.PathEscape(key)) {
			t.Errorf("the tour has no column of %s", key)
		}
	}

	// A show that is renamed has another address, and the browser is sent there.
	evening := string(recording(t, s, backup.ID).Show)
	to := edit(evening, url.Values{"do": {"rename"}, "name": {"late show"}})
	if want := "/night/" + url.PathEscape(day+" late show") + "/edit"; to != want {
		t.Errorf("after renaming: %s, want %s", to, want)
	}
	edit(day+" late show", url.Values{"do": {"venue"}, "name": {"Cellar"}})
	edit(day+" late show", url.Values{"do": {"rig"}, "recording": {itoa(backup.ID)}, "name": {"lobby"}})
	if rec := recording(t, s, backup.ID); rec.Rig != "lobby" {
		t.Errorf("the rig is %s", rec.Rig)
	}
	if sh, err := s.store.Show(t.Context(), day+" late show"); err != nil || sh.Venue != "Cellar" {
		t.Errorf("%+v, %v", sh, err)
	}
	// Reset gives folders and files the word again.
	edit(day+" late show", url.Values{"do": {"reset"}})
	if rec := recording(t, s, backup.ID); rec.Rig != backup.Rig || rec.Show != day {
		t.Errorf("after the reset: rig %s of %s", rec.Rig, rec.Show)
	}
}

func recording(t *testing.T, s *site, id catalog.RecordingID) catalog.Recording {
	t.Helper()
	all, err := s.store.Recordings(t.Context(), catalog.RecordingFilter{ID: id})
	if err != nil || len(all) != 1 {
		t.Fatalf("recording %d: %v, %v", id, all, err)
	}
	return all[0]
}

func TestReferenceMergeAndMoveByThePage(t *testing.T) {
	s := demoSite(t, nil)
	const day = catalog.ShowKey("2031-05-05")
	show, err := s.store.Show(t.Context(), day)
	if err != nil {
		t.Fatal(err)
	}
	post := func(form url.Values) {
		t.Helper()
		if status, _, body := s.ask(t, "POST", "/night/2031-05-05/edit", form, asPage); status != 303 && status != 200 {
			t.Fatalf("%v: status %d %s", form, status, body)
		}
		s.idle(t)
	}
	backup := show.Recordings[1].ID
	post(url.Values{"do": {"reference"}, "recording": {itoa(backup)}})
	if rec := recording(t, s, backup); !rec.Reference {
		t.Errorf("the reference is not the chosen recording: %+v", rec)
	}
	post(url.Values{"do": {"move"}, "recording": {itoa(backup)}, "to": {"2031-05-06"}})
	if rec := recording(t, s, backup); rec.Show != "2031-05-06" {
		t.Errorf("the moved recording is of %s", rec.Show)
	}
	post(url.Values{"do": {"merge"}, "with": {"2031-05-06"}})
	if rec := recording(t, s, backup); rec.Show != day {
		t.Errorf("after the merge it is of %s", rec.Show)
	}
	for _, form := range []url.Values{
		{"do": {"dance"}}, {"do": {"split"}}, {"do": {"rename"}, "name": {"a/b"}}, {"do": {"rename"}}, {"do": {"split_at"}, "at": {"soon"}},
		{"do": {"move"}, "recording": {itoa(backup)}, "to": {"soon"}}, {"do": {"rig"}, "recording": {itoa(backup)}, "name": {" "}},
	} {
		status, _, body := s.ask(t, "POST", "/night/2031-05-05/edit", form, nil)
		var said struct{ Problem string }
		if json.Unmarshal(body, &said) != nil || status != 400 || said.Problem == "" {
			t.Errorf("%v: status %d %s", form, status, body)
		}
	}
}

func TestPagesSayWhatIsNotJudgedAndWhatIsBeingWorkedOut(t *testing.T) {
	s := demoSite(t, nil)
	s.idle(t)
	pages := []string{"/", "/night/2031-05-03", "/findings?show=2031-05-03"}
	each := func(want string, wanted bool) {
		t.Helper()
		for _, path := range pages {
			_, _, body := s.ask(t, "GET", path, nil, asPage)
			if strings.Contains(string(body), want) != wanted {
				t.Errorf("%s: %q is there: %v, want %v", path, want, !wanted, wanted)
			}
		}
	}
	each("not judged yet", false)
	// Somebody else enters a fact, and nothing works out what follows from it.
	must(t, s.store.SaveSetList(t.Context(), "2031-05-03", []catalog.SetListEntry{{Song: "Never Played"}}))
	each("○</span>", true)
	each("not judged yet: songs and findings are not up to date", true)
	release, err := s.server.HoldRefresh()
	must(t, err)
	each("not judged yet: songs and findings are being worked out", true)
	each("↻</span>", true)
	release()
	s.idle(t)
	each("not judged yet: songs and findings are not up to date", true)
	// An edit on a page works out what follows.
	if status, _, body := s.ask(t, "POST", "/lists/setlist", url.Values{"date": {"2031-05-03"}, "text": {"Slow Weather"}}, nil); status != 200 {
		t.Fatalf("status %d %s", status, body)
	}
	s.idle(t)
	each("not judged yet", false)
}
