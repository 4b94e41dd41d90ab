package findings

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

func TestOffset(t *testing.T) {
	for _, row := range []struct {
		dc   float64
		want []want
	}{
		{0.02, []want{{catalog.DCOffset, "Tom", catalog.WarningSeverity}}},
		{-0.02, []want{{catalog.DCOffset, "Tom", catalog.WarningSeverity}}},
		{0.1, []want{{catalog.DCOffset, "Tom", catalog.FaultSeverity}}},
		{0.004, nil},
	} {
		t.Run(fmt.Sprint(row.dc), func(t *testing.T) {
			sc := newScene(8, 1)
			sc.tape("Tom").offset(row.dc)
			for _, f := range sc.check(t, row.want...) {
				if math.Abs(f.Evidence["dc_fraction"]-row.dc) > 1e-6 {
					t.Errorf("dc_fraction %g, want %g", f.Evidence["dc_fraction"], row.dc)
				}
			}
		})
	}
}

// TestLopsided has a wave whose mean goes with its level, as a reed's does: it
// stands off centre by more than the threshold while it sounds, and not in its
// rests.
func TestLopsided(t *testing.T) {
	blocks := make([]meter.Block, 3*evidence.DCStretch)
	for i := range blocks {
		blocks[i].MeanSquare, blocks[i].Mean = 1e-8, 1e-6
		if i%8 < 6 {
			blocks[i].MeanSquare, blocks[i].Mean = 0.01, float32(2*offsetLimits.Warning)
		}
	}
	for i, m := range evidence.Means(blocks) {
		if math.Abs(m) >= offsetLimits.Warning {
			t.Errorf("stretch %d: offset of %g, want none", i, m)
		}
	}
	for i := range blocks {
		blocks[i].MeanSquare += float32(4 * offsetLimits.Warning * offsetLimits.Warning)
		blocks[i].Mean += float32(2 * offsetLimits.Warning)
	}
	for i, m := range evidence.Means(blocks) {
		if math.Abs(m-2*offsetLimits.Warning) > 1e-5 {
			t.Errorf("stretch %d: offset of %g, want %g", i, m, 2*offsetLimits.Warning)
		}
	}
}

// TestRumble has waves without any offset whose blocks have a mean all the same:
// noise below 10 Hz, as wind, or a loud kick drum that was clipped, leaves. With
// an offset beside them it is found, to 15 %.
func TestRumble(t *testing.T) {
	for _, row := range []struct{ rumble, dc float64 }{{0.03, 0}, {0.01, 0}, {0.003, 0}, {0.005, 0.012}, {0.003, -0.012}, {0.02, 0.05}, {0.0001, 0.0045}, {0.0001, 0.0055}} {
		for seed := range uint64(20) {
			rng := rand.New(rand.NewPCG(8, seed))
			blocks := make([]meter.Block, (3+rng.IntN(30))*evidence.DCStretch)
			for i := range blocks {
				m := row.rumble*rng.NormFloat64() + row.dc
				blocks[i].Mean, blocks[i].MeanSquare = float32(m), float32(m*m+0.01*rng.Float64())
			}
			n := &evidence.Recording{SampleRate: testRate, Tracks: []evidence.Track{{Means: evidence.Means(blocks)}}}
			n.Tracks[0].SampleRate, n.Tracks[0].Frames = testRate, int64(len(blocks))*testRate/10
			findings := offsets(&known{Recording: n})
			if want := math.Abs(row.dc) >= offsetLimits.Warning; want != (len(findings) == 1) {
				t.Errorf("rumble %g, offset %g, seed %d, %d blocks: %v", row.rumble, row.dc, seed, len(blocks), findings)
			} else if want && math.Abs(findings[0].Evidence["dc_fraction"]-row.dc) > 0.15*math.Abs(row.dc) {
				t.Errorf("rumble %g, offset %g, seed %d: %g", row.rumble, row.dc, seed, findings[0].Evidence["dc_fraction"])
			}
		}
	}
}
