package meter

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
)

// held is an envelope of blocks 3 to 8 of a recording of 10½ blocks.
func held() Envelope {
	e := Envelope{SampleRate: 1000 * 8, Frames: 8400, First: 3, Blocks: make([]Block, 6)}
	for i := range e.Blocks {
		e.Blocks[i] = Block{Peak: float32(i + 3), TruePeak: float32(i + 3), MeanSquare: float32(i + 3)}
	}
	e.Events = []Event{{ClipRun, 3190, 20, 1}, {ZeroRun, 4000, 50, 1}}
	return e
}

// Both ends of a span move to the nearest block start.
func TestSpanSnaps(t *testing.T) {
	for _, row := range []struct{ start, end, first, blocks int64 }{
		{3200, 4800, 4, 2},
		{3599, 4400, 4, 2}, // half a block is rounded up
		{3600, 4399, 5, 0},
		{2799, 3200, 3, 1},
		{-50, 99999, 3, 6},
		{0, 2400, 3, 0},
		{8400, 9000, 9, 0},
		{4800, 3200, 6, 0},
		{math.MinInt64, math.MaxInt64, 3, 6},
	} {
		e := held()
		from, to := e.snap(row.start, row.end)
		if int64(e.First+from) != row.first || int64(to-from) != row.blocks {
			t.Errorf("%d to %d: %d blocks from %d, want %d from %d", row.start, row.end, to-from, e.First+from, row.blocks, row.first)
		}
	}
}

// The recording's last block is short; its weight is its length.
func TestShortLastBlock(t *testing.T) {
	x := make([]float64, 48000+480)
	put(x, 0.5, 48000, len(x))
	f := figures(t, 48000, x)
	near(t, "RMS", f.RMS, PowerDB(0.25*480/48480), 1e-5)
	near(t, "DC", f.DCOffset, 0.5*480/48480, 1e-7)
}

// Join makes one event from the pieces of a run, whatever lies between them.
func TestJoinMergesPieces(t *testing.T) {
	a := Part{Blocks: make([]Block, 600), Events: []Event{{ZeroRun, 100, 50, 0.5}, {ZeroRun, 479000, 1000, 0.25}, {ClipRun, 479990, 10, 1}}}
	b := Part{Blocks: make([]Block, 600), Events: []Event{{ClipRun, 480000, 5, 1}, {ZeroRun, 480000, 480000, 0}}}
	c := Part{Blocks: make([]Block, 10), Events: []Event{{ZeroRun, 960000, 100, 0.5}, {ZeroRun, 961000, 100, 0}}}
	e := Join(8000, 968000, 0, a, b, c)
	if want := []Event{{ZeroRun, 100, 50, 0.5}, {ZeroRun, 479000, 481100, 0.5}, {ClipRun, 479990, 15, 1}}; !slices.Equal(e.Events, want) {
		t.Errorf("got %+v, want %+v", e.Events, want)
	}
	if len(e.Blocks) != 1210 {
		t.Errorf("%d blocks", len(e.Blocks))
	}
}

func TestLevelInJSON(t *testing.T) {
	type figures struct {
		A Level `json:"a,omitzero"`
		B Level `json:"b,omitzero"`
		C Level `json:"c,omitzero"`
		D Level `json:"d,omitzero"`
	}
	out, err := json.Marshal(figures{A: -23.013912, B: Silence(), C: NotMeasured(), D: 0})
	if want := `{"a":-23.0139,"b":null,"d":0}`; err != nil || string(out) != want {
		t.Errorf("got %s, %v, want %s", out, err, want)
	}
	var back figures
	if err := json.Unmarshal(out, &back); err != nil || back.A != -23.0139 || !back.B.IsSilence() {
		t.Errorf("read back: %+v, %v", back, err)
	}
	if err := json.Unmarshal([]byte(`{"a":"x"}`), &back); err == nil {
		t.Error("a text was read as a level")
	}
	for _, l := range []Level{NotMeasured(), Level(math.Inf(1))} {
		if _, err := json.Marshal(l); err == nil {
			t.Errorf("%v was written", float64(l))
		}
	}
	// The fields that scripts rely on.
	out, err = json.Marshal(Figures{Loudness: NotMeasured(), RMS: Silence()})
	if want := `{"sample_peak_dbfs":0,"true_peak_dbtp":0,"rms_dbfs":null,"max_momentary_lufs":0,"max_short_term_lufs":0,` +
		`"loudness_range_lu":0,"crest_factor_db":0,"dc_offset":0,"clipped_samples":0}`; err != nil || string(out) != want {
		t.Errorf("got %s, %v, want %s", out, err, want)
	}
}

func TestLevelArithmetic(t *testing.T) {
	near(t, "DB", DB(0.5), -6.0206, 1e-4)
	near(t, "PowerDB", PowerDB(0.5), -3.0103, 1e-4)
	if !DB(0).IsSilence() || !PowerDB(0).IsSilence() {
		t.Error("not measured counts as silence")
	}
}

// Two rigs record the same sound: one late, at another gain, with its own noise,
// and with blocks at other positions.
func TestLag(t *testing.T) {
	r := newRand(40)
	fine := make([]float64, 10*3000)
	v := 0.0
	for i := range fine {
		v = 0.97*v + r.NormFloat64()
		fine[i] = v
	}
	series := func(from, blocks int, gain float64) []float64 {
		out := make([]float64, blocks)
		for i := range out {
			for j := range 10 {
				out[i] += fine[from+10*i+j]
			}
			out[i] = out[i]/10 + gain + 0.1*r.NormFloat64()
		}
		return out
	}
	a := series(3000, 2000, -30)
	for _, late := range []int{0, 70, -70, 73, -1234, 2500} { // tenths of a block
		b := series(3000-late, 1800, -24)
		b[100], b[200] = math.Inf(-1), math.NaN()
		lag, score := Lag(a, b, 300)
		near(t, "lag", lag, float64(late)/10, 0.1)
		if score < 0.95 {
			t.Errorf("late by %d: score %g", late, score)
		}
	}
	if _, score := Lag(a, noise(r, 1000, 0), 300); score > 0.3 {
		t.Errorf("unlike series: score %g", score)
	}
	for name, b := range map[string][]float64{"empty": nil, "constant": make([]float64, 500)} {
		if lag, score := Lag(a, b, 10); !math.IsNaN(lag) || score != 0 {
			t.Errorf("%s: lag %g, score %g", name, lag, score)
		}
	}
}
