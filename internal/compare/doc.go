// Package compare computes level figures: of every track of a night, of every
// take, and of one song along the tour against its own median.
//
// Start with [Levels] for the figures of takes and with [Song] for the
// comparison. Channels are followed through the input lists, whatever track they
// were on. Everything comes from the catalog; no audio is read, so a boundary
// that moved changes the figures at once. The package prints nothing and stores
// nothing but cached figures.
//
// Figures are those of package meter (ITU-R BS.1770-5, EBU Tech 3341 and 3342).
package compare
