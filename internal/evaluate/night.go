package evaluate

import (
	"math"
	"math/rand/v2"

	"nightreel/internal/spectrum"
)

// Played is a take as it was played, in seconds of the recording.
type Played struct {
	Song         string
	StartS, EndS float64
}

// sound is a performance at a time of the night.
type sound struct {
	at    int // block
	stems []stem
	gain  float64 // power
	house bool    // it comes from the PA alone, not from the stage
}

// swell is applause.
type swell struct {
	at, dur float64 // s
	level   float64 // power at an audience microphone
}

// night is everything that sounds in one night.
type night struct {
	list    []string // the set list as written
	played  []Played
	lengthS float64
	sounds  []sound
	crowd   []swell
	seed    uint64
}

// heard is what a scan would keep of a night, by input.
type heard struct {
	level   [][]float32 // mean square of each block
	harmony [][]byte    // packed, of each snapshot
	crowd   []float32   // mean square of the audience's sound
}

// hear computes what the inputs pick up in a night.
func (n *night) hear(st setup) heard {
	rng := rand.New(rand.NewPCG(n.seed, 2))
	blocks := int(n.lengthS / blockS)
	var level [sounds][]float32
	for s := range level {
		level[s] = make([]float32, blocks)
	}
	for i := range blocks {
		level[crowd][i] = float32(power(-52 + 1.5*rng.NormFloat64()))
	}
	for _, c := range n.crowd {
		from, to := int(c.at/blockS), int((c.at+c.dur)/blockS)
		for i := max(from, 0); i < min(to, blocks); i++ {
			x := (float64(i-from) + 0.5) / float64(to-from)
			shape := min(1, 12*x) * math.Exp(-2.5*x)
			level[crowd][i] += float32(c.level * shape * power(1.5*rng.NormFloat64()))
		}
	}
	var house []float32
	for _, snd := range n.sounds {
		for _, s := range snd.stems {
			to := level[s.Source]
			if snd.house {
				if house == nil {
					house = make([]float32, blocks)
				}
				to = house
			}
			gain := st.gain(snd, s.Source)
			for i, v := range s.Level {
				if at := snd.at + i; at >= 0 && at < blocks {
					to[at] += v * gain
				}
			}
		}
	}
	h := heard{level: make([][]float32, len(st.inputs)), harmony: make([][]byte, len(st.inputs))}
	decay := float32(math.Pow(10, -6*blockS/between(rng, 0.8, 2.5))) // decays by 60 dB in 0.8 to 2.5 s
	for c, in := range st.inputs {
		gain := power(2.5 * rng.NormFloat64())
		x := make([]float32, blocks)
		for s := range sounds {
			if in.hears[s] == 0 {
				continue
			}
			k, room := float32(in.hears[s]*gain), float32(st.reverb)
			if in.line {
				room = 0
			}
			tail := float32(0)
			for i, v := range level[s] {
				x[i] += k * (v + room*tail)
				tail = tail*decay + v
			}
		}
		if house != nil && !in.line {
			k := float32(in.hears[crowd] * gain)
			for i, v := range house {
				x[i] += k * v
			}
		}
		for i := range x {
			x[i] += float32(in.floor * gain * power(0.3*rng.NormFloat64()))
		}
		h.level[c] = x
	}
	h.crowd = level[crowd]
	n.harmony(&h, st, rng)
	return h
}

// harmony adds up the spectra that reach each input.
func (n *night) harmony(h *heard, st setup, rng *rand.Rand) {
	hops := int(n.lengthS / blockS / hopBlocks)
	chroma := make([][]spectrum.Chroma, sounds+1)
	for s := range chroma {
		chroma[s] = make([]spectrum.Chroma, hops)
	}
	const house = sounds
	for _, snd := range n.sounds {
		first := (snd.at + hopBlocks/2) / hopBlocks
		for _, s := range snd.stems {
			to := chroma[s.Source]
			if snd.house {
				to = chroma[house]
			}
			gain := st.gain(snd, s.Source)
			for i := range s.Chroma {
				if k := first + i; k >= 0 && k < hops {
					for p, v := range s.Chroma[i] {
						to[k][p] += v * gain
					}
				}
			}
		}
	}
	for c, in := range st.inputs {
		packed := make([]byte, hops*spectrum.ChromaBytes)
		hears := append(in.hears[:], 0)
		if !in.line {
			hears[house] = in.hears[crowd]
		}
		room := float32(st.reverb)
		if in.line {
			room = 0
		}
		var tails [sounds + 1]spectrum.Chroma
		for k := range hops {
			var sum spectrum.Chroma
			// Noise: everything but music and speech, at the level picked up.
			// Its power in a window scatters, and a high class is wider in Hz.
			noise := in.floor + in.hears[crowd]*float64(h.crowd[min(k*hopBlocks, len(h.crowd)-1)])
			for p := range sum {
				sum[p] = float32(noise * 0.01 * math.Exp(0.3*rng.NormFloat64()))
			}
			for s, g := range hears {
				if g == 0 {
					continue
				}
				for p, v := range chroma[s][k] {
					sum[p] += float32(g) * (v + room*tails[s][p])
					tails[s][p] = 0.3*tails[s][p] + v
				}
			}
			spectrum.PackChroma(packed[k*spectrum.ChromaBytes:], &sum)
		}
		h.harmony[c] = packed
	}
}
