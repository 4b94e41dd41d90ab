package songs

import (
	"context"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// Placed is what [Place] did to a show.
type Placed struct {
	Takes   []catalog.Take `json:"takes"` // all of the show's now, in order of start
	Added   int            `json:"added"`
	Moved   int            `json:"moved"` // takes that kept their id and changed
	Removed int            `json:"removed"`
	// NotPlaced lists titles of the set list that no take was found for.
	NotPlaced []string `json:"not_placed"`
	// Unnamed lists stretches of music, as long as a song, without a title.
	Unnamed []Span `json:"unnamed"`
	// Problems lists what kept Place from using all evidence, a sentence each.
	Problems []string `json:"problems"`
}

// Span is a span of the show's reference recording, in seconds.
type Span struct {
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

// Place finds the takes of a show and stores them on its reference recording,
// the first of [catalog.Store.Recordings]. It places takes from these sources,
// the most trusted first: a person, markers with labels, the set list's times,
// and an alignment of the list's other titles with the stretches in which the
// band plays. Songs of a night with neither markers nor a set list get numbers.
// Takes never overlap; the less trusted one gives way.
//
// known are the takes of this and other shows by which songs are recognised, as
// [References] chooses them. The result depends on them and on the show's own
// facts; takes that a finder placed earlier are no evidence. A person's takes
// stay as they are, and a take that a person deleted does not come back. A take
// keeps its id as long as its song is still placed.
//
// A show that is not in the catalog is *[catalog.NotFoundError]. A show without
// a recording has no takes.
func Place(ctx context.Context, store *catalog.Store, show catalog.ShowKey, known []Reference) (Placed, error) {
	for {
		placed, done, err := place(ctx, store, show, known)
		if done || err != nil {
			return placed, err
		}
	}
}

// place is one attempt of Place; done is false if another writer changed the
// show's takes meanwhile.
func place(ctx context.Context, store *catalog.Store, show catalog.ShowKey, known []Reference) (placed Placed, done bool, err error) {
	n, err := newNight(ctx, store, show)
	if err != nil {
		return Placed{}, false, err
	}
	if n == nil {
		return Placed{Takes: []catalog.Take{}, NotPlaced: []string{}, Unnamed: []Span{}, Problems: []string{}}, true, nil
	}
	if err := n.find(ctx, store, known); err != nil {
		return Placed{}, false, err
	}
	n.unnamed()
	if done, err = n.store(ctx, store); err != nil || !done {
		return Placed{}, false, err
	}
	return *n.result, true, nil
}

// newNight reads a show; it returns nil if the show has no recording.
func newNight(ctx context.Context, store *catalog.Store, key catalog.ShowKey) (*night, error) {
	show, err := store.Show(ctx, key)
	if err != nil || len(show.Recordings) == 0 {
		return nil, err
	}
	n := &night{show: show.Key, ref: show.Recordings[0], recordings: show.Recordings,
		result: &Placed{Takes: []catalog.Take{}, NotPlaced: []string{}, Unnamed: []Span{}, Problems: []string{}}}
	return n, n.read(ctx, store)
}

// find places candidates from all sources, recognition by sound included.
func (n *night) find(ctx context.Context, store *catalog.Store, known []Reference) error {
	if err := n.recognise(ctx, store, known); err != nil {
		return err
	}
	n.marked(n.marks)
	n.timed()
	n.aligned()
	if len(n.list) == 0 && len(n.marks) == 0 {
		n.numbered()
	}
	return nil
}

// learnFrom is the least confidence at which a take's length counts as its
// song's length.
const learnFrom = 0.7

// candidate is a take that might be placed.
type candidate struct {
	title      string
	nth        int   // for a person's take: which take of the song it is; 0 for others
	start, end int64 // frames of the reference recording
	by         catalog.FoundBy
	confidence float64
}

// night is the working state while the takes of a show are placed.
type night struct {
	show       catalog.ShowKey
	ref        catalog.Recording
	recordings []catalog.Recording
	activity   activity
	band       []chroma // what is played, by second; nil if harmony was not measured
	music      []stretch
	list       []catalog.SetListEntry
	marks      []mark
	deleted    []catalog.Dismissal
	titles     map[string]string  // of the songs in refs, by key
	lengths    map[string]float64 // blocks of a song in refs of other nights, by key
	before     []catalog.Take     // the show's takes before this placing
	persons    []candidate        // a person's takes, on the reference recording
	found      []candidate        // placed so far, the most trusted first
	refs       []reference        // takes by which songs are recognised
	likes      []likeness         // the night's likeness to each of them
	clusters   []cluster          // the references grouped by song
	anchors    []anchor           // what the set list implies about the takes
	pauses     []float32          // mean track levels in pauses; see readPauses
	pauseChord chroma             // mean chord in pauses
	result     *Placed
}

// accept places a candidate where no more trusted take lies. If that cuts the
// candidate in pieces, the longest is kept, provided that it is at least half of
// the whole. A candidate that overlaps a take of the same song is a second
// sighting of that take and is dropped.
func (n *night) accept(c candidate) bool {
	c.start, c.end = max(0, c.start), min(c.end, n.ref.Frames)
	whole := c.end - c.start
	for _, f := range n.found {
		switch {
		case f.end <= c.start || f.start >= c.end:
		case catalog.SameName(f.title, c.title):
			return false
		case f.start-c.start > c.end-f.end:
			c.end = f.start
		default:
			c.start = f.end
		}
	}
	if c.end <= c.start || 2*(c.end-c.start) < whole {
		return false
	}
	for _, d := range n.deleted {
		if forbids(d, c.title, c.by, n.ref.Seconds(c.start), n.ref.Seconds(c.end)) {
			return false
		}
	}
	n.found = append(n.found, c)
	return true
}

// frame returns the first frame of a block.
func (n *night) frame(block int) int64 {
	return min(n.ref.Frames, int64(block)*int64(meter.BlockFrames(n.ref.SampleRate)))
}

// block returns the block that starts nearest to a frame.
func (n *night) block(frame int64) int {
	size := int64(meter.BlockFrames(n.ref.SampleRate))
	return int((frame + size/2) / size)
}
