package evaluate

import (
	"math"
	"math/rand/v2"
)

// brokenNight is one night as audio, with its faults.
type brokenNight struct {
	frames int
	sounds [allSounds]audio
	played []Played
	harms  map[int]*harm // by track index
	seed   uint64
	bits   int
	over   []int // numbers of tracks that exceeded full scale without a planted fault
}

// clap is applause, from and to in seconds of the night.
type clap struct{ from, to float64 }

// compose builds a night: takes with talk and applause between them.
func compose(rng *rand.Rand, titles []string, stems []audioStems, speech []audio) *brokenNight {
	n := &brokenNight{seed: rng.Uint64(), bits: []int{24, 24, 16}[rng.IntN(3)], harms: map[int]*harm{}}
	at := between(rng, 7, 12)
	type place struct {
		at int
		s  audioStems
	}
	var places []place
	claps := []clap{{0, 3}}
	for i, s := range stems {
		length := 0
		for _, x := range s {
			length = max(length, len(x))
		}
		places = append(places, place{int(at * audioRate), s})
		end := at + float64(length)/audioRate - 2.5
		n.played = append(n.played, Played{Song: titles[i], StartS: at, EndS: end})
		claps = append(claps, clap{end, end + between(rng, 3, 6)})
		at = end + between(rng, 9, 16)
	}
	n.frames = int((at + 4) * audioRate)
	for s := range n.sounds {
		n.sounds[s] = make(audio, n.frames)
	}
	mix := func(s int, x audio, at int, g float32) {
		to := n.sounds[s]
		for k, v := range x {
			if at+k >= 0 && at+k < len(to) {
				to[at+k] += g * v
			}
		}
	}
	for _, p := range places {
		for s, x := range p.s {
			if len(x) == 0 {
				continue
			}
			if level := x.loudness(); level > 0 {
				// Every player's level differs from song to song and from night
				// to night.
				mix(s, x, p.at, float32(math.Pow(10, 0.8*rng.NormFloat64()/20)/level))
			}
		}
	}
	say := func(s int, from, to, share float64) {
		for t := from; t < to-1; {
			x := speech[rng.IntN(len(speech))]
			if rng.Float64() < share && t+float64(len(x))/audioRate < to {
				mix(s, x, int(t*audioRate), float32(1/max(1e-3, x.loudness())))
			}
			t += float64(len(x))/audioRate + between(rng, 0.1, 1)
		}
	}
	for i, p := range n.played {
		say(voice1, p.StartS, p.EndS, 0.75)
		say(voice2, p.StartS, p.EndS, 0.35)
		if i+1 < len(n.played) && rng.Float64() < 0.5 {
			say(voice1, p.EndS+5, n.played[i+1].StartS-1, 0.5)
		}
	}
	for side := range 2 {
		n.applaud(side, claps, between(rng, 0.03, 0.08))
	}
	for s := range n.sounds {
		n.sounds[s].blockDC() // recorded strokes have some DC; no microphone passes it
	}
	n.fillHall(between(rng, 0.8, 1.8))
	return n
}

// applaud writes one side of the audience's sound: a murmur of the given
// amplitude all night, and applause.
func (n *brokenNight) applaud(side int, claps []clap, murmur float64) {
	x := n.sounds[crowdL+side]
	noise := rand.New(rand.NewPCG(n.seed, uint64(side)))
	var slow, low float64
	c := 0
	for i := range x {
		t := float64(i) / audioRate
		for c < len(claps)-1 && t > claps[c].to {
			c++
		}
		e := murmur
		if t >= claps[c].from && t < claps[c].to {
			u := (t - claps[c].from) / (claps[c].to - claps[c].from)
			e += min(1, 6*u) * (1 - u)
		}
		w := float64(int32(noise.Uint32())) / (1 << 31)
		low += 0.25 * (w - low)
		slow += 0.05 * (w - slow)
		x[i] = float32(3 * e * (low - slow))
	}
}

// fillHall writes the PA's sound at the hall microphones. decay is the hall's
// reverberation time in seconds.
func (n *brokenNight) fillHall(decay float64) {
	pa := make(audio, n.frames)
	for s, p := range stand {
		if p.pa > 0 {
			for i, v := range n.sounds[s] {
				pa[i] += float32(p.pa) * v
			}
		}
	}
	sideBySide(2, func(side int) { n.sounds[hallL+side] = room(pa, side, decay) })
}

// settle sets the gains as an engineer would on the first night: peaks at -6
// dBFS at most.
func (n *brokenNight) settle(setup []pickup) {
	sideBySide(len(setup), func(i int) {
		peak := n.unbroken(&setup[i], i).peak()
		if over := 20*math.Log10(float64(peak)) + 6; over > 0 {
			setup[i].target -= over
		}
	})
}
