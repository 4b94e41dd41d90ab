package health

import (
	"testing"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

func TestDropout(t *testing.T) {
	for _, row := range []struct {
		what   string
		damage func(sc *scene)
		want   []want
	}{
		{"zeros in a note", func(sc *scene) {
			sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 700, 0.2)
		}, []want{{catalog.Dropout, "Guitar L", catalog.FaultSeverity}}},
		{"5 ms", func(sc *scene) {
			sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 240, 0.2)
		}, []want{{catalog.Dropout, "Guitar L", catalog.WarningSeverity}}},
		{"five within seconds are one spell", func(sc *scene) {
			for i := range 5 {
				sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(1, 0.1)+7*i)*4800+300, 240, 0.2)
			}
		}, []want{{catalog.Dropout, "Guitar L", catalog.FaultSeverity}}},
		{"the same instant on four tracks", func(sc *scene) {
			for _, name := range []string{"Kick In", "Snare Top", "Overhead L", "Guitar L"} {
				sc.tape(name).event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 1100, 0.1)
			}
		}, []want{{catalog.Dropout, "Kick In", catalog.FaultSeverity}, {catalog.Dropout, "Snare Top", catalog.FaultSeverity},
			{catalog.Dropout, "Overhead L", catalog.FaultSeverity}, {catalog.Dropout, "Guitar L", catalog.FaultSeverity}}},
		{"on nearly all tracks it is the recorder's", func(sc *scene) {
			for i := range 14 {
				sc.tapes[i].event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 1100, 0.1)
			}
		}, []want{{catalog.Dropout, "", catalog.FaultSeverity}}},
		{"zeros before a note of digitally quiet keys", func(sc *scene) {
			k := sc.tape("Keys")
			for b := 1; b+1 < len(k.blocks); b++ {
				if k.blocks[b-1].Peak == 0 && k.blocks[b].Peak > 0.01 {
					k.event(meter.ZeroRun, int64(b-5)*4800, 5*4800+100, 0.1)
				}
			}
		}, nil},
		{"a click of short pulses on digital zero", func(sc *scene) {
			k := sc.tape("Spare DI")
			for b := range k.blocks {
				k.set(b, 0.001)
				k.event(meter.ZeroRun, int64(b)*4800+200, 4000, 0.1)
			}
		}, nil},
		{"a track of zeros has no run with signal beside", func(sc *scene) { sc.tape("Spare DI").silence(0, sc.st.blocks, -200) }, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(7, 0)
			row.damage(sc)
			sc.check(t, row.want...)
		})
	}
}
