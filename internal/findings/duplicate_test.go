package findings

import (
	"math"
	"math/rand/v2"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/spectrum"
)

// pairNight is a night of two channels whose waves correlate by r, the second
// one's later by so many signs of a third of a millisecond.
func pairNight(rng *rand.Rand, r float64, later int, channels ...string) *channelsound.Night {
	// The arcsine law: of so many signs two waves differ.
	differ := 0.5 - math.Asin(r)/math.Pi
	n := &channelsound.Night{SampleRate: testRate, Voices: make([]channelsound.Voice, 2)}
	for i := range n.Voices {
		n.Voices[i].Track = catalog.Track{Number: i + 1, Channel: channels[i]}
		n.Voices[i].Quiet = -80
	}
	for range 40 {
		var a, b spectrum.Cell
		for k := range spectrum.PrintBits {
			if rng.IntN(2) == 0 {
				a.Print[k/64] |= 1 << (k % 64)
			}
		}
		for k := range spectrum.PrintBits {
			from := max(0, k-later)
			bit := a.Print[from/64] >> (from % 64) & 1
			if rng.Float64() < differ {
				bit ^= 1
			}
			b.Print[k/64] |= bit << (k % 64)
		}
		for i, c := range []spectrum.Cell{a, b} {
			n.Voices[i].Cells, n.Voices[i].Levels = append(n.Voices[i].Cells, c), append(n.Voices[i].Levels, -30)
		}
	}
	return n
}

// What two channels are to each other on other nights.
func TestAlwaysAlike(t *testing.T) {
	type pair struct {
		r     float64
		later int
	}
	for _, row := range []struct {
		what   string
		nights []pair
		later  float64 // signs, tonight
		equal  bool
		names  [2]string
		want   bool
	}{
		{"the same on another night", []pair{{0.1, 0}, {0.97, 1}}, 1, false, [2]string{"Keys L", "Keys R"}, true},
		{"two things", []pair{{0.1, 0}, {0.3, 1}}, 1, false, [2]string{"Keys L", "Solo"}, false},
		{"a cable and the microphone before its loudspeaker", []pair{{0.45, 1}, {0.77, 1}}, 1, false, [2]string{"Bass DI", "Bass Mic"}, true},
		{"as like each other, but by another path", []pair{{0.45, 1}, {0.77, 1}}, 3, false, [2]string{"Bass DI", "Bass Mic"}, false},
		{"by no path at all", []pair{{0.77, 0}}, 0, true, [2]string{"Kick In", "Kick Out"}, false},
		{"less like each other", []pair{{0.6, 1}, {0.6, 1}}, 1, false, [2]string{"Bass DI", "Bass Mic"}, false},
		{"equal tonight, and merely alike on another night", []pair{{0.93, 0}}, 0, true, [2]string{"Overhead L", "Bass DI"}, false},
		{"equal every night", []pair{{1, 0}}, 0, true, [2]string{"Keys L", "Keys R"}, true},
		{"nobody knows, and one thing by its name", nil, 1, false, [2]string{"Bass DI", "Bass Mic"}, true},
		{"nobody knows, and equal", nil, 0, true, [2]string{"Bass DI", "Bass Mic"}, false},
	} {
		t.Run(row.what, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(1, 2))
			n := &evidence.Recording{}
			for _, p := range row.nights {
				n.Tour = append(n.Tour, pairNight(rng, p.r, p.later, row.names[:]...))
			}
			a, b := evidence.Unmeasured(catalog.Track{Channel: row.names[0]}), evidence.Unmeasured(catalog.Track{Channel: row.names[1]})
			wave := 0.9
			if row.equal {
				wave = 1
			}
			if got := alwaysAlike(n, &a, &b, wave, row.later/3000, row.equal); got != row.want {
				t.Error(got)
			}
		})
	}
}

// Two pickups that hear one thing are turned over where they were most alike;
// two that play in one key are so at another lag.
func TestOpposed(t *testing.T) {
	wave := func(top int, height, decay float64) *channelsound.Curve {
		var c channelsound.Curve
		for i := range c.R {
			d := float64(i - top)
			c.R[i] = height * math.Cos(2*math.Pi*d/16) * math.Exp(-math.Abs(d)/decay)
		}
		return &c
	}
	for _, row := range []struct {
		what string
		now  *channelsound.Curve
		want bool
	}{
		{"turned", wave(30, -0.4, 20), true},
		{"turned, with a movement of 1.5 cm", wave(31, -0.3, 20), true},
		{"as it was", wave(30, 0.4, 20), false},
		{"half a wave later", wave(38, 0.4, 8), false},
		{"turned, a wave later", wave(46, -0.4, 8), false},
	} {
		then := wave(30, 0.4, 20)
		if got := opposed(then, row.now) && opposed(row.now, then); got != row.want {
			t.Errorf("%s: %v, cosine %.2f", row.what, got, then.Cosine(row.now))
		}
	}
}

// band is a night of channels whose waves correlate with one that none of them
// is, each by its own share.
func bandNight(rng *rand.Rand, r []float64, channels ...string) *channelsound.Night {
	n := &channelsound.Night{SampleRate: testRate, Voices: make([]channelsound.Voice, len(channels))}
	for i := range n.Voices {
		n.Voices[i].Track = catalog.Track{Number: i + 1, Channel: channels[i]}
		n.Voices[i].Quiet = -80
	}
	for range 40 {
		var base [spectrum.PrintBits]uint64
		for k := range base {
			base[k] = rng.Uint64() & 1
		}
		for i := range n.Voices {
			differ := 0.5 - math.Asin(r[i])/math.Pi
			var c spectrum.Cell
			for k, bit := range base {
				if rng.Float64() < differ {
					bit ^= 1
				}
				c.Print[k/64] |= bit << (k % 64)
			}
			n.Voices[i].Cells, n.Voices[i].Levels = append(n.Voices[i].Cells, c), append(n.Voices[i].Levels, -30)
		}
	}
	return n
}

// The microphone of a bass whose cable was recorded twice is no third copy.
func TestFollows(t *testing.T) {
	names := []string{"Kick Out", "Bass DI", "Bass Mic"}
	for _, row := range []struct {
		what  string
		past  []float64 // how much of one wave each had on another night
		names []string
		waves [2]float64 // of the pair, and of the closer one
		want  bool
	}{
		{"the cable and the microphone are alike every night", []float64{0, 0.95, 0.95}, names, [2]float64{0.95, 1}, true},
		{"they were two things on another night", []float64{0.9, 0, 0.9}, names, [2]float64{0.95, 1}, false},
		{"the other pair is no closer", []float64{0, 0.95, 0.95}, names, [2]float64{0.95, 0.95}, false},
		{"no other night, but one instrument by name", nil, names, [2]float64{0.95, 1}, true},
		{"no other night, and two names", nil, []string{"Kick Out", "Bass DI", "Solo"}, [2]float64{0.95, 1}, false},
	} {
		rng := rand.New(rand.NewPCG(31, 7))
		n := &evidence.Recording{SampleRate: testRate, Sound: bandNight(rng, []float64{1, 1, 0.95}, row.names...)}
		for i := range row.names {
			n.Tracks = append(n.Tracks, evidence.Track{Track: catalog.Track{Number: i + 1, Channel: row.names[i]}})
		}
		if row.past != nil {
			n.Tour = []*channelsound.Night{bandNight(rng, row.past, row.names...)}
		}
		pair, closer := likePair{voices: [2]int{0, 2}, wave: row.waves[0]}, likePair{voices: [2]int{0, 1}, wave: row.waves[1]}
		if got := follows(n, pair, closer); got != row.want {
			t.Errorf("%s: %v, want %v", row.what, got, row.want)
		}
	}
}

// A copy of a third track was not exchanged with another one, unless that one and
// the third are equal by right.
func TestCopied(t *testing.T) {
	names := []string{"Bass DI", "Bass Mic", "Keys L", "Keys R"}
	for _, row := range []struct {
		what        string
		past        []float64
		copies      map[int][]int
		voice, with int
		want        bool
	}{
		{"a copy of the keys on the bass's track", []float64{0, 0, 1, 0}, map[int][]int{0: {2}, 2: {0}}, 0, 1, true},
		{"no copy", []float64{0, 0, 1, 0}, nil, 0, 1, false},
		{"the two are equal", []float64{0, 0, 1, 0}, map[int][]int{0: {1}, 1: {0}}, 0, 1, true},
		{"exchanged with one side of keys in mono", []float64{0, 0, 1, 1}, map[int][]int{0: {3}, 3: {0}}, 0, 2, false},
	} {
		rng := rand.New(rand.NewPCG(3, 9))
		n := &evidence.Recording{SampleRate: testRate, Sound: bandNight(rng, []float64{0, 0, 0, 0}, names...), Tour: []*channelsound.Night{bandNight(rng, row.past, names...)}}
		for i := range names {
			n.Tracks = append(n.Tracks, evidence.Track{Track: catalog.Track{Number: i + 1, Channel: names[i]}})
		}
		if got := copied(n, row.copies, row.voice, row.with); got != row.want {
			t.Errorf("%s: %v, want %v", row.what, got, row.want)
		}
	}
}
