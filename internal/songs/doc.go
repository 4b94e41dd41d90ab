// Package songs finds the songs of a night: it places takes on the show's
// reference recording, from markers, from the set list and from the music
// itself, and it lets a person correct them.
//
// Start with [Place], which may be called again at any time, and with [Set],
// the correction by hand. Everything is answered from the catalog: no audio is
// read, neither to find a song nor when a boundary moves. A take that a person
// placed is never moved and never overlapped.
//
// The finder knows when the band plays, not what it plays: it aligns stretches
// of music with the titles of a set list, in its order. It does not recognise
// songs.
package songs
