package channelsound

import (
	"math"
	"math/rand/v2"
	"testing"

	"nightreel/internal/spectrum"
)

// A wave of even power up to a share of half the lags' rate correlates with
// itself, moved by x lags, as sin(πx·share)/(πx·share). Fine finds the maximum
// between two lags; for the share of 0.7 Peak finds 0.81 at worst.
func TestFine(t *testing.T) {
	const share = 0.7
	for _, moved := range []float64{0, 0.125, 0.5, -3.5, 7.25} {
		for _, height := range []float64{1, -0.9} {
			var c Curve
			for i := range c.R {
				x := float64(i-Reach) - moved
				c.R[i] = height
				if x != 0 {
					c.R[i] = height * math.Sin(math.Pi*x*share) / (math.Pi * x * share)
				}
			}
			r, lag := c.Fine()
			if math.Abs(r-height) > 0.02 || math.Abs(lag*curveRate-moved) > 0.13 {
				t.Errorf("moved by %g lags, height %g: %.3f at %.3f", moved, height, r, lag*curveRate)
			}
			if rough, _ := c.Peak(); moved == 0.5 && math.Abs(math.Abs(rough)-0.810*math.Abs(height)) > 1e-3 {
				t.Errorf("half a lag away Peak sees %g", rough)
			}
		}
	}
}

// Rounding with dither of one step each way leaves half a step RMS: a quarter of
// its square is the sum of the dither's 2/12 and rounding's 1/12.
func TestGrain(t *testing.T) {
	for _, row := range []struct {
		bits int
		want float64
	}{{0, Silence}, {16, -95.3}, {24, -143.5}} {
		if got := (&Night{BitDepth: row.bits}).Grain(); math.Abs(got-row.want) > 0.1 {
			t.Errorf("%d bits: %.2f dB, want %.2f", row.bits, got, row.want)
		}
	}
}

func TestDB(t *testing.T) {
	for _, row := range []struct{ energy, want float64 }{{1, 0}, {0.01, -20}, {0, Silence}, {-1, Silence}, {math.NaN(), Silence}, {1e-20, Silence}} {
		if got := DB(row.energy); got != row.want {
			t.Errorf("DB(%g) = %g, want %g", row.energy, got, row.want)
		}
	}
}

// A curve from prints of other moments has its maximum at the lag by which one
// track is later, in either direction, and the inverse sign if one track's
// polarity is inverted.
func TestSetCurve(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, turned := range []bool{false, true} {
		n := &Night{SampleRate: 48000, Voices: make([]Voice, 2)}
		if n.Curve(1, 0) != nil {
			t.Fatal("a curve of nothing")
		}
		n.SetCurve(0, 1, make([][2]spectrum.Print, leastCells-1))
		if n.Curve(0, 1) != nil {
			t.Error("a curve of too few moments")
		}
		var prints [][2]spectrum.Print
		for range leastCells {
			var p [2]spectrum.Print
			for i := range spectrum.PrintBits {
				bit := uint64(r.IntN(2))
				p[0][i/64] |= bit << (i % 64)
				if turned {
					bit = 1 - bit
				}
				if late := i + 6; late < spectrum.PrintBits {
					p[1][late/64] |= bit << (late % 64)
				}
			}
			prints = append(prints, p)
		}
		n.SetCurve(0, 1, prints)
		want := 1.0
		if turned {
			want = -1
		}
		for _, way := range []struct{ a, b, lag int }{{0, 1, 6}, {1, 0, -6}} {
			c := n.Curve(way.a, way.b)
			if c == nil || c.Cells != leastCells {
				t.Fatalf("%+v", c)
			}
			if peak, lag := c.Peak(); math.Abs(peak-want) > 0.01 || math.Abs(lag*curveRate-float64(way.lag)) > 0.01 {
				t.Errorf("%v, turned %v: %.2f at %.1f", way, turned, peak, lag*curveRate)
			}
		}
	}
}
