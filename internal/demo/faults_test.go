package demo

import (
	"math"
	"path/filepath"
	"slices"
	"testing"
)

// seen holds how much of each kind of damage a track's samples show.
type seen struct {
	clipped, zeros int
	dc             float64
}

func look(x []float64, rate, bits int) seen {
	full := 1 - math.Ldexp(1, 1-bits)
	return seen{
		clipped: runs(x, 3, func(v float64) bool { return math.Abs(v) >= full }),
		zeros:   zerosInSignal(x, rate*3/1000),
		dc:      mean(x),
	}
}

// zerosInSignal counts the samples in runs of at least n zeros that are next to
// more than dither: at 16 bit a quiet input rests on zero for longer.
func zerosInSignal(x []float64, n int) int {
	total := 0
	for from := 0; from < len(x); {
		to := from
		for to < len(x) && x[to] == 0 {
			to++
		}
		if to-from >= n && max(peak(x[max(0, from-100):from]), peak(x[to:min(len(x), to+100)])) > 8./(1<<15) {
			total += to - from
		}
		from = to + 1
	}
	return total
}

// Every planted fault is in the samples, as long and as strong as the truth
// says, and no fault of the kind is anywhere else.
func TestFaultsAreThereAndNoOthers(t *testing.T) {
	c := smallTour(t)
	kinds := map[string]int{}
	for _, s := range c.truth.Shows {
		for _, r := range s.Recordings {
			tracks := c.tracks(t, s.Date, r)
			for _, in := range c.inputs(s.Date) {
				x, recorded := tracks[in.Track]
				got := look(x, r.SampleRate, r.BitDepth)
				want := map[string]Fault{}
				for _, f := range c.truth.Faults {
					if f.Show == s.Date && f.Rig == r.Rig && f.Track == in.Track {
						if f.Channel != in.Channel {
							t.Errorf("track %d of %s is %s, the fault is on %s", f.Track, f.Show, in.Channel, f.Channel)
						}
						if f.StartS < 0 || f.EndS <= f.StartS || f.EndS > r.DurationS()+1e-9 {
							t.Errorf("%+v lies outside a recording of %g s", f, r.DurationS())
						}
						want[f.Kind] = f
						kinds[f.Kind]++
					}
				}
				at := s.Date + " " + r.Rig + " " + in.Channel
				if n := want["clipped"].Samples; got.clipped != n {
					t.Errorf("%s: %d clipped samples, truth %d", at, got.clipped, n)
				}
				if n := want["dropout"].Samples; got.zeros != n {
					t.Errorf("%s: %d samples in runs of zeros, truth %d", at, got.zeros, n)
				}
				if _, ok := want["dc_offset"]; ok != (math.Abs(got.dc) > 0.005) {
					t.Errorf("%s: mean %g, fault in the truth: %v", at, got.dc, ok)
				}
				if _, ok := want["missing_track"]; ok == recorded {
					t.Errorf("%s: recorded %v, missing in the truth: %v", at, recorded, ok)
				}
				_, short := want["short_track"]
				if recorded && short != (int64(len(x)) < r.Frames-1) {
					t.Errorf("%s: %d of %d frames, short in the truth: %v", at, len(x), r.Frames, short)
				}
				for _, kind := range []string{"clipped", "dropout", "flat_top", "went_silent", "dead", "short_track"} {
					if f, ok := want[kind]; ok {
						checkSpan(t, at, f, x, r)
					}
				}
			}
			checkUnfinished(t, c, s, r)
		}
	}
	for _, k := range []string{"clipped", "flat_top", "dead", "went_silent", "dropout", "dc_offset", "missing_track", "short_track", "unfinished_file"} {
		if kinds[k] == 0 && k != "unfinished_file" {
			t.Errorf("no %s on the tour", k)
		}
	}
}

// checkSpan checks that a fault begins and ends where the truth says.
func checkSpan(t *testing.T, at string, f Fault, x []float64, r Recording) {
	t.Helper()
	frame := func(s float64) int { return int(math.Round(s * float64(r.SampleRate))) }
	from, to := frame(f.StartS), frame(f.EndS)
	switch f.Kind {
	case "clipped":
		full := 1 - math.Ldexp(1, 1-r.BitDepth)
		if math.Abs(x[from]) < full || math.Abs(x[to-1]) < full {
			t.Errorf("%s: clipping does not begin at %g s and end at %g s", at, f.StartS, f.EndS)
		}
	case "dropout":
		if to-from != f.Samples || x[from-1] == 0 || x[to] == 0 || peak(x[from-100:from]) < 0.002 || peak(x[to:to+100]) < 0.002 {
			t.Errorf("%s: the dropout of %d samples at %g s does not lie in signal", at, f.Samples, f.StartS)
		}
	case "flat_top":
		// 16 steps of 24 bit are more than the converter's noise, and less than
		// any wave changes there between two samples.
		top := peak(x)
		n := runs(x[from:to], 4, func(v float64) bool { return math.Abs(v) > top-2e-5 })
		if top > 0.5 || n < f.Samples*8/10 || n > f.Samples {
			t.Errorf("%s: %d samples in flat tops at %g, truth %d", at, n, top, f.Samples)
		}
		if p := peak(x[:from]); p >= top {
			t.Errorf("%s: flat tops before %g s", at, f.StartS)
		}
	case "dead", "went_silent":
		floor := rms(x[from+r.SampleRate/10 : to])
		if want := f.Kind == "went_silent"; floor > -85 || want != (from > 0) {
			t.Errorf("%s: %g dBFS from %g s on", at, floor, f.StartS)
		}
		if f.Kind == "went_silent" && rms(x[:from]) < floor+30 {
			t.Errorf("%s: no signal before the fault: %g dBFS, then %g", at, rms(x[:from]), floor)
		}
	case "short_track":
		if len(x) != from || int64(to) != r.Frames {
			t.Errorf("%s: ends at frame %d, truth %d to %d of %d", at, len(x), from, to, r.Frames)
		}
	}
}

func checkUnfinished(t *testing.T, c corpus, s Show, r Recording) {
	t.Helper()
	for _, name := range r.Files {
		info := c.info(t, name)
		want := slices.ContainsFunc(c.truth.Faults, func(f Fault) bool {
			return f.Kind == "unfinished_file" && f.Show == s.Date && f.Rig == r.Rig && f.Channel+"_01.wav" == filepath.Base(name)
		})
		if info.Unfinished != want {
			t.Errorf("%s: unfinished %v, truth %v (%v)", name, info.Unfinished, want, info.Repairs)
		}
	}
}

// A healthy channel exists, has no planted fault of its kinds, and is what its
// reason says.
func TestHealthyIsHealthy(t *testing.T) {
	c := smallTour(t)
	if len(c.truth.Healthy) == 0 {
		t.Fatal("the list is empty")
	}
	for _, h := range c.truth.Healthy {
		in := c.inputs(h.Show)[h.Track-1]
		if in.Channel != h.Channel || len(h.Kinds) == 0 || h.Why == "" {
			t.Errorf("%+v: the input list says %s", h, in.Channel)
		}
		for _, f := range c.truth.Faults {
			if f.Show == h.Show && f.Track == h.Track && slices.Contains(h.Kinds, f.Kind) && f.Kind != "dropout" {
				t.Errorf("%+v is planted as well: %+v", h, f)
			}
		}
	}
	for _, r := range c.show("2031-05-05").Recordings {
		snare := c.tracks(t, "2031-05-05", r)[2]
		if p := 20 * math.Log10(peak(snare)); math.Abs(p+0.1) > 0.02 {
			t.Errorf("%s: the snare peaks at %.3f dBFS, want -0.1", r.Rig, p)
		}
	}
}
