package songs_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

const night = catalog.ShowKey("2031-07-01")

// threeSongs is a night of three stretches of music: 30–90, 110–200 and
// 230–300 s of 330.
func threeSongs() fakeNight {
	return flatNight(night, 330, [2]float64{30, 90}, [2]float64{110, 200}, [2]float64{230, 300})
}

func place(t *testing.T, store *catalog.Store) songs.Placed {
	t.Helper()
	p, err := placeShow(context.Background(), store, night)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// lines writes takes as "title start–end found_by" for comparison.
func lines(takes []catalog.Take) []string {
	out := []string{}
	for _, t := range takes {
		out = append(out, fmt.Sprintf("%s %.1f–%.1f %s", t.Song, t.StartS(), t.EndS(), t.FoundBy))
	}
	return out
}

func wantTakes(t *testing.T, got []catalog.Take, want ...string) {
	t.Helper()
	if !slices.Equal(lines(got), want) {
		t.Errorf("takes are\n\t%s\nwant\n\t%s", strings.Join(lines(got), "\n\t"), strings.Join(want, "\n\t"))
	}
	for _, take := range got {
		if take.Confidence <= 0 || take.Confidence > 1 || (take.Confidence == 1) != (take.FoundBy == catalog.ByPerson) {
			t.Errorf("%s: confidence %v", take.Song, take.Confidence)
		}
	}
}

func TestPlace(t *testing.T) {
	at := func(s float64) *float64 { return &s }
	frame := func(s float64) int64 { return int64(s * fakeRate) }
	for _, tc := range []struct {
		name    string
		list    []catalog.SetListEntry
		markers []catalog.Marker
		starts  string // of the recording, "15:04:05"
		want    []string
		missing []string
		unnamed int
	}{
		{name: "titles alone go to the music in order",
			list: []catalog.SetListEntry{{Song: "A"}, {Song: "B"}, {Song: "C"}},
			want: []string{"A 30.0–90.0 music", "B 110.0–200.0 music", "C 230.0–300.0 music"}},
		{name: "a title without music is not placed",
			list: []catalog.SetListEntry{{Song: "A"}, {Song: "B"}, {Song: "C"}, {Song: "D"}},
			want: nil, missing: []string{"one"}},
		{name: "without list and markers songs get numbers",
			want: []string{"Song 1, 2031-07-01 30.0–90.0 music", "Song 2, 2031-07-01 110.0–200.0 music", "Song 3, 2031-07-01 230.0–300.0 music"}},
		{name: "markers name songs; the music says where they start and end",
			markers: []catalog.Marker{{Frame: frame(28), Label: "A"}, {Frame: frame(95), Label: "talk"}, {Frame: frame(112), Label: "02 B"}, {Frame: frame(231), Label: "C start"}},
			want:    []string{"A 30.0–90.0 marker", "B 110.0–200.0 marker", "C 230.0–300.0 marker"}},
		{name: "a marker far from the music keeps its place",
			markers: []catalog.Marker{{Frame: frame(50), Label: "A"}},
			want:    []string{"A 50.0–90.0 marker"}, unnamed: 3},
		{name: "a marker with a length is as long",
			markers: []catalog.Marker{{Frame: frame(30), Length: frame(40), Label: "A"}, {Frame: frame(110), Label: "B"}},
			want:    []string{"A 30.0–70.0 marker", "B 110.0–200.0 marker"}, unnamed: 2},
		{name: "a song runs into the next at its marker",
			markers: []catalog.Marker{{Frame: frame(110), Label: "A"}, {Frame: frame(150), Label: "B"}},
			want:    []string{"A 110.0–150.0 marker", "B 150.0–200.0 marker"}, unnamed: 2},
		{name: "an end marker ends its song",
			markers: []catalog.Marker{{Frame: frame(110), Label: "A"}, {Frame: frame(180), Label: "A end"}},
			want:    []string{"A 110.0–180.0 marker"}, unnamed: 3},
		{name: "labels without a title are no songs",
			markers: []catalog.Marker{{Frame: frame(30), Label: "Marker 01"}, {Frame: frame(110), Label: ""}, {Frame: frame(230), Label: "7"}},
			want:    []string{"Song 1, 2031-07-01 30.0–90.0 music", "Song 2, 2031-07-01 110.0–200.0 music", "Song 3, 2031-07-01 230.0–300.0 music"}},
		{name: "a song called like a label is that song",
			list:    []catalog.SetListEntry{{Song: "Intro"}},
			markers: []catalog.Marker{{Frame: frame(30), Label: "INTRO"}},
			want:    []string{"Intro 30.0–90.0 marker"}, unnamed: 2},
		{name: "markers anchor the other titles of the list",
			list:    []catalog.SetListEntry{{Song: "A"}, {Song: "B"}, {Song: "C"}},
			markers: []catalog.Marker{{Frame: frame(110), Label: "b!"}},
			want:    []string{"A 30.0–90.0 music", "B 110.0–200.0 marker", "C 230.0–300.0 music"}},
		{name: "times of the list, to the second",
			list: []catalog.SetListEntry{{Song: "A", StartS: at(31), EndS: at(89)}, {Song: "B", StartS: at(111)}, {Song: "C"}},
			want: []string{"A 30.0–90.0 setlist", "B 110.0–200.0 setlist", "C 230.0–300.0 music"}},
		{name: "times of day, over midnight",
			starts: "23:58:30",
			list:   []catalog.SetListEntry{{Song: "A", StartS: at(23*3600 + 59*60), Clock: true}, {Song: "B", StartS: at(20), Clock: true}, {Song: "C", StartS: at(24*3600 + 141), Clock: true}},
			want:   []string{"A 30.0–90.0 setlist", "B 110.0–200.0 setlist", "C 230.0–300.0 setlist"}},
		{name: "times of day are ignored if the recording's start is unknown",
			list: []catalog.SetListEntry{{Song: "A", StartS: at(100), Clock: true}, {Song: "B"}, {Song: "C"}},
			want: []string{"A 30.0–90.0 music", "B 110.0–200.0 music", "C 230.0–300.0 music"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			store := openStore(t)
			n := threeSongs()
			n.markers = tc.markers
			rec := n.store(t, store)
			if tc.starts != "" {
				when, err := time.Parse(time.TimeOnly, tc.starts)
				if err != nil {
					t.Fatal(err)
				}
				rec.StartsAt = &when
				tracks, err := store.Tracks(context.Background(), catalog.TrackFilter{Recording: rec.ID})
				if err != nil {
					t.Fatal(err)
				}
				if _, err := store.SaveRecording(context.Background(), rec, nil, tracks, tc.markers); err != nil {
					t.Fatal(err)
				}
			}
			if err := store.SaveSetList(context.Background(), night, tc.list); err != nil {
				t.Fatal(err)
			}
			p := place(t, store)
			if tc.missing != nil { // which title is missing cannot be determined
				if len(p.Takes) != 3 || len(p.NotPlaced) != len(tc.missing) {
					t.Errorf("%d takes, not placed %v", len(p.Takes), p.NotPlaced)
				}
				for _, take := range p.Takes {
					if take.Confidence > 0.75 {
						t.Errorf("%s has confidence %.2f", take.Song, take.Confidence)
					}
				}
			} else {
				wantTakes(t, p.Takes, tc.want...)
			}
			for _, take := range p.Takes {
				// A marker without music nearby lowers the confidence.
				if alone := tc.name == "a marker far from the music keeps its place"; take.FoundBy == catalog.ByMarker && tc.list == nil && alone != (take.Confidence < 0.9) && !strings.Contains(tc.name, "runs into") {
					t.Errorf("%s: confidence %v", take.Song, take.Confidence)
				}
			}
			if len(p.Unnamed) != tc.unnamed {
				t.Errorf("music without a title: %v, want %d", p.Unnamed, tc.unnamed)
			}
			again := place(t, store)
			if again.Added+again.Moved+again.Removed != 0 || !slices.Equal(again.Takes, p.Takes) {
				t.Errorf("placing again changed %+v to %+v", p, again)
			}
		})
	}
}

// TestPlaceMarkersOfTheOtherRig: if the main rig has no markers, those of the
// backup count, which here started 20 s later.
func TestPlaceMarkersOfTheOtherRig(t *testing.T) {
	store := openStore(t)
	threeSongs().store(t, store)
	backup := flatNight(night, 300, [2]float64{10, 70})
	backup.rig, backup.offsetS = "backup", 20
	backup.markers = []catalog.Marker{{Frame: 11 * fakeRate, Label: "A"}}
	backup.store(t, store)
	wantTakes(t, place(t, store).Takes, "A 30.0–90.0 marker")
}

func TestPlaceWithoutMusic(t *testing.T) {
	for _, tc := range []struct {
		name string
		n    fakeNight
	}{
		{"silence", flatNight(night, 120)},
		{"a line check", flatNight(night, 120, [2]float64{10, 22}, [2]float64{40, 45})},
	} {
		t.Run(tc.name, func(t *testing.T) {
			store := openStore(t)
			tc.n.store(t, store)
			wantTakes(t, place(t, store).Takes)
		})
	}
	t.Run("no show", func(t *testing.T) {
		var notFound *catalog.NotFoundError
		if _, err := placeShow(context.Background(), openStore(t), night); !errors.As(err, &notFound) {
			t.Errorf("error is %v", err)
		}
	})
	t.Run("no recording", func(t *testing.T) {
		store := openStore(t)
		if _, err := store.EnsureShow(context.Background(), catalog.Show{Date: night.Date()}); err != nil {
			t.Fatal(err)
		}
		wantTakes(t, place(t, store).Takes)
	})
	t.Run("cancelled", func(t *testing.T) {
		store := openStore(t)
		threeSongs().store(t, store)
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if _, err := placeShow(ctx, store, night); !errors.Is(err, context.Canceled) {
			t.Errorf("error is %v", err)
		}
	})
}

// TestPlaceSetListLater: a set list that comes later turns numbers into titles,
// and the takes keep their ids.
func TestPlaceSetListLater(t *testing.T) {
	store := openStore(t)
	threeSongs().store(t, store)
	numbered := place(t, store)
	saveSetList(t, store, night, []string{"A", "B", "C"})
	named := place(t, store)
	wantTakes(t, named.Takes, "A 30.0–90.0 music", "B 110.0–200.0 music", "C 230.0–300.0 music")
	for i := range named.Takes {
		if named.Takes[i].ID != numbered.Takes[i].ID {
			t.Errorf("take %d became %d", numbered.Takes[i].ID, named.Takes[i].ID)
		}
	}
	// A corrected list moves the titles, and each take's id follows its song.
	saveSetList(t, store, night, []string{"B", "A", "C"})
	swapped := place(t, store)
	wantTakes(t, swapped.Takes, "B 30.0–90.0 music", "A 110.0–200.0 music", "C 230.0–300.0 music")
	if swapped.Takes[0].ID != named.Takes[1].ID || swapped.Takes[1].ID != named.Takes[0].ID {
		t.Errorf("ids are %d and %d", swapped.Takes[0].ID, swapped.Takes[1].ID)
	}
}

// TestPlaceKeepsIDsInPlace: if the first of a song's takes turns out to be
// another song, the second take keeps its id.
func TestPlaceKeepsIDsInPlace(t *testing.T) {
	store := openStore(t)
	threeSongs().store(t, store)
	saveSetList(t, store, night, []string{"A", "B", "A"})
	before := place(t, store).Takes
	saveSetList(t, store, night, []string{"C", "B", "A"})
	after := place(t, store)
	wantTakes(t, after.Takes, "C 30.0–90.0 music", "B 110.0–200.0 music", "A 230.0–300.0 music")
	if after.Takes[2].ID != before[2].ID || after.Takes[1].ID != before[1].ID || after.Added != 1 || after.Removed != 1 {
		t.Errorf("takes were %v, and are %+v", before, after)
	}
}

func TestPlaceLeavesAPersonsTakes(t *testing.T) {
	ctx := context.Background()
	store := openStore(t)
	n := threeSongs()
	n.markers = []catalog.Marker{{Frame: 110 * fakeRate, Label: "B"}}
	n.store(t, store)
	saveSetList(t, store, night, []string{"A", "B", "C"})
	place(t, store)
	set, err := songs.Set(ctx, store, songs.SetRequest{Show: night, Song: "b", StartS: 80, EndS: 150.5})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"A 30.0–80.0 music", "B 80.0–150.5 person", "C 230.0–300.0 music"}
	now, err := store.Takes(ctx, catalog.TakeFilter{Show: night})
	if err != nil {
		t.Fatal(err)
	}
	wantTakes(t, now, want...)
	p := place(t, store)
	wantTakes(t, p.Takes, want...)
	if p.Takes[1] != set {
		t.Errorf("the person's take became %+v, was %+v", p.Takes[1], set)
	}
	if len(p.Unnamed) != 1 { // the rest of the marker's song
		t.Errorf("unnamed is %v", p.Unnamed)
	}
}

func TestDeletedStaysDeleted(t *testing.T) {
	ctx := context.Background()
	for _, tc := range []struct {
		name    string
		markers []catalog.Marker
		list    []string
		want    []string
	}{
		{"numbered", nil, nil, []string{"Song 1, 2031-07-01 30.0–90.0 music", "Song 3, 2031-07-01 230.0–300.0 music"}},
		{"from the list", nil, []string{"A", "B", "A"}, []string{"A 30.0–90.0 music", "A 230.0–300.0 music"}},
		{"the same song twice", nil, []string{"A", "A", "C"}, []string{"A 30.0–90.0 music", "C 230.0–300.0 music"}},
		{"marked", []catalog.Marker{{Frame: 110 * fakeRate, Label: "B"}, {Frame: 230 * fakeRate, Label: "C"}, {Frame: 30 * fakeRate, Label: "A"}}, nil,
			[]string{"A 30.0–90.0 marker", "C 230.0–300.0 marker"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			store := openStore(t)
			n := threeSongs()
			n.markers = tc.markers
			n.store(t, store)
			saveSetList(t, store, night, tc.list)
			p := place(t, store)
			if len(p.Takes) != 3 {
				t.Fatalf("takes are %v", lines(p.Takes))
			}
			if err := songs.Delete(ctx, store, p.Takes[1].ID); err != nil {
				t.Fatal(err)
			}
			wantTakes(t, place(t, store).Takes, tc.want...)
			wantTakes(t, place(t, store).Takes, tc.want...)
			// The deleted take does not come back under a number either, once
			// the list is gone.
			saveSetList(t, store, night, nil)
			for _, take := range place(t, store).Takes {
				if take.StartS() == 110 {
					t.Errorf("it came back as %q", take.Song)
				}
			}
			saveSetList(t, store, night, tc.list)
			place(t, store)
			// A person may place the deleted take again.
			if _, err := songs.Set(ctx, store, songs.SetRequest{Show: night, Song: p.Takes[1].Song, Nth: p.Takes[1].Nth, StartS: 110, EndS: 200}); err != nil {
				t.Fatal(err)
			}
			if back := place(t, store); len(back.Takes) != 3 {
				t.Errorf("takes are %v", lines(back.Takes))
			}
		})
	}
}
