// Package catalog stores the tour: shows, recordings and tracks, songs and
// takes, measurements and findings. All other packages share its types; it
// judges nothing and reads no audio.
//
// Start with [Open] and [Store.Shows]. The data model is plain structs, one file
// an aggregate; [Store] keeps them in one SQLite file. Positions are frames at
// the recording's own rate; seconds appear only in JSON. Every list is ordered
// and never nil, so that it prints as [] when it is empty.
//
// Envelopes are stored as opaque blobs, a minute of one track each: package
// meter owns their form.
package catalog
