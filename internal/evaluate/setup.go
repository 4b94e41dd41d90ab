package evaluate

import (
	"math"
	"math/rand/v2"
	"slices"
)

// voice and crowd sound beside the instruments.
const (
	voice = sources + iota
	crowd
	sounds
)

// input is a line of the invented input list: what it is and what it picks up.
type input struct {
	name    string
	floor   float64         // mean square of its noise, hum apart
	hears   [sounds]float64 // power gain from each sound
	line    bool            // a cable from an instrument: it carries nothing else
	strange bool            // not on stage: audience, talkback, spare
}

// setup holds a tour's inputs and what each picks up: the same every night,
// except for gains.
type setup struct {
	inputs []input
	named  bool // the input list names them
	reverb float64
	trim   [sounds]float64 // power gain that brings a sound to a stage's working level
}

// workingDB is the level of a stage's preamps, below full scale (common
// practice, no source).
const workingDB = -18

// balance sets the trims as a sound check does: so that every sound, where it is
// loud, has about the stage's working level, 18 dB below full scale (common
// practice, no source).
func (st *setup) balance(rng *rand.Rand, nights []*night) {
	var loud [sounds][]float64
	for _, n := range nights {
		for _, snd := range n.sounds {
			if snd.house {
				continue
			}
			for _, s := range snd.stems {
				level := slices.Clone(s.Level)
				slices.Sort(level)
				if v := float64(level[len(level)*9/10]); v > 0 {
					loud[s.Source] = append(loud[s.Source], v)
				}
			}
		}
	}
	for s := range st.trim {
		st.trim[s] = 1
		if all := loud[s]; len(all) > 0 && s < sources {
			slices.Sort(all)
			st.trim[s] = power(between(rng, -24, -14)) / max(1e-6, all[len(all)/2])
		}
	}
}

// gain returns the power gain at which a sound's instrument reaches an input
// that picks it up fully. A record is mixed already: no sound check balances its
// instruments.
func (st *setup) gain(snd sound, source int) float32 {
	if snd.house {
		return float32(snd.gain)
	}
	return float32(snd.gain * st.trim[source])
}

func power(db float64) float64 { return math.Pow(10, db/10) }

// between returns a number from a to b.
func between(rng *rand.Rand, a, b float64) float64 { return a + (b-a)*rng.Float64() }

// newSetup draws the inputs: microphones pick up the instruments near them and,
// weaker, all others; some 20 dB between a close microphone and its neighbours are usual
// (common practice, no source).
func newSetup(rng *rand.Rand) setup {
	st := setup{named: rng.Float64() < 0.7, reverb: power(between(rng, -26, -14))}
	mic := func(name string, own ...int) {
		in := input{name: name, floor: power(between(rng, -82, -68))}
		for s := range sources {
			in.hears[s] = power(between(rng, -45, -24))
		}
		near := len(own) > 0 && own[0] <= cymbals
		for s := kick; near && s <= cymbals; s++ {
			in.hears[s] = power(between(rng, -26, -12))
		}
		in.hears[voice] = power(between(rng, -55, -35))
		in.hears[crowd] = power(between(rng, -42, -28))
		for _, s := range own {
			in.hears[s] = power(between(rng, -2, 2))
		}
		st.inputs = append(st.inputs, in)
	}
	cables := rng.Float64() < 0.85 // else everything on this stage is a microphone
	di := func(name string, own int) {
		if !cables {
			mic(name, own)
			return
		}
		in := input{name: name, floor: power(between(rng, -100, -80)), line: true}
		in.hears[own] = power(between(rng, -2, 2))
		st.inputs = append(st.inputs, in)
	}
	mic("Kick In", kick)
	if rng.Float64() < 0.5 {
		mic("Kick Out", kick)
	}
	mic("Snare Top", snare)
	mic("Snare Bottom", snare)
	mic("Hat", hat)
	mic("Rack Tom", toms)
	mic("Floor Tom", toms)
	mic("OH L", cymbals, hat)
	mic("OH R", cymbals)
	st.hearKit(rng, 2)
	di("Bass DI", bass)
	if rng.Float64() < 0.6 {
		mic("Bass Mic", bass)
	}
	mic("Gtr 1", guitar1)
	mic("Gtr 2", guitar2)
	di("Keys L", keys1)
	di("Keys R", keys1)
	di("Synth", keys2)
	if rng.Float64() < 0.5 {
		mic("Solo", lead)
		mic("Lead Vocal", voice)
	} else {
		mic("Lead Vocal", voice, lead)
	}
	mic("BV 1")
	mic("BV 2")
	for _, side := range []string{"Audience L", "Audience R"} {
		mic(side)
		in := &st.inputs[len(st.inputs)-1]
		in.strange = true
		for s := range sources {
			in.hears[s] = power(between(rng, -8, 0)) // from the PA
		}
		in.hears[voice] = power(between(rng, -8, 0))
		in.hears[crowd] = power(between(rng, -3, 3))
	}
	if rng.Float64() < 0.5 {
		mic("Talkback")
		st.inputs[len(st.inputs)-1].strange = true
	}
	for range rng.IntN(3) {
		st.inputs = append(st.inputs, input{name: "Spare", floor: power(between(rng, -100, -80)), line: true, strange: true})
	}
	return st
}

// hearKit makes the last inputs overheads, which pick up all drums.
func (st *setup) hearKit(rng *rand.Rand, overheads int) {
	for i := range overheads {
		oh := &st.inputs[len(st.inputs)-1-i]
		for _, s := range []int{kick, snare, hat, toms} {
			oh.hears[s] = power(between(rng, -10, -2))
		}
	}
}
