// Package feature keeps what the band plays in few bytes: the harmony of every
// track, twice a second, as 12 pitch classes of 4 bits. Start with [Harmony],
// which folds spectra to it, and [Unpack], which reads it.
//
// It is enough to tell songs apart and to lay one night's take beside
// another's, and far too little to hear anything again.
package feature
