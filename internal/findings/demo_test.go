package findings_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/demo"
	"nightreel/internal/evidence"
	"nightreel/internal/findings"
	"nightreel/internal/lists"
	"nightreel/internal/scan"
)

// tour makes the demo tour, scans it into a catalog and gives it its input
// lists.
func tour(t *testing.T, scale demo.Scale) (*catalog.Store, *demo.Truth) {
	t.Helper()
	ctx := context.Background()
	dir := filepath.Join(t.TempDir(), "tour")
	truth, err := demo.Make(ctx, dir, demo.Options{Scale: scale})
	if err != nil {
		t.Fatal(err)
	}
	store, err := catalog.Open(ctx, filepath.Join(t.TempDir(), "catalog.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	if _, err := scan.Run(ctx, store, []string{dir}, scan.Options{}, nil); err != nil {
		t.Fatal(err)
	}
	for _, l := range truth.InputLists {
		text, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(l.File)))
		if err != nil {
			t.Fatal(err)
		}
		inputs, err := lists.ReadInputs(bytes.NewReader(text), l.File)
		if err != nil {
			t.Fatal(err)
		}
		if err := store.SaveInputList(ctx, catalog.InputList{From: catalog.ShowKey(l.From), Only: l.Only, Inputs: inputs}); err != nil {
			t.Fatal(err)
		}
	}
	return store, truth
}

func saveTakes(t *testing.T, store *catalog.Store, truth *demo.Truth) {
	t.Helper()
	ctx := context.Background()
	for _, k := range truth.Takes {
		recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: catalog.ShowKey(k.Show)})
		if err != nil || len(recordings) == 0 {
			t.Fatal(k.Show, recordings, err)
		}
		r := recordings[0]
		_, err = store.SaveTake(ctx, catalog.Take{Show: r.Show, Song: k.Song, RecordingID: r.ID, StartFrame: r.Frame(k.StartS), EndFrame: r.Frame(k.EndS), FoundBy: catalog.ByPerson, Confidence: 1})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// The demo tour's truth is the oracle: every planted fault is reported on its
// channel, rig and place, and nothing else is; with or without songs, night by
// night as the tour goes on, and once more when all nights are known.
func TestDemoTour(t *testing.T) {
	store, truth := tour(t, demo.Small)
	t.Run("night by night, songs unknown", func(t *testing.T) { checkTour(t, store, truth) })
	t.Run("all nights known, songs unknown", func(t *testing.T) { checkTour(t, store, truth) })
	saveTakes(t, store, truth)
	t.Run("all nights known, songs known", func(t *testing.T) { checkTour(t, store, truth) })
	t.Run("accepted stays accepted", func(t *testing.T) { checkAccepted(t, store) })
}

// The full tour has every kind of fault, also those that take a high rate, a
// quiet minute or other nights to hear.
func TestFullDemoTour(t *testing.T) {
	if findings.RaceEnabled || testing.Short() {
		t.Skip("synthesises 400 MB")
	}
	store, truth := tour(t, demo.Full)
	kinds := map[string]bool{}
	for _, f := range truth.Faults {
		kinds[f.Kind] = true
	}
	for _, k := range []catalog.FindingKind{catalog.Clipped, catalog.FlatTop, catalog.Dead, catalog.WentSilent, catalog.Dropout, catalog.Crackle,
		catalog.Hum, catalog.DCOffset, catalog.Polarity, catalog.Duplicate, catalog.Swapped, catalog.MissingTrack, catalog.GainChange,
		catalog.UnfinishedFile, catalog.ShortTrack} {
		if !kinds[string(k)] {
			t.Errorf("no %s on the tour", k)
		}
	}
	t.Run("songs unknown", func(t *testing.T) { checkTour(t, store, truth) })
	saveTakes(t, store, truth)
	t.Run("songs known", func(t *testing.T) { checkTour(t, store, truth) })
}

// checkAccepted accepts one finding and judges again.
func checkAccepted(t *testing.T, store *catalog.Store) {
	t.Helper()
	ctx := context.Background()
	all, err := store.Findings(ctx, catalog.FindingFilter{Kind: catalog.DCOffset})
	if err != nil || len(all) != 1 {
		t.Fatal(all, err)
	}
	if err := store.AcceptFinding(ctx, all[0].ID, "known since May"); err != nil {
		t.Fatal(err)
	}
	if err := judge(ctx, store, all[0].Show); err != nil {
		t.Fatal(err)
	}
	again, err := store.Findings(ctx, catalog.FindingFilter{Kind: catalog.DCOffset})
	if err != nil || len(again) != 1 || !again[0].Accepted || again[0].ID != all[0].ID {
		t.Errorf("after judging again: %+v, %v", again, err)
	}
}

func TestJudgeErrors(t *testing.T) {
	store, err := catalog.Open(context.Background(), filepath.Join(t.TempDir(), "catalog.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	var notFound *catalog.NotFoundError
	if err := judge(context.Background(), store, "2031-05-02"); !errors.As(err, &notFound) {
		t.Errorf("a night that is not there: %v", err)
	}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	if err := judge(cancelled, store, "2031-05-02"); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func checkTour(t *testing.T, store *catalog.Store, truth *demo.Truth) {
	t.Helper()
	ctx := context.Background()
	for _, s := range truth.Shows {
		if err := judge(ctx, store, catalog.ShowKey(s.Date)); err != nil {
			t.Fatal(err)
		}
	}
	all, err := store.Findings(ctx, catalog.FindingFilter{})
	if err != nil {
		t.Fatal(err)
	}
	used := make([]bool, len(all))
	found := 0
	for _, p := range truth.Faults {
		hit := false
		for i, f := range all {
			if string(f.Show) == p.Show && f.Rig == p.Rig && (f.Track == p.Track || f.Concerns(p.Track)) && string(f.Kind) == p.Kind &&
				f.StartS() < p.EndS+1 && f.EndS() > p.StartS-1 && f.StartS() > p.StartS-1 && f.StartS() < p.StartS+1 && (f.Track == 0 || catalog.SameName(f.Channel, p.Channel)) {
				hit, used[i] = true, true
			}
		}
		if !hit {
			t.Errorf("missed: %s %s, %s on %s (track %d), %.2f to %.2f s: %s", p.Show, p.Rig, p.Kind, p.Channel, p.Track, p.StartS, p.EndS, p.Why)
			continue
		}
		found++
	}
	// What happened to several tracks at once is one finding, and all that it numbers
	// must be planted.
	for i, f := range all {
		if f.Track != 0 {
			continue
		}
		for _, number := range f.Tracks {
			used[i] = used[i] && slices.ContainsFunc(truth.Faults, func(p demo.Fault) bool {
				return string(f.Show) == p.Show && f.Rig == p.Rig && number == p.Track && string(f.Kind) == p.Kind
			})
		}
	}
	extra := 0
	for i, f := range all {
		t.Logf("%s %-6s %-15s %-8s %s", f.Show, f.Rig, f.Kind, f.Severity, f.Text)
		if !used[i] {
			extra++
			t.Errorf("false: %s %s, %s on %s (track %d), %.2f to %.2f s: %s %v", f.Show, f.Rig, f.Kind, f.Channel, f.Track, f.StartS(), f.EndS(), f.Text, f.Evidence)
		}
	}
	t.Logf("demo tour: %d planted, %d found, %d missed, %d false", len(truth.Faults), found, len(truth.Faults)-found, extra)
}

func judge(ctx context.Context, store *catalog.Store, show catalog.ShowKey) error {
	near, err := evidence.FindNeighbours(ctx, store, show)
	if err != nil {
		return err
	}
	notJudged, err := findings.Judge(ctx, store, near, evidence.Options{})
	if len(notJudged) > 0 {
		return fmt.Errorf("not judged: %v", notJudged)
	}
	return err
}
