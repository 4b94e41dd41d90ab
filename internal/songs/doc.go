// Package songs finds the songs of a night. It places takes on the show's
// reference recording, from markers, from the set list and from the music
// itself, and lets a person correct them.
//
// Start with [Place], which may be called again at any time, and with [Set], the
// correction by hand. Both read the catalog only: no audio is read, neither to
// find a song nor when a boundary moves. A take that a person placed is never
// moved and never overlapped.
//
// How it works, from the ground up:
//
//   - the levels of all tracks show when the band plays (activity, stretches)
//   - the harmony of all tracks, twice a second, shows what it plays (bandOf)
//   - takes of other nights show how the songs go (references); the night is
//     matched against each of them (resemble)
//   - an alignment weighs the set list's order, the lengths and the sound over
//     all possible ways, which also gives its confidence (align)
//
// A title that one night learned from another by sound alone never counts as
// confirmed for a third night: see anchor.
package songs
