package tracks

import (
	"context"
	"fmt"
	"math"
)

// MaxWaveformS is the longest span that a waveform is drawn of, in seconds. Longer
// ones are drawn from the envelope.
const MaxWaveformS = 30

// SpanError says that a span is empty, or too long to be drawn from samples.
type SpanError struct{ Track int }

func (e *SpanError) Error() string {
	return fmt.Sprintf("track %d: no waveform drawn: the span must be longer than 0 s and at most %d s", e.Track, MaxWaveformS)
}

// Hint says what to do about it.
func (e *SpanError) Hint() string { return "ask for a shorter span, or for the envelope" }

// Extent is the lowest and the highest sample of a column, as fractions of full
// scale.
type Extent struct{ Low, High float32 }

// Waveform reads the frames start … end of the track's recording and returns them
// as columns of equal length. If there are more columns than frames, a column
// without a frame repeats the one before it. Columns outside the recording are
// zero.
//
// Errors: *[SpanError], and those of [Reader.Read].
func (t *Track) Waveform(ctx context.Context, start, end int64, columns int) ([]Extent, error) {
	if end-start > int64(MaxWaveformS*t.Recording.SampleRate) || columns < 1 || end <= start {
		return nil, &SpanError{t.Track.Number}
	}
	format := Format(t.Recording, 1)
	from, frames := t.span(start, end)
	out := make([]Extent, columns)
	held := make([]bool, columns)
	raw, x := make([]byte, chunkFrames*format.ContainerBytes), make([]float64, chunkFrames)
	scale := float64(columns) / float64(end-start)
	for done := int64(0); done < frames; {
		n := int(min(chunkFrames, frames-done))
		if _, err := t.Read(ctx, raw[:n*format.ContainerBytes], from+done); err != nil {
			return nil, err
		}
		format.Decode(x[:n], raw)
		for i, v := range x[:n] {
			c := int(float64(from+done+int64(i)-start) * scale)
			if c < 0 || c >= columns || math.IsNaN(v) {
				continue
			}
			s := float32(v)
			if !held[c] {
				out[c], held[c] = Extent{s, s}, true
			}
			out[c].Low, out[c].High = min(out[c].Low, s), max(out[c].High, s)
		}
		done += int64(n)
	}
	if int64(columns) > end-start {
		for c := 1; c < columns; c++ {
			if !held[c] && held[c-1] {
				out[c], held[c] = out[c-1], true
			}
		}
	}
	return out, nil
}
