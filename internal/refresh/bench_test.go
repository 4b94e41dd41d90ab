package refresh_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/refresh"
	"nightreel/internal/songs"
	"nightreel/internal/spectrum"
)

const (
	benchNights  = 60
	benchTracks  = 64
	benchMinutes = 150
	benchSongs   = 25
	benchRate    = 48000
	// benchWhole is how many of the last nights were measured. The nights before
	// them are too far away to be read for the last one or for their neighbours.
	benchWhole = 16
)

// BenchmarkTour adds the last night to a tour of 60 nights of 64 tracks, 2.5 h
// and 25 songs, which a person confirmed, and then moves the end of one of its
// songs. It reports, in seconds, until the show's own answer is there, until all
// that it made stale is up to date again, and how many other shows these are.
func BenchmarkTour(b *testing.B) {
	ctx := context.Background()
	dir := b.TempDir()
	before := filepath.Join(dir, "before.nightreel")
	parts := benchParts()
	store := openBench(b, before)
	var last catalog.ShowKey
	for i := range benchNights {
		last = benchKey(i)
		if i == benchNights-1 {
			break
		}
		storeBenchNight(b, store, i, parts)
	}
	if _, err := refresh.Tour(ctx, store, refresh.Options{}); err != nil {
		b.Fatal(err)
	}
	if err := store.Close(); err != nil {
		b.Fatal(err)
	}
	sums := map[string]float64{}
	tour := func(what string, store *catalog.Store) {
		start := time.Now()
		report, err := refresh.Tour(ctx, store, refresh.Options{First: []catalog.ShowKey{last}, Answered: func(refresh.Report) error {
			sums[what+"-answer-s"] += time.Since(start).Seconds()
			return nil
		}})
		if err != nil {
			b.Fatal(err)
		}
		sums[what+"-all-s"] += time.Since(start).Seconds()
		sums[what+"-shows"] += float64(len(report.Judged))
	}
	for b.Loop() {
		b.StopTimer()
		now := filepath.Join(dir, "now.nightreel")
		copyOnDisk(b, before, now)
		store := openBench(b, now)
		storeBenchNight(b, store, benchNights-1, parts)
		b.StartTimer()
		tour("night", store)

		start := time.Now()
		if _, err := songs.Set(ctx, store, songs.SetRequest{Show: last, Song: "Tune 7", StartS: 7 * 360, EndS: 7*360 + 311}); err != nil {
			b.Fatal(err)
		}
		sums["edit-stored-s"] += time.Since(start).Seconds()
		tour("edit", store)

		start = time.Now()
		if _, err := refresh.Tour(ctx, store, refresh.Options{}); err != nil {
			b.Fatal(err)
		}
		sums["unchanged-s"] += time.Since(start).Seconds()
		b.StopTimer()
		if err := store.Close(); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
	}
	for what, sum := range sums {
		b.ReportMetric(sum/float64(b.N), what)
	}
}

// copyOnDisk copies a file and waits until the disk has it, so that writing it does
// not slow down what is measured.
func copyOnDisk(b *testing.B, from, to string) {
	b.Helper()
	data, err := os.ReadFile(from)
	if err != nil {
		b.Fatal(err)
	}
	f, err := os.Create(to)
	if err != nil {
		b.Fatal(err)
	}
	_, err = f.Write(data)
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		b.Fatal(err)
	}
}

func benchKey(night int) catalog.ShowKey {
	return catalog.ShowKey(time.Date(2031, 2, 1+night, 0, 0, 0, 0, time.UTC).Format(time.DateOnly))
}

func openBench(b *testing.B, path string) *catalog.Store {
	b.Helper()
	store, err := catalog.Open(context.Background(), path)
	if err != nil {
		b.Fatal(err)
	}
	return store
}

// storeBenchNight stores a night: the recording, the measurements (of the last
// nights), and a person's takes.
func storeBenchNight(b *testing.B, store *catalog.Store, night int, measured [][]catalog.Part) {
	b.Helper()
	ctx := context.Background()
	show, err := store.EnsureShow(ctx, catalog.Show{Date: benchKey(night).Date()})
	if err != nil {
		b.Fatal(err)
	}
	const frames = benchMinutes * 60 * benchRate
	var tracks []catalog.Track
	for i := range benchTracks {
		tracks = append(tracks, catalog.Track{Number: i + 1, Name: fmt.Sprintf("Input %d", i+1), Frames: frames})
	}
	rec, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: catalog.MainRig, SampleRate: benchRate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: frames}, nil, tracks, nil)
	if err != nil {
		b.Fatal(err)
	}
	if night >= benchNights-benchWhole {
		saved, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
		if err != nil {
			b.Fatal(err)
		}
		for i, t := range saved {
			parts := make([]catalog.Part, len(measured[i]))
			for m, p := range measured[i] {
				p.Track = t.ID
				parts[m] = p
			}
			if err := store.PutParts(ctx, parts, nil); err != nil {
				b.Fatal(err)
			}
		}
	}
	var takes []catalog.Take
	for song := range benchSongs {
		start := int64(song) * 360 * benchRate
		takes = append(takes, catalog.Take{Show: show.Key, Song: fmt.Sprintf("Tune %d", song), RecordingID: rec.ID, StartFrame: start, EndFrame: start + 320*benchRate, FoundBy: catalog.ByPerson, Confidence: 1})
	}
	if err := store.EditTakes(ctx, nil, takes); err != nil {
		b.Fatal(err)
	}
}

// benchParts returns the measurements of each track of a night: songs of 320 s
// with pauses of 40 s, chords that change every two seconds, and neighbours that
// pick each other up. All nights have the same content: the cost depends on the
// amount of data only.
func benchParts() [][]catalog.Part {
	rng := rand.New(rand.NewPCG(60, 64))
	stage := make([]spectrum.Print, benchMinutes*spectrum.PartCells)
	for c := range stage {
		for w := range stage[c] {
			stage[c][w] = rng.Uint64()
		}
	}
	tracks := make([][]catalog.Part, benchTracks)
	for channel := range tracks {
		for minute := range benchMinutes {
			tracks[channel] = append(tracks[channel], catalog.Part{Part: minute, Data: meter.Encode(benchLevels(rng, channel, minute)), Features: []catalog.Feature{
				{Kind: catalog.Tone, Data: spectrum.Encode(benchTone(rng, channel, minute, stage))},
				{Kind: catalog.Harmony, Data: benchHarmony(rng, minute)},
			}})
		}
	}
	return tracks
}

// benchLevel returns the level of a channel in a second of the night, in dB.
func benchLevel(channel, second int) float64 {
	switch {
	case second%360 >= 320:
		return -75 - float64(channel%7)
	case (second/(7+channel%11)+channel)%3 == 0: // it rests, and picks up the others
		return -50 - float64(channel%5)
	}
	return -20 - float64(channel%9)
}

func benchLevels(rng *rand.Rand, channel, minute int) (p meter.Part) {
	for k := range meter.PartBlocks {
		square := math.Pow(10, (benchLevel(channel, 60*minute+k/meter.BlocksPerSecond)+4*rng.Float64())/10)
		peak := float32(3 * math.Sqrt(square))
		p.Blocks = append(p.Blocks, meter.Block{Peak: peak, TruePeak: peak, MeanSquare: float32(square), KMeanSquare: float32(square), MaxMomentary: float32(square)})
	}
	return p
}

func benchTone(rng *rand.Rand, channel, minute int, stage []spectrum.Print) spectrum.Tone {
	t := spectrum.Tone{Cells: make([]spectrum.Cell, spectrum.PartCells)}
	for c := range t.Cells {
		cell := &t.Cells[c]
		for band := range cell.Bands {
			slope := float64((channel*13+band*7)%20) - 10
			cell.Bands[band] = float32(math.Pow(10, (benchLevel(channel, 60*minute+6*c)-15+slope+2*rng.Float64())/10))
		}
		for w := range cell.Print { // of four signs three are the stage's
			cell.Print[w] = stage[minute*spectrum.PartCells+c][w] ^ rng.Uint64()&rng.Uint64()
		}
	}
	for k := range t.Quiet {
		t.Quiet[k] = float32(math.Pow(10, (-110+4*rng.Float64())/10))
	}
	for band := range t.QuietBands {
		t.QuietBands[band] = float32(math.Pow(10, (-95+rng.Float64())/10))
	}
	return t
}

func benchHarmony(rng *rand.Rand, minute int) []byte {
	packed := make([]byte, 60*spectrum.LooksPerSecond*spectrum.ChromaBytes)
	for look := range 60 * spectrum.LooksPerSecond {
		second := 60*minute + look/spectrum.LooksPerSecond
		chord := rand.New(rand.NewPCG(uint64(second/2), uint64(second/360)))
		var c spectrum.Chroma
		for k := range c {
			c[k] = chord.Float32() + 0.2*rng.Float32()
		}
		spectrum.PackChroma(packed[look*spectrum.ChromaBytes:], &c)
	}
	return packed
}
