// Package pattern is a test signal in which every sample identifies its
// position: sample (frame, channel) is frame·A + channel·B as a 24-bit integer,
// A and B odd. So a sample that was lost, repeated, swapped or changed is
// detected at once. 24 bits pass through float32 without loss.
//
// Frames are known modulo 2^24, 5.8 minutes at 48 kHz.
package pattern

import (
	"fmt"
	"slices"
)

// A and B are the factors of frame and channel.
const (
	A = 5_331_337
	B = 9_999_991
)

// Period is the number of frames after which the pattern repeats.
const Period = 1 << 24

// inverse is A's inverse modulo Period.
var inverse = func() int64 {
	inv := int64(1)
	for range 24 { // Newton: each step doubles the number of correct bits
		inv = inv * (2 - A*inv) & (Period - 1)
	}
	return inv
}()

// Sample returns a sample; channels count from 0.
func Sample(frame int64, channel int) int32 {
	return int32(uint32(frame*A+int64(channel)*B)<<8) >> 8
}

// Float returns a sample as a fraction of full scale.
func Float(frame int64, channel int) float32 { return float32(Sample(frame, channel)) / (1 << 23) }

// FrameOf returns the frame, modulo Period, of a sample of a channel.
func FrameOf(x float32, channel int) int64 {
	return (int64(x*(1<<23)) - int64(channel)*B) * inverse & (Period - 1)
}

// Kind is the kind of a captured frame.
type Kind uint8

// The kinds of frames.
const (
	Silent Kind = iota // all channels are 0
	Exact              // one frame of the pattern, on all channels
	Other              // in a fade, or wrong
)

// Run is a stretch of captured frames of one kind; in an exact run each frame
// follows the one before.
type Run struct {
	Kind   Kind
	At     int64 // captured frame at which it starts
	Frame  int64 // of the pattern, for an exact run
	Length int64
}

func (r Run) String() string {
	switch r.Kind {
	case Silent:
		return fmt.Sprintf("%d frames of silence at %d", r.Length, r.At)
	case Exact:
		return fmt.Sprintf("frames %d to %d at %d", r.Frame, r.Frame+r.Length-1, r.At)
	}
	return fmt.Sprintf("%d frames of a mix at %d", r.Length, r.At)
}

// Checker sorts captured frames into runs.
type Checker struct {
	Runs []Run
	n    int64
}

// Row processes the next captured frame, one sample a channel. A frame counts as
// silent if all channels are 0, which the pattern has in no frame of several
// channels.
func (c *Checker) Row(row []float32) {
	run := Run{Kind: classify(row), At: c.n, Length: 1}
	if run.Kind == Exact {
		run.Frame = FrameOf(row[0], 0)
	}
	c.n++
	if k := len(c.Runs) - 1; k >= 0 {
		last := &c.Runs[k]
		if last.Kind == run.Kind && (run.Kind != Exact || run.Frame == (last.Frame+last.Length)&(Period-1)) {
			last.Length++
			return
		}
	}
	c.Runs = append(c.Runs, run)
}

// Frames returns the number of processed frames.
func (c *Checker) Frames() int64 { return c.n }

func classify(row []float32) Kind {
	if !slices.ContainsFunc(row, func(x float32) bool { return x != 0 }) {
		return Silent
	}
	v := int64(row[0] * (1 << 23))
	for _, x := range row {
		got := int64(x * (1 << 23))
		if (got-v)&(Period-1) != 0 || float32(got) != x*(1<<23) || got < -Period/2 || got >= Period/2 {
			return Other
		}
		v += B
	}
	return Exact
}
