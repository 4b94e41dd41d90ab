// Package evaluate measures how well nightreel finds songs and faults: it makes
// nights whose truth is known, runs the finders and judges on them, and counts.
//
// The nights are cheap to make. Each instrument of a song is rendered once, as a
// stem, and of each stem only levels and spectra are cached. A night is the sum
// of these as powers, and goes into a catalog as a scan would have left it. Only
// the nights with faults are written as audio.
//
// All material that tuning may use comes from [Tuning]. [Held] has other songs,
// another sound font, other speech and other seeds, and is used only to report.
package evaluate

// Half is one of the two halves of the material.
type Half int

const (
	Tuning Half = iota // may be used while the finders are built
	Held               // tuning never used it
)

func (p Half) String() string {
	if p == Held {
		return "held out"
	}
	return "tuning"
}
