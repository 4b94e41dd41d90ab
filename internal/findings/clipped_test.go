package findings

import (
	"math"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

func TestClipped(t *testing.T) {
	clips := func(sc *scene, name string, from, to, every int, frames int64) {
		for b := from; b < to; b += every {
			sc.tape(name).event(meter.ClipRun, int64(b)*4800+100, frames, 1)
		}
	}
	for _, row := range []struct {
		what   string
		damage func(sc *scene)
		want   []want
	}{
		{"a snare in one song is one finding", func(sc *scene) { clips(sc, "Snare Top", sc.in(1, 0.1), sc.in(1, 0.9), 20, 9) },
			[]want{{catalog.Clipped, "Snare Top", catalog.WarningSeverity}}},
		{"two songs are two", func(sc *scene) {
			clips(sc, "Snare Top", sc.in(1, 0.5), sc.in(1, 0.9), 20, 9)
			clips(sc, "Snare Top", sc.in(2, 0.1), sc.in(2, 0.9), 20, 9)
		}, []want{{catalog.Clipped, "Snare Top", catalog.WarningSeverity}, {catalog.Clipped, "Snare Top", catalog.WarningSeverity}}},
		{"one stroke is a note", func(sc *scene) { clips(sc, "Tom", sc.in(1, 0.5), sc.in(1, 0.5)+1, 1, 3) },
			[]want{{catalog.Clipped, "Tom", catalog.NoteSeverity}}},
		{"a roar of 3 ms is a fault", func(sc *scene) { clips(sc, "Lead Vocal", sc.in(1, 0.5), sc.in(1, 0.5)+1, 1, 144) },
			[]want{{catalog.Clipped, "Lead Vocal", catalog.FaultSeverity}}},
		{"a stroke at -0.1 dBFS is none", func(sc *scene) {
			sc.tape("Snare Top").blocks[sc.in(1, 0.5)].Peak = 0.98855
		}, nil},
	} {
		t.Run(row.what, func(t *testing.T) {
			sc := newScene(4, 0)
			row.damage(sc)
			sc.check(t, row.want...)
		})
	}
}

func TestClippedEvidence(t *testing.T) {
	sc := newScene(4, 0)
	at := int64(sc.in(1, 0.5)) * 4800
	for _, r := range []struct{ at, frames int64 }{{0, 3}, {48000 * 3, 7}, {48000*3 + 9600, 5}, {48000 * 6, 4}} {
		sc.tape("Tom").event(meter.ClipRun, at+r.at+11, r.frames, 1)
	}
	f := sc.check(t, want{catalog.Clipped, "Tom", catalog.WarningSeverity})[0]
	for name, want := range map[string]float64{"runs": 4, "samples": 19, "longest_run_samples": 7, "worst_second_samples": 12, "worst_second_s": float64(at)/48000 + 3} {
		if math.Abs(f.Evidence[name]-want) > 1e-9 {
			t.Errorf("%s = %g, want %g", name, f.Evidence[name], want)
		}
	}
	if f.StartFrame != at+11 || f.EndFrame != at+48000*6+11+4 {
		t.Errorf("from %d to %d, want %d to %d", f.StartFrame, f.EndFrame, at+11, at+48000*6+15)
	}
}
