package spectrum

import (
	"math"

	"nightreel/internal/stats"
)

// Bands is the number of one-third-octave bands: 20 Hz to 20 kHz.
const Bands = 31

// firstBand is the index x of the lowest band in IEC 61260-1:2014: its mid-band
// frequency is 1000·G^(x/3) Hz with G = 10^(3/10).
const firstBand = -17

// Nominal returns the nominal mid-band frequencies in Hz (IEC 61260-1:2014,
// Annex E), by which bands are named.
func Nominal() [Bands]float64 {
	return [Bands]float64{20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
		1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000}
}

// MidBand returns the exact mid-band frequency of a band in Hz (clause 5.2).
func MidBand(band int) float64 { return 1000 * stats.Pow(10, float64(band+firstBand)/10) }

// Edge returns the lower edge of a band in Hz, which is the upper one of the
// band below (clause 5.4).
func Edge(band int) float64 { return MidBand(band) * stats.Pow(10, -1./20) }

// lowBands is the number of bands taken from the decimated window: up to 800 Hz.
// Decimation damps what folds onto the upper edge of the last one by 28 dB.
const lowBands = 17

// band covers the bins from first to last; the first and last count by their
// shares. It is struct band of vector_api.h.
type band struct {
	first, last           int64
	shareFirst, shareLast float32
}

// bandsOf returns bands from to to-1 over bins of binHz each. It splits a bin
// between the bands that it crosses: these bands are for comparison, not filters
// of any class of the standard. It leaves out bands that reach beyond the bins.
func bandsOf(from, to int, binHz float64) []band {
	var all []band
	for i := from; i < to; i++ {
		lo, hi := Edge(i)/binHz+0.5, Edge(i+1)/binHz+0.5 // bin k spans k to k+1 here
		if hi > Bins {
			break
		}
		b := band{first: int64(lo), last: int64(hi), shareFirst: float32(1 - (lo - math.Floor(lo))), shareLast: float32(hi - math.Floor(hi))}
		if b.first == b.last {
			b.shareFirst, b.shareLast = float32(hi-lo), 0
		}
		if b.last == Bins {
			b.last, b.shareLast = Bins-1, 1
		}
		all = append(all, b)
	}
	return all
}

// bandSums adds up the bins of each band, for eight tracks side by side.
func bandSums(bands []band, gain, power, sums []float32) {
	for i, b := range bands {
		for l := range Lanes {
			sum := power[int(b.first)*Lanes+l] * float32(gain[b.first]*b.shareFirst)
			for k := int(b.first) + 1; k < int(b.last); k++ {
				sum += float32(power[k*Lanes+l] * gain[k])
			}
			sums[i*Lanes+l] = sum + float32(power[int(b.last)*Lanes+l]*float32(gain[b.last]*b.shareLast))
		}
	}
}
