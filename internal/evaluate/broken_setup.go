package evaluate

import (
	"math"
	"math/rand/v2"
	"sync"
)

// The sounds on a stage that is written as audio: the instruments of a score,
// two voices, two sides of an audience, two of a hall.
const (
	voice1 = sources + iota
	voice2
	crowdL
	crowdR
	hallL
	hallR
	allSounds
)

// spot is a position in metres, as seen from the audience: right, back, up.
type spot struct{ x, y, z float64 }

func (p spot) to(q spot) float64 {
	return max(0.05, math.Sqrt((p.x-q.x)*(p.x-q.x)+(p.y-q.y)*(p.y-q.y)+(p.z-q.z)*(p.z-q.z)))
}

// stand holds the loudness at 1 m in dB, the position, and the share in the PA
// of each sound. Instruments on cables are silent on stage except through the
// PA.
var stand = [crowdR + 1]struct {
	at     spot
	loud   float64
	pa     float64
	silent bool
}{
	kick: {spot{0, 3.2, 0.3}, 0, 0.5, false}, snare: {spot{0.35, 3.5, 0.6}, 1, 0.35, false}, hat: {spot{0.75, 3.5, 0.9}, -10, 0.1, false},
	toms: {spot{-0.6, 3.6, 0.5}, -1, 0.3, false}, cymbals: {spot{-0.2, 3.5, 1.3}, -3, 0.1, false}, bass: {spot{-2, 3.6, 0.4}, -4, 0.4, false},
	guitar1: {spot{-3, 3, 0.4}, -2, 0.25, false}, guitar2: {spot{3, 3, 0.4}, -2, 0.25, false}, keys1: {pa: 0.3, silent: true}, keys2: {pa: 0.25, silent: true},
	lead: {spot{1.4, 1.2, 1.4}, -8, 0.3, false}, voice1: {spot{0, 0, 1.6}, -16, 0.6, false}, voice2: {spot{-1.8, 0.3, 1.6}, -17, 0.4, false},
	crowdL: {spot{-4.5, -4, 1.5}, -6, 0, false}, crowdR: {spot{4.5, -4, 1.5}, -6, 0, false},
}

// pickup is one input of a setup that is written as audio.
type pickup struct {
	name   string
	own    []int // the sounds it is for
	at     spot
	line   bool    // a cable: it carries its own sounds alone
	under  bool    // below the drum: its own sound has inverted polarity
	hall   float64 // dB of the hall relative to its own sound
	target float64 // RMS in dBFS of its own sound's loud moments
	floor  float64 // RMS in dBFS of its noise
	reject [allSounds]float64
	mains  float64 // dBFS of hum that it always has; 0 for none
}

// boards draws a tour's inputs, the same every night.
func boards(rng *rand.Rand) []pickup {
	var all []pickup
	add := func(p pickup) {
		p.target = between(rng, -26, -16)
		p.floor = between(rng, -96, -80)
		p.hall = between(rng, -34, -24)
		if p.line {
			p.floor = between(rng, -104, -88)
		}
		for s := range p.reject {
			p.reject[s] = between(rng, 5, 14)
		}
		all = append(all, p)
	}
	mic := func(name string, at spot, own ...int) { add(pickup{name: name, at: at, own: own}) }
	di := func(name string, own ...int) { add(pickup{name: name, own: own, line: true}) }
	mic("Kick In", spot{0, 3.12, 0.3}, kick)
	mic("Kick Out", spot{0, 2.75, 0.35}, kick)
	mic("Snare Top", spot{0.35, 3.5, 0.68}, snare)
	add(pickup{name: "Snare Bottom", at: spot{0.35, 3.5, 0.5}, own: []int{snare}, under: true})
	mic("Hat", spot{0.82, 3.55, 1.05}, hat)
	mic("Toms", spot{-0.6, 3.6, 0.6}, toms)
	mic("Overhead L", spot{-0.7, 3.6, 2}, cymbals, snare)
	mic("Overhead R", spot{0.8, 3.6, 2}, cymbals, snare)
	di("Bass DI", bass)
	mic("Bass Mic", spot{-2, 3.5, 0.4}, bass)
	mic("Guitar L", spot{-3, 2.93, 0.4}, guitar1)
	mic("Guitar R", spot{3, 2.93, 0.4}, guitar2)
	di("Keys L", keys1, keys2)
	di("Keys R", keys2, keys1)
	mic("Solo", spot{1.4, 1.1, 1.4}, lead)
	mic("Lead Vocal", spot{0, 0.06, 1.6}, voice1)
	mic("Vocal 2", spot{-1.8, 0.36, 1.6}, voice2)
	mic("Audience L", spot{-4, -2, 2}, crowdL)
	mic("Audience R", spot{4, -2, 2}, crowdR)
	di("Spare DI")
	for i := range all {
		p := &all[i]
		switch p.name {
		case "Audience L", "Audience R":
			p.hall, p.target = between(rng, -4, 2), between(rng, -34, -26)
		case "Guitar L", "Guitar R", "Bass Mic":
			if rng.Float64() < 0.3 {
				p.mains = between(rng, -80, -66) // amplifiers hum
			}
		}
	}
	return all
}

// shares reports whether two inputs are for one sound: then equal signals are no
// fault.
func (p *pickup) shares(q *pickup) bool {
	for _, a := range p.own {
		for _, b := range q.own {
			if a == b {
				return true
			}
		}
	}
	return false
}

// route is the way of a sound into an input.
type route struct {
	sound int
	gain  float32
	delay int
}

// routes returns the sounds that reach an input on a night. Level falls with the
// distance and sound takes its time. The microphone's position and direction
// differ a little from night to night.
func (p *pickup) routes(rng *rand.Rand) []route {
	var all []route
	db := func(x float64) float32 { return float32(math.Pow(10, x/20)) }
	if p.line {
		for i, s := range p.own {
			all = append(all, route{s, db(p.target - 5*float64(i)), 0})
		}
		return all
	}
	at := spot{p.at.x + 0.015*rng.NormFloat64(), p.at.y + 0.015*rng.NormFloat64(), p.at.z + 0.015*rng.NormFloat64()}
	full := stand[p.own[0]].loud - 20*math.Log10(stand[p.own[0]].at.to(p.at)) - p.target
	for s := range allSounds {
		switch {
		case s == hallL || s == hallR:
			level := p.target + p.hall
			if (s == hallL) == (p.at.x > 0.5) {
				level -= 6
			}
			all = append(all, route{s, db(level), 0})
		case stand[s].silent:
		default:
			r := stand[s].at.to(at)
			level := stand[s].loud - 20*math.Log10(r) - full
			own := false
			for _, o := range p.own {
				own = own || o == s
			}
			if !own {
				level -= p.reject[s] + 0.5*rng.NormFloat64()
			}
			g := db(level)
			if own && p.under {
				g = -g
			}
			all = append(all, route{s, g, int(r / 343 * audioRate)})
		}
	}
	return all
}

// room returns the hall's reflections of the PA, by side: six combs that cut the
// highs.
func room(pa audio, side int, decay float64) audio {
	out := make(audio, len(pa))
	lag := int((0.019 + 0.006*float64(side)) * audioRate)
	for i, ms := range []float64{41.3, 47.9, 53.1, 59.7, 67.3, 73.9} {
		buf := make([]float32, int((ms+1.7*float64(side)+0.3*float64(i))/1000*audioRate))
		back := float32(math.Pow(10, -3*ms/1000/decay))
		at, dull := 0, float32(0)
		for k := lag; k < len(out); k++ {
			y := buf[at]
			if dull += 0.3 * (y - dull); max(dull, -dull) < inaudible {
				dull = 0
			}
			buf[at] = pa[k-lag] + back*dull
			if at++; at == len(buf) {
				at = 0
			}
			out[k] += 0.25 * y
		}
	}
	return out
}

// sideBySide runs f for 0 to n-1 on two goroutines.
func sideBySide(n int, f func(i int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range 2 {
		wg.Go(func() {
			for i := range next {
				f(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}
