package channelsound

import (
	"math"

	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

const (
	// curveCells is the largest number of cells used for a curve: two minutes of
	// signs and more determine a correlation to about 0.01.
	curveCells = 200
	// curveRate is the rate, in Hz, of a curve's lags, whatever the recording's.
	curveRate = 3000
	// Reach is the largest lag of a curve, in steps: 9.3 ms, 3.2 m of air.
	Reach = 28
	// overQuiet is how far, in dB, both tracks must be above their quiet level
	// for a cell to count: only then do they carry a signal.
	overQuiet = 6
	// leastCells is the fewest cells that make a curve.
	leastCells = 4
)

// Curve holds the correlation coefficient of two tracks' waves at each lag, from
// about 90 Hz to 1.5 kHz. It is a fingerprint of where two pickups stand; its
// sign flips if one changes its polarity.
type Curve struct {
	R     [2*Reach + 1]float64 // at lags from -Reach to Reach; positive: the second track is later
	Cells int                  // number of cells used
}

// Peak returns the largest correlation by magnitude, and its lag in seconds.
func (c *Curve) Peak() (r, lagS float64) {
	for i, v := range c.R {
		if math.Abs(v) > math.Abs(r) {
			r, lagS = v, float64(i-Reach)/curveRate
		}
	}
	return r, lagS
}

// fineSteps is the number of points computed between two lags, and fineReach the
// number of lags to each side that contribute to a point.
const (
	fineSteps = 8
	fineReach = 8
)

// fineWeights are the weights of a windowed sinc, by the place between two lags and by
// the lags from there.
var fineWeights = func() (all [fineSteps + 1][2*fineReach + 1]float64) {
	for k := range all {
		for j := range all[k] {
			d := float64(j-fineReach) + float64(float64(k-fineSteps/2)/fineSteps)
			all[k][j] = 1
			if d != 0 {
				all[k][j] = stats.SinPi(d) / (math.Pi * d) * (0.5 + float64(0.5*stats.CosPi(d/(fineReach+1))))
			}
		}
	}
	return all
}()

// Fine returns the largest correlation by magnitude between the lags, and its
// lag in seconds. The waves hold little beyond half of the lags' rate, so the
// curve between its points follows from them (windowed sinc). If the second
// signal is the first, delayed by half a lag, Peak returns 0.9 and Fine 0.99.
func (c *Curve) Fine() (r, lagS float64) {
	peak, _ := c.Peak()
	for i, v := range c.R {
		if math.Abs(v) < math.Abs(peak)/2 {
			continue
		}
		for k := -fineSteps / 2; k <= fineSteps/2; k++ {
			at := float64(i) + float64(float64(k)/fineSteps)
			sum := 0.0
			for j := max(0, i-fineReach); j <= min(len(c.R)-1, i+fineReach); j++ {
				sum += float64(fineWeights[k+fineSteps/2][i-j+fineReach] * c.R[j])
			}
			if math.Abs(sum) > math.Abs(r) {
				r, lagS = sum, (at-Reach)/curveRate
			}
		}
	}
	return max(-1, min(1, r)), lagS
}

// Cosine compares the shapes of two curves: 1 for the same, -1 for the inverse.
func (c *Curve) Cosine(d *Curve) float64 { return stats.Cosine(c.R[:], d.R[:]) }

// Curve returns the curve of two voices, by their indices; nil if too few cells
// hold a signal in both. The result is cached.
func (n *Night) Curve(a, b int) *Curve {
	k := [2]int{a, b}
	if c, ok := n.curves[k]; ok {
		return c
	}
	if a > b {
		var turned *Curve
		if c := n.Curve(b, a); c != nil {
			turned = &Curve{Cells: c.Cells}
			for i, v := range c.R {
				turned.R[len(c.R)-1-i] = v
			}
		}
		n.curves[k] = turned
		return turned
	}
	if n.curves == nil {
		n.curves = map[[2]int]*Curve{}
	}
	c := curve(&n.Voices[a], &n.Voices[b], n.SampleRate)
	n.curves[k] = c
	return c
}

// SetCurve sets the curve of two voices, the lower index first, from pairs of prints
// of other moments than the scan's.
func (n *Night) SetCurve(a, b int, prints [][2]spectrum.Print) {
	if len(prints) < leastCells {
		return
	}
	var g spectrum.Agreement
	for i := range prints {
		g.Add(&prints[i][0], &prints[i][1])
	}
	if n.curves == nil {
		n.curves = map[[2]int]*Curve{}
	}
	n.curves[[2]int{a, b}] = drawn(&g, len(prints), n.SampleRate)
	delete(n.curves, [2]int{b, a})
}

func curve(a, b *Voice, rate int) *Curve {
	least := min(len(a.Cells), len(b.Cells))
	both := make([]int, 0, least)
	for c := range least {
		if a.Levels[c] > a.Quiet+overQuiet && b.Levels[c] > b.Quiet+overQuiet {
			both = append(both, c)
		}
	}
	if len(both) < leastCells {
		return nil
	}
	step := max(1, len(both)/curveCells)
	var g spectrum.Agreement
	cells := 0
	for i := 0; i < len(both); i += step {
		g.Add(&a.Cells[both[i]].Print, &b.Cells[both[i]].Print)
		cells++
	}
	return drawn(&g, cells, rate)
}

// drawn makes a curve from the agreement of a number of prints.
func drawn(g *spectrum.Agreement, cells, rate int) *Curve {
	out := &Curve{Cells: cells}
	// The agreement's lags are at the recording's own rate; resample them to
	// curveRate.
	scale := spectrum.PrintRate(rate) / curveRate
	for i := range out.R {
		at := float64(float64(i-Reach) * scale)
		lo := math.Floor(at)
		if lo < -spectrum.MaxLag || lo+1 > spectrum.MaxLag {
			continue
		}
		r0, _ := g.At(int(lo))
		r1, _ := g.At(int(lo) + 1)
		out.R[i] = r0 + float64((at-lo)*(r1-r0))
	}
	return out
}

// Together returns the correlation coefficient of the levels (in dB) of two
// voices over the cells of songs, and the number of cells. The result is cached.
func (n *Night) Together(a, b int) (r float64, cells int) {
	k := [2]int{min(a, b), max(a, b)}
	m, ok := n.together[k]
	if !ok {
		if n.together == nil {
			n.together = map[[2]int]moves{}
		}
		m.r, m.cells = n.moveTogether(k[0], k[1])
		n.together[k] = m
	}
	return m.r, m.cells
}

// moves is the result of Together for a pair of voices.
type moves struct {
	r     float64
	cells int
}

func (n *Night) moveTogether(a, b int) (r float64, cells int) {
	x, y := &n.Voices[a], &n.Voices[b]
	var pairs stats.Pairs
	for _, c := range x.In(n.Takes) {
		if c >= len(y.Levels) {
			break
		}
		pairs.Add(max(x.Levels[c], x.Quiet), max(y.Levels[c], y.Quiet))
	}
	r, _ = pairs.Correlation()
	return r, pairs.N
}
