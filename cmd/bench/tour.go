package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/envelope"
	"nightreel/internal/meter"
	"nightreel/internal/refresh"
	"nightreel/internal/scan"
	"nightreel/internal/wavfile"
)

const (
	tourChannels = 64
	tourSongs    = 25
	tourMinutes  = 150 // two hours and a half a night
)

// makeTour makes folders of recordings for a range of nights, and a catalog that
// holds them all as measured. Real audio would take ten terabytes, so the files
// are sparse and their measurements invented. All nights but the last have a few
// bytes a minute, so that the catalog has all its rows but not its size.
func makeTour(ctx context.Context, dir, path string, from, to int) (*catalog.Store, error) {
	for n := from; n < to; n++ {
		if err := sparseNight(filepath.Join(dir, fmt.Sprint(date(n), " Hall"))); err != nil {
			return nil, err
		}
	}
	store, err := catalog.Open(ctx, path)
	if err != nil {
		return nil, err
	}
	// The scan finds the files and stores their layout; it is stopped before it
	// measures.
	scanning, stop := context.WithCancel(ctx)
	defer stop()
	var p scan.Progress
	go func() {
		for p.Snapshot().Stage != "measuring" && scanning.Err() == nil {
			time.Sleep(time.Millisecond)
		}
		stop()
	}()
	if _, err := scan.Run(scanning, store, []string{dir}, scan.Options{Workers: 1}, &p); !errors.Is(err, context.Canceled) {
		return store, fmt.Errorf("filing the nights: %w", err)
	}
	for n := from; n < to; n++ {
		if err := fillNight(ctx, store, n, n == to-1); err != nil {
			return store, err
		}
	}
	return store, nil
}

func date(night int) catalog.ShowKey {
	return catalog.ShowKey(time.Date(2031, 5, 2+night, 0, 0, 0, 0, time.UTC).Format(time.DateOnly))
}

// sparseNight writes sparse mono files of the right length.
func sparseNight(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	// The header of an empty file, with the lengths left at 0 as a power cut
	// leaves them: the rest is read as audio.
	first := filepath.Join(dir, "01 Input 01.wav")
	w, err := wavfile.Create(first, wavfile.Format{SampleRate: rate, Channels: 1, BitDepth: 24, ContainerBytes: sampleLen, Encoding: wavfile.PCM}, wavfile.Meta{})
	if err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	header, err := os.ReadFile(first)
	if err != nil {
		return err
	}
	for c := range tourChannels {
		name := filepath.Join(dir, fmt.Sprintf("%02d Input %02d.wav", c+1, c+1))
		if err := os.WriteFile(name, header, 0o644); err != nil {
			return err
		}
		if err := os.Truncate(name, int64(len(header))+tourMinutes*60*rate*sampleLen); err != nil {
			return err
		}
	}
	return nil
}

// fillNight stores a night's measurements, its takes and its cached screens.
func fillNight(ctx context.Context, store *catalog.Store, night int, whole bool) error {
	r := rand.New(rand.NewPCG(uint64(night), 1))
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: date(night)})
	if err != nil {
		return err
	}
	for _, rec := range recordings {
		tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
		if err != nil {
			return err
		}
		var same []byte
		for part := range tourMinutes {
			var parts []catalog.Part
			for _, t := range tracks {
				data := same
				if whole || data == nil {
					data = meter.Encode(minute(r, whole))
					same = data
				}
				parts = append(parts, catalog.Part{Track: t.ID, Part: part, Data: data})
			}
			if err := store.PutParts(ctx, parts, nil); err != nil {
				return err
			}
		}
		var takes []catalog.Take
		var list []catalog.SetListEntry
		for s := range tourSongs {
			title := fmt.Sprintf("Song %02d", s+1)
			list = append(list, catalog.SetListEntry{Position: s + 1, Song: title})
			start := int64(s) * 6 * 60 * rate
			// By a person: the finder would remove its own takes, because it
			// finds nothing in invented silence.
			takes = append(takes, catalog.Take{Show: rec.Show, Song: title, RecordingID: rec.ID, StartFrame: start,
				EndFrame: start + int64(200+r.IntN(100))*rate, FoundBy: catalog.ByPerson, Confidence: 1})
		}
		if err := store.SaveSetList(ctx, rec.Show, list); err != nil {
			return err
		}
		if err := store.EditTakes(ctx, nil, takes); err != nil {
			return err
		}
	}
	return refresh.Prepare(ctx, store, date(night))
}

// minute is a minute of a track: either a lively one, or a silent one, which
// takes next to no room.
func minute(r *rand.Rand, lively bool) meter.Part {
	p := meter.Part{Blocks: make([]meter.Block, meter.PartBlocks)}
	if !lively {
		return p
	}
	for i := range p.Blocks {
		level := math.Pow(10, -2+0.5*r.NormFloat64())
		square := float32(level * level)
		p.Blocks[i] = meter.Block{Peak: float32(min(1, 4*level)), TruePeak: float32(min(1.1, 4.1*level)), MeanSquare: square, KMeanSquare: square, MaxMomentary: square}
	}
	return p
}

// question is a query of a catalog.
type question struct {
	what string
	ask  func(context.Context, *catalog.Store) error
}

// questions are the queries of screens and commands on a tour, given its last
// night.
func questions(last catalog.ShowKey) []question {
	return []question{
		{"shows", func(ctx context.Context, s *catalog.Store) error {
			_, err := s.Shows(ctx, catalog.ShowFilter{})
			return err
		}},
		{"levels of one song, all nights and channels", func(ctx context.Context, s *catalog.Store) error {
			_, err := compare.Levels(ctx, s, compare.Filter{Song: "Song 07"})
			return err
		}},
		{"one song compared along the tour", func(ctx context.Context, s *catalog.Store) error {
			_, err := compare.Song(ctx, s, "Song 07", compare.Options{})
			return err
		}},
		{"a night's strips, 1600 columns", func(ctx context.Context, s *catalog.Store) error {
			recordings, err := s.Recordings(ctx, catalog.RecordingFilter{Show: last})
			for _, r := range recordings {
				if _, err := envelope.Strips(ctx, s, r, 0, tourMinutes*60*rate, 1600); err != nil {
					return err
				}
			}
			return err
		}},
		{"a night's findings", func(ctx context.Context, s *catalog.Store) error {
			_, err := s.Findings(ctx, catalog.FindingFilter{Show: last})
			return err
		}},
	}
}

// askAll runs the command "ask CATALOG NIGHTS" of this program: every question
// once, in a process of its own, with nothing read before.
func askAll(ctx context.Context, path string, nights int) (map[string]float64, error) {
	took := map[string]float64{}
	began := time.Now()
	store, err := catalog.Open(ctx, path)
	if err != nil {
		return nil, err
	}
	defer store.Close()
	took["open"] = time.Since(began).Seconds() * 1e3
	for _, q := range questions(date(nights - 1)) {
		began := time.Now()
		if err := q.ask(ctx, store); err != nil {
			return nil, fmt.Errorf("%s: %w", q.what, err)
		}
		took[q.what] = time.Since(began).Seconds() * 1e3
	}
	return took, nil
}
