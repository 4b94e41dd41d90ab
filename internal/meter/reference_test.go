package meter

import (
	"math"
	"slices"
)

// reference returns the figures of samples[from:to], fractions of full scale at
// a rate in Hz, filtered from the first sample on. It is an independent
// reference: every formula is written as its standard prints it, and only the
// filters' coefficients are shared with [Meter] and [Envelope.Figures]. Samples
// of 32767/32768 or more in runs of three count as clipped.
func reference(samples []float64, rate, from, to int) Figures {
	f := notMeasured()
	if from >= to {
		return f
	}
	x := samples[from:to]
	var peak, sum, squares float64
	for _, v := range x {
		peak = math.Max(peak, math.Abs(v))
		sum += v
		squares += v * v
	}
	n := float64(len(x))
	f.SamplePeak = Level(20 * math.Log10(peak))
	f.RMS = Level(10 * math.Log10(squares/n))
	f.CrestFactor = f.SamplePeak - f.RMS
	f.DCOffset = sum / n
	f.TruePeak = Level(20 * math.Log10(math.Max(peak, referenceTruePeak(samples, rate, from, to))))
	run := 0
	for _, v := range append(slices.Clone(x), 0) {
		if math.Abs(v) >= 32767./32768 {
			run++
			continue
		}
		if run >= 3 {
			f.ClippedSamples += int64(run)
		}
		run = 0
	}
	referenceLoudness(&f, kFiltered(samples, rate)[from:to], rate)
	return f
}

// referenceLoudness sets the loudness figures of K-weighted samples.
func referenceLoudness(f *Figures, k []float64, rate int) {
	// energies returns the mean squares of all windows of a length in frames;
	// start returns the first frame of window i.
	energies := func(start func(i int) int, length int) []float64 {
		var out []float64
		for i := 0; start(i)+length <= len(k); i++ {
			var sum float64
			for _, v := range k[start(i) : start(i)+length] {
				sum += v * v
			}
			out = append(out, sum/float64(length))
		}
		return out
	}
	block := int(math.Round(float64(rate) / 10))
	step100 := func(i int) int { return i * block }
	step10 := func(i int) int { return i/10*block + i%10*block/10 }

	const ten = 10.0
	if gating := energies(step100, 4*block); len(gating) > 0 {
		level := func(z float64) float64 { return -0.691 + ten*math.Log10(z) }
		mean := func(above float64) float64 {
			var sum, n float64
			for _, z := range gating {
				if level(z) > above {
					sum += z
					n++
				}
			}
			if n == 0 {
				return 0
			}
			return sum / n
		}
		f.Loudness = Level(level(mean(math.Max(-70, level(mean(-70))-10))))
		f.MaxMomentary = Level(level(slices.Max(energies(step10, 4*block))))
	}
	if short := energies(step100, 30*block); len(short) > 0 {
		f.MaxShortTerm = Level(-0.691 + ten*math.Log10(slices.Max(short)))
		// The function of EBU Tech 3342 clause 5, line by line.
		var passed []float64
		var power float64
		for _, z := range short {
			if l := -0.691 + ten*math.Log10(z); l >= -70 {
				passed = append(passed, l)
				power += z
			}
		}
		gate := -0.691 + ten*math.Log10(power/float64(len(passed))) - 20
		var kept []float64
		for _, l := range passed {
			if l >= gate {
				kept = append(kept, l)
			}
		}
		slices.Sort(kept)
		f.LoudnessRange = 0
		if n := float64(len(kept)); n > 0 {
			low := kept[int(math.Round((n-1)*10/100+1))-1]
			high := kept[int(math.Round((n-1)*95/100+1))-1]
			f.LoudnessRange = Level(high - low)
		}
	}
}

// kFiltered returns the samples after both stages of the K filter in the form of
// BS.1770-5 Annex 1 figure 3, settled on the first sample.
func kFiltered(samples []float64, rate int) []float64 {
	out := slices.Clone(samples)
	shelf, highPass := kWeighting(rate)
	for _, s := range []biquad{shelf, highPass} {
		x1 := out[0]
		y1 := x1 * (s.b0 + s.b1 + s.b2) / (1 + s.a1 + s.a2)
		x2, y2 := x1, y1
		for i, x := range out {
			y := s.b0*x + s.b1*x1 + s.b2*x2 - s.a1*y1 - s.a2*y2
			x2, x1 = x1, x
			y2, y1 = y1, y
			out[i] = y
		}
	}
	return out
}

// referenceTruePeak returns the largest magnitude of the interpolator of
// BS.1770-5 Annex 2 for frames [from, to). Before and after the samples there is
// silence; ringing into it belongs to the first and last frame.
func referenceTruePeak(samples []float64, rate, from, to int) float64 {
	phase0 := []float64{14, 90, -161, 272, -487, 1125, 7964, -838, 390, -218, 122, -68}
	phase1 := []float64{-239, 240, -424, 730, -1364, 3810, 6388, -1641, 832, -477, 271, -155}
	reversed := func(p []float64) []float64 {
		p = slices.Clone(p)
		slices.Reverse(p)
		return p
	}
	// delay is the number of frames from the frame of the value to the newest
	// sample.
	type phase struct {
		taps  []float64
		delay int
	}
	phases := []phase{{phase1, 6}, {reversed(phase1), 5}, {phase0, 6}, {reversed(phase0), 5}}
	switch {
	case rate >= 176400:
		return 0
	case rate >= 88200:
		phases = phases[:2]
	}
	var peak float64
	for n := 0; n < len(samples)+11; n++ {
		for _, p := range phases {
			at := max(0, min(n-p.delay, len(samples)-1))
			if at < from || at >= to {
				continue
			}
			var y float64
			for k, c := range p.taps {
				if i := n - k; i >= 0 && i < len(samples) {
					y += c / 8192 * samples[i]
				}
			}
			peak = math.Max(peak, math.Abs(y))
		}
	}
	return peak
}
