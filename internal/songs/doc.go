// Package songs finds the songs of a night: it places takes on the show's
// reference recording, from markers, from the set list and from the music
// itself, and it lets a person correct them.
//
// Start with [Place], which may be called again at any time, and with [Set],
// the correction by hand. Everything is answered from the catalog: no audio is
// read, neither to find a song nor when a boundary moves. A take that a person
// placed is never moved and never overlapped.
//
// How it works, from the ground up: the levels of all tracks say when the band
// plays (activity, stretches); the harmony of all tracks, twice a second, says
// what (bandOf); takes of other nights say how the songs go (references), and
// the night is followed along each of them (resemble). An alignment weighs the
// set list's order, the lengths and the sound against each other, over all ways
// there are (align), and so knows how sure it is.
//
// What one night learned from another by sound alone is never learned from
// again as if somebody had confirmed it: see anchor.
package songs
