package findings

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

const (
	benchTracks  = 64
	benchMinutes = 150
	benchDoubts  = 8 // tracks that crack and so are compared with other nights
)

// BenchmarkJudge judges a night of 2.5 h, 64 channels and 25 songs against five
// others. Of those only what is asked for is written down: how all channels
// sound, and the levels of the doubtful ones.
func BenchmarkJudge(b *testing.B) {
	ctx := context.Background()
	store, err := catalog.Open(ctx, filepath.Join(b.TempDir(), "catalog"))
	if err != nil {
		b.Fatal(err)
	}
	defer store.Close()
	var date catalog.ShowKey
	for day := range 6 {
		date = catalog.ShowKey(fmt.Sprintf("2031-05-%02d", 2+day))
		storeBenchNight(b, store, date, uint64(day), day == 5)
	}
	findings := 0
	for b.Loop() {
		near, err := evidence.FindNeighbours(ctx, store, date)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Judge(ctx, store, near, evidence.Options{}); err != nil {
			b.Fatal(err)
		}
		found, err := store.Findings(ctx, catalog.FindingFilter{Show: date})
		if err != nil {
			b.Fatal(err)
		}
		findings = len(found)
	}
	b.ReportMetric(float64(findings), "findings")
}

// storeBenchNight writes a night down: the same songs in the same order, and the
// same parts for each channel, with another noise. Neighbours hear each other.
func storeBenchNight(b *testing.B, store *catalog.Store, date catalog.ShowKey, seed uint64, whole bool) {
	ctx := context.Background()
	show, err := store.EnsureShow(ctx, catalog.Show{Date: date.Date()})
	if err != nil {
		b.Fatal(err)
	}
	const frames = benchMinutes * 60 * testRate
	var tracks []catalog.Track
	for i := range benchTracks {
		tracks = append(tracks, catalog.Track{Number: i + 1, Name: fmt.Sprintf("Input %d", i+1), Frames: frames})
	}
	rec, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: catalog.MainRig, SampleRate: testRate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: frames}, nil, tracks, nil)
	if err != nil {
		b.Fatal(err)
	}
	saved, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	if err != nil {
		b.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(7, seed))
	stage := make([]spectrum.Print, benchMinutes*spectrum.PartCells) // what all hear
	for c := range stage {
		for w := range stage[c] {
			stage[c][w] = rng.Uint64()
		}
	}
	for i, t := range saved {
		var parts []catalog.Part
		for minute := range benchMinutes {
			part := catalog.Part{Track: t.ID, Part: minute, Data: []byte{}}
			if whole || i < benchDoubts {
				part.Data = meter.Encode(benchLevels(rng, i, minute))
			}
			part.Features = []catalog.Feature{{Kind: catalog.Tone, Data: spectrum.Encode(benchTone(rng, i, minute, stage))}}
			parts = append(parts, part)
		}
		if err := store.PutParts(ctx, parts, nil); err != nil {
			b.Fatal(err)
		}
	}
	var takes []catalog.Take
	for song := range benchMinutes / 6 {
		start := int64(song) * 360 * testRate
		takes = append(takes, catalog.Take{Show: date, Song: fmt.Sprintf("Tune %d", song), RecordingID: rec.ID, StartFrame: start, EndFrame: start + 320*testRate, FoundBy: catalog.ByPerson, Confidence: 1})
	}
	if err := store.EditTakes(ctx, nil, takes); err != nil {
		b.Fatal(err)
	}
}

// benchLevel returns what a channel holds at a second of the night, in dB: songs
// of 320 s and pauses of 40 s, in which it plays or hears the others.
func benchLevel(channel, second int) float64 {
	if second%360 >= 320 {
		return -75 - float64(channel%7)
	}
	if (second/(7+channel%11)+channel)%3 == 0 {
		return -50 - float64(channel%5)
	}
	return -20 - float64(channel%9)
}

func benchLevels(rng *rand.Rand, channel, minute int) meter.Part {
	var p meter.Part
	for k := range meter.PartBlocks {
		square := math.Pow(10, (benchLevel(channel, 60*minute+k/meter.BlocksPerSecond)+4*rng.Float64())/10)
		peak := float32(3 * math.Sqrt(square))
		bl := meter.Block{Peak: peak, TruePeak: peak, MeanSquare: float32(square), KMeanSquare: float32(square), MaxMomentary: float32(square)}
		if channel < benchDoubts && rng.IntN(100) == 0 {
			bl.Cracks = 1
			p.Events = append(p.Events, meter.Event{Kind: meter.Crack, Start: int64(minute)*60*testRate + int64(k)*testRate/meter.BlocksPerSecond, Frames: 1, Level: peak})
		}
		p.Blocks = append(p.Blocks, bl)
	}
	return p
}

func benchTone(rng *rand.Rand, channel, minute int, stage []spectrum.Print) spectrum.Tone {
	t := spectrum.Tone{Cells: make([]spectrum.Cell, spectrum.PartCells)}
	for c := range t.Cells {
		cell := &t.Cells[c]
		level := benchLevel(channel, 60*minute+6*c)
		for band := range cell.Bands {
			slope := float64((channel*13+band*7)%20) - 10
			cell.Bands[band] = float32(math.Pow(10, (level-15+slope+2*rng.Float64())/10))
		}
		for w := range cell.Print {
			// Of four bits three are the stage's, of some channels half.
			other := rng.Uint64() & rng.Uint64()
			if channel%3 == 0 {
				other |= rng.Uint64() & rng.Uint64()
			}
			cell.Print[w] = stage[minute*spectrum.PartCells+c][w] ^ other
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
