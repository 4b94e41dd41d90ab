package playback

import (
	"math"
	"testing"
)

// A line-up tone has its frequency and level on its outputs, and all others are
// silent. Level, trims and mutes do not change it.
func TestLineUpTone(t *testing.T) {
	r := newRig(t, tapeProgram(4, twoSongs...), openTape)
	r.do(Command{Do: Level, DB: ptr(-40.0)})
	r.do(Command{Do: Mute, Input: 2, On: true})
	r.do(Command{Do: LineUp, Outputs: []int{2, 4}, DB: ptr(-20.0)})
	rise := r.pull(3 * 48_000) // it begins 20 dB below and rises by 10 dB a second
	early := float32(0)
	for f := 2400; f < 2880; f++ {
		early = max(early, rise[4*f+1])
	}
	if early < 0.0099 || early > 0.0103 {
		t.Errorf("after 50 ms the tone's peak is %v, want 0.01", early)
	}
	out := r.pull(48_000)
	sum, crossings := 0.0, 0
	for f := range 48_000 {
		x := float64(out[f*4+1])
		if out[f*4] != 0 || out[f*4+2] != 0 || out[f*4+3] != out[f*4+1] {
			t.Fatalf("frame %d: %v", f, out[f*4:f*4+4])
		}
		sum += x * x
		if f > 0 && float64(out[f*4-3]) < 0 && x >= 0 {
			crossings++
		}
	}
	// A full-scale sine has −3.01 dBFS RMS (IEC 61606-1; from memory).
	if rms := 10 * math.Log10(sum/48_000); math.Abs(rms+23.01) > 0.01 {
		t.Errorf("RMS %.3f dBFS, want -23.01", rms)
	}
	if crossings < 999 || crossings > 1001 {
		t.Errorf("%d Hz, want 1000", crossings)
	}
	if err := r.Do(Command{Do: Play}); err == nil {
		t.Error("play over a tone")
	}
	r.do(Command{Do: FadeOut})
	r.pull(4800)
	r.quiet("after the tone", r.pull(1000), 0, 1000)
	if s := r.Status(); s.State != Stopped {
		t.Errorf("after the tone: %s", s.State)
	}
	r.do(Command{Do: Play})
	if err := r.Do(Command{Do: LineUp, Outputs: []int{1}}); err == nil {
		t.Error("a tone over playback")
	}
}

// The walk goes through the outputs one by one; long beeps are tens, short ones
// units, so that counting them gives the output's number.
func TestIdentificationWalk(t *testing.T) {
	r := newRig(t, tapeProgram(23, tapeItem{start: 0, end: 100_000, segments: []int64{0, 100_000}}), openTape)
	r.do(Command{Do: Identify, First: 8, Last: 23, DB: ptr(-30.0)})
	type counted struct{ tens, units int }
	heard := map[int]*counted{}
	order := []int{}
	on, length := 0, 0 // output that beeps, and frames since the beep began
	quiet := 0
	for r.tone.Load() != nil {
		out := r.pull(480)
		for f := range 480 {
			now := 0
			for o := range 23 {
				x := out[f*23+o]
				if x == 0 {
					continue
				}
				if now != 0 {
					t.Fatalf("outputs %d and %d at once", now, o+1)
				}
				if now = o + 1; math.Abs(float64(x)) > math.Pow(10, -30.0/20)+1e-6 {
					t.Fatalf("output %d: %v is above -30 dBFS", now, x)
				}
			}
			switch {
			case now != 0:
				if on == 0 {
					on, length = now, 0
				}
				if now != on {
					t.Fatalf("from output %d to %d without a gap", on, now)
				}
				length++
				quiet = 0
			case on != 0:
				if quiet++; quiet < 200 { // not a zero crossing
					length++
					continue
				}
				if heard[on] == nil {
					heard[on] = &counted{}
					order = append(order, on)
				}
				if float64(length)/48000 > (tenBeepS+unitBeepS)/2 {
					heard[on].tens++
				} else {
					heard[on].units++
				}
				on = 0
			}
		}
	}
	for o := 8; o <= 23; o++ {
		if h := heard[o]; h == nil || 10*h.tens+h.units != o {
			t.Errorf("output %d counts %+v", o, h)
		}
		if order[o-8] != o {
			t.Errorf("output %d comes as number %d", order[o-8], o-7)
		}
	}
	if s := r.Status(); s.State != Stopped || s.ToneOn != 0 {
		t.Errorf("after the walk: %+v", s)
	}
}
