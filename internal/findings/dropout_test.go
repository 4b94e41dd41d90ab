package findings

import (
	"strings"
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
		{"three far apart in one song are one spell", func(sc *scene) {
			for _, part := range []float64{0.1, 0.5, 0.9} {
				sc.tape("Overhead L").event(meter.ZeroRun, int64(sc.in(1, part))*4800+300, 240, 0.1)
			}
		}, []want{{catalog.Dropout, "Overhead L", catalog.FaultSeverity}}},
		{"one in each of two songs are two", func(sc *scene) {
			for song := range 2 {
				sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(song, 0.1))*4800+300, 240, 0.1)
			}
		}, []want{{catalog.Dropout, "Guitar L", catalog.WarningSeverity}, {catalog.Dropout, "Guitar L", catalog.WarningSeverity}}},
		{"two stage boxes in one song, far apart", func(sc *scene) {
			for i, box := range [][]string{{"Kick In", "Snare Top", "Tom"}, {"Guitar L", "Overhead L", "Bass DI"}} {
				for _, name := range box {
					sc.tape(name).event(meter.ZeroRun, int64(sc.in(1, 0.1+0.8*float64(i)))*4800+300, 480, 0.1)
				}
			}
		}, []want{{catalog.Dropout, "", catalog.FaultSeverity}, {catalog.Dropout, "", catalog.FaultSeverity}}},
		{"the same instant on four tracks", func(sc *scene) {
			for _, name := range []string{"Kick In", "Snare Top", "Overhead L", "Guitar L"} {
				sc.tape(name).event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 1100, 0.1)
			}
		}, []want{{catalog.Dropout, "", catalog.FaultSeverity}}},
		{"the same seconds, not the same instant, on two tracks", func(sc *scene) {
			sc.tape("Kick In").event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+300, 1100, 0.1)
			sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(1, 0.1))*4800+900, 1100, 0.1)
		}, []want{{catalog.Dropout, "Kick In", catalog.FaultSeverity}, {catalog.Dropout, "Guitar L", catalog.FaultSeverity}}},
		{"a bad cable beside a stage box", func(sc *scene) {
			for i := range 5 {
				sc.tape("Guitar L").event(meter.ZeroRun, int64(sc.in(1, 0.1)+7*i)*4800+300, 240, 0.2)
			}
			for _, name := range []string{"Kick In", "Snare Top", "Guitar L"} {
				sc.tape(name).event(meter.ZeroRun, int64(sc.in(1, 0.1)+10)*4800+300, 1100, 0.1)
			}
		}, []want{{catalog.Dropout, "", catalog.FaultSeverity}, {catalog.Dropout, "Guitar L", catalog.FaultSeverity}}},
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

// Two stage boxes that fail by turns are two findings; of each the second moment
// shows on one track less.
func TestDropoutTogether(t *testing.T) {
	sc := newScene(7, 0)
	at := int64(sc.in(1, 0.1)) * 4800
	for i, box := range [][]string{{"Kick In", "Snare Top", "Tom"}, {"Guitar L", "Overhead L", "Bass DI"}} {
		for k, name := range box {
			sc.tape(name).event(meter.ZeroRun, at+int64(i)*9600, 480, 0.1)
			if k > 0 {
				sc.tape(name).event(meter.ZeroRun, at+48000+int64(i)*9600, 960, 0.1)
			}
		}
	}
	findings := sc.check(t, want{catalog.Dropout, "", catalog.FaultSeverity}, want{catalog.Dropout, "", catalog.FaultSeverity})
	f := findings[0]
	for name, want := range map[string]float64{"runs": 2, "samples": 1440, "longest_ms": 20, "tracks": 3} {
		if f.Evidence[name] != want {
			t.Errorf("%s = %g, want %g", name, f.Evidence[name], want)
		}
	}
	for number, v := range sc.voices {
		hit := v.name == "Kick In" || v.name == "Snare Top" || v.name == "Tom"
		if f.Concerns(number+1) != hit {
			t.Errorf("%s: concerned %v", v.name, !hit)
		}
	}
	if !strings.HasPrefix(f.Text, "Kick In, Snare Top and Tom dropped out together twice") {
		t.Error(f.Text)
	}
}
