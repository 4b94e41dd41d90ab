package linecheck

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
	"nightreel/internal/wavfile/wavtest"
)

// A small synthetic stage: sources that are played, and inputs that pick them
// up, later and softer with the distance. Levels are fractions of full scale.
const stageRate = 12000

// stroke is one event of a source: at a time and for a length in seconds, at a
// level, at a pitch in Hz.
type stroke struct{ at, length, loud, hz float64 }

// instrument is the sound of a source, and its strokes in a bar of two seconds.
type instrument struct {
	name  string
	sound func(r *rand.Rand, t, hz float64) float64
	bar   []float64 // positions in the bar, as shares of it
	hold  float64   // seconds
	hz    []float64
	rests float64 // share of the bars in which it rests
}

func noisy(r *rand.Rand) float64 { return 2*r.Float64() - 1 }

func tones(t, hz float64, falls float64, harmonics int) float64 {
	sum := 0.0
	for h := 1; h <= harmonics && float64(h)*hz < stageRate/2.2; h++ {
		sum += math.Sin(2*math.Pi*float64(h)*hz*t+float64(h*h)) / math.Pow(float64(h), falls)
	}
	return sum
}

var instruments = []instrument{
	{"kick", func(r *rand.Rand, t, hz float64) float64 {
		return math.Exp(-t/0.09)*math.Sin(2*math.Pi*(52*t-1.4*math.Exp(-t/0.02))) + 0.3*math.Exp(-t/0.004)*noisy(r)
	}, []float64{0, 0.25, 0.5, 0.6, 0.75}, 0.4, []float64{52}, 0},
	{"snare", func(r *rand.Rand, t, hz float64) float64 {
		return math.Exp(-t/0.05)*math.Sin(2*math.Pi*196*t) + 0.5*math.Exp(-t/0.08)*noisy(r)
	}, []float64{0.125, 0.375, 0.625, 0.875}, 0.3, []float64{196}, 0},
	{"tom", func(r *rand.Rand, t, hz float64) float64 {
		return math.Exp(-t/0.15) * math.Sin(2*math.Pi*(98*t-0.6*math.Exp(-t/0.04)))
	}, []float64{0.8, 0.85, 0.9, 0.95}, 0.5, []float64{98}, 0.75},
	{"bass", func(r *rand.Rand, t, hz float64) float64 { return 0.6 * math.Exp(-t/0.9) * tones(t, hz, 1, 9) },
		[]float64{0, 0.375, 0.5, 0.75}, 0.25, []float64{41.2, 55, 61.7, 49}, 0},
	{"guitar", func(r *rand.Rand, t, hz float64) float64 {
		return 0.5 * math.Tanh(3*math.Exp(-t/0.8)*tones(t, hz, 0.9, 20))
	}, []float64{0, 0.25, 0.5, 0.75}, 0.5, []float64{110, 146.8, 164.8, 196}, 0.1},
	{"keys", func(r *rand.Rand, t, hz float64) float64 { return 0.5 * math.Exp(-t/1.2) * tones(t, hz, 1.8, 8) },
		[]float64{0, 0.5}, 0.9, []float64{220, 261.6, 293.7, 329.6, 392}, 0.1},
	{"lead", func(r *rand.Rand, t, hz float64) float64 {
		return 0.4 * math.Min(1, t/0.03) * tones(t+0.0004*math.Sin(2*math.Pi*5.5*t), hz, 0.8, 14)
	}, []float64{0.02, 0.2, 0.33, 0.5, 0.7}, 0.25, []float64{196, 220, 246.9, 261.6}, 0.35},
	{"second", func(r *rand.Rand, t, hz float64) float64 {
		return 0.4 * math.Min(1, t/0.03) * tones(t+0.0004*math.Sin(2*math.Pi*5.1*t), hz, 0.85, 14)
	}, []float64{0.02, 0.33, 0.7}, 0.3, []float64{220, 246.9, 293.7}, 0.6},
	{"click", func(r *rand.Rand, t, hz float64) float64 { return math.Exp(-t/0.006) * math.Sin(2*math.Pi*1500*t) },
		[]float64{0, 0.25, 0.5, 0.75}, 0.05, []float64{1500}, 0},
}

// path is the way of a source's sound to an input.
type path struct {
	gain float64
	late int // frames
}

// stageInput is an input of the small stage.
type stageInput struct {
	name  string
	hears map[string]path
	bleed float64 // of all sources that are not in hears
	floor float64 // dBFS RMS
}

var stageInputs = []stageInput{
	{"Kick In", map[string]path{"kick": {0.2, 4}}, 0.006, -86},
	{"Kick Out", map[string]path{"kick": {0.17, 16}}, 0.008, -88},
	{"Snare", map[string]path{"snare": {0.18, 5}, "kick": {0.01, 30}}, 0.008, -87},
	{"Tom", map[string]path{"tom": {0.2, 5}, "snare": {0.012, 20}}, 0.008, -87},
	{"Over L", map[string]path{"kick": {0.04, 45}, "snare": {0.15, 40}, "tom": {0.1, 50}}, 0.01, -84},
	{"Over R", map[string]path{"kick": {0.04, 48}, "snare": {0.13, 46}, "tom": {0.14, 38}}, 0.01, -84},
	{"Bass", map[string]path{"bass": {0.1, 0}}, 0, -95},
	{"Guitar", map[string]path{"guitar": {0.3, 3}}, 0.005, -85},
	{"Keys", map[string]path{"keys": {0.15, 0}}, 0, -96},
	{"Lead Voice", map[string]path{"lead": {0.1, 2}}, 0.012, -84},
	{"Second Voice", map[string]path{"second": {0.1, 2}}, 0.012, -85},
	{"Click", map[string]path{"click": {0.1, 0}}, 0, -98},
	{"Spare", nil, 0, -98},
}

func stageChannels() (names []string) {
	for _, in := range stageInputs {
		names = append(names, in.name)
	}
	return names
}

// song returns the strokes of a source in some seconds of a song: the refrain is
// louder than the verse, and no two strokes are alike.
func song(r *rand.Rand, in instrument, seconds float64) []stroke {
	var all []stroke
	for bar := 0.0; bar+2 <= seconds; bar += 2 {
		if r.Float64() < in.rests {
			continue
		}
		loud := 0.65
		if int(bar/16)%2 == 1 {
			loud = 1
		}
		for _, place := range in.bar {
			all = append(all, stroke{bar + 2*place + 0.006*r.NormFloat64(), in.hold, loud * math.Exp(0.08*r.NormFloat64()), in.hz[r.IntN(len(in.hz))]})
		}
	}
	return all
}

// inTurn returns the strokes of each source when they are played one after
// another, each for the given length: fewer strokes than in a song, about as
// loud as in the refrain.
func inTurn(r *rand.Rand, length float64) map[string][]stroke {
	all := map[string][]stroke{}
	for i, in := range instruments {
		start := 1.5 + float64(i)*(length+0.3)
		step := max(in.hold, 0.45)
		for t := 0.0; t+0.4 <= length; t += step {
			all[in.name] = append(all[in.name], stroke{start + t, in.hold, 0.95 * math.Exp(0.1*r.NormFloat64()), in.hz[r.IntN(len(in.hz))]})
		}
	}
	return all
}

func atOnce(r *rand.Rand, seconds float64) map[string][]stroke {
	all := map[string][]stroke{}
	for _, in := range instruments {
		all[in.name] = song(r, in, seconds)
	}
	return all
}

// recorded returns the samples of each input.
func recorded(r *rand.Rand, strokes map[string][]stroke, seconds float64) [][]float64 {
	n := int(seconds * stageRate)
	dry := map[string][]float64{}
	for _, in := range instruments {
		x := make([]float64, n)
		sounds := map[float64][]float64{} // of a stroke at each pitch, computed once
		for _, s := range strokes[in.name] {
			if sounds[s.hz] == nil {
				for i := range int(s.length * stageRate) {
					t := float64(i) / stageRate
					sounds[s.hz] = append(sounds[s.hz], min(1, (s.length-t)/0.02)*in.sound(r, t, s.hz))
				}
			}
			for i, v := range sounds[s.hz] {
				if at := int(s.at*stageRate) + i; at >= 0 && at < n {
					x[at] += s.loud * v
				}
			}
		}
		dry[in.name] = x
	}
	all := make([][]float64, len(stageInputs))
	for k, in := range stageInputs {
		y := make([]float64, n)
		floor := math.Pow(10, in.floor/20)
		for i := range y {
			y[i] = floor * r.NormFloat64()
		}
		for j, source := range instruments {
			p, own := in.hears[source.name]
			if !own {
				p = path{in.bleed, 35 + 17*((k+3*j)%7)}
			}
			if source.name == "click" && !own || p.gain == 0 {
				continue // for ears only: no input picks it up
			}
			x := dry[source.name]
			for i := p.late; i < n; i++ {
				y[i] += p.gain * x[i-p.late]
			}
		}
		all[k] = y
	}
	return all
}

// wav writes the inputs of a recording, a file each, limited at full scale.
func wav(t testing.TB, dir string, inputs [][]float64) {
	t.Helper()
	f := wavfile.Format{SampleRate: stageRate, BitDepth: 24, ContainerBytes: 3, Channels: 1}
	for i, x := range inputs {
		wavtest.WriteSamples(t, filepath.Join(dir, fmt.Sprintf("%02d %s.wav", i+1, stageInputs[i].name)), f, x)
	}
}

// stageTour records three nights on the small stage, with gains that vary by 1
// dB from night to night, and returns the catalog.
func stageTour(t testing.TB) *catalog.Store {
	t.Helper()
	var nights []string
	for night := range uint64(3) {
		r := rand.New(rand.NewPCG(night, 31))
		const seconds = 160
		inputs := recorded(r, atOnce(r, seconds), seconds+8)
		for _, x := range inputs {
			scale(x, 2*r.Float64()-1)
		}
		dir := t.TempDir()
		wav(t, dir, inputs)
		nights = append(nights, dir)
	}
	return scanned(t, stageChannels(), nights...)
}

func scale(x []float64, db float64) {
	g := math.Pow(10, db/20)
	for i := range x {
		x[i] *= g
	}
}
