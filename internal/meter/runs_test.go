package meter

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

const testRate = 48000

// bed is quiet band-limited noise that has no runs of its own.
func bed(frames int) []float64 { return noise(newRand(20), frames, -50) }

// put writes a value over frames [from, to).
func put(x []float64, v float64, from, to int) {
	for i := from; i < to; i++ {
		x[i] = v
	}
}

// eventsOf measures a track as a scan does.
func eventsOf(t *testing.T, typ SampleType, x []float64) (Envelope, []Event) {
	t.Helper()
	cfg := Config{SampleRate: testRate, Type: typ}
	e := Join(testRate, int64(len(x)), 0, inParts(t, cfg, raw(typ, x))...)
	return e, runsOf(e.Events)
}

// runsOf leaves out the cracks: the ends of most runs are cracks, too.
func runsOf(events []Event) []Event {
	return slices.DeleteFunc(slices.Clone(events), func(e Event) bool { return e.Kind == Crack })
}

// checkEvents compares kinds, places and lengths.
func checkEvents(t *testing.T, got, want []Event) {
	t.Helper()
	if !slices.EqualFunc(got, want, func(a, b Event) bool {
		return a.Kind == b.Kind && a.Start == b.Start && a.Frames == b.Frames
	}) {
		t.Errorf("got events %+v, want %+v", got, want)
	}
}

func TestRunsAtFullScale(t *testing.T) {
	slow(t)
	const part = PartBlocks * testRate / 10
	x := bed(2*part + 5000)
	put(x, 1, 1000, 1003)            // just long enough
	put(x, 1, 2000, 2002)            // too short
	put(x, 1, 4798, 4806)            // across a block border
	put(x, -1, 9600, 9610)           // from a block border on
	put(x, 1, part-2, part+1)        // across a part border, short on both sides
	put(x, 1, part+4000, part+14000) // over several blocks
	put(x, 1, 2*part-1, 2*part)      // no run
	put(x, 1, len(x)-4, len(x))      // to the last frame
	want := []Event{
		{Kind: ClipRun, Start: 1000, Frames: 3},
		{Kind: ClipRun, Start: 4798, Frames: 8},
		{Kind: ClipRun, Start: 9600, Frames: 10},
		{Kind: ClipRun, Start: part - 2, Frames: 3},
		{Kind: ClipRun, Start: part + 4000, Frames: 10000},
		{Kind: ClipRun, Start: int64(len(x)) - 4, Frames: 4},
	}
	for _, typ := range []SampleType{Int16, Int24, Int32, Float32} {
		e, events := eventsOf(t, typ, x)
		checkEvents(t, events, want)
		for i, n := range map[int]uint16{0: 5, 1: 6, 2: 10, 599: 2, 600: 801, 601: 4800, 602: 4400, 1199: 0} {
			if e.Blocks[i].Clipped != n {
				t.Errorf("type %d, block %d: %d clipped samples, want %d", typ, i, e.Blocks[i].Clipped, n)
			}
		}
		if got := e.Figures(0, e.Frames).ClippedSamples; got != 3+8+10+3+10000+4 {
			t.Errorf("type %d: %d clipped samples in all", typ, got)
		}
	}
}

func TestClipLevelAndRunAreSettable(t *testing.T) {
	x := bed(testRate)
	put(x, 0.9, 1000, 1005)
	put(x, -0.95, 2000, 2004)
	cfg := Config{SampleRate: testRate, Type: Int24, ClipLevel: 0.89, ClipRun: 5}
	p := onePart(t, cfg, raw(Int24, x), 0, len(x))
	checkEvents(t, runsOf(p.Events), []Event{{Kind: ClipRun, Start: 1000, Frames: 5}})
	near(t, "level", float64(p.Events[0].Level), 0.9, 1e-6)
}

func TestZeroRuns(t *testing.T) {
	slow(t)
	const part = PartBlocks * testRate / 10
	x := bed(4*part + 100)
	put(x, 0, 1000, 1032)              // just long enough
	put(x, 0, 2000, 2031)              // too short
	put(x, 0, part-10, part+30)        // across a part border
	put(x, 0, part+90000, 3*part+5000) // over a whole part
	put(x, 0, len(x)-64, len(x))       // to the last frame
	_, events := eventsOf(t, Int24, x)
	checkEvents(t, events, []Event{
		{Kind: ZeroRun, Start: 1000, Frames: 32},
		{Kind: ZeroRun, Start: part - 10, Frames: 40},
		{Kind: ZeroRun, Start: part + 90000, Frames: 2*part + 5000 - 90000},
		{Kind: ZeroRun, Start: int64(len(x)) - 64, Frames: 64},
	})
	for _, e := range events {
		if beside := max(peak(x[e.Start-64:e.Start]), peak(x[e.Start+e.Frames:min(int64(len(x)), e.Start+e.Frames+64)])); math.Abs(float64(e.Level)-beside) > 1e-6 {
			t.Errorf("run at %d: level %g, want %g", e.Start, e.Level, beside)
		}
	}
}

// Silence alone is no event: a dead track, sounds that fade to nothing, the
// 16-bit floor.
func TestZerosWithoutSignal(t *testing.T) {
	slow(t)
	r := newRand(21)
	dithered := make([]float64, 3*testRate) // 16-bit floor of less than a step
	for i := range dithered {
		dithered[i] = 0.4 / (1 << 15) * r.NormFloat64()
	}
	slow := tones(testRate, 20, tone{-84, 3}) // two steps of 16 bit, rests on zero
	decay := make([]float64, 3*testRate)
	for i := range decay {
		decay[i] = 0.5 * math.Exp(-float64(i)/8000) * math.Sin(0.05*float64(i))
	}
	for name, x := range map[string][]float64{
		"dead track": make([]float64, 130*testRate), "floor": dithered, "slow wave": slow, "decay": decay,
	} {
		e, events := eventsOf(t, Int16, x)
		checkEvents(t, events, nil)
		zeros := 0
		for _, b := range e.Blocks {
			zeros += int(b.Zeros)
		}
		want := 0
		for _, v := range quantised(Int16, x) {
			if v == 0 {
				want++
			}
		}
		if zeros != want || want == 0 {
			t.Errorf("%s: %d zeros counted of %d", name, zeros, want)
		}
	}
}

func limited(x []float64, limit float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = max(-limit, min(limit, v))
	}
	return y
}

// tops returns the flat tops, at least minFlatTop long, that limiting makes in a
// track.
func tops(x []float64, limit float64) []Event {
	var out []Event
	for i := 0; i < len(x); i++ {
		n := i
		for n < len(x) && math.Abs(x[n]) >= limit {
			n++
		}
		if n-i >= minFlatTop {
			out = append(out, Event{Kind: FlatTop, Start: int64(i), Frames: int64(n - i)})
		}
		i = max(i, n-1)
	}
	return out
}

// Every flat top of a wave that was limited below full scale is found.
func TestFlatTops(t *testing.T) {
	for _, row := range []struct {
		name      string
		hz, limit float64
	}{{"bass", 55, 0.5}, {"voice", 400, 0.3}, {"high", 1500, 0.2}} {
		for _, typ := range []SampleType{Int16, Int24, Float32} {
			x := tones(testRate, row.hz, tone{-3, 1})
			cut := limited(x, row.limit)
			e, events := eventsOf(t, typ, cut)
			want := tops(x, row.limit)
			if len(want) < 50 || len(events) != min(len(want), MaxEvents) {
				t.Errorf("%s, type %d: %d events of %d tops", row.name, typ, len(events), len(want))
			}
			flat, frames := 0, 0
			for _, b := range e.Blocks {
				flat += int(b.Flat)
			}
			for _, w := range want {
				frames += int(w.Frames)
			}
			// A sample that reaches the limit within the tolerance may count.
			if flat < frames || flat > frames+2*len(want) {
				t.Errorf("%s, type %d: %d samples in flat tops, want %d", row.name, typ, flat, frames)
			}
			for _, ev := range events {
				near(t, row.name+": level", float64(ev.Level), row.limit, 5e-5)
			}
		}
	}
}

// Flat tops are found under the noise that follows the clipping circuit: a
// 24-bit converter, a preamp's hiss, the dither of 16 bit.
func TestFlatTopsWithNoise(t *testing.T) {
	for _, row := range []struct {
		name   string
		typ    SampleType
		hz     float64
		hiss   float64 // RMS in dBFS
		dither bool    // triangular, of two steps of 16 bit
		found  float64 // least share of the tops
	}{
		{"24-bit converter", Int24, 200, -120, false, 1},
		{"24-bit converter, short tops", Int24, 800, -110, false, 0.99},
		{"16 bit, dithered", Int16, 60, -120, true, 1},
		{"16 bit, dithered, short tops", Int16, 800, -120, true, 0.99},
		{"hiss", Int24, 60, -92, false, 1},
		{"hiss and dither", Int16, 200, -92, true, 0.99},
	} {
		r := newRand(22)
		x := tones(testRate, row.hz, tone{-3, 1})
		cut := limited(x, 0.5)
		for i := range cut {
			cut[i] += amp(row.hiss) * r.NormFloat64()
			if row.dither {
				cut[i] += (r.Float64() - r.Float64()) / (1 << 15)
			}
		}
		e, _ := eventsOf(t, row.typ, cut)
		flat, frames := 0, 0
		for _, b := range e.Blocks {
			flat += int(b.Flat)
		}
		for _, w := range tops(x, 0.5) {
			frames += int(w.Frames)
		}
		if share := float64(flat) / float64(frames); share < row.found-0.005 || share > 1.01 {
			t.Errorf("%s: %.3f of the flat samples found, want %.2f", row.name, share, row.found)
		}
	}
}

// Flat tops that sink are found: after a coupling capacitor, or a converter's
// filter against offsets (first order). The bass has notes from 41 Hz on that
// decay.
func TestSlopingFlatTops(t *testing.T) {
	for _, row := range []struct{ hz, limit, found float64 }{
		{0.3, 0.8, 1}, {0.3, 0.5, 1}, {1, 0.8, 1}, {1, 0.5, 1}, {2, 0.8, 0.9}, {4, 0.8, 0.7},
	} {
		r := newRand(22)
		var x []float64
		for range 20 {
			w := 2 * math.Pi * 41.2 * math.Pow(2, float64(r.IntN(20))/12) / testRate
			for i := range 12000 {
				at := float64(i)
				x = append(x, 0.4*math.Exp(-4*at/testRate)*(math.Sin(w*at)+0.4*math.Sin(2*w*at+1)))
			}
		}
		limit := row.limit * peak(x)
		cut := limited(x, limit)
		keep, last, y := math.Exp(-2*math.Pi*row.hz/testRate), 0.0, 0.0
		for i, v := range cut {
			y = keep*y + (1+keep)/2*(v-last)
			last = v
			cut[i] = y + 2e-6*r.NormFloat64()
		}
		e, events := eventsOf(t, Int24, cut)
		flat, frames := 0, 0
		for _, b := range e.Blocks {
			flat += int(b.Flat)
		}
		for _, w := range tops(x, limit) {
			frames += int(w.Frames)
		}
		if share := float64(flat) / float64(frames); share < row.found-0.03 || share > 1.03 {
			t.Errorf("%g Hz, cut at %.2f: %.3f of the flat samples found, want %.2f", row.hz, limit, share, row.found)
		}
		for _, ev := range events {
			if level := float64(ev.Level); level < limit/2 || level > peak(cut)*1.0001 {
				t.Errorf("%g Hz, cut at %.2f: a top of %.3f, the peak is %.3f", row.hz, limit, level, peak(cut))
			}
		}
	}
}

// Waves that were not limited have no flat tops, however slow, quiet or coarse.
func TestNoFlatTopsInWholeWaves(t *testing.T) {
	slow(t)
	r := newRand(23)
	signals := map[string][]float64{
		"offset": make([]float64, testRate),
		"noise":  noise(r, 10*testRate, -15),
	}
	for i := range signals["offset"] {
		signals["offset"][i] = 0.2
	}
	// A converter that hangs for 60 ms: no audible wave stays level so long.
	signals["held"] = make([]float64, testRate)
	put(signals["held"], 0.5, 10000, 12880)
	for _, dBFS := range []float64{-0.1, -12, -29} {
		for _, hz := range []float64{3, 8, 997, 5000} {
			signals[fmt.Sprintf("sine of %g Hz at %g dBFS", hz, dBFS)] = tones(testRate, hz, tone{dBFS, 1})
		}
		// Gliding tones, so that tops of all curvatures meet all roundings; with
		// a ninth of its third harmonic the top is of fourth order.
		round, fourth := make([]float64, 10*testRate), make([]float64, 10*testRate)
		w, a := 0.0, amp(dBFS)
		for i := range round {
			w += 2 * math.Pi * 10 * math.Pow(100, float64(i)/float64(len(round))) / testRate
			round[i] = a * math.Sin(w)
			fourth[i] = 0.9 * a * (math.Sin(w) + math.Sin(3*w)/9)
		}
		signals[fmt.Sprintf("glide at %g dBFS", dBFS)] = round
		signals[fmt.Sprintf("flat glide at %g dBFS", dBFS)] = fourth
	}
	// Low-passed noise, like a bass, over a minute.
	slow := noise(r, 60*testRate, 0)
	var a, b float64
	for i, v := range slow {
		a += 0.02 * (v - a)
		b += 0.02 * (a - b)
		slow[i] = 1.5 * b
	}
	signals["slow noise"] = slow
	// A triangle has straight flanks and sharp corners, but no top.
	triangle := make([]float64, 10*testRate)
	for i := range triangle {
		triangle[i] = 0.3 * (4*math.Abs(math.Mod(float64(i)*0.00071, 1)-0.5) - 1)
	}
	signals["triangle"] = triangle
	for name, x := range signals {
		for _, typ := range []SampleType{Int16, Int24, Float32} {
			if e, _ := eventsOf(t, typ, x); slices.ContainsFunc(e.Events, func(ev Event) bool { return ev.Kind == FlatTop }) {
				t.Errorf("%s, type %d: %d flat tops", name, typ, len(e.Events))
			}
		}
	}
}

// Of a track that clips for minutes the longest runs are kept, and all are
// counted.
func TestEventsAreBounded(t *testing.T) {
	slow(t)
	x := bed(61 * testRate)
	want := int64(0)
	for at, i := 100, 0; at < len(x)-100; at, i = at+60, i+1 {
		n := 3 + i%20
		put(x, 1, at, at+n)
		want += int64(n)
	}
	p := onePart(t, Config{SampleRate: testRate, Type: Int24}, raw(Int24, x), 0, len(x))
	if kept := runsOf(p.Events); len(kept) != MaxEvents {
		t.Errorf("%d events, want %d", len(kept), MaxEvents)
	}
	for _, e := range runsOf(p.Events) {
		if e.Frames != 22 {
			t.Errorf("kept a run of %d, the longest are 22", e.Frames)
		}
	}
	if !slices.IsSortedFunc(p.Events, byPlace) {
		t.Error("events are not ordered")
	}
	e := Join(testRate, int64(len(x)), 0, p)
	if got := e.Figures(0, e.Frames).ClippedSamples; got != want {
		t.Errorf("%d clipped samples, want %d", got, want)
	}
}
