package sound

import (
	"math"
	"testing"
)

// A wave of even power up to a share of half the lags' rate correlates with
// itself, moved by x lags, as sin(πx·share)/(πx·share): Fine finds the top between
// two lags, where Peak sees 0.81 at worst for the share of 0.7.
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

func TestDBAndPercentile(t *testing.T) {
	for _, row := range []struct{ energy, want float64 }{{1, 0}, {0.01, -20}, {0, Silence}, {-1, Silence}, {math.NaN(), Silence}, {1e-20, Silence}} {
		if got := DB(row.energy); got != row.want {
			t.Errorf("DB(%g) = %g, want %g", row.energy, got, row.want)
		}
	}
	values := []float64{5, 1, 4, 2, 3}
	for _, row := range []struct{ p, want float64 }{{0, 1}, {0.5, 3}, {1, 5}, {0.25, 2}} {
		if got := Percentile(values, row.p); got != row.want {
			t.Errorf("Percentile(%g) = %g, want %g", row.p, got, row.want)
		}
	}
	if !math.IsNaN(Median(nil)) {
		t.Error("the middle of nothing is a number")
	}
	if values[0] != 5 {
		t.Error("the values were reordered")
	}
}
