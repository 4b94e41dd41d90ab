package listen

import (
	"context"
	"fmt"
	"math"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// MaxWaveformS is the longest span that a waveform is drawn of, in seconds;
// longer ones are drawn from the envelope.
const MaxWaveformS = 30

// LongError says that a span is too long, or none, to be drawn from samples.
type LongError struct{ Track int }

func (e *LongError) Error() string {
	return fmt.Sprintf("track %d: a waveform is drawn of at most %d s", e.Track, MaxWaveformS)
}

// Hint says what to do about it.
func (e *LongError) Hint() string { return "ask for a shorter span, or for the envelope" }

// Extent is the lowest and the highest sample of a column, as fractions of full
// scale.
type Extent struct{ Low, High float32 }

// Waveform reads a span of a track, in frames of its recording, and returns it
// as columns of equal length. A span longer than MaxWaveformS is *[LongError].
func Waveform(ctx context.Context, store *catalog.Store, id catalog.TrackID, start, end int64, columns int) ([]Extent, error) {
	r, err := Open(ctx, store, id, start, end)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	if end-start > int64(MaxWaveformS*r.rec.SampleRate) || columns < 1 || end <= start {
		return nil, &LongError{r.track.Number}
	}
	format := wavfile.Format{SampleRate: r.rec.SampleRate, Channels: 1, BitDepth: r.rec.BitDepth, ContainerBytes: r.bytes}
	if r.rec.Encoding == wavfile.Float.String() {
		format.Encoding = wavfile.Float
	}
	// Columns lie over the span that was asked for, of which the recording may
	// hold less.
	out := make([]Extent, columns)
	held := make([]bool, columns)
	raw, x := make([]byte, chunkFrames*r.bytes), make([]float64, chunkFrames)
	scale := float64(columns) / float64(end-start)
	for done := int64(0); done < r.frames; {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		n := int(min(chunkFrames, r.frames-done))
		clear(raw)
		if err := r.samples(raw[:n*r.bytes], r.start+done); err != nil {
			return nil, err
		}
		format.Decode(x[:n], raw[:n*r.bytes])
		for i, v := range x[:n] {
			c := int(float64(r.start+done+int64(i)-start) * scale)
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
	// Deeper than a sample a column, columns hold the sample before them.
	for c := 1; c < columns; c++ {
		if !held[c] && held[c-1] && int64(columns) > end-start {
			out[c], held[c] = out[c-1], true
		}
	}
	return out, nil
}
