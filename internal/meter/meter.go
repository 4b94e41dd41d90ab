// Package meter turns samples into figures.
//
// Start with [New], which measures a part of a recording block by block, and
// with [Envelope.Figures], which computes the figures of any span from the
// stored blocks. A block is 100 ms of one track: the hop of the gating blocks of
// ITU-R BS.1770-5, so integrated loudness, short-term loudness and loudness
// range from an envelope are exact. The package owns the block record, its
// binary form and all arithmetic on it; it has no files, no database and no
// shows.
//
// A recording is measured in parts of [PartBlocks] blocks, each on its own after
// a short run-up, so that the result never depends on how the work was split or
// where it was interrupted. [Encode] stores a part in some 20 bytes a block;
// [Join] makes an [Envelope] of the parts of a track.
//
// Loudness is that of ITU-R BS.1770-5 (11/2023) Annex 1, every track alone as
// one channel of weight 1.0; true peak is its Annex 2; momentary and short-term
// are EBU Tech 3341 (2023), loudness range EBU Tech 3342 (2023).
package meter

import "math"

// The time grid of all measurements.
const (
	BlocksPerSecond = 10
	// PartBlocks is the number of blocks of a part: a minute. Only the last part
	// of a recording may be shorter.
	PartBlocks = 600
)

// BlockFrames returns the frames of a block at a rate in Hz: 100 ms, to the
// nearest frame.
func BlockFrames(rate int) int { return (rate + BlocksPerSecond/2) / BlocksPerSecond }

// RunUpFrames returns the number of frames that are measured but not reported
// before a part that does not start at the recording's first frame: at least 500
// ms in whole blocks. So the 400 ms windows that end in the part's first 10 ms
// have a K filter that has settled for 100 ms, which leaves -212 dB of the
// earlier audio (computed from the filter's impulse response at 48 kHz).
func RunUpFrames(rate int) int {
	block := BlockFrames(rate)
	return (rate + 2*block - 1) / (2 * block) * block
}

// RunOutFrames returns the number of frames that are read beyond a part's end,
// fewer at the recording's end: one block. It fills the true-peak filter, and
// shows how runs continue that are open at the part's end.
func RunOutFrames(rate int) int { return BlockFrames(rate) }

// SampleType is the form of a sample in memory. All are little-endian.
type SampleType uint8

// The supported sample types. Int24 is packed in three bytes; 24 valid bits in a
// 32-bit container are measured as Int32.
const (
	Uint8 SampleType = iota + 1
	Int16
	Int24
	Int32
	Float32
	Float64
)

// Bytes returns the size of one sample in bytes, 0 for an unknown type.
func (t SampleType) Bytes() int {
	switch t {
	case Uint8:
		return 1
	case Int16:
		return 2
	case Int24:
		return 3
	case Int32, Float32:
		return 4
	case Float64:
		return 8
	}
	return 0
}

// fullScale is the largest positive value of a type, as a fraction of full
// scale.
func (t SampleType) fullScale() float64 {
	switch t {
	case Uint8, Int16, Int24, Int32:
		return 1 - math.Ldexp(1, 1-8*t.Bytes())
	}
	return 1
}

// Config describes the samples to measure and the rules for clipping.
type Config struct {
	SampleRate int        // Hz, 8000 to 384000
	Channels   int        // tracks measured side by side, 1 to 256
	Type       SampleType // of every sample
	// Of, if not 0, is the number of channels interleaved in the buffers given to
	// Write; the meter measures Channels of them, from index From on.
	Of, From int
	// RunUp is the number of frames at the start of the input that settle the
	// filters and windows and are not reported: RunUpFrames for a part that does
	// not start at the recording's first frame, none for the recording's first
	// part. It must be a multiple of BlockFrames.
	RunUp int
	// First is the number of the first reported frame in the recording. It only
	// makes the positions of events those of the recording.
	First int64
	// Frames is the number of frames to report, after the run-up. Frames written
	// beyond them are run-out: they only let the true-peak filter and open runs
	// look past the part's end (see RunOutFrames).
	Frames int64
	// ClipLevel is the magnitude, as a fraction of full scale, from which a
	// sample counts as full scale. 0 means the type's largest positive value
	// (1.0 for floats).
	ClipLevel float64
	// ClipRun is the shortest run of full-scale samples that counts as
	// clipped, at most 64. 0 means 3.
	ClipRun int
	// Rows, if set, is called with the decoded frames, run-up and run-out
	// included, so that package spectrum need not decode them again. The plain Go
	// kernel does not call it; see [Meter.Decodes].
	Rows func(Rows)

	kernel kernel // for tests
}

// Block is the record of 100 ms of one track. Amplitudes are fractions of full
// scale, energies mean squares; digital silence is 0 everywhere.
//
// Integers are divided by 2^(bits-1). Peak is exact up to 24 bit and for 32-bit
// floats. Other magnitudes are rounded up to a float32, so that a peak is never
// too low (and less than 1e-6 dB too high). NaN is measured as 0, magnitudes
// above 1e9 as 1e9.
type Block struct {
	Peak         float32 // largest sample magnitude
	TruePeak     float32 // BS.1770-5 Annex 2, never below Peak
	Mean         float32 // DC offset
	MeanSquare   float32
	KMeanSquare  float32 // after the K filter
	MaxMomentary float32 // largest K-weighted mean square of the 400 ms windows ending in this block, in 10 ms steps; 0 before the first full window
	Clipped      uint16  // samples in runs at full scale
	Flat         uint16  // samples in flat tops below full scale
	Zeros        uint16  // samples of exactly zero
	Cracks       uint16  // samples at which the wave breaks off; see Crack
}

// EventKind is the kind of an [Event].
type EventKind uint8

const (
	// ClipRun is a run of samples at full scale, at least Config.ClipRun long.
	ClipRun EventKind = iota + 1
	// FlatTop is a run of (almost) equal samples at a local extreme of the wave,
	// below full scale.
	FlatTop
	// ZeroRun is a run of samples of exactly zero, with signal right before or
	// right after it.
	ZeroRun
	// Crack is a sample at which the wave breaks off: it bends there far more
	// sharply than anywhere around. A bad contact makes bursts of cracks; so do
	// some instruments. A fiftieth of all samples, near the ends of blocks, is
	// not searched.
	Crack

	lastKind = Crack
)

// Event is a sample-exact event on one track. A track may hold any number of
// runs; each part keeps its [MaxEvents] longest of each kind, while the counts
// in the blocks stay complete.
type Event struct {
	Kind   EventKind
	Start  int64 // frame of the recording
	Frames int64 // length
	// Level is the magnitude of the run as a fraction of full scale. For a
	// ZeroRun it is the largest magnitude right beside it, for a Crack the
	// second difference of the samples.
	Level float32
}
