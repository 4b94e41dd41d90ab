// Package meter turns samples into figures.
//
// Start with [New], which measures a part of a recording block by block, and
// with [Envelope.Figures], which answers any question about a span from what
// was kept. A block is 100 ms of one track: the hop of the gating blocks of
// ITU-R BS.1770-5, so integrated loudness, short-term loudness and loudness
// range from an envelope are exact. The package owns the block record, its
// binary form and all arithmetic on it; it knows no files, no database and no
// shows.
package meter

// SampleType tells how a sample lies in memory. All are little-endian.
type SampleType uint8

// The sample types that are measured. Int24 is packed in three bytes; 24 valid
// bits in a 32-bit container are measured as Int32.
const (
	Uint8 SampleType = iota + 1
	Int16
	Int24
	Int32
	Float32
	Float64
)

// Config says what is to be measured and how.
type Config struct {
	SampleRate int        // Hz, 8000 to 384000
	Channels   int        // tracks measured side by side, 1 to 256
	Type       SampleType // of every sample
	// RunUp is the number of frames at the start of what is written that only
	// settle the filters and windows and are not reported. A part that does
	// not start at the recording's first frame gets RunUpFrames of them.
	RunUp int
	// Frames is the number of frames to report on, after the run-up. Frames
	// written beyond them are run-out: they only let the true-peak filter and
	// open runs look past the part's end (see RunOutFrames).
	Frames int64
	// ClipLevel is the magnitude, as a fraction of full scale, from which a
	// sample counts as full scale. 0 means the type's largest positive value
	// (1.0 for floats).
	ClipLevel float64
	// ClipRun is the shortest run of full-scale samples that counts as
	// clipped. 0 means 3.
	ClipRun int
}

// Block is what is kept of 100 ms of one track. Amplitudes are fractions of
// full scale, energies mean squares; digital silence is 0 everywhere.
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
}

// EventKind tells what an [Event] is.
type EventKind uint8

const (
	// ClipRun is a run of samples at full scale, at least Config.ClipRun long.
	ClipRun EventKind = iota + 1
	// FlatTop is a run of equal, or all but equal, samples that is the local
	// extreme of the wave, below full scale.
	FlatTop
	// ZeroRun is a run of samples of exactly zero, with signal right before or
	// right after it.
	ZeroRun
)

// Event is a sample-exact finding on one track.
type Event struct {
	Kind   EventKind
	Start  int64 // frame of the recording
	Frames int64 // length
	// Level is the magnitude of the run as a fraction of full scale; for a
	// ZeroRun the largest magnitude right beside it.
	Level float32
}
