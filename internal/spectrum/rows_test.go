package spectrum

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"nightreel/internal/meter"
)

// TestRows: frames that a meter decoded give the same result as the samples
// themselves.
func TestRows(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const rate = 48000
	for _, kind := range []meter.SampleType{meter.Uint8, meter.Int16, meter.Int24, meter.Int32, meter.Float32} {
		for _, channels := range []int{1, 2, 8, 9, 17} {
			runUp, frames, runOut := rng.IntN(2)*meter.RunUpFrames(rate), rate*17/10, rng.IntN(meter.RunOutFrames(rate))
			all := make([]byte, (runUp+frames+runOut)*channels*kind.Bytes())
			for i := range all {
				all[i] = byte(rng.Uint32())
			}
			if kind == meter.Float32 {
				for i := 0; i < len(all); i += 4 {
					v := float32(rng.NormFloat64() * math.Exp2(float64(rng.IntN(60)-50))) // some beyond full scale
					if rng.IntN(1000) == 0 {
						v = float32([]float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 1, 1e20}[rng.IntN(6)])
					}
					binary.LittleEndian.PutUint32(all[i:], math.Float32bits(v))
				}
			}
			frame := channels * kind.Bytes()
			cfg := Config{SampleRate: rate, Channels: channels, Type: kind, Frames: int64(frames)}
			want, err := New(cfg)
			if err != nil {
				t.Fatal(err)
			}
			if err := want.Write(frames+runOut, all[runUp*frame:]); err != nil {
				t.Fatal(err)
			}
			got, err := New(cfg)
			if err != nil {
				t.Fatal(err)
			}
			m, err := meter.New(meter.Config{SampleRate: rate, Channels: channels, Type: kind, RunUp: runUp, Frames: int64(frames),
				Rows: func(r meter.Rows) { got.WriteRows(r, runUp) }})
			if err != nil {
				t.Fatal(err)
			}
			if !m.Decodes() {
				t.Skip("the meter runs in plain Go")
			}
			for at := 0; at < len(all); {
				n := min(1+rng.IntN(9000), (len(all)-at)/frame)
				if err := m.Write(n, all[at:at+n*frame]); err != nil {
					t.Fatal(err)
				}
				at += n * frame
			}
			if !slices.EqualFunc(got.Finish(), want.Finish(), sameTone) {
				t.Errorf("type %d, %d channels, run-up %d: rows give a different result", kind, channels, runUp)
			}
		}
	}
}
