package web_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/refresh"
)

// The big tour: 120 nights of 64 channels and 25 songs from a list of 40. The
// last night is as long as a real one, three hours; the others are of short
// songs, so that the catalog is made in a minute: what a page reads of them, the
// figures of their takes, is the same whatever their length.
const (
	bigNights, bigTracks, bigSongs, bigTitles = 120, 64, 25, 40
	bigRate                                   = 48000
	shortSongS, shortGapS                     = 40, 8
	longSongS, longGapS                       = 380, 50
)

// bigCatalog is made once, in the folder that BIGTOUR names, where it is kept,
// or in a temporary one.
var bigCatalog = sync.OnceValues(func() (string, error) {
	dir := os.Getenv("BIGTOUR")
	if dir == "" {
		var err error
		if dir, err = os.MkdirTemp("", "nightreel-big"); err != nil {
			return "", err
		}
		bigDir = dir
	}
	file := filepath.Join(dir, "big.nightreel")
	if _, err := os.Stat(file); err == nil {
		return file, nil
	}
	part := file + ".part"
	os.Remove(part)
	if err := makeBigCatalog(context.Background(), part); err != nil {
		return "", err
	}
	return file, os.Rename(part, file)
})

var bigDir string // to be removed at the end

func makeBigCatalog(ctx context.Context, file string) error {
	store, err := catalog.Open(ctx, file)
	if err != nil {
		return err
	}
	defer store.Close()
	rng := rand.New(rand.NewPCG(1, 2))
	inputs := []catalog.Input{}
	for i := range bigTracks {
		gain := float64(20 + i%30)
		inputs = append(inputs, catalog.Input{Track: i + 1, Channel: fmt.Sprintf("Channel %02d", i+1), GainDB: &gain, Group: []string{"drums", "bass", "guitars", "vocals"}[i/16]})
	}
	// A pool of measured minutes is dealt out: writing millions of records is
	// not what is looked at here.
	pool := [][]byte{}
	for level := -50.0; level < -15; level += 0.5 {
		pool = append(pool, bigPart(rng, level))
	}
	for n := range bigNights {
		if err := bigNight(ctx, store, rng, n, inputs, pool); err != nil {
			return err
		}
	}
	desk := catalog.Desk{Name: "FOH"}
	for i, in := range inputs {
		desk.Inputs = append(desk.Inputs, catalog.DeskInput{Input: i + 1, Channel: in.Channel, GainDB: in.GainDB, Output: i + 1})
	}
	return store.SaveDesk(ctx, desk)
}

// bigPart is a minute of a track around a level.
func bigPart(rng *rand.Rand, db float64) []byte {
	var p meter.Part
	for i := range meter.PartBlocks {
		rms := math.Pow(10, (db+6*math.Sin(float64(i)/9)+rng.NormFloat64())/20)
		peak := float32(min(1, rms*4))
		p.Blocks = append(p.Blocks, meter.Block{Peak: peak, TruePeak: peak, MeanSquare: float32(rms * rms), KMeanSquare: float32(rms * rms), MaxMomentary: float32(rms * rms)})
	}
	return meter.Encode(p)
}

func bigNight(ctx context.Context, store *catalog.Store, rng *rand.Rand, n int, inputs []catalog.Input, pool [][]byte) error {
	date := catalog.ShowKey(fmt.Sprintf("2031-%02d-%02d", n/28+1, n%28+1))
	song, gap := shortSongS, shortGapS
	if n == bigNights-1 {
		song, gap = longSongS, longGapS
	}
	frames := int64(bigSongs*(song+gap)) * bigRate
	show, err := store.EnsureShow(ctx, catalog.Show{Date: date.Date(), Venue: fmt.Sprintf("Hall %d", n+1)})
	if err != nil {
		return err
	}
	tracks := make([]catalog.Track, bigTracks)
	for i := range tracks {
		tracks[i] = catalog.Track{Number: i + 1, Frames: frames}
	}
	rec, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: catalog.MainRig, SampleRate: bigRate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: frames}, nil, tracks, nil)
	if err != nil {
		return err
	}
	if n%20 == 0 {
		if err := store.SaveInputList(ctx, catalog.InputList{From: date, Inputs: inputs}); err != nil {
			return err
		}
	}
	if tracks, err = store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID}); err != nil {
		return err
	}
	minutes := int((frames + 60*bigRate - 1) / (60 * bigRate))
	parts := []catalog.Part{}
	for i, t := range tracks {
		for m := range minutes {
			data := pool[(i+rng.IntN(9))%len(pool)]
			parts = append(parts, catalog.Part{Track: t.ID, Part: m, Data: data})
		}
	}
	if err := store.PutParts(ctx, parts, nil); err != nil {
		return err
	}
	takes := []catalog.Take{}
	for i := range bigSongs {
		start := int64(i*(song+gap)) * bigRate
		takes = append(takes, catalog.Take{Show: date, Song: fmt.Sprintf("Song %02d", (i+n)%bigTitles+1), RecordingID: rec.ID, StartFrame: start, EndFrame: start + int64(song)*bigRate, FoundBy: catalog.ByMusic, Confidence: 0.9})
	}
	if err := store.EditTakes(ctx, nil, takes); err != nil {
		return err
	}
	findings := []catalog.Finding{}
	kinds := []catalog.FindingKind{catalog.Clipped, catalog.Dropout, catalog.WentSilent, catalog.FlatTop}
	for i := range int64(30) {
		start := rng.Int64N(frames - 10*bigRate)
		findings = append(findings, catalog.Finding{Track: rng.IntN(bigTracks) + 1, Kind: kinds[i%4], StartFrame: start, EndFrame: start + 5*bigRate,
			Severity: []catalog.Severity{catalog.NoteSeverity, catalog.WarningSeverity, catalog.FaultSeverity}[i%3], Evidence: catalog.Evidence{"runs": 12}, Text: "Something was found here, and this is the sentence that says so."})
	}
	if err := store.ReplaceFindings(ctx, rec.ID, findings); err != nil {
		return err
	}
	if n%15 == 0 {
		if _, err := store.AddNote(ctx, date, "new rig"); err != nil {
			return err
		}
	}
	return refresh.Prepare(ctx, store, date)
}

// bigSite serves the big tour.
func bigSite(tb testing.TB) *site {
	tb.Helper()
	file, err := bigCatalog()
	if err != nil {
		tb.Fatal(err)
	}
	return serve(tb, file, nil)
}

// bigPages are what the measurements ask for: the last night is the long one.
var bigPages = []struct{ name, path string }{
	{"tour", "/"},
	{"night", "/night/2031-05-08"},
	{"nightData", "/data/night/2031-05-08"},
	{"figures", "/data/figures/2031-05-08"},
	{"stripsWhole", "/data/strips/120?from=0&to=10750&columns=1400"},
	{"stripsHour", "/data/strips/120?from=3000&to=6600&columns=1400"},
	{"strips2min", "/data/strips/120?from=3000&to=3120&columns=1400"},
	{"findings", "/findings?show=all"},
	{"evidence", "/findings/3590/evidence.svg"},
	{"song", "/song/7"},
	{"plot", "/song/7/plot.svg?channel=Channel+09"},
	{"lists", "/lists"},
	{"sessions", "/sessions"},
}

// BenchmarkBig asks for each page and document of the big tour: worked out anew
// each time, as after a change, and as kept.
func BenchmarkBig(b *testing.B) {
	s := bigSite(b)
	for _, page := range bigPages {
		separator := "?"
		if containsQuery(page.path) {
			separator = "&"
		}
		b.Run(page.name+"/anew", func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				s.fetch(b, fmt.Sprintf("%s%sbench=%d", page.path, separator, i))
			}
		})
		b.Run(page.name+"/kept", func(b *testing.B) {
			for b.Loop() {
				s.fetch(b, page.path)
			}
		})
	}
}
