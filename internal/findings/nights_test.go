package findings

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/meter"
)

// planted is a fault of known place.
type planted struct {
	kind       catalog.FindingKind
	track      int
	start, end int64
}

// tally counts, for one kind.
type tally struct{ planted, found, missed, false int }

// TestRandomNights plants faults at random into random nights and counts. Every
// fourth night is clean. It is a test of judgement on envelopes alone: the
// events are as package meter would report them.
func TestRandomNights(t *testing.T) {
	const nights = 32
	sums := map[catalog.FindingKind]*tally{}
	at := func(k catalog.FindingKind) *tally {
		if sums[k] == nil {
			sums[k] = &tally{}
		}
		return sums[k]
	}
	for seed := range uint64(nights) {
		past := int(seed) % 3 // first nights, second nights, third nights
		sc := newScene(1000+seed, past)
		rng := rand.New(rand.NewPCG(77, seed))
		n, truth := sc.damaged(rng, seed%4 == 3)
		findings := judged(t, n)
		used := make([]bool, len(findings))
		for _, p := range truth {
			at(p.kind).planted++
			hit := false
			for i, f := range findings {
				if f.Kind == p.kind && f.Track == p.track && f.StartFrame < p.end+testRate && f.EndFrame > p.start-testRate && near(f, p) {
					used[i], hit = true, true
				}
			}
			if hit {
				at(p.kind).found++
			} else {
				at(p.kind).missed++
				t.Logf("night %d (%d before): missed %s on track %d from %.1f s", seed, past, p.kind, p.track, float64(p.start)/testRate)
			}
		}
		for i, f := range findings {
			if !used[i] {
				at(f.Kind).false++
				t.Logf("night %d (%d before): false: %s", seed, past, f.Text)
			}
		}
	}
	total := tally{}
	report := fmt.Sprintf("%-16s %8s %6s %7s %6s\n", "kind", "planted", "found", "missed", "false")
	for _, k := range slices.Sorted(maps.Keys(sums)) {
		s := sums[k]
		report += fmt.Sprintf("%-16s %8d %6d %7d %6d\n", k, s.planted, s.found, s.missed, s.false)
		total.planted, total.found, total.false = total.planted+s.planted, total.found+s.found, total.false+s.false
	}
	t.Logf("%d random nights of %d tracks:\n%s", nights, len(band(rand.New(rand.NewPCG(0, 0)))), report)
	if float64(total.found) < 0.97*float64(total.planted) {
		t.Errorf("found %d of %d planted faults, want 97 %%", total.found, total.planted)
	}
	if total.false > total.found/33 {
		t.Errorf("%d false findings beside %d true ones, want under 3 %%", total.false, total.found)
	}
}

// near reports whether a finding starts where the fault does, to 2 s; kinds that
// last all night do anyhow.
func near(f catalog.Finding, p planted) bool {
	return math.Abs(float64(f.StartFrame-p.start)) <= 2*testRate
}

// damaged plants faults, each on another track.
func (sc *scene) damaged(rng *rand.Rand, clean bool) (*evidence.Recording, []planted) {
	size := int64(testRate / 10)
	whole := int64(sc.st.blocks) * size
	var truth []planted
	free := rng.Perm(len(sc.voices))
	take := func(good func(v voice) bool) *tape {
		for k, i := range free {
			if i >= 0 && good(sc.voices[i]) {
				free[k] = -1
				return sc.tapes[i]
			}
		}
		return nil
	}
	isMic := func(v voice) bool { return v.pickup == mic && v.name != "Guest Vocal" }
	// Keeps events where there is sound.
	sounding := func(t *tape) int {
		for range 1000 {
			b := sc.in(rng.IntN(len(sc.st.takes)), 0.05+0.9*rng.Float64())
			if min(t.blocks[b-1].Peak, t.blocks[b].Peak, t.blocks[b+1].Peak) > 0.003 {
				return b
			}
		}
		return 0
	}
	missing := 0
	if !clean {
		for _, kind := range []catalog.FindingKind{catalog.Dead, catalog.WentSilent, catalog.Clipped, catalog.Dropout, catalog.DCOffset, catalog.FlatTop, catalog.MissingTrack, catalog.ShortTrack} {
			if rng.IntN(3) == 0 {
				continue
			}
			t := take(isMic)
			p := planted{kind, t.number, 0, whole}
			b := sounding(t)
			switch kind {
			case catalog.Dead:
				t.silence(0, sc.st.blocks, -105+30*rng.Float64())
			case catalog.WentSilent:
				b = sc.in(rng.IntN(3), 0.2+0.6*rng.Float64())
				floor := sc.voices[t.number-1].floor
				if rng.IntN(4) == 0 {
					floor = -200
				}
				t.silence(b, sc.st.blocks, floor)
				p.start = int64(b) * size
			case catalog.Clipped:
				p.start = int64(b)*size + 50
				for range 1 + rng.IntN(8) {
					t.event(meter.ClipRun, int64(b)*size+50, 3+rng.Int64N(30), 1)
					p.end = int64(b+1) * size
					b += 1 + rng.IntN(8)
				}
			case catalog.Dropout:
				p.start = int64(b)*size + rng.Int64N(2000)
				p.end = p.start + 32 + rng.Int64N(2000)
				t.event(meter.ZeroRun, p.start, p.end-p.start, 0.01)
			case catalog.DCOffset:
				t.offset(0.007 + 0.03*rng.Float64())
			case catalog.FlatTop:
				k := rng.IntN(len(sc.st.takes))
				from, to := sc.in(k, 0), sc.in(k, 1)
				var peaks []float32
				for _, bl := range t.blocks[from:to] {
					peaks = append(peaks, bl.Peak)
				}
				slices.Sort(peaks)
				ceiling := float64(peaks[len(peaks)-1-len(peaks)/20])
				if t.ceiling(from, to, ceiling) == 0 {
					continue
				}
				p.start, p.end = int64(from)*size, int64(to)*size
				for _, e := range t.events {
					if e.Kind == meter.FlatTop {
						p.start = e.Start
						break
					}
				}
			case catalog.MissingTrack:
				missing = t.number
			case catalog.ShortTrack:
				t.ends = whole - (4+rng.Int64N(200))*testRate
				p.start = t.ends
			}
			truth = append(truth, p)
		}
		if rng.IntN(3) == 0 { // the recorder stumbles
			b := sc.in(0, 0.5)
			var hit []planted
			for _, t := range sc.tapes {
				if min(t.blocks[b-1].Peak, t.blocks[b].Peak, t.blocks[b+1].Peak) > 0.002 && t.number != missing && (t.ends == 0 || t.ends > int64(b+1)*size) {
					t.event(meter.ZeroRun, int64(b)*size+100, 1024, 0.01)
					hit = append(hit, planted{catalog.Dropout, t.number, int64(b)*size + 100, int64(b)*size + 1124})
				}
			}
			if len(hit) > maxEach {
				hit = hit[:1]
				hit[0].track = 0
			}
			truth = append(truth, hit...)
		}
	}
	tapes := slices.Clone(sc.tapes)
	if missing > 0 {
		tapes[missing-1] = nil
	}
	n := night(sc.st, sc.voices, tapes)
	for i, p := range sc.past {
		remember(n, catalog.ShowKey(fmt.Sprintf("2031-04-%02d", i+1)), p)
	}
	return n, truth
}

// Every text is one sentence with a time or a number in it, none of them endless.
func TestTexts(t *testing.T) {
	sc := newScene(1004, 2)
	n, _ := sc.damaged(rand.New(rand.NewPCG(77, 4)), false)
	for _, f := range judged(t, n) {
		if len(f.Text) < 40 || len(f.Text) > 300 || strings.Contains(f.Text, "NaN") || strings.Contains(f.Text, "Inf") {
			t.Errorf("%s: %q", f.Kind, f.Text)
		}
		t.Log(f.Text)
	}
}
