package songs_test

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/demo"
	"nightreel/internal/meter"
	"nightreel/internal/songs"
	"nightreel/internal/wavfile"
)

// TestDemoTour places the songs of the invented tour from what its nights
// bring along (set lists, markers, written times) and compares with its truth.
func TestDemoTour(t *testing.T) {
	if testing.Short() {
		t.Skip("makes and measures a tour")
	}
	dir := t.TempDir()
	truth, err := demo.Make(context.Background(), dir, demo.Options{Scale: demo.Small})
	if err != nil {
		t.Fatal(err)
	}
	// The second turn knows the songs' lengths from the first one's takes, so
	// the harder question comes first.
	store := openStore(t)
	for _, how := range []string{"titles only", "as they come"} {
		for _, show := range truth.Shows {
			ingest(t, store, dir, truth, show, how == "as they come")
		}
		t.Run(how, func(t *testing.T) { placeTour(t, store, truth, how == "titles only") })
	}
}

// placeTour places every night and compares with the truth. bare leaves
// out the times of the set list, so that only the titles' order is left.
func placeTour(t *testing.T, store *catalog.Store, truth *demo.Truth, bare bool) {
	ctx := context.Background()
	right := 0
	var starts, ends []float64
	for _, show := range truth.Shows {
		date := catalog.Date(show.Date)
		var want []demo.Take
		var entries []catalog.SetListEntry
		for _, take := range truth.Takes {
			if take.Show != show.Date {
				continue
			}
			want = append(want, take)
			e := catalog.SetListEntry{Song: take.Song}
			if strings.HasSuffix(show.SetList, ".csv") && !bare {
				// As written there: to the second.
				start, end := float64(int(take.StartS+0.5)), float64(int(take.EndS+0.5))
				e.StartS, e.EndS = &start, &end
			}
			entries = append(entries, e)
		}
		if err := store.SaveSetList(ctx, date, entries); err != nil {
			t.Fatal(err)
		}
		placed, err := songs.Place(ctx, store, date)
		if err != nil {
			t.Fatal(err)
		}
		for i, w := range want {
			if i >= len(placed.Takes) {
				t.Errorf("%s: no take for %q", date, w.Song)
				continue
			}
			got := placed.Takes[i]
			middle := (w.StartS + w.EndS) / 2
			if got.Song == w.Song && got.StartS() < middle && middle < got.EndS() {
				right++
			} else {
				t.Logf("%s: %q placed where %q was played (%.1f–%.1f s, is %.1f–%.1f s)", date, got.Song, w.Song, got.StartS(), got.EndS(), w.StartS, w.EndS)
				continue
			}
			starts, ends = append(starts, got.StartS()-w.StartS), append(ends, got.EndS()-w.EndS)
			t.Logf("%s %-18s start %+.2f s, end %+.2f s, %s %.2f", date, w.Song, got.StartS()-w.StartS, got.EndS()-w.EndS, got.FoundBy, got.Confidence)
		}
		if len(placed.Takes) > len(want) {
			t.Errorf("%s: %d takes where %d were played", date, len(placed.Takes), len(want))
		}
		again, err := songs.Place(ctx, store, date)
		if err != nil {
			t.Fatal(err)
		}
		if again.Added+again.Moved+again.Removed != 0 || !slices.Equal(again.Takes, placed.Takes) {
			t.Errorf("%s: placing again changed %+v to %+v", date, placed, again)
		}
	}
	t.Logf("%d of %d titles right; start %s; end %s", right, len(truth.Takes), spread(starts), spread(ends))
	if 100*right < 95*len(truth.Takes) {
		t.Errorf("%d of %d titles right, want 95 %%", right, len(truth.Takes))
	}
}

// spread describes errors in seconds.
func spread(errors []float64) string {
	if len(errors) == 0 {
		return "none"
	}
	size := make([]float64, len(errors))
	for i, e := range errors {
		size[i] = max(e, -e)
	}
	slices.Sort(size)
	return fmt.Sprintf("within %.2f s (median), %.2f s (95th percentile), %.2f s (worst)", size[len(size)/2], size[len(size)*95/100], size[len(size)-1])
}

func openStore(t *testing.T) *catalog.Store {
	t.Helper()
	store, err := catalog.Open(context.Background(), filepath.Join(t.TempDir(), "catalog"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	return store
}

// ingest measures a night of the demo into the catalog, by the truth's file
// list and straight through package meter, with its markers or without.
func ingest(t *testing.T, store *catalog.Store, dir string, truth *demo.Truth, show demo.Show, marked bool) {
	t.Helper()
	ctx := context.Background()
	sh, err := store.EnsureShow(ctx, catalog.Show{Date: catalog.Date(show.Date), Venue: show.Venue})
	if err != nil {
		t.Fatal(err)
	}
	missing := map[int]bool{} // tracks that were not recorded
	for _, f := range truth.Faults {
		if f.Show == show.Date && f.Kind == "missing_track" {
			missing[f.Track] = true
		}
	}
	for _, l := range truth.InputLists {
		list := catalog.InputList{From: catalog.Date(l.From), Only: l.Only}
		for _, in := range l.Inputs {
			gain := in.GainDB
			list.Inputs = append(list.Inputs, catalog.Input{Track: in.Track, Channel: in.Channel, GainDB: &gain, Group: in.Group})
		}
		if err := store.SaveInputList(ctx, list); err != nil {
			t.Fatal(err)
		}
	}
	for _, r := range show.Recordings {
		starts := r.StartsAt
		rec := catalog.Recording{ShowID: sh.ID, Rig: r.Rig, SampleRate: r.SampleRate, BitDepth: r.BitDepth, SampleBytes: r.BitDepth / 8, Encoding: "pcm", Frames: r.Frames, StartsAt: &starts, OffsetS: r.OffsetS}
		samples, markers := readRecording(t, dir, r)
		var tracks []catalog.Track
		number := 0
		for range samples {
			for number++; missing[number]; number++ {
			}
			tracks = append(tracks, catalog.Track{Number: number, Frames: int64(len(samples[len(tracks)]) / rec.SampleBytes)})
		}
		if !marked {
			markers = nil
		}
		old, err := store.Recordings(ctx, catalog.RecordingFilter{Show: sh.Date, Rig: r.Rig})
		if err != nil {
			t.Fatal(err)
		}
		if len(old) > 0 { // only the markers are new
			rec.ID = old[0].ID
		}
		rec, err = store.SaveRecording(ctx, rec, nil, tracks, markers)
		if err != nil {
			t.Fatal(err)
		}
		saved, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
		if err != nil {
			t.Fatal(err)
		}
		for i, track := range saved {
			typ := meter.Int16
			if rec.SampleBytes == 3 {
				typ = meter.Int24
			}
			if err := store.PutParts(ctx, measure(t, track, typ, samples[i]), nil); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// readRecording returns the samples of each track, and the markers.
func readRecording(t *testing.T, dir string, r demo.Recording) (samples [][]byte, markers []catalog.Marker) {
	t.Helper()
	var start int64
	for i, name := range r.Files {
		f, err := wavfile.Open(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		info := f.Info()
		data := make([]byte, info.Frames*int64(info.Format.FrameBytes()))
		if _, err := f.ReadFrames(data, 0); err != nil && err != io.EOF {
			t.Fatal(err)
		}
		size, channels := info.Format.ContainerBytes, info.Format.Channels
		if channels > 1 {
			if samples == nil {
				samples = make([][]byte, channels)
			}
			for k := 0; k < len(data); k += size {
				c := k / size % channels
				samples[c] = append(samples[c], data[k:k+size]...)
			}
			for _, c := range info.Meta.Cues {
				markers = append(markers, catalog.Marker{Frame: start + c.Frame, Label: c.Label})
			}
			start += info.Frames
		} else if segments := len(r.Files) / r.Tracks; i%segments == 0 {
			samples = append(samples, data)
		} else {
			samples[len(samples)-1] = append(samples[len(samples)-1], data...)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return samples, markers
}

// measure measures a track part by part.
func measure(t *testing.T, track catalog.Track, typ meter.SampleType, data []byte) []catalog.Part {
	t.Helper()
	rate, size := track.SampleRate, int64(typ.Bytes())
	long := int64(meter.PartBlocks * meter.BlockFrames(rate))
	var parts []catalog.Part
	for first := int64(0); first < track.Frames; first += long {
		frames := min(long, track.Frames-first)
		cfg := meter.Config{SampleRate: rate, Channels: 1, Type: typ, First: first, Frames: frames}
		if first > 0 {
			cfg.RunUp = meter.RunUpFrames(rate)
		}
		m, err := meter.New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		from, to := first-int64(cfg.RunUp), min(track.Frames, first+frames+int64(meter.RunOutFrames(rate)))
		if err := m.Write(int(to-from), data[from*size:to*size]); err != nil {
			t.Fatal(err)
		}
		parts = append(parts, catalog.Part{Track: track.ID, Part: int(first / long), Data: meter.Encode(m.Finish()[0])})
	}
	return parts
}
