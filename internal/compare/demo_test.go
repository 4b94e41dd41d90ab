package compare_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/demo"
	"nightreel/internal/scan"
)

// TestDemoTour: on the third night of the invented tour a new bass rig is 3 dB
// louder, channels were re-patched and preamps turned; on the fourth one
// channel was not recorded.
func TestDemoTour(t *testing.T) {
	if testing.Short() {
		t.Skip("makes and scans a tour")
	}
	ctx := context.Background()
	dir := t.TempDir()
	truth, err := demo.Make(ctx, dir, demo.Options{Scale: demo.Small})
	if err != nil {
		t.Fatal(err)
	}
	store := openStore(t)
	if _, err := scan.Run(ctx, store, []string{dir}, scan.Options{}, nil); err != nil {
		t.Fatal(err)
	}
	for _, l := range truth.InputLists {
		list := catalog.InputList{From: catalog.ShowKey(l.From), Only: l.Only}
		for _, in := range l.Inputs {
			list.Inputs = append(list.Inputs, catalog.Input{Track: in.Track, Channel: in.Channel, GainDB: &in.GainDB, Group: in.Group})
		}
		if err := store.SaveInputList(ctx, list); err != nil {
			t.Fatal(err)
		}
	}
	for _, take := range truth.Takes {
		recs, err := store.Recordings(ctx, catalog.RecordingFilter{Show: catalog.ShowKey(take.Show)})
		if err != nil || len(recs) == 0 {
			t.Fatalf("%s: recordings %v, error %v", take.Show, recs, err)
		}
		addTake(t, store, catalog.ShowKey(take.Show), recs[0], take.Song, take.StartS, take.EndS)
	}
	for _, n := range truth.Notes {
		if _, err := store.AddNote(ctx, catalog.ShowKey(n.Show), n.Text); err != nil {
			t.Fatal(err)
		}
	}
	c, err := compare.Song(ctx, store, "half a lantern", compare.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Takes) != 3 {
		t.Fatalf("takes are %+v", c.Takes)
	}
	bass := channel(t, c, "Bass DI").Values
	// All players vary by some tenths of a dB from night to night.
	if d := float64(bass[1].Change); math.Abs(d-3) > 1.5 {
		t.Errorf("the new bass rig is %.1f dB louder, want 3", d)
	}
	if g := bass[1].GainChangeDB; g == nil || *g != 0 {
		t.Errorf("the bass's gain changed by %v, it did not", g)
	}
	if !slices.Contains(c.Notes, compare.Note{Show: "2031-05-05", Text: "new bass rig"}) {
		t.Errorf("notes are %v", c.Notes)
	}
	// Hat and floor tom exchanged tracks; the hat's gain was raised.
	hat := channel(t, c, "Hat").Values
	if hat[0].Track == hat[1].Track {
		t.Errorf("the hat was on track %d before and after it was re-patched", hat[0].Track)
	}
	if g := hat[1].GainChangeDB; g == nil || *g == 0 || math.Abs(float64(hat[1].Change)-*g) > 2 {
		t.Errorf("the hat's gain changed by %v, its level by %v", g, hat[1].Change)
	}
	right := channel(t, c, "Guitar R").Values
	if slices.ContainsFunc(right, func(v compare.Value) bool { return v.Show == "2031-05-06" }) || len(right) != 2 {
		t.Errorf("a channel that was not recorded has values %+v", right)
	}
	for _, ch := range c.Channels {
		if len(ch.Channel) > 6 && ch.Channel[:6] == "Track " {
			t.Errorf("channel %q has no name", ch.Channel)
		}
	}
	for _, change := range c.Changes {
		t.Logf("%s %-14s %+.1f dB since %s", change.Show, change.Channel, float64(change.ChangeDB), change.Since)
	}
}
