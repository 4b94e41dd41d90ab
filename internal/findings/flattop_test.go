package findings

import (
	"math"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

func TestFlatTop(t *testing.T) {
	const ceiling = 0.42
	for _, row := range []struct {
		what   string
		damage func(sc *scene)
		want   []want
	}{
		{"a bass rig without headroom in one song", func(sc *scene) {
			b := sc.tape("Bass DI")
			for i := sc.in(1, 0); i < sc.in(1, 1); i++ {
				b.set(i, 2*float64(b.blocks[i].MeanSquare))
			}
			if b.ceiling(sc.in(1, 0), sc.in(1, 1), ceiling) < 40 {
				panic("nothing was cut")
			}
		}, []want{{catalog.FlatTop, "Bass DI", catalog.WarningSeverity}}},
		{"the same behind a coupling capacitor", func(sc *scene) {
			cutBehindCoupling(sc, 1.3)
		}, []want{{catalog.FlatTop, "Bass DI", catalog.WarningSeverity}}},
		{"flat tops too far apart for a coupling capacitor", func(sc *scene) {
			cutBehindCoupling(sc, 3)
		}, nil},
		{"a square wave of one level in one song", func(sc *scene) {
			b := sc.tape("Bass DI")
			for i := sc.in(1, 0); i < sc.in(1, 1); i++ {
				b.blocks[i].Peak = 0.3
				for j := range 10 {
					b.event(meter.FlatTop, int64(i)*4800+int64(j)*480, 450, 0.3)
				}
			}
		}, nil},
		{"a square wave of changing levels", func(sc *scene) {
			k := sc.tape("Keys")
			for i := range k.blocks {
				if p := float64(k.blocks[i].Peak); p > 0.05 {
					for j := range 10 {
						k.event(meter.FlatTop, int64(i)*4800+int64(j)*480, 220, p)
					}
				}
			}
		}, nil},
		{"a pulse wave of one level", func(sc *scene) {
			k := sc.tape("Keys")
			for i := range k.blocks {
				if k.blocks[i].Peak > 0.01 {
					k.blocks[i].Peak = 0.3
					for j := range 10 {
						k.event(meter.FlatTop, int64(i)*4800+int64(j)*480, 120, 0.3)
					}
				}
			}
		}, nil},
		{"few flat tops", func(sc *scene) {
			for j := range 8 {
				sc.tape("Bass DI").event(meter.FlatTop, int64(sc.in(1, 0.5)+j)*4800, 6, 0.5)
			}
		}, nil},
		{"flat tops that are passed by louder notes", func(sc *scene) {
			b := sc.tape("Bass DI")
			for j := range 30 {
				b.event(meter.FlatTop, int64(sc.in(1, 0.1)+j)*4800, 6, 0.6)
			}
			b.blocks[sc.in(1, 0.1)+15].Peak = 0.7
		}, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(6, 0)
			row.damage(sc)
			sc.check(t, row.want...)
		})
	}
}

// cutBehindCoupling cuts the bass of one song; the tops lie up to so many dB below
// the highest.
func cutBehindCoupling(sc *scene, db float64) {
	const ceiling = 0.42
	b := sc.tape("Bass DI")
	met := 0
	for i := sc.in(1, 0); i < sc.in(1, 1); i++ {
		b.set(i, 2*float64(b.blocks[i].MeanSquare))
		if bl := &b.blocks[i]; bl.Peak > ceiling {
			level := ceiling * math.Pow(10, -db*sc.st.rng.Float64()/20)
			bl.Peak, bl.TruePeak = float32(level), float32(level)
			for k := range 4 {
				b.event(meter.FlatTop, int64(i)*4800+int64(k)*1000, 20+sc.st.rng.Int64N(30), level)
			}
			met++
		}
	}
	if met < 40 {
		panic("nothing was cut")
	}
}
