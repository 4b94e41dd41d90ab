package demo

import (
	"math"
	"math/rand/v2"
)

// crackling returns the signal that the cracks add to n frames from start on;
// nil if there is none.
func (d *damage) crackling(start int64, n int) []float64 {
	var x []float64
	for _, c := range d.cracks {
		from := c.at - start
		if from >= int64(n) || from+int64(len(c.wave)) <= 0 {
			continue
		}
		if x == nil {
			x = make([]float64, n)
		}
		for i := max(0, -from); i < int64(len(c.wave)) && from+i < int64(n); i++ {
			x[from+i] += c.wave[i]
		}
	}
	return x
}

// badContact returns the cracks of a plug that is touched now and then between
// two frames: groups of steps that decay within milliseconds, up to a peak.
func badContact(rng *rand.Rand, rate int, from, to int64, peak float64) []crack {
	var all []crack
	at := from
	for {
		for n := 8 + rng.IntN(16); n > 0; n-- {
			at += int64((0.004 + 0.03*rng.ExpFloat64()) * float64(rate))
			if at >= to {
				return all
			}
			h := peak * (0.4 + 0.6*rng.Float64())
			if rng.IntN(2) == 0 {
				h = -h
			}
			all = append(all, crack{at, breakOff(rate, h, 0.0003+0.003*rng.Float64())})
		}
		at += int64((0.3 + rng.Float64()) * float64(rate))
	}
}

// breakOff returns a step of the given height that decays with a time constant
// in seconds. It is filtered as by a converter: 0.45 of the rate, a windowed
// sinc of 33 taps.
func breakOff(rate int, height, decay float64) []float64 {
	const half = 16
	out := make([]float64, int(6*decay*float64(rate))+2*half)
	for k := range out {
		for i := -half; i <= half; i++ {
			at := k - half - i
			if at < 0 {
				continue
			}
			tap := 0.9
			if i != 0 {
				tap = math.Sin(math.Pi*0.9*float64(i)) / (math.Pi * float64(i))
			}
			tap *= 0.5 + 0.5*math.Cos(math.Pi*float64(i)/(half+1))
			out[k] += height * tap * math.Exp(-float64(at)/(decay*float64(rate)))
		}
	}
	return out
}

// groundLoop returns two periods (40 ms) of 50 Hz mains hum at a level in dBFS:
// the multiples up to 550 Hz, the odd ones stronger, as supplies with rectifiers
// make them.
func groundLoop(rate int, dBFS float64) []float64 {
	out := make([]float64, rate/25)
	sum := 0.0
	for h := 1; h <= 11; h++ {
		a := 1 / math.Sqrt(float64(h))
		if h%2 == 0 {
			a *= 0.5
		}
		sum += a * a / 2
		for i := range out {
			out[i] += a * math.Sin(2*math.Pi*float64(2*h*i)/float64(len(out))+float64(h*h))
		}
	}
	g := dB(dBFS) / math.Sqrt(sum)
	for i := range out {
		out[i] *= g
	}
	return out
}
