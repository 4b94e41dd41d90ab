package demo

import (
	"math"
	"math/rand/v2"
	"testing"
)

// All hum lies at multiples of 50 Hz, at the requested level.
func TestGroundLoop(t *testing.T) {
	for _, rate := range []int{44100, 48000} {
		x := groundLoop(rate, -40)
		if len(x) != rate/25 {
			t.Fatalf("%d frames, want 40 ms", len(x))
		}
		for i := range x[:len(x)/2] {
			if math.Abs(x[i]-x[i+len(x)/2]) > 1e-12 {
				t.Fatalf("frame %d is not as the one 20 ms later", i)
			}
		}
		if got := rms(x); math.Abs(got+40) > 1e-6 {
			t.Errorf("%d Hz: %g dBFS, want -40", rate, got)
		}
	}
}

// Cracks come unevenly, in order, within their span, and up to their peak, and
// do not depend on the blocks in which they are made.
func TestBadContact(t *testing.T) {
	const rate, from, to = 48000, 10000, 400000
	d := noDamage()
	d.cracks = badContact(rand.New(rand.NewPCG(1, 2)), rate, from, to, 0.1)
	if len(d.cracks) < 30 {
		t.Fatalf("%d cracks in 8 s", len(d.cracks))
	}
	for i, c := range d.cracks {
		if c.at < from || c.at >= to || i > 0 && c.at <= d.cracks[i-1].at {
			t.Errorf("crack %d at frame %d", i, c.at)
		}
	}
	whole := d.crackling(0, to+rate)
	if p := peak(whole); p < 0.05 || p > 0.2 {
		t.Errorf("peak %g, about 0.1 wanted", p)
	}
	for start := 0; start < len(whole); start += 1000 {
		part := d.crackling(int64(start), 1000)
		for i := range 1000 {
			v := 0.0
			if part != nil {
				v = part[i]
			}
			if start+i < len(whole) && math.Abs(v-whole[start+i]) > 1e-15 {
				t.Fatalf("frame %d: %g in a block, %g in the whole", start+i, v, whole[start+i])
			}
		}
	}
}

// A preamp's damage changes a track within its span only.
func TestPreampDamage(t *testing.T) {
	const rate, frames = 48000, 9600
	var stems [nSources]stem
	for i := range stems {
		stems[i] = make(stem, frames)
		for k := range stems[i] {
			stems[i][k] = float32(0.1 * math.Sin(float64(k)/50))
		}
	}
	rig := rigPlan{name: "main", rate: rate, bits: 24, to: 1}
	sh := tour()[0]
	fill := func(ch int, d damage) []float64 {
		x := make([]float64, frames)
		newTrack(sh, rig, 0, ch, &stems, d).fill(x, 0)
		return x
	}
	clean := fill(hat, noDamage())
	const noise = 2e-5 // the converter's, which the preamp's damage does not change
	for _, row := range []struct {
		name   string
		break_ func(d *damage)
		want   func(i int) float64
	}{
		{"reversed", func(d *damage) { d.reversed = true }, func(i int) float64 { return -clean[i] }},
		{"turned down", func(d *damage) { d.turned, d.turnedAt = 0.5, 5000 }, func(i int) float64 {
			if i < 5000 {
				return clean[i]
			}
			return clean[i] / 2
		}},
		{"hum", func(d *damage) { d.hum = groundLoop(rate, -40) }, func(i int) float64 { return clean[i] + groundLoop(rate, -40)[i%1920] }},
		{"carries another", func(d *damage) { d.carries = snareTop }, func(i int) float64 { return fill(snareTop, noDamage())[i] }},
	} {
		d := noDamage()
		row.break_(&d)
		got := fill(hat, d)
		for i := 0; i < frames; i += 777 {
			if math.Abs(got[i]-row.want(i)) > noise {
				t.Errorf("%s, frame %d: %g, want %g", row.name, i, got[i], row.want(i))
			}
		}
	}
}

// The full tour has every kind of fault, including those that the small one
// cannot have, and no planted fault is listed as healthy.
func TestFullTourHasEveryKind(t *testing.T) {
	kinds := map[string]int{}
	shows, scores := plan(Full)
	for i, sh := range shows {
		p := plant(sh, scores[i], sh.rigs[0].rate, Full)
		for _, f := range p.faults {
			kinds[f.Kind]++
			for _, h := range healthy(sh, p.faults) {
				for _, k := range h.Kinds {
					if h.Track == f.Track && k == f.Kind && k != "dropout" {
						t.Errorf("%s: %s on %s is planted and called healthy", sh.date(), k, h.Channel)
					}
				}
			}
		}
	}
	for _, k := range []string{"crackle", "hum", "polarity", "duplicate", "swapped", "gain_change"} {
		if kinds[k] != 1 {
			t.Errorf("%s is planted %d times", k, kinds[k])
		}
	}
}
