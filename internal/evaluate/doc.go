// Package evaluate measures how well nightreel hears: it makes nights whose
// truth is known, lets the finders and judges loose on them, and counts.
//
// The nights come cheaply. What a band plays is rendered once, an instrument a
// stem, and of each stem only levels and spectra are kept, in a cache; a night
// is then put together from these as powers, which add, and goes into a catalog
// as a scan would have left it. No night is ever written as audio.
//
// Everything that tuning may look at comes from [Tuning]; [Held] has other
// songs, another sound font, other speech and other seeds, and is looked at
// only to report.
package evaluate

// Part is one of the two parts that the material is split in.
type Part int

const (
	Tuning Part = iota // may be looked at while the finders are built
	Held               // tuning never saw it
)

func (p Part) String() string {
	if p == Held {
		return "held out"
	}
	return "tuning"
}
