// Package catalog is what nightreel remembers: the tour's shows, recordings
// and tracks, its songs and takes, and what was measured and found. It is the
// common language of all rooms; it holds no judgement and reads no audio.
//
// Start with [Open] and [Store.Shows]. The data model is plain structs, one
// file an aggregate; [Store] keeps them in one SQLite file. Positions are
// frames at the recording's own rate; seconds appear only in JSON. Every list
// is ordered and never nil, so that it prints as [] when it is empty.
//
// Envelopes are kept as opaque blobs, a minute of one track each: package
// meter owns their form.
package catalog
