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
	Moved   int            `json:"moved"` // those that kept their id and changed
	Removed int            `json:"removed"`
	// NotPlaced lists titles of the set list that no take was found for.
	NotPlaced []string `json:"not_placed"`
	// Unnamed lists stretches of music, as long as a song, without a title.
	Unnamed []Span `json:"unnamed"`
	// Problems says what stood in the way, a sentence each.
	Problems []string `json:"problems"`
}

// Span is a part of the show's reference recording, in seconds.
type Span struct {
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

// Place finds the takes of a show and stores them on its reference recording,
// the first of [catalog.Store.Recordings]. In this order of trust they come
// from a person, from markers with labels, from the set list's times, and from
// aligning the other titles of the set list with the stretches in which the
// band plays. A night with neither markers nor a set list gets its songs
// numbered. Takes never overlap; where two would, the less trusted gives way.
//
// known are the takes of this and other shows that songs are recognised by, as
// [References] chooses them. The takes follow from them and from the show's own
// facts; takes that a finder placed earlier are no evidence. A person's takes
// are left as they are, and what a person deleted does not come back. The take
// of a song keeps its id wherever that song still stands.
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

// place does what Place does once; done is false if somebody changed the show's
// takes meanwhile.
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

// newNight begins with a show; nil where it has no recording.
func newNight(ctx context.Context, store *catalog.Store, key catalog.ShowKey) (*night, error) {
	show, err := store.Show(ctx, key)
	if err != nil || len(show.Recordings) == 0 {
		return nil, err
	}
	n := &night{show: show.Key, ref: show.Recordings[0], recordings: show.Recordings,
		result: &Placed{Takes: []catalog.Take{}, NotPlaced: []string{}, Unnamed: []Span{}, Problems: []string{}}}
	return n, n.read(ctx, store)
}

// find places candidates, with what is known of the songs' sound.
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

// learnFrom is the confidence from which a take tells how long its song is.
const learnFrom = 0.7

// candidate is a take that might be placed.
type candidate struct {
	title      string
	nth        int   // which take of the song a person's is; 0 for others
	start, end int64 // frames of the reference recording
	by         catalog.FoundBy
	confidence float64
}

// night is all that is known of a show while its takes are placed.
type night struct {
	show       catalog.ShowKey
	ref        catalog.Recording
	recordings []catalog.Recording
	activity   activity
	band       []chroma // what is played, by second; nil where that was not measured
	music      []stretch
	list       []catalog.SetListEntry
	marks      []mark
	deleted    []catalog.Dismissal
	titles     map[string]string  // of the songs in refs, by key
	lengths    map[string]float64 // blocks of a song in refs of other nights, by key
	before     []catalog.Take     // the show's takes as they were
	persons    []candidate        // a person's, on the reference
	found      []candidate        // placed so far, the most trusted first
	refs       []reference        // takes that songs are known by
	likes      []likeness         // what the night has of each of them
	clusters   []cluster          // the songs that these are of
	anchors    []anchor           // what the set list says about the takes
	pauses     []float32          // how loud tracks are in pauses; see readPauses
	pauseChord chroma             // and what they play there
	result     *Placed
}

// accept places a candidate where nothing more trusted lies. Of one that is
// cut in pieces the longest is kept, if it is half of the whole. One that
// touches a take of the same song is that take, placed elsewhere.
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
