package meter

import (
	"errors"
	"testing"
)

func TestFiguresBinary(t *testing.T) {
	f := Figures{SamplePeak: -0.1, TruePeak: 0.25, RMS: Silence(), Loudness: -23, MaxMomentary: -18.5, MaxShortTerm: NotMeasured(), LoudnessRange: 7, CrestFactor: 12.5, DCOffset: -0.001, ClippedSamples: 42}
	data, err := f.AppendBinary(nil)
	if err != nil || len(data) != FiguresBytes {
		t.Fatalf("%d bytes, %v", len(data), err)
	}
	var back Figures
	if err := back.UnmarshalBinary(data); err != nil {
		t.Fatal(err)
	}
	if !back.MaxShortTerm.IsZero() {
		t.Errorf("what was not measured came back as %v", back.MaxShortTerm)
	}
	f.MaxShortTerm, back.MaxShortTerm = 0, 0 // NaN is not equal to itself
	if back != f {
		t.Errorf("%+v came back as %+v", f, back)
	}
	for _, n := range []int{0, FiguresBytes - 1, FiguresBytes + 1} {
		if err := back.UnmarshalBinary(make([]byte, n)); !errors.Is(err, ErrRecord) {
			t.Errorf("%d bytes: %v, want ErrRecord", n, err)
		}
	}
}
