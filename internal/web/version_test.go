package web_test

import (
	"bytes"
	"context"
	"fmt"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/web"
)

// TestNothingStale changes everything that a catalog holds, one after the
// other, as another program would, and compares every page and document that is
// kept with what a server says that has kept nothing.
func TestNothingStale(t *testing.T) {
	renders := t.TempDir() // which a page names
	s := demoSite(t, func(o *web.Options) { o.Renders = renders })
	ctx := t.Context()
	other, err := catalog.Open(ctx, s.store.Path())
	must(t, err)
	defer other.Close()
	const night, before = catalog.ShowKey("2031-05-03"), catalog.ShowKey("2031-05-02")
	recs, err := other.Recordings(ctx, catalog.RecordingFilter{Show: night})
	must(t, err)
	rec := recs[0]
	tracks, err := other.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	must(t, err)
	takes, err := other.Takes(ctx, catalog.TakeFilter{Show: night})
	must(t, err)
	findings, err := other.Findings(ctx, catalog.FindingFilter{Show: night})
	must(t, err)
	if len(takes) < 3 || len(findings) < 2 {
		t.Fatalf("%d takes, %d findings", len(takes), len(findings))
	}
	song, err := other.Song(ctx, takes[0].Song)
	must(t, err)
	ses, err := other.Session(ctx, 1)
	must(t, err)

	paths := []string{"/", "/findings?show=all", "/findings", "/lists", "/lists?date=2031-05-02", "/lists/inputs.csv?date=2031-05-03", "/lists/desk/FOH", "/lists/desk/new", "/lists/desk/FOH/patch.csv",
		"/sessions", "/session/1", "/session/1/sheet", "/session/1/sheet.csv",
		fmt.Sprintf("/song/%d", song.ID), fmt.Sprintf("/song/%d?channel=Kick+In&measure=loudness", song.ID), fmt.Sprintf("/song/%d/plot.svg", song.ID), fmt.Sprintf("/song/%d/levels.csv", song.ID),
		fmt.Sprintf("/findings/%d/evidence.svg", findings[0].ID), fmt.Sprintf("/data/strips/%d?from=0&to=20&columns=50", rec.ID), fmt.Sprintf("/data/figures/%s?take=%d", night, takes[0].ID)}
	for _, d := range []catalog.ShowKey{before, night, "2031-05-05"} {
		paths = append(paths, "/night/"+string(d), "/data/night/"+string(d), "/data/figures/"+string(d))
	}
	ask := func(s *site, path string) []byte {
		t.Helper()
		status, _, body := s.ask(t, "GET", path, nil, map[string]string{"Accept": "text/html"})
		return fmt.Appendf(body, "\nstatus %d", status)
	}

	// Where a change does nothing to any page the test looks at nothing.
	changes := []struct {
		name   string
		change func() error
	}{
		{"a note", func() error { _, err := other.AddNote(ctx, night, "another microphone"); return err }},
		{"an accepted finding", func() error { return other.AcceptFinding(ctx, findings[0].ID, "known") }},
		{"one opened again", func() error { return other.UnacceptFinding(ctx, findings[0].ID) }},
		{"findings replaced", func() error {
			f := findings[1]
			f.Text = "Something else was found."
			return other.ReplaceFindings(ctx, rec.ID, append([]catalog.Finding{f}, findings[2:]...))
		}},
		{"a take moved", func() error {
			tk := takes[0]
			tk.EndFrame -= 44100
			tk.FoundBy = catalog.ByPerson
			_, err := other.SaveTake(ctx, tk)
			return err
		}},
		{"a take gone", func() error { return other.DismissTake(ctx, takes[2].ID) }},
		{"a song renamed", func() error { return other.RenameSong(ctx, song.ID, "Pepper on the Wire") }},
		{"an alias", func() error { _, err := other.AddAlias(ctx, song.ID, "The Pepper Song", false); return err }},
		{"a set list", func() error {
			return other.SaveSetList(ctx, night, []catalog.SetListEntry{{Song: "Pepper on the Wire"}, {Song: "Never Played"}})
		}},
		{"an input list", func() error {
			gain := 31.0
			return other.SaveInputList(ctx, catalog.InputList{From: night, Only: true, Inputs: []catalog.Input{{Track: 1, Channel: "Kick Inside", GainDB: &gain, Group: "drums"}}})
		}},
		{"a desk", func() error {
			return other.SaveDesk(ctx, catalog.Desk{Name: "FOH", Inputs: []catalog.DeskInput{{Input: 1, Channel: "Kick In", Output: 7}}})
		}},
		{"a session", func() error { next := ses; next.ID = 0; _, err := other.SaveSession(ctx, next); return err }},
		{"measured anew", func() error {
			parts, err := other.Parts(ctx, catalog.PartFilter{Track: tracks[1].ID})
			if err != nil || len(parts) == 0 {
				return fmt.Errorf("%d parts, %w", len(parts), err)
			}
			parts[0].Track, parts[0].Features = tracks[0].ID, nil
			return other.PutParts(ctx, parts[:1], nil)
		}},
		{"another offset", func() error {
			moved := rec
			moved.OffsetS = 1.5
			_, err := other.SetReference(ctx, rec.ShowID, []catalog.Recording{moved})
			return err
		}},
		{"another recording", func() error {
			sh, err := other.EnsureShow(ctx, catalog.Show{Date: "2031-05-09", Venue: "Barn"})
			if err != nil {
				return err
			}
			_, err = other.SaveRecording(ctx, catalog.Recording{ShowID: sh.ID, Rig: "spare", SampleRate: 48000, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 48000}, nil, []catalog.Track{{Number: 1, Name: "One", Frames: 48000}}, nil)
			return err
		}},
		{"a recording gone", func() error { return other.DeleteRecording(ctx, rec.ID) }},
	}
	for _, p := range paths {
		ask(s, p)
	}
	for _, c := range changes {
		kept := map[string][]byte{}
		for _, p := range paths {
			kept[p] = ask(s, p)
		}
		must(t, c.change())
		fresh := serve(t, s.store.Path(), func(o *web.Options) { o.Renders = renders })
		fresh.idle(t) // it brings results up to date, and the other server sees that
		seen := 0
		for _, p := range paths {
			now, want := ask(s, p), ask(fresh, p)
			if !bytes.Equal(now, want) {
				t.Errorf("%s: %s is stale", c.name, p)
			}
			if !bytes.Equal(kept[p], want) {
				seen++
			}
		}
		if seen == 0 {
			t.Errorf("%s: no page shows it, so nothing was looked at", c.name)
		}
		t.Logf("%s: %d of %d answers changed", c.name, seen, len(paths))
	}
}

// TestChangesOfOtherNights: what a scan of one night stores every second leaves
// the answers of the others where they are.
func TestChangesOfOtherNights(t *testing.T) {
	s := demoSite(t, nil)
	ctx := t.Context()
	w, err := s.store.Watch(ctx)
	must(t, err)
	defer w.Close()
	sh, err := s.store.EnsureShow(ctx, catalog.Show{Date: "2031-05-09"})
	must(t, err)
	rec, err := s.store.SaveRecording(ctx, catalog.Recording{ShowID: sh.ID, Rig: "main", SampleRate: 48000, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 48000}, nil, []catalog.Track{{Number: 1, Frames: 48000}}, nil)
	must(t, err)
	tracks, err := s.store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	must(t, err)
	earlier, err := w.Changes(ctx)
	must(t, err)
	must(t, s.store.PutParts(ctx, []catalog.Part{{Track: tracks[0].ID, Data: []byte("x")}}, nil))
	later, err := w.Changes(ctx)
	must(t, err)
	for _, about := range []catalog.About{catalog.AboutShows, catalog.AboutRecordings, catalog.AboutMeasured, catalog.AboutTakes, catalog.AboutFindings, catalog.AboutLists, catalog.AboutSongs} {
		if earlier.Of(about, "") != later.Of(about, "") {
			t.Errorf("a part of a night without takes counts as %s", about)
		}
	}
	if earlier.Of(catalog.AboutParts, "2031-05-03") != later.Of(catalog.AboutParts, "2031-05-03") || earlier.Of(catalog.AboutParts, "2031-05-09") == later.Of(catalog.AboutParts, "2031-05-09") {
		t.Error("a part is not counted where it belongs")
	}
	// Once the songs are placed their figures may change with every part.
	_, err = s.store.SaveTake(ctx, catalog.Take{Show: "2031-05-09", Song: "Salt on the Wire", RecordingID: rec.ID, EndFrame: 48000, FoundBy: catalog.ByPerson, Confidence: 1})
	must(t, err)
	earlier, err = w.Changes(ctx)
	must(t, err)
	must(t, s.store.PutParts(context.WithoutCancel(ctx), []catalog.Part{{Track: tracks[0].ID, Data: []byte("y")}}, nil))
	if later, err = w.Changes(ctx); err != nil || earlier.Of(catalog.AboutMeasured, "") == later.Of(catalog.AboutMeasured, "") {
		t.Errorf("a part of a night with takes does not count for its songs: %v", err)
	}
}
