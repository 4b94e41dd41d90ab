package songs_test

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

const fakeRate = 8000 // Hz; a block is 800 frames

// fakeNight is a night whose envelopes are invented instead of measured: each
// channel has a level in dB for every block.
type fakeNight struct {
	date     catalog.ShowKey
	rig      string // "" is the main rig
	offsetS  float64
	channels []string
	levels   [][]float64 // [channel][block]
	markers  []catalog.Marker
	chords   [][12]float32 // what all players play, by second; nil: harmony was not measured
}

// store puts the night into the catalog and returns its recording.
func (f fakeNight) store(t testing.TB, store *catalog.Store) catalog.Recording {
	t.Helper()
	ctx := context.Background()
	show, err := store.EnsureShow(ctx, catalog.Show{Date: f.date.Date()})
	if err != nil {
		t.Fatal(err)
	}
	if f.rig == "" {
		f.rig = catalog.MainRig
	}
	frames := int64(len(f.levels[0]) * fakeRate / 10)
	var tracks []catalog.Track
	for i, name := range f.channels {
		tracks = append(tracks, catalog.Track{Number: i + 1, Name: name, Frames: frames})
	}
	rec, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: f.rig, SampleRate: fakeRate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: frames, OffsetS: f.offsetS}, nil, tracks, f.markers)
	if err != nil {
		t.Fatal(err)
	}
	saved, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	if err != nil {
		t.Fatal(err)
	}
	var parts []catalog.Part
	rng := rand.New(rand.NewPCG(uint64(len(f.levels[0])), 3))
	for i, track := range saved {
		for at := 0; at < len(f.levels[i]); at += meter.PartBlocks {
			var p meter.Part
			for _, db := range f.levels[i][at:min(at+meter.PartBlocks, len(f.levels[i]))] {
				square := float32(math.Pow(10, db/10))
				p.Blocks = append(p.Blocks, meter.Block{Peak: 1, TruePeak: 1, MeanSquare: square, KMeanSquare: square, MaxMomentary: square})
			}
			part := catalog.Part{Track: track.ID, Part: at / meter.PartBlocks, Data: meter.Encode(p)}
			if f.chords != nil {
				part.Features = []catalog.Feature{{Kind: catalog.Harmony, Data: f.harmony(rng, at/10, at/10+len(p.Blocks)/10)}}
			}
			parts = append(parts, part)
		}
	}
	if err := store.PutParts(ctx, parts, nil); err != nil {
		t.Fatal(err)
	}
	return rec
}

// harmony returns the records of what a track plays in seconds from to to-1,
// with some noise.
func (f fakeNight) harmony(rng *rand.Rand, from, to int) []byte {
	packed := make([]byte, 0, spectrum.LooksPerSecond*spectrum.ChromaBytes*(to-from))
	for s := from; s < to; s++ {
		for range spectrum.LooksPerSecond {
			var c spectrum.Chroma
			for i := range c {
				c[i] = 0.1 + 0.2*rng.Float32()
				if s < len(f.chords) {
					c[i] += f.chords[s][i]
				}
			}
			at := len(packed)
			packed = append(packed, make([]byte, spectrum.ChromaBytes)...)
			spectrum.PackChroma(packed[at:], &c)
		}
	}
	return packed
}

// fakeSong is a song that the fake band plays.
type fakeSong struct {
	title      string
	startS     float64
	endS       float64
	quietS     float64      // seconds at its start in which only voice and keys play
	stops      [][2]float64 // all players stop: seconds from the start, and length in seconds
	falseStart float64      // seconds of a false start before it; 0 for none
}

// fakeBand has microphones, which pick up the stage, the audience and each
// other, and lines, which carry their own instrument only.
func fakeBand() []string {
	return []string{"Kick", "Snare", "Hat", "Overhead L", "Overhead R", "Bass DI", "Guitar", "Keys DI", "Lead Vocal", "Backing Vocal", "Audience L", "Spare DI"}
}

// playNight invents a night's levels: noise, applause and talk between songs,
// tuning before some. The levels are of the size that stages have.
func playNight(rng *rand.Rand, date catalog.ShowKey, lengthS float64, set []fakeSong) fakeNight {
	n := fakeNight{date: date, channels: fakeBand()}
	blocks := int(lengthS * 10)
	for _, name := range n.channels {
		l := make([]float64, blocks)
		for i := range l {
			l[i] = -62 + 1.5*rng.NormFloat64() // an open microphone in a full house
			switch name {
			case "Bass DI", "Keys DI", "Spare DI":
				l[i] = -95 + 0.5*rng.NormFloat64()
			case "Audience L":
				l[i] = -45 + 3*rng.NormFloat64()
			}
		}
		n.levels = append(n.levels, l)
	}
	raise := func(c, i int, db float64) {
		if i >= 0 && i < blocks {
			n.levels[c][i] = math.Max(n.levels[c][i], db)
		}
	}
	play := func(startS, endS, quietS float64, stops [][2]float64) {
		for i := int(startS * 10); i < int(endS*10); i++ {
			s := float64(i)/10 - startS
			stopped := false
			for _, st := range stops {
				stopped = stopped || s >= st[0] && s < st[0]+st[1]
			}
			if stopped {
				continue
			}
			for c, name := range n.channels {
				level, chance := -22.0, 0.9
				switch name {
				case "Kick", "Snare":
					chance = 0.3 // strokes; bleed between them
				case "Lead Vocal":
					chance = 0.6
				case "Backing Vocal":
					chance = 0.2
				case "Audience L":
					level = -35
				case "Spare DI":
					continue
				case "Bass DI", "Keys DI":
					level = -25
				}
				quiet := s < quietS
				if quiet && name != "Keys DI" && name != "Lead Vocal" {
					if name != "Bass DI" && name != "Spare DI" {
						raise(c, i, -54+2*rng.NormFloat64())
					}
					continue
				}
				if rng.Float64() < chance {
					raise(c, i, level+3*rng.NormFloat64())
				} else if name != "Bass DI" && name != "Keys DI" {
					raise(c, i, -40+2*rng.NormFloat64()) // bleed
				}
			}
		}
	}
	for k, s := range set {
		if s.falseStart > 0 {
			play(s.startS-s.falseStart-6, s.startS-6, 0, nil)
		}
		play(s.startS, s.endS, s.quietS, s.stops)
		next := lengthS
		if k < len(set)-1 {
			next = set[k+1].startS
		}
		gap := next - s.endS
		for i := int(s.endS * 10); i < int((s.endS+0.6*gap)*10); i++ {
			for c, name := range n.channels { // applause, in the stage's microphones
				switch name {
				case "Audience L":
					raise(c, i, -20+2*rng.NormFloat64())
				case "Overhead L", "Overhead R", "Lead Vocal", "Backing Vocal":
					raise(c, i, -46+3*rng.NormFloat64())
				}
			}
		}
		for i := int((s.endS + 0.5*gap) * 10); i < int((s.endS+0.8*gap)*10); i++ {
			if rng.Float64() < 0.6 {
				raise(8, i, -26+3*rng.NormFloat64()) // talk, on the lead vocal
			}
			if k%2 == 0 && rng.Float64() < 0.5 {
				raise(6, i, -34+3*rng.NormFloat64()) // tuning
			}
		}
	}
	return n
}

// flatNight is a night in which all channels play in the given spans, in
// seconds, and are silent elsewhere.
func flatNight(date catalog.ShowKey, lengthS float64, spans ...[2]float64) fakeNight {
	n := fakeNight{date: date, channels: []string{"Kick", "Bass", "Guitar", "Keys"}}
	for c := range n.channels {
		l := make([]float64, int(lengthS*10))
		for i := range l {
			l[i] = -70
			for _, s := range spans {
				if at := float64(i) / 10; at >= s[0] && at < s[1] {
					l[i] = -20 - float64(c)
				}
			}
		}
		n.levels = append(n.levels, l)
	}
	return n
}
