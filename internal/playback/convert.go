package playback

import "math"

// The converter's filter is flat to passHz. It passes nothing above passHz's
// mirror image at the lower of the two Nyquist frequencies, so that aliases land
// above passHz. Figures as the test measures them: ripple below 0.0001 dB up to
// 20 kHz, stop-band below −120 dB.
//
// The design is a Kaiser window (J. F. Kaiser, 1974; formulas as in Oppenheim
// and Schafer, Discrete-Time Signal Processing, from memory).
const (
	passHz     = 20_000
	attenDB    = 126
	maxPhases  = 2000 // all common rates, 44.1 to 192 kHz, have at most 640
	transition = 0.9  // share of the band between pass and mirror that the design uses
)

// converter changes the sample rate by the exact ratio up/down. An output frame
// depends only on the input around it, so loops and jumps need no run-up and
// give the same samples every time. Libraries convert streams, with a state that
// a jump breaks; therefore this is our own.
type converter struct {
	up, down int64 // output rate / input rate, in lowest terms
	half     int64 // input frames on either side of an output frame
	phases   [][]float64
}

// convertible reports whether a converter between two rates in Hz is small
// enough to build.
func convertible(from, to int) bool { return to/gcd(from, to) <= maxPhases }

func newConverter(from, to int) *converter {
	g := gcd(from, to)
	c := &converter{up: int64(to / g), down: int64(from / g)}
	low := float64(min(from, to))
	pass := min(passHz, 0.45*low)
	width := transition * 2 * (low/2 - pass) // Hz, from pass to its mirror
	cut := low / 2
	// Kaiser: taps = (A − 7.95) / (2.285 Δω) at the input's rate.
	taps := (attenDB - 7.95) / (2.285 * 2 * math.Pi * width / float64(from))
	c.half = int64(math.Ceil(taps / 2))
	beta := 0.1102 * (attenDB - 8.7)
	c.phases = make([][]float64, c.up)
	for p := range c.phases {
		// Output frame k lies at input k·down/up = whole + p/up.
		frac := float64(p) / float64(c.up)
		h := make([]float64, 2*c.half)
		sum := 0.0
		for i := range h {
			t := float64(int64(i)-c.half+1) - frac // input frames from the output's position
			h[i] = 2 * cut / float64(from) * sinc(2*cut/float64(from)*t) * kaiser(t/float64(c.half), beta)
			sum += h[i]
		}
		for i := range h {
			h[i] /= sum // DC is exact in every phase
		}
		c.phases[p] = h
	}
	return c
}

// needs returns the span of input frames, counted from the same moment, that
// n output frames from frame on depend on.
func (c *converter) needs(frame, n int64) (from, to int64) {
	return floorDiv(frame*c.down, c.up) - c.half + 1, floorDiv((frame+n-1)*c.down, c.up) + c.half + 1
}

// add adds n output frames from frame on to dst, stride apart. x holds the
// input from frame lo on.
func (c *converter) add(dst []float32, stride int, x []float64, lo, frame, n int64) {
	for k := range n {
		pos := (frame + k) * c.down
		whole := floorDiv(pos, c.up)
		h := c.phases[pos-whole*c.up]
		in := x[whole-c.half+1-lo:]
		in = in[:len(h)]
		// Four sums: the processor adds them in parallel.
		var a, b, d, e float64
		for i := 0; i+3 < len(h); i += 4 {
			a += h[i] * in[i]
			b += h[i+1] * in[i+1]
			d += h[i+2] * in[i+2]
			e += h[i+3] * in[i+3]
		}
		for i := len(h) &^ 3; i < len(h); i++ {
			a += h[i] * in[i]
		}
		dst[int(k)*stride] += float32((a + b) + (d + e))
	}
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// kaiser is the window at x, −1 to 1.
func kaiser(x, beta float64) float64 {
	if x <= -1 || x >= 1 {
		return 0
	}
	return bessel0(beta*math.Sqrt(1-x*x)) / bessel0(beta)
}

// bessel0 is the modified Bessel function of the first kind, order 0, by its
// power series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x / (2 * k) * (x / (2 * k))
		sum += term
	}
	return sum
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// floorDiv rounds towards minus infinity.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
